package entropy

import (
	"bytes"
	"fmt"
	"image/jpeg"
	"runtime"
	"testing"
)

func seeds(f *testing.F) {
	for i, lay := range append(lays[:len(lays):len(lays)], [4]int{1, 1}) {
		for _, interval := range []int{0, 2} {
			f.Add(made{width: 37, height: 29, lay: lay, busy: 12, seed: uint64(i), interval: interval, skewed: i%2 == 0}.encode())
		}
	}
	f.Add(made{width: 520, height: 300, lay: [4]int{2, 2, 1, 1}, busy: 50, seed: 1}.encode())
}

// FuzzEqualsPlain: whatever the bytes, what is measured is what image/jpeg decodes.
func FuzzEqualsPlain(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 256<<10 {
			return
		}
		if c, err := jpeg.DecodeConfig(bytes.NewReader(data)); err == nil && c.Width*c.Height > 1<<21 {
			return // the reference would take too long
		}
		agree(t, "a fuzzed file", data)
	})
}

// FuzzDecode breaks the coded data of a sound file of many chunks.
func FuzzDecode(f *testing.F) {
	whole := made{width: 900, height: 700, lay: [4]int{2, 1, 1, 1}, busy: 30, seed: 2}.encode()
	scan := bytes.Index(whole, []byte{0xFF, 0xDA}) + 14
	f.Add(uint32(1000), byte(7), uint32(50_000), byte(9))
	f.Add(uint32(70_000), byte(0), uint32(200_000), byte(255))
	f.Fuzz(func(t *testing.T, at1 uint32, v1 byte, at2 uint32, v2 byte) {
		data := bytes.Clone(whole)
		n := uint32(len(data) - scan)
		data[scan+int(at1%n)] = v1
		data[scan+int(at2%n)] = v2
		agree(t, "a broken file", data)
	})
}

// FuzzMade makes a file up, of any layout, size and kind of table, and breaks it in
// places: each edit is three bytes, where (in 1/65536 of the file) and what. Headers,
// tables, markers and codes are all hit this way, in files that are otherwise sound.
func FuzzMade(f *testing.F) {
	f.Add(uint16(37), uint16(29), uint8(0), uint8(12), uint8(0), uint8(1), []byte(nil))
	f.Add(uint16(600), uint16(410), uint8(3), uint8(60), uint8(0x21), uint8(9), []byte{0, 80, 0xFF, 200, 0, 0xD0})
	f.Add(uint16(300), uint16(500), uint8(1), uint8(5), uint8(0x12), uint8(2), []byte{128, 0, 0xFF, 128, 1, 0xD9})
	f.Add(uint16(90), uint16(33), uint8(8), uint8(63), uint8(0xFF), uint8(3), []byte{0, 10, 0xFF, 0, 90, 0xFF})
	f.Fuzz(func(t *testing.T, width, height uint16, lay, busy, kind, seed uint8, edits []byte) {
		all := append(lays[:len(lays):len(lays)], [4]int{1, 1}, [4]int{2, 2})
		m := made{width: 1 + int(width)%700, height: 1 + int(height)%500, lay: all[int(lay)%len(all)], busy: int(busy) % 64, seed: uint64(seed),
			skewed: kind&1 != 0, same: kind&2 != 0, large: kind&4 != 0, extended: kind&8 != 0, wide: kind&16 != 0}
		if kind&32 != 0 {
			m.interval = 1 + int(kind>>6)*31
		}
		data := m.encode()
		if !agree(t, fmt.Sprintf("%+v", m), data) {
			t.Errorf("%+v: left alone", m)
		}
		for n := 0; len(edits) >= 3 && n < 8; n++ {
			at := int(edits[0])<<8 | int(edits[1])
			if at < 0x8000 {
				at %= min(len(data), 1024) // headers, as often as the rest
			} else {
				at = (at - 0x8000) * len(data) >> 15
			}
			data[at] = edits[2]
			edits = edits[3:]
		}
		if c, err := jpeg.DecodeConfig(bytes.NewReader(data)); err == nil && c.Width*c.Height > 1<<21 {
			return // the reference would take too long
		}
		agree(t, fmt.Sprintf("%+v, broken", m), data)
	})
}

// FuzzMemory: what is kept is bounded, whatever a file declares.
func FuzzMemory(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 256<<10 {
			return
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_ = readWith(data, Exact, func(Frame) Sink { return nothing{} }, 2, true)
		runtime.ReadMemStats(&after)
		// Two workers, tables, and bands no wider than 65535 pixels.
		if used := after.TotalAlloc - before.TotalAlloc; used > 16<<20 {
			t.Fatalf("reserved %d bytes for a file of %d", used, len(data))
		}
	})
}
