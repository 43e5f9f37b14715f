package trail

import (
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Head names the end of a trail: whoever keeps it can tell later whether anything before it was changed or
// removed. On paper and on the command line it is written "<seq>:<64 hex>".
type Head struct {
	Seq  uint64 // number of the last record
	Hash string // hex SHA-256 of its exact line
}

// String is what [ParseHead] reads.
func (h Head) String() string { return strconv.FormatUint(h.Seq, 10) + ":" + h.Hash }

// ParseHead reads "<seq>:<hash>", or the hash alone; Seq is then 0, which stands for any record.
func ParseHead(s string) (Head, error) {
	s = strings.ToLower(strings.TrimSpace(s))
	var h Head
	seq, hash, both := strings.Cut(s, ":")
	if !both {
		hash = s
	} else {
		n, err := strconv.ParseUint(seq, 10, 64)
		if err != nil || n == 0 {
			return Head{}, fmt.Errorf("head %q: %q is no record number; write it like 12:<64 hexadecimal characters>", s, seq)
		}
		h.Seq = n
	}
	if len(hash) != 64 || !isHex([]byte(hash)) {
		return Head{}, fmt.Errorf("head %q: a head's hash has 64 hexadecimal characters (0-9, a-f)", s)
	}
	h.Hash = hash
	return h, nil
}

// Format is the number of the trail format that this package writes. It reads all formats up to it.
const Format = 1

const (
	headerKind    = "header"
	headerVersion = 1
)

// Header is what record 1 says about the whole shoot. It can't be erased: names belong in texts ([Trail.Keep]).
type Header struct {
	At      time.Time       // when the shoot began
	Rules   string          // version of the rules at that time
	Shoot   string          // 32 hexadecimal characters; drawn at random if "" is given to Create
	Program string          // version of the program that began it
	About   json.RawMessage // the caller's own, any JSON value; null if empty
	Format  int             // set by the reader; Create writes Format
}

// headerBody is the header's spelling on disk.
type headerBody struct {
	Format  int             `json:"format"`
	Shoot   string          `json:"shoot"`
	Program string          `json:"program"`
	About   json.RawMessage `json:"about"`
}

func readHeader(r Record) (Header, error) {
	if r.Kind != headerKind {
		return Header{}, fmt.Errorf("record 1 is of kind %q, not %q", r.Kind, headerKind)
	}
	var b headerBody
	if err := json.Unmarshal(r.Body, &b); err != nil {
		return Header{}, fmt.Errorf("the header can't be read: %w", err)
	}
	if b.Format > Format {
		return Header{}, &FormatError{Format: b.Format}
	}
	if b.Format < 1 || r.V != headerVersion {
		return Header{}, fmt.Errorf("the header has format %d, version %d, which no thirdstop wrote", b.Format, r.V)
	}
	return Header{At: r.At, Rules: r.Rules, Shoot: b.Shoot, Program: b.Program, About: b.About, Format: b.Format}, nil
}
