package shoot

import (
	"bytes"
	"encoding/json"
	"fmt"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/trail"
)

// The kinds of record that a shoot writes, and the version of their bodies.
const (
	inputKind   = "input"
	outputKind  = "output"
	bodyVersion = 1
)

type inputBody struct {
	Input  advise.Input `json:"input"`
	Kept   []trail.Ref  `json:"kept,omitempty"`   // the texts that Input refers to by their ids
	Client string       `json:"client,omitempty"` // id of the request, so that a repeat is known after a restart
	File   *fileMark    `json:"file,omitempty"`   // of a frame's file
}

// fileMark tells a file from its later self without reading it.
type fileMark struct {
	Size     int64     `json:"size"`     // bytes
	Modified time.Time `json:"modified"` // as the file system says
}

type outputBody struct {
	Of      uint64          `json:"of"` // seq of the input's record
	Outputs []advise.Output `json:"outputs"`
}

// about is what the header of a trail says of its shoot: which capture folder it belongs
// to, without its path, which may name people.
type about struct {
	Salt   string `json:"salt"`
	Folder string `json:"folder_sha256"` // hex SHA-256 of salt and absolute path

	// After is the id of the shoot of this folder that was the newest when this one was begun, "" none (or
	// not written yet): times alone don't tell, for a clock may have gone back.
	After string `json:"after,omitempty"`
}

// decodeBody reads the body of a record.
func decodeBody(r trail.Record, into any) error {
	if r.V != bodyVersion {
		return fmt.Errorf("record %d: its body is of version %d, and this program reads version %d; use a newer thirdstop", r.Seq, r.V, bodyVersion)
	}
	if err := json.Unmarshal(r.Body, into); err != nil {
		return fmt.Errorf("record %d: its body can't be read: %w", r.Seq, err)
	}
	return nil
}

// encode writes JSON as the trail does, so that equal outputs are equal bytes.
func encode(v any) (json.RawMessage, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(b.Bytes(), []byte{'\n'}), nil
}
