package entropy

// The inverse transform below is that of Go's image/jpeg (dct.go, Copyright 2025
// The Go Authors, BSD licence), step by step in the same fixed point, so that
// samples are the same to the bit. The algorithm is that of Loeffler, Ligtenberg
// and Moschytz, "Practical Fast 1-D DCT Algorithms with 11 Multiplications", 1989.

// Constants: cosines and sines of multiples of pi/16, scaled by 2 to the power in
// the name, rounded.
const (
	cos1_12 = 4017 // cos(pi/16)
	sin1_12 = 799
	cos3_12 = 3406 // cos(3pi/16)
	sin3_12 = 2276
	half_8  = 181 // 1/sqrt(2)
	half_14 = 11585
	c6_18   = 70936 // cos(6pi/16)/sqrt(2)
	s6_18   = 171254
	c6_12   = 1108
	s6_12   = 2676
)

// box rotates and scales with three multiplications.
func box(x0, x1, kcos, ksin int32) (int32, int32) {
	sum := kcos * (x0 + x1)
	return sum + (ksin-kcos)*x1, sum - (kcos+ksin)*x0
}

// idct multiplies the coefficients of a block (transposed, like quant) by their
// divisors and transforms them to samples, row by row. It works in 32 bits that
// wrap, as the original does.
func idct(b *[64]int16, quant *[64]int32, out *[64]uint8) {
	var rows [64]int32
	for i := range 8 {
		x0 := int32(b[i]) * quant[i]
		x7 := int32(b[8+i]) * quant[8+i]
		x2 := int32(b[16+i]) * quant[16+i]
		x5 := int32(b[24+i]) * quant[24+i]
		x1 := int32(b[32+i]) * quant[32+i]
		x6 := int32(b[40+i]) * quant[40+i]
		x3 := int32(b[48+i]) * quant[48+i]
		x4 := int32(b[56+i]) * quant[56+i]

		x0 <<= 17
		x1 <<= 17
		x0, x1 = x0+x1, x0-x1
		x2, x3 = box(x2, x3, c6_18, -s6_18)
		x1, x2 = x1+x2, x1-x2
		x0, x3 = x0+x3, x0-x3

		x4 <<= 7
		x7 <<= 7
		x7, x4 = x7+x4, x7-x4
		x6 *= half_8
		x5 *= half_8
		x7, x5 = x7+x5, x7-x5
		x4, x6 = x4+x6, x4-x6
		x4, x7 = box(x4>>2, x7>>2, cos3_12, -sin3_12)
		x5, x6 = box(x5>>2, x6>>2, cos1_12, -sin1_12)

		r := rows[8*i : 8*i+8 : 8*i+8]
		r[0], r[7] = x0+x7, x0-x7
		r[1], r[6] = x1+x6, x1-x6
		r[2], r[5] = x2+x5, x2-x5
		r[3], r[4] = x3+x4, x3-x4
	}
	for i := range 8 {
		x0 := rows[i]
		x7 := rows[8+i]
		x2 := rows[16+i]
		x5 := rows[24+i]
		x1 := rows[32+i]
		x6 := rows[40+i]
		x3 := rows[48+i]
		x4 := rows[56+i]

		x0 += 1 << 19
		x0, x1 = (x0+x1)>>2, (x0-x1)>>2
		x2, x3 = box(x2>>13, x3>>13, c6_12, -s6_12)
		x1, x2 = x1+x2, x1-x2
		x0, x3 = x0+x3, x0-x3

		x7, x4 = x7+x4, x7-x4
		x5 = (x5 >> 13) * half_14
		x6 = (x6 >> 13) * half_14
		x7, x5 = x7+x5, x7-x5
		x4, x6 = x4+x6, x4-x6
		x4, x7 = box(x4>>14, x7>>14, cos3_12, -sin3_12)
		x5, x6 = box(x5>>14, x6>>14, cos1_12, -sin1_12)

		out[i], out[56+i] = sample(x0+x7), sample(x0-x7)
		out[8+i], out[48+i] = sample(x1+x6), sample(x1-x6)
		out[16+i], out[40+i] = sample(x2+x5), sample(x2-x5)
		out[24+i], out[32+i] = sample(x3+x4), sample(x3-x4)
	}
}

// sample drops the fraction and shifts the level.
func sample(v int32) uint8 { return uint8(min(max(v>>18, -128), 127) + 128) }
