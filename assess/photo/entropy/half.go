package entropy

import (
	"encoding/binary"
	"image"
	"runtime"
)

// Half decodes a JPEG to a picture of half its width and height, rounded up: each
// sample of a plane is the mean of 2x2 of image/jpeg's, rounded half up. It takes
// the same files as [Read], and gives an *image.YCbCr of the file's own
// subsampling or an *image.Gray. In a last odd column or row, what the file holds
// beyond its edge counts in.
func Half(data []byte) (image.Image, error) {
	return half(data, runtime.GOMAXPROCS(0), vectors)
}

// ratios of subsampling, by how many pixels a sample of chroma covers across and down.
var ratios = map[[2]uint]image.YCbCrSubsampleRatio{
	{0, 0}: image.YCbCrSubsampleRatio444, {1, 0}: image.YCbCrSubsampleRatio422,
	{0, 1}: image.YCbCrSubsampleRatio440, {1, 1}: image.YCbCrSubsampleRatio420,
}

func half(data []byte, workers int, vector bool) (image.Image, error) {
	j, err := parse(data)
	if err != nil {
		return nil, err
	}
	if err := j.split(workers); err != nil {
		return nil, err
	}
	j.want, j.vector = smaller, vector
	// Whole MCUs, of which the picture is a part.
	all := image.Rect(0, 0, j.mxx*j.mw/2, j.myy*j.mh/2)
	seen := image.Rect(0, 0, (j.width+1)/2, (j.height+1)/2)
	if len(j.comps) == 1 {
		img := image.NewGray(all)
		j.planes[0] = plane{img.Pix, img.Stride}
		if err := j.run(workers); err != nil {
			return nil, err
		}
		return img.SubImage(seen), nil
	}
	y, c := &j.comps[0], &j.comps[1]
	img := image.NewYCbCr(all, ratios[[2]uint{uint(y.h/c.h - 1), uint(y.v/c.v - 1)}])
	j.planes = [3]plane{{img.Y, img.YStride}, {img.Cb, img.CStride}, {img.Cr, img.CStride}}
	if err := j.run(workers); err != nil {
		return nil, err
	}
	return img.SubImage(seen), nil
}

// smaller is what Half wants.
const smaller Want = -1

// plane is where the samples of a component go.
type plane struct {
	pix    []uint8
	stride int
}

// shrink puts an MCU's blocks into the planes, each as 4x4 samples.
func (m *measurer) shrink(blocks []int16, flat []bool, mx, my int) {
	m.transform(blocks, flat)
	k := 0
	for i := range m.job.comps {
		c, p := &m.job.comps[i], &m.job.planes[i]
		for by := range c.v {
			for bx := range c.h {
				at := 4*(my*c.v+by)*p.stride + 4*(mx*c.h+bx)
				b := &m.samples[k]
				k++
				for y := range 4 {
					binary.LittleEndian.PutUint32(p.pix[at+y*p.stride:], pairs(b[16*y:16*y+16]))
				}
			}
		}
	}
}

// pairs is the means of 2x2 samples of two rows of eight, as four bytes.
func pairs(rows []uint8) uint32 {
	const even = 0x00FF00FF00FF00FF
	a, b := binary.LittleEndian.Uint64(rows), binary.LittleEndian.Uint64(rows[8:])
	sum := a&even + a>>8&even + b&even + b>>8&even // four lanes of up to 1020
	sum = (sum + 0x0002000200020002) >> 2 & even
	return uint32(sum&0xFF | sum>>8&0xFF00 | sum>>16&0xFF0000 | sum>>24&0xFF000000)
}
