package entropy

import (
	"bytes"
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
