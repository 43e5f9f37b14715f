package watcher

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"
)

// picture is a real JPEG, another one for each name, noisy enough to be some kilobytes long.
// Its comment pads it to at least size bytes.
func picture(t testing.TB, name string, size int) []byte {
	t.Helper()
	var seed uint64
	for _, c := range name {
		seed = seed*31 + uint64(c)
	}
	rnd := rand.New(rand.NewPCG(seed, 1))
	img := image.NewRGBA(image.Rect(0, 0, 64, 48))
	for y := range 48 {
		for x := range 64 {
			img.Set(x, y, color.RGBA{uint8(rnd.Uint32()), uint8(x * 4), uint8(y * 5), 255})
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 90}); err != nil {
		t.Fatal(err)
	}
	for b.Len() < size { // COM segments (ITU-T T.81, B.2.4.5) behind SOI
		n := min(size-b.Len(), 60000)
		pad := append([]byte{0xFF, 0xD8, 0xFF, 0xFE}, binary.BigEndian.AppendUint16(nil, uint16(n+2))...)
		pad = append(pad, bytes.Repeat([]byte{'.'}, n)...)
		rest := bytes.Clone(b.Bytes()[2:])
		b.Reset()
		b.Write(pad)
		b.Write(rest)
	}
	return b.Bytes()
}

// wholeJPEG follows the marker segments of ITU-T T.81, annex B, to the end of the image. It has
// no idea of this package's errors, like the checks it stands for.
func wholeJPEG(_ string, r io.ReaderAt, size int64) error {
	b := make([]byte, size)
	if _, err := r.ReadAt(b, 0); err != nil && err != io.EOF {
		return err
	}
	if len(b) >= 2 && b[0] == 0 && b[1] == 0 {
		return lacking("its beginning isn't there yet")
	}
	if bytes.HasPrefix(b, []byte("letter")) {
		return foreign{}
	}
	if len(b) >= 2 && (b[0] != 0xFF || b[1] != 0xD8) {
		return errors.New("it doesn't begin like a JPEG")
	}
	for i := 2; i+4 <= len(b); {
		if b[i] != 0xFF {
			return lacking(fmt.Sprintf("no segment at byte %d", i))
		}
		n := int(binary.BigEndian.Uint16(b[i+2:]))
		if b[i+1] == 0xDA {
			for j := i + 2 + n; j+1 < len(b); j++ {
				switch m := b[j+1]; {
				case b[j] != 0xFF || m == 0 || m >= 0xD0 && m <= 0xD7: // data, or a restart
				case m == 0xD9:
					return nil
				default:
					return fmt.Errorf("marker %#x within its image data", m)
				}
			}
			return lacking("its image data doesn't end")
		}
		i += 2 + n
	}
	return lacking("it ends within its header")
}

// lacking is an error that says of itself that more may come.
type lacking string

func (l lacking) Error() string  { return string(l) }
func (lacking) Unfinished() bool { return true }

// foreign is an error that says of itself that the file is of no use, and names the file unless
// it is asked not to.
type foreign struct{}

func (foreign) Error() string    { return "somewhere/a.jpg: this is a letter" }
func (foreign) Foreign() bool    { return true }
func (foreign) Sentence() string { return "this is a letter" }

// pictures remembers what it drew, so that a trace can name what was delivered.
type pictures struct {
	mu     sync.Mutex
	byName map[string][]byte
	byHash map[[32]byte]string
}

func (p *pictures) get(t testing.TB, name string) []byte {
	t.Helper()
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.byName == nil {
		p.byName, p.byHash = map[string][]byte{}, map[[32]byte]string{}
	}
	b, ok := p.byName[name]
	if !ok {
		switch {
		case strings.HasPrefix(name, "junk"):
			b = bytes.Repeat([]byte(name+" is no picture. "), 200)
		case strings.HasSuffix(name, "*"):
			b = bytes.Clone(picture(t, strings.TrimSuffix(name, "*"), 0))
			b[10] ^= 1 // in a quantization table
		case strings.HasPrefix(name, "letter"):
			b = bytes.Repeat([]byte(name+" to the committee. "), 20)
		case name == "empty":
			b = []byte{}
		default:
			b = picture(t, name, 0)
		}
		p.byName[name] = b
		p.byHash[sum(b)] = name
	}
	return b
}

func (p *pictures) name(hash [32]byte) string {
	p.mu.Lock()
	defer p.mu.Unlock()
	if n, ok := p.byHash[hash]; ok {
		return n
	}
	return fmt.Sprintf("other-%x", hash[:4])
}
