package assess

import (
	"math"
	"testing"

	"thirdstop/assess/tone"
)

// Under the transfer function of IEC 61966-2-1 code 188 is half the light of code 255: 187.5/255 is
// 0.735, and ((0.735+0.055)/1.055)^2.4 is 0.4995 (derived here). So the bin under -1 stop and the one over it share it.
func TestACodeLiesWhereItsLightIs(t *testing.T) {
	r := make([]int32, 189)
	r[188] = 100
	h, ok := Codes{R: r}.InStops(tone.SRGB())
	if !ok {
		t.Fatal("there is no histogram")
	}
	at := int((-1 - h.From) / h.Step)
	if sum := h.Shares[at-1] + h.Shares[at]; math.Abs(sum-1) > 1e-9 {
		t.Errorf("beside -1 stop lie %.3f of the samples, want all of them: %v", sum, h.Shares[at-3:at+3])
	}
}

func TestSharesAddUpToOneUnderEveryCurve(t *testing.T) {
	full := make([]int32, 256)
	for i := range full {
		full[i] = int32(i%7 + 1)
	}
	for _, curve := range []*tone.Curve{nil, tone.Default(), tone.SRGB()} {
		h, ok := Codes{R: full, G: full[:120], B: full}.InStops(curve)
		if !ok {
			t.Fatal("there is no histogram")
		}
		sum := h.Clipped
		for _, s := range h.Shares {
			if s < 0 {
				t.Fatalf("a share is negative: %v", h.Shares)
			}
			sum += s
		}
		if math.Abs(sum-1) > 1e-9 {
			t.Errorf("the shares add up to %.9f, want 1", sum)
		}
		if n := full[254] + full[255]; math.Abs(h.Clipped*float64(total(full)*2+total(full[:120]))-2*float64(n)) > 1e-6 {
			t.Errorf("clipped are %.4f, want the samples of codes 254 and 255 alone", h.Clipped)
		}
	}
	if _, ok := (Codes{}).InStops(nil); ok {
		t.Error("a region without samples has a histogram")
	}
}

// Dark codes are further apart than a bin is wide; an even spread of them must leave no bin in between empty.
func TestDarkCodesMakeNoComb(t *testing.T) {
	full := make([]int32, 254)
	for i := range full {
		full[i] = 10
	}
	h, _ := Codes{G: full}.InStops(tone.SRGB())
	for i, s := range h.Shares {
		if s == 0 {
			t.Errorf("the bin from %.3f stops is empty", float64(h.From)+float64(i)*float64(h.Step))
		}
	}
}

func total(c []int32) (n int64) {
	for _, v := range c {
		n += int64(v)
	}
	return n
}
