package entropy

import (
	"bytes"
	"image"
	"image/jpeg"
	"testing"
)

// shrunkOf is a sample of a plane by times smaller, from image/jpeg's. Whole MCUs are
// there to be read, beyond the picture's edge.
func shrunkOf(pix []uint8, stride, x, y, by int) uint8 {
	sum := by * by / 2
	for dy := range by {
		for dx := range by {
			sum += int(pix[(by*y+dy)*stride+by*x+dx])
		}
	}
	return uint8(sum / (by * by))
}

func TestHalfIsTheMeanOfTwoByTwo(t *testing.T) {
	isTheMean(t, 2, half)
	if img, err := Half([]byte("\xFF\xD8no picture")); err == nil {
		t.Errorf("nonsense comes to %v", img.Bounds())
	}
}

func TestAQuarterIsTheMeanOfFourByFour(t *testing.T) {
	isTheMean(t, 4, func(data []byte, workers int, vector bool) (image.Image, error) {
		var got *grid
		img, err := readQuarter(data, 1, func(f Frame) Sink { got = newGrid(f); return got }, workers, vector && vectors)
		if err != nil {
			return nil, err
		}
		want, err := plainly(data)
		if err != nil {
			t.Fatal(err)
		}
		if d := differs(got, want); d != "" {
			t.Errorf("with a quarter beside it: %s", d)
		}
		return img, err
	})
	data := made{width: 700, height: 411, lay: lays[0], seed: 9, busy: 15}.encode()
	if img, err := ReadQuarter(data, 701, func(f Frame) Sink { return nothing{} }); img != nil || err != nil {
		t.Errorf("of a small picture a quarter is made, or %v", err)
	}
}

// isTheMean holds smaller pictures against sums over image/jpeg's samples, for every layout and odd sizes.
func isTheMean(t *testing.T, by int, shrunk func(data []byte, workers int, vector bool) (image.Image, error)) {
	seed := uint64(500)
	for _, lay := range append(lays[:len(lays):len(lays)], [4]int{1, 1}) {
		for _, size := range [][2]int{{1, 1}, {16, 16}, {35, 21}, {700, 411}} {
			seed++
			m := made{width: size[0], height: size[1], lay: lay, seed: seed, busy: 15}
			data := m.encode()
			full, err := jpeg.Decode(bytes.NewReader(data))
			if err != nil {
				t.Fatal(err)
			}
			for _, way := range ways {
				got, err := shrunk(data, way.workers, way.vector)
				if err != nil {
					t.Fatalf("%+v: %v", m, err)
				}
				if want := (image.Point{(m.width + by - 1) / by, (m.height + by - 1) / by}); got.Bounds().Size() != want {
					t.Fatalf("%+v: the smaller picture is %v, want %v", m, got.Bounds().Size(), want)
				}
				type pair struct {
					got, want             []uint8
					gotStride, wantStride int
					gotW, gotH            int
				}
				var list []pair
				switch got := got.(type) {
				case *image.Gray:
					f := full.(*image.Gray)
					list = []pair{{got.Pix, f.Pix, got.Stride, f.Stride, (m.width + by - 1) / by, (m.height + by - 1) / by}}
				case *image.YCbCr:
					f := full.(*image.YCbCr)
					if got.SubsampleRatio != f.SubsampleRatio {
						t.Fatalf("%+v: %v, want %v", m, got.SubsampleRatio, f.SubsampleRatio)
					}
					cw, ch := (m.width*lay[2]+by*lay[0]-1)/(by*lay[0]), (m.height*lay[3]+by*lay[1]-1)/(by*lay[1])
					list = []pair{{got.Y, f.Y, got.YStride, f.YStride, (m.width + by - 1) / by, (m.height + by - 1) / by},
						{got.Cb, f.Cb, got.CStride, f.CStride, cw, ch}, {got.Cr, f.Cr, got.CStride, f.CStride, cw, ch}}
				}
				for k, p := range list {
					for y := range p.gotH {
						for x := range p.gotW {
							if g, w := p.got[y*p.gotStride+x], shrunkOf(p.want, p.wantStride, x, y, by); g != w {
								t.Fatalf("%+v, plane %d: sample %d, %d is %d, want %d", m, k, x, y, g, w)
							}
						}
					}
				}
			}
		}
	}
}
