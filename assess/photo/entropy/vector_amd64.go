//go:build amd64 && !purego

package entropy

import "golang.org/x/sys/cpu"

// decodes says whether one of the vector kernels decodes.
const decodes = true

// vectors says whether the vector kernels can be used here. Without them the
// plain functions do the same.
var vectors = cpu.X86.HasAVX2 && cpu.X86.HasBMI2

// samplesVector turns an MCU's blocks into samples as [measurer.transform] does, but leaves the coefficients as they are.
//
//go:noescape
func samplesVector(r *blockRun) bool

// termsVector works out the terms of a block of chroma; wide is 1 where a sample
// is two pixels wide, else 0.
//
//go:noescape
func termsVector(cb, cr *[64]uint8, out *terms, wide int)

// pixelsVector adds up the pixels of whole blocks.
//
//go:noescape
func pixelsVector(r *pixelRun)

// foursVector does what [fours] does, for n blocks of samples, 1 or more.
//
//go:noescape
func foursVector(samples *[64]uint8, n int, out *uint32)

// dotsVector does what [dots.products] does, for d.blocks.
//
//go:noescape
func dotsVector(d *dots)

// markerVector looks for a byte of 255 that no zero follows, from the first on. It gives the first such place, or one in front of
// which there is none: at most 64 in front of the end.
//
//go:noescape
func markerVector(p *byte, n int) int

// blocksVector decodes up to n blocks, the first from a place on. It gives how many
// have ended, whose kinds it has noted, and where it stands in the one that
// hasn't, as [stream.block] does.
//
//go:noescape
func blocksVector(s *stream, plan *planned, n int, out *int16, kinds *kind, place uint) (done int, at uint, e uint64)
