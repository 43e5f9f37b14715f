package tone

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"thirdstop/assess/exposure"
	"thirdstop/assess/studio"
)

// knownSteps are regions seen before and after changes of known size, through a camera's curve, with flash scatter; some are
// off by far, as when somebody moved or a dial stood elsewhere.
func knownSteps(code func(light float64) float64, seed uint64, n int, astray float64) []Known {
	r := rand.New(rand.NewPCG(seed, 17))
	var out []Known
	for range n {
		top := -0.25 - 2.2*r.Float64()
		ratio := float64(1+r.IntN(4)) / 3
		off := 0.05 * math.Sqrt2 * r.NormFloat64()
		if r.Float64() < astray {
			off += 0.4
		}
		k := Known{Ratio: exposure.Stops(ratio), Sigma: 0.08}
		for ch := range 3 {
			k.Light[ch] = code(math.Exp2(top)) + 0.5*r.NormFloat64()
			k.Dark[ch] = code(math.Exp2(top-ratio-off)) + 0.5*r.NormFloat64()
		}
		out = append(out, k)
	}
	return out
}

// offOf is the root mean square error of a curve against the truth over code values 40 to 250.
func offOf(c *Curve, light func(code float64) float64) float64 {
	sum, n := 0.0, 0
	for code := 40.0; code <= 250; code += 5 {
		sum += math.Pow(c.level(1, code)-math.Log2(light(code)), 2)
		n++
	}
	return math.Sqrt(sum / float64(n))
}

// Known changes make a curve better where the default is wrong, the more the better, and don't spoil it where the
// default is right; some that went astray do no harm. The source of the truth is each curve's formula.
func TestKnownChangesImproveACurve(t *testing.T) {
	truths := map[string]struct{ code, light func(float64) float64 }{
		"the default itself": {func(l float64) float64 { return Default().Code(1, l) }, func(c float64) float64 { return Default().Linear(1, c) }},
	}
	for _, k := range append(studio.Curves(), studio.Cameras()[10], studio.Cameras()[35], studio.Cameras()[60]) {
		truths[k.String()] = struct{ code, light func(float64) float64 }{k.Code, k.Light}
	}
	for name, x := range truths {
		before := offOf(Default(), x.light)
		sum := map[int]float64{}
		const tries = 8
		for seed := range uint64(tries) {
			for _, n := range []int{3, 10} {
				f, err := Refine(knownSteps(x.code, seed, n, 0.1), nil)
				if err != nil {
					t.Errorf("%s, %d steps: %v", name, n, err)
					continue
				}
				sum[n] += offOf(f.Curve, x.light) / tries
			}
		}
		t.Logf("%-24s before %.2f, after 3 steps %.2f, after 10 %.2f", name, before, sum[3], sum[10])
		if sum[10] > 0.8*before && before > 0.2 {
			t.Errorf("%s: 10 known changes leave %.2f stop of %.2f", name, sum[10], before)
		}
		// Who happens to be near the default pays for scatter: about a fifth of what the default says it may be off.
		if most := max(before+0.02, 0.17); sum[3] > most || sum[10] > most {
			t.Errorf("%s: %.2f stop off before, %.2f after 3 known changes and %.2f after 10, want at most %.2f", name, before, sum[3], sum[10], most)
		}
	}
}

// A camera whose tone follows the picture, not the light, is refused: the same change moves it by another amount each time.
func TestKnownChangesThatContradictAreRefused(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	k := studio.GentleCurve
	var all []Known
	for range 24 {
		top, lift := -0.3-1.5*r.Float64(), 0.8*r.Float64()-0.4
		x := Known{Ratio: 1, Sigma: 0.08}
		for ch := range 3 {
			x.Light[ch], x.Dark[ch] = k.Code(math.Exp2(top)), k.Code(math.Exp2(top-1+lift))
		}
		all = append(all, x)
	}
	if _, err := Refine(all, nil); !errors.Is(err, ErrNotFixed) {
		t.Errorf("it is learned from: %v", err)
	}
}

// Whose steps the default reads well keeps it, most of the time: what scatter alone says is nothing to learn. Where the default is
// off by half a stop and more, it is learned.
func TestOnlyWhatTheStepsShowIsLearned(t *testing.T) {
	own, far := 0, 0
	const tries = 40
	for seed := range uint64(tries) {
		for _, x := range []struct {
			code  func(float64) float64
			count *int
		}{{func(l float64) float64 { return Default().Code(1, l) }, &own}, {studio.PlainCurve.Code, &far}} {
			_, better, err := Improved(Entry{}, false, Key{Model: "Quayside One"}, "one", knownSteps(x.code, seed, 6, 0))
			if err != nil {
				t.Fatal(err)
			}
			if better {
				*x.count++
			}
		}
	}
	t.Logf("of %d shoots with six changes %d learn from a camera that shows light as the default has it, %d from one far from it", tries, own, far)
	if own > tries/5 || far < tries*9/10 {
		t.Errorf("%d of %d shoots learn where there is nothing to learn, and %d where there is; want a fifth at most and nine in ten", own, tries, far)
	}
}

// Steps are counted once, whichever shoot they are of; a curve that a bracket gave is left alone.
func TestStoredStepsCountOnce(t *testing.T) {
	key := Key{Model: "Quayside One"}
	steps := knownSteps(studio.IndexCurve.Code, 1, 6, 0)
	first, better, err := Improved(Entry{}, false, key, "one", steps[:3])
	if err != nil || !better || len(first.Known) != 3 || first.Known[0].Shoot != "one" {
		t.Fatalf("the first three: %v, %v, %d steps", err, better, len(first.Known))
	}
	again, _, err := Improved(first, true, key, "one", steps)
	if err != nil || len(again.Known) > 6 {
		t.Errorf("six of the same shoot: %v, %d steps are kept", err, len(again.Known))
	}
	next, better, err := Improved(first, true, key, "two", steps[3:])
	if err != nil || better && len(next.Known) != 6 {
		t.Errorf("three of the next shoot: %v, %d steps are kept, want 6", err, len(next.Known))
	}
	bracketed := first
	bracketed.Known = nil
	if _, better, _ := Improved(bracketed, true, key, "two", steps); better {
		t.Error("single steps took the place of a bracket's curve")
	}
	if _, better, err := Improved(Entry{}, false, key, "one", steps[:2]); better || err != nil {
		t.Errorf("two steps were learned from (%v)", err)
	}
}
