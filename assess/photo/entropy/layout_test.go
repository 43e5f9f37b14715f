package entropy

import (
	"bytes"
	"errors"
	"fmt"
	"image/jpeg"
	"testing"
)

func TestEveryLayoutMeasuresAsItDecodes(t *testing.T) {
	sizes := [][2]int{{1, 1}, {8, 8}, {16, 16}, {7, 23}, {33, 17}, {129, 65}, {250, 190}}
	seed := uint64(0)
	for _, lay := range append(lays[:len(lays):len(lays)], [4]int{1, 1}, [4]int{2, 2}) {
		for _, size := range sizes {
			for variant := range 8 {
				seed++
				m := made{width: size[0], height: size[1], lay: lay, seed: seed, busy: []int{0, 5, 63, 20}[variant%4],
					skewed: variant&1 == 0, same: variant&2 != 0, large: variant == 3 || variant == 6, extended: variant == 4, wide: variant == 5,
					interval: []int{0, 0, 1, 0, 3, 0, 0, 7}[variant]}
				data := m.encode()
				if _, err := jpeg.Decode(bytes.NewReader(data)); err != nil {
					t.Fatalf("%+v: the test's own encoder writes what image/jpeg can't read: %v", m, err)
				}
				if !agree(t, fmt.Sprintf("%+v", m), data) {
					t.Errorf("%+v: left alone", m)
				}
				if t.Failed() {
					return
				}
			}
		}
	}
}

// Frames of many chunks: guesses must meet the truth, and files on which they
// can't (one pair of tables for luma and chroma, so that a wrong phase never
// shows) must be decoded all the same.
func TestGuessesMeetTheTruth(t *testing.T) {
	for _, m := range []made{
		{width: 2200, height: 1400, lay: [4]int{2, 2, 1, 1}, busy: 24, seed: 1},
		{width: 2201, height: 1403, lay: [4]int{2, 1, 1, 1}, busy: 24, seed: 2, skewed: true},
		{width: 1999, height: 1403, lay: [4]int{1, 2, 1, 1}, busy: 9, seed: 3},
		{width: 1500, height: 1100, lay: [4]int{1, 1, 1, 1}, busy: 40, seed: 4},
		{width: 3000, height: 1700, lay: [4]int{1, 1}, busy: 10, seed: 5, skewed: true},
		{width: 2200, height: 1400, lay: [4]int{2, 2, 1, 1}, busy: 24, seed: 6, same: true},
		{width: 2200, height: 1400, lay: [4]int{2, 2, 1, 1}, busy: 0, seed: 7},
		{width: 2200, height: 1400, lay: [4]int{2, 1, 1, 1}, busy: 20, seed: 8, interval: 40},
		{width: 2200, height: 1400, lay: [4]int{2, 1, 1, 1}, busy: 20, seed: 9, interval: 20_000},
		{width: 2200, height: 1400, lay: [4]int{2, 2, 1, 1}, busy: 63, seed: 10, large: true},
	} {
		data := m.encode()
		if !agree(t, fmt.Sprintf("%+v", m), data) {
			t.Errorf("%+v: left alone", m)
		}
		j, err := parse(data)
		if err == nil {
			err = j.split(2, vectors)
		}
		if err != nil {
			t.Fatal(err)
		}
		j.sink = nothing{}
		if err := j.run(2); err != nil {
			t.Fatal(err)
		}
		t.Logf("%+v: %d chunks, %d guesses met, %d missed", m, len(j.chunks), j.meetings.Load(), j.misses.Load())
		if m.interval == 0 && !m.same && j.misses.Load() > 0 {
			t.Errorf("%+v: %d guesses of %d led nowhere", m, j.misses.Load(), len(j.chunks))
		}
	}
}

// What is out of the ordinary is left alone, and what is damaged is never measured.
func TestOddFilesAreLeftAlone(t *testing.T) {
	good := made{width: 700, height: 500, lay: [4]int{2, 1, 1, 1}, busy: 20, seed: 3, interval: 11}.encode()
	scan := bytes.Index(good, []byte{0xFF, 0xDA})
	change := func(at int, v byte) []byte {
		b := bytes.Clone(good)
		b[at] = v
		return b
	}
	frame := bytes.Index(good, []byte{0xFF, 0xC0})
	for name, data := range map[string][]byte{
		"nothing": nil, "a start": good[:2], "no scan": good[:scan], "half": good[:len(good)/2], "no end": good[:len(good)-2],
		"progressive": change(frame+1, 0xC2), "lossless": change(frame+1, 0xC3), "arithmetic": change(frame+1, 0xC9), "12 bits": change(frame+4, 12),
		"no width": append(append(bytes.Clone(good[:frame+7]), 0, 0), good[frame+9:]...), "larger than its data": change(frame+5, 0xFF),
		"one restart too few": bytes.Replace(good, []byte{0xFF, 0xD3}, nil, 1), "restarts out of order": bytes.Replace(good, []byte{0xFF, 0xD3}, []byte{0xFF, 0xD5}, 1),
		"two ends": append(bytes.Clone(good[:scan+4000]), append([]byte{0xFF, 0xD9}, good[scan+4000:]...)...),
	} {
		for _, way := range ways {
			if _, err := survey(data, Exact, way.workers, way.vector); !errors.Is(err, ErrNotMine) {
				t.Errorf("%s: %v, want ErrNotMine", name, err)
			}
		}
	}
}
