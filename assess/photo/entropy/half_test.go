package entropy

import (
	"bytes"
	"image"
	"image/jpeg"
	"testing"
)

// halfOf is a sample of a plane at half size, from image/jpeg's. Whole MCUs are
// there to be read, beyond the picture's edge.
func halfOf(pix []uint8, stride, x, y int) uint8 {
	at := 2*y*stride + 2*x
	return uint8((int(pix[at]) + int(pix[at+1]) + int(pix[at+stride]) + int(pix[at+stride+1]) + 2) / 4)
}

func TestHalfIsTheMeanOfTwoByTwo(t *testing.T) {
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
				got, err := half(data, way.workers, way.vector)
				if err != nil {
					t.Fatalf("%+v: %v", m, err)
				}
				if want := (image.Point{(m.width + 1) / 2, (m.height + 1) / 2}); got.Bounds().Size() != want {
					t.Fatalf("%+v: half is %v, want %v", m, got.Bounds().Size(), want)
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
					list = []pair{{got.Pix, f.Pix, got.Stride, f.Stride, (m.width + 1) / 2, (m.height + 1) / 2}}
				case *image.YCbCr:
					f := full.(*image.YCbCr)
					if got.SubsampleRatio != f.SubsampleRatio {
						t.Fatalf("%+v: %v, want %v", m, got.SubsampleRatio, f.SubsampleRatio)
					}
					cw, ch := (m.width*lay[2]+2*lay[0]-1)/(2*lay[0]), (m.height*lay[3]+2*lay[1]-1)/(2*lay[1])
					list = []pair{{got.Y, f.Y, got.YStride, f.YStride, (m.width + 1) / 2, (m.height + 1) / 2},
						{got.Cb, f.Cb, got.CStride, f.CStride, cw, ch}, {got.Cr, f.Cr, got.CStride, f.CStride, cw, ch}}
				}
				for k, p := range list {
					for y := range p.gotH {
						for x := range p.gotW {
							if g, w := p.got[y*p.gotStride+x], halfOf(p.want, p.wantStride, x, y); g != w {
								t.Fatalf("%+v, plane %d: sample %d, %d is %d, want %d", m, k, x, y, g, w)
							}
						}
					}
				}
			}
		}
	}
	if img, err := Half([]byte("\xFF\xD8no picture")); err == nil {
		t.Errorf("nonsense comes to %v", img.Bounds())
	}
}
