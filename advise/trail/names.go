package trail

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"path/filepath"
	"sync"
	"unicode/utf8"
)

// MaxText is the longest text that Keep takes, in bytes.
const MaxText = 64 << 10

const maxNameLine = 512 << 10

// Ref is how the chain refers to a text of the side file. Its JSON is {"kept":"<id>","sha256":"<hash>"}; [Verify]
// finds it in bodies by that spelling. The zero Ref refers to nothing.
type Ref struct {
	ID   string `json:"kept"`   // 128 random bits as 32 hexadecimal characters
	Hash string `json:"sha256"` // hex SHA-256 of the salt's characters followed by the text
}

type nameID [16]byte

// place is where a text's line lies in the side file.
type place struct {
	off    int64
	n      int32
	erased bool
}

// names is the open side file. It remembers where texts are, not what they say.
type names struct {
	dir    string
	path   string
	disk   Disk
	poison *poison

	mu     sync.Mutex
	file   File
	read   ReadFile
	where  map[nameID]place
	size   int64
	dirty  bool
	closed bool
}

func openNames(d Disk, dir string, p *poison) (*names, []Repair, error) {
	n := &names{dir: dir, path: filepath.Join(dir, namesName), disk: d, poison: p}
	var repairs []Repair
	if err := remove(d, n.path+newSuffix); err != nil {
		return nil, nil, err
	}
	cut, unreadable, err := n.survey()
	if errors.Is(err, fs.ErrNotExist) {
		if err := createWith(d, n.path, nil); err != nil {
			return nil, nil, fmt.Errorf("%s can't be made: %w", n.path, err)
		}
		if err := d.SyncDir(dir); err != nil {
			return nil, nil, fmt.Errorf("%s can't be made: %w", n.path, err)
		}
		repairs = append(repairs, Repair{File: n.path, What: fmt.Sprintf("%s was not there; an empty one was made, and texts kept before count as erased", n.path)})
		cut, unreadable, err = n.survey()
	}
	if err != nil {
		return nil, repairs, fmt.Errorf("%s can't be read: %w", n.path, err)
	}
	if cut > 0 {
		// Not kept aside: no record refers to it yet, and it may hold a name that must stay erasable.
		if err := d.Truncate(n.path, n.size); err != nil {
			return nil, repairs, fmt.Errorf("%s ends in an unfinished line, which could not be cut off: %w", n.path, err)
		}
		repairs = append(repairs, Repair{File: n.path, Bytes: cut, What: fmt.Sprintf("the last text in %s was not finished when the program or the power stopped, and no record refers to it; its %d bytes were cut off", n.path, cut)})
	}
	if unreadable > 0 {
		repairs = append(repairs, Repair{File: n.path, What: fmt.Sprintf("%d lines of %s can't be read; they were left as they are, and their texts are missing", unreadable, n.path)})
	}
	if err := n.open(); err != nil {
		return nil, repairs, fmt.Errorf("%s can't be opened: %w", n.path, err)
	}
	return n, repairs, nil
}

func (n *names) open() (err error) {
	if n.file, err = n.disk.Append(n.path); err != nil {
		return err
	}
	if n.read, err = n.disk.Open(n.path); err != nil {
		n.file.Close()
		return err
	}
	return nil
}

// survey notes where each text lies, how many bytes of an unfinished line follow, and how many lines are no texts.
func (n *names) survey() (cut int64, unreadable int, err error) {
	f, err := n.disk.Open(n.path)
	if err != nil {
		return 0, 0, err
	}
	defer f.Close()
	size, err := f.Size()
	if err != nil {
		return 0, 0, err
	}
	n.where, n.size = make(map[nameID]place), 0
	ls := newLines(io.NewSectionReader(f, 0, size), maxNameLine)
	for {
		off := ls.off
		line, length, state, err := ls.next()
		if err == io.EOF {
			return 0, unreadable, nil
		}
		if err != nil {
			return 0, 0, err
		}
		if state == unfinished {
			return length, unreadable, nil
		}
		n.size = ls.off
		id, erased, ok := nameLineID(line)
		if state == overlong || !ok {
			unreadable++
			continue
		}
		n.where[id] = place{off: off, n: int32(length), erased: erased}
	}
}

// nameLineID reads as much of a line as tells which text it holds.
func nameLineID(line []byte) (id nameID, erased, ok bool) {
	const before = `{"id":"`
	if len(line) < len(before)+33 || string(line[:len(before)]) != before {
		return id, false, false
	}
	hexID := line[len(before) : len(before)+32]
	if !isHex(hexID) {
		return id, false, false
	}
	hex.Decode(id[:], hexID)
	rest := line[len(before)+32:]
	if string(rest) == "\",\"erased\":true}\n" {
		return id, true, true
	}
	return id, false, bytes.HasPrefix(rest, []byte(`","salt":"`)) && bytes.HasSuffix(rest, []byte("\"}\n"))
}

// nameLine is one line of the side file; one of Text and Base64 is used.
type nameLine struct {
	ID     string  `json:"id"`
	Salt   string  `json:"salt"`
	Text   *string `json:"text,omitempty"`
	Base64 *string `json:"base64,omitempty"`
}

func writeNameLine(id, salt, text string) []byte {
	l := nameLine{ID: id, Salt: salt, Text: &text}
	if !utf8.ValidString(text) {
		b := base64.StdEncoding.EncodeToString([]byte(text))
		l.Text, l.Base64 = nil, &b
	}
	var buf bytes.Buffer
	enc := json.NewEncoder(&buf)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(l); err != nil {
		panic(fmt.Sprintf("strings always encode: %v", err))
	}
	return buf.Bytes()
}

// readNameLine gives the text of a line and its hash.
func readNameLine(line []byte) (id, text, hash string, err error) {
	var l nameLine
	if !utf8.Valid(line) {
		return "", "", "", errors.New("its line is not valid UTF-8")
	}
	if err := json.Unmarshal(line, &l); err != nil {
		return "", "", "", err
	}
	switch {
	case len(l.Salt) != 32 || !isHex([]byte(l.Salt)):
		return "", "", "", errors.New("its salt is not 32 hexadecimal characters")
	case (l.Text == nil) == (l.Base64 == nil):
		return "", "", "", errors.New("its line has neither text nor base64, or both")
	case l.Text != nil:
		text = *l.Text
	default:
		b, err := base64.StdEncoding.Strict().DecodeString(*l.Base64)
		if err != nil {
			return "", "", "", err
		}
		text = string(b)
	}
	return l.ID, text, textHash(l.Salt, text), nil
}

func textHash(salt, text string) string {
	sum := sha256.Sum256([]byte(salt + text))
	return hex.EncodeToString(sum[:])
}

// Keep puts a text that must stay erasable (a name, a path, a note) into the side file, and returns what a record
// may hold in its place. The text is synced before any later record is written, so a record that holds the Ref
// never outlives a text that was not erased. The text has MaxText bytes at most and need not be UTF-8.
func (t *Trail) Keep(text string) (Ref, error) {
	return t.names.keep(text)
}

func (n *names) keep(text string) (Ref, error) {
	if len(text) > MaxText {
		return Ref{}, fmt.Errorf("text not kept: it is %d bytes long, and a text has %d at most", len(text), MaxText)
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.closed {
		return Ref{}, ErrClosed
	}
	if err := n.poison.check(); err != nil {
		return Ref{}, err
	}
	id, salt := randomHex(), randomHex()
	line := writeNameLine(id, salt, text)
	if err := write(n.file, line); err != nil {
		return Ref{}, n.poison.set(namesName, err)
	}
	n.dirty = true
	var key nameID
	hex.Decode(key[:], []byte(id))
	n.where[key] = place{off: n.size, n: int32(len(line))}
	n.size += int64(len(line))
	return Ref{ID: id, Hash: textHash(salt, text)}, nil
}

func (n *names) sync() error {
	n.mu.Lock()
	defer n.mu.Unlock()
	if err := n.poison.check(); err != nil {
		return err
	}
	if !n.dirty {
		return nil
	}
	if err := n.file.Sync(); err != nil {
		return n.poison.set(namesName, err)
	}
	n.dirty = false
	return nil
}

// Text gives a text back. The error wraps ErrErased if it is no longer there, and ErrAltered if it is not the text
// that was kept.
func (t *Trail) Text(ref Ref) (string, error) {
	return t.names.text(ref)
}

func (n *names) text(ref Ref) (string, error) {
	key, ok := parseID(ref.ID)
	if !ok {
		return "", fmt.Errorf("text %q: an id has 32 hexadecimal characters (0-9, a-f)", ref.ID)
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.closed {
		return "", ErrClosed
	}
	p, ok := n.where[key]
	if !ok || p.erased {
		return "", fmt.Errorf("text %s: %w", ref.ID, ErrErased)
	}
	line := make([]byte, p.n)
	if _, err := n.read.ReadAt(line, p.off); err != nil && err != io.EOF {
		return "", fmt.Errorf("text %s can't be read from %s: %w", ref.ID, n.path, err)
	}
	_, text, hash, err := readNameLine(line)
	if err != nil {
		return "", fmt.Errorf("text %s in %s: %w (%w)", ref.ID, n.path, ErrAltered, err)
	}
	if hash != ref.Hash {
		return "", fmt.Errorf("text %s in %s: %w", ref.ID, n.path, ErrAltered)
	}
	return text, nil
}

func parseID(id string) (key nameID, ok bool) {
	if len(id) != 32 || !isHex([]byte(id)) {
		return key, false
	}
	hex.Decode(key[:], []byte(id))
	return key, true
}

func (n *names) close() error {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.closed {
		return nil
	}
	n.closed = true
	return errors.Join(n.file.Close(), n.read.Close())
}

// Texts reads the side file of a trail beside its writer. It repairs nothing.
type Texts struct{ n *names }

// ReadTexts opens the side file of the trail in dir; where there is none all texts count as erased.
func ReadTexts(dir string) (*Texts, error) {
	n := &names{dir: dir, path: filepath.Join(dir, namesName), disk: OSDisk{}, file: noFile{}, poison: &poison{dir: dir}}
	f, err := n.disk.Open(n.path)
	if errors.Is(err, fs.ErrNotExist) {
		n.read, n.where = noFile{}, map[nameID]place{}
		return &Texts{n}, nil
	}
	if err != nil {
		return nil, fmt.Errorf("the texts beside the trail can't be read: %w", err)
	}
	n.read = f
	if _, _, err := n.survey(); err != nil {
		f.Close()
		return nil, fmt.Errorf("%s can't be read: %w", n.path, err)
	}
	return &Texts{n}, nil
}

// Text gives a text back, like [Trail.Text].
func (t *Texts) Text(ref Ref) (string, error) { return t.n.text(ref) }

// Close closes the file.
func (t *Texts) Close() error { return t.n.close() }

// All gives the texts that are still there, in the order in which they were kept. Lines that can't be read are left out.
func (t *Texts) All() iter.Seq[string] {
	return func(yield func(string) bool) {
		t.n.mu.Lock()
		defer t.n.mu.Unlock()
		ls := newLines(io.NewSectionReader(t.n.read, 0, t.n.size), maxNameLine)
		for {
			line, _, state, err := ls.next()
			if err != nil {
				return
			}
			if _, erased, ok := nameLineID(line); state != whole || erased || !ok {
				continue
			}
			if _, text, _, err := readNameLine(line); err == nil && !yield(text) {
				return
			}
		}
	}
}
