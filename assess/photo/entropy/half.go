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
	if err := j.split(workers, vector); err != nil {
		return nil, err
	}
	j.want, j.vector = smaller, vector
	img := j.shrunk(2)
	if err := j.run(workers); err != nil {
		return nil, err
	}
	return img, nil
}

// ReadQuarter is [Read] in [Exact], and gives a picture of a quarter of the width and height from the same pass, as [Half]
// does: each sample is the mean of 4x4. Of pictures whose longer edge is under from it gives none: nil.
func ReadQuarter(data []byte, from int, begin func(Frame) Sink) (image.Image, error) {
	return readQuarter(data, from, begin, runtime.GOMAXPROCS(0), vectors)
}

func readQuarter(data []byte, from int, begin func(Frame) Sink, workers int, vector bool) (image.Image, error) {
	j, err := begun(data, Exact, begin, workers, vector)
	if err != nil {
		return nil, err
	}
	var img image.Image
	if max(j.width, j.height) >= from {
		img, j.quarter = j.shrunk(4), true
	}
	if err := j.run(workers); err != nil {
		return nil, err
	}
	return img, nil
}

// shrunk makes a picture by times smaller, whose planes the job then fills.
func (j *job) shrunk(by int) image.Image {
	// Whole MCUs, of which the picture is a part.
	all := image.Rect(0, 0, j.mxx*j.mw/by, j.myy*j.mh/by)
	seen := image.Rect(0, 0, (j.width+by-1)/by, (j.height+by-1)/by)
	if len(j.comps) == 1 {
		img := image.NewGray(all)
		j.planes[0] = plane{img.Pix, img.Stride}
		return img.SubImage(seen)
	}
	y, c := &j.comps[0], &j.comps[1]
	img := image.NewYCbCr(all, ratios[[2]uint{uint(y.h/c.h - 1), uint(y.v/c.v - 1)}])
	j.planes = [3]plane{{img.Y, img.YStride}, {img.Cb, img.CStride}, {img.Cr, img.CStride}}
	return img.SubImage(seen)
}

// smaller is what Half wants.
const smaller Want = -1

// plane is where the samples of a component go.
type plane struct {
	pix    []uint8
	stride int
}

// shrink puts an MCU's blocks into the planes, each as 4x4 samples.
func (m *measurer) shrink(blocks []int16, kinds []kind, mx, my int) bool {
	if !m.transform(blocks, kinds) {
		return false
	}
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
	return true
}

// quarters puts an MCU's samples into the planes, each block as 2x2.
func (m *measurer) quarters(mx, my int) {
	j := m.job
	n := len(j.plan)
	if m.vector {
		foursVector(&m.samples[0], n, &m.fours[0])
	} else {
		for k := range n {
			m.fours[k] = fours(&m.samples[k])
		}
	}
	k := 0
	for i := range j.comps {
		c, p := &j.comps[i], &j.planes[i]
		for by := range c.v {
			at := 2*(my*c.v+by)*p.stride + 2*mx*c.h
			upper, lower := p.pix[at:], p.pix[at+p.stride:]
			f := m.fours[k]
			k++
			if c.h == 1 {
				binary.LittleEndian.PutUint16(upper, uint16(f))
				binary.LittleEndian.PutUint16(lower, uint16(f>>16))
				continue
			}
			g := m.fours[k]
			k++
			binary.LittleEndian.PutUint32(upper, f&0xFFFF|g<<16)
			binary.LittleEndian.PutUint32(lower, f>>16|g&0xFFFF0000)
		}
	}
}

// fours is the means of 4x4 samples of a block, rounded half up: from the lowest byte on the upper left, upper right, lower left, lower right.
func fours(b *[64]uint8) (out uint32) {
	const even = 0x00FF00FF00FF00FF
	for half := range 2 {
		rows := b[32*half : 32*half+32]
		p, q := binary.LittleEndian.Uint64(rows), binary.LittleEndian.Uint64(rows[8:])
		r, s := binary.LittleEndian.Uint64(rows[16:]), binary.LittleEndian.Uint64(rows[24:])
		sum := p&even + q&even + r&even + s&even // four lanes of up to 2040
		sum += p>>8&even + q>>8&even + r>>8&even + s>>8&even
		sum += sum>>16 + 8<<32 + 8 // every other lane, up to 4088
		out |= (uint32(uint8(sum>>4)) | uint32(uint8(sum>>36))<<8) << (16 * half)
	}
	return out
}

// pairs is the means of 2x2 samples of two rows of eight, as four bytes.
func pairs(rows []uint8) uint32 {
	const even = 0x00FF00FF00FF00FF
	a, b := binary.LittleEndian.Uint64(rows), binary.LittleEndian.Uint64(rows[8:])
	sum := a&even + a>>8&even + b&even + b>>8&even // four lanes of up to 1020
	sum = (sum + 0x0002000200020002) >> 2 & even
	return uint32(sum&0xFF | sum>>8&0xFF00 | sum>>16&0xFF0000 | sum>>24&0xFF000000)
}
