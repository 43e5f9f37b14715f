package assess

import (
	"math"

	"thirdstop/assess/exposure"
	"thirdstop/assess/scene"
)

const (
	otherHue   = 0.45 // stops between channels by which a backdrop may differ from what the set's was, where neither clips
	otherShare = 0.35 // of what the backdrop covered before, under which a frame is framed otherwise
)

// belongs says whether a frame is part of the set. Without a frame before it, a backdrop that is surely found is
// what makes a set. With one, the backdrop must look like that one's.
func belongs(r *Reading, sc *scene.Scene, before *Reading) PartOfSet {
	b, sitter := r.Regions.Backdrop, r.Regions.Sitter
	round := func(v float64) float64 { return math.Round(v*100) / 100 }
	if b == nil {
		known := before != nil && before.Regions.Backdrop != nil
		p := PartOfSet{Answer: BelongsNo, Sure: round(1 - sc.Backdrop.Confidence), Reason: "no backdrop was found: " + sc.Backdrop.Reason}
		if !known {
			p.Sure = round(0.9 * p.Sure) // it may be a set that isn't recognised as one
		}
		if p.Sure < 0.7 {
			p.Answer = BelongsUnsure
		}
		return p
	}
	if before != nil && before.Regions.Backdrop != nil {
		was := before.Regions.Backdrop
		if d, ok := hueApart(was, b); ok && d > otherHue {
			return PartOfSet{Answer: BelongsNo, Sure: round(min(1, 0.5+float64(d-otherHue))), Reason: "what lies along the upper border has another colour than the backdrop of the frames before"}
		}
		if b.Share < otherShare*was.Share {
			return PartOfSet{Answer: BelongsUnsure, Sure: 0.5, Reason: "far less backdrop shows than in the frames before"}
		}
	}
	switch {
	case sitter == nil:
		return PartOfSet{Answer: BelongsYes, Sure: round(b.Confidence), Reason: "an empty backdrop"}
	case b.Confidence < 0.6 || sitter.Confidence < 0.6:
		return PartOfSet{Answer: BelongsUnsure, Sure: 0.5, Reason: "it is not sure that this is a backdrop with somebody before it"}
	}
	return PartOfSet{Answer: BelongsYes, Sure: round(min(b.Confidence, sitter.Confidence)), Reason: "a backdrop with somebody before it"}
}

// hueApart is the largest difference of the channels' ratios between two backdrops, by their histograms; false where
// one clips, or is too dark to have a colour.
func hueApart(a, b *Backdrop) (exposure.Stops, bool) {
	mean := func(c *Codes) (m [3]float64, ok bool) {
		for ch, h := range [3][]int32{c.R, c.G, c.B} {
			var n, sum, clipped float64
			for code, k := range h {
				n += float64(k)
				sum += float64(k) * float64(code)
				if code >= 253 {
					clipped += float64(k)
				}
			}
			if n == 0 || clipped > 0.05*n || sum/n < 20 {
				return m, false
			}
			m[ch] = sum / n
		}
		return m, true
	}
	x, ok1 := mean(&a.Codes)
	y, ok2 := mean(&b.Codes)
	if !ok1 || !ok2 {
		return 0, false
	}
	var most float64
	for _, ch := range [2]int{0, 2} {
		// Codes grow with about the 0.45th power of light, whatever the camera adds to that.
		most = max(most, math.Abs(math.Log2(x[ch]/x[1]*y[1]/y[ch]))/0.45)
	}
	return exposure.Stops(most), true
}
