package evaluate

import (
	"bytes"
	"context"
	"errors"
	"math"
	"strings"
	"testing"

	"thirdstop/assess/exposure"
	"thirdstop/assess/studio"
	"thirdstop/testdata"
)

// A few scenes: learning brings levels near the truth, the exact curve nearer, and errors are about as large as stated. How large
// they are over hundreds of scenes is what the command prints.
func TestLearningBringsLevelsNearTheTruth(t *testing.T) {
	n := 21
	if !testdata.Thorough() {
		n = 8
	}
	s, err := Levels(context.Background(), n, 900_000)
	if err != nil {
		t.Fatal(err)
	}
	var sizes [stages][]float64
	for _, x := range s.Samples {
		for k := range sizes {
			sizes[k] = append(sizes[k], math.Abs(float64(x.Off[k])))
		}
	}
	if len(sizes[0]) < 2*n || len(s.Refused) > n/5 {
		t.Fatalf("only %d values, and %v", len(sizes[0]), s.Refused)
	}
	var med [stages]float64
	for k := range sizes {
		med[k], _ = two(sizes[k])
	}
	t.Logf("median errors: %.3f before, %.3f after learning, %.3f with the exact curve", med[Before], med[After], med[Perfect])
	if med[After] > 0.06 || med[After] > med[Before]/3 || med[Perfect] > 0.02 {
		t.Errorf("median errors are %.3f before, %.3f after learning and %.3f with the exact curve; want the second at most 0.06 and a third of the first, the last at most 0.02",
			med[Before], med[After], med[Perfect])
	}
	var text bytes.Buffer
	if err := s.WriteTable(&text); err != nil {
		t.Fatal(err)
	}
	if got, want := strings.Count(text.String(), "\n| "), 2+len(Quantities)*len(ranges)*stages; got != want {
		t.Errorf("the table has %d lines, want %d:\n%s", got, want, text.String())
	}
}

// The same seed gives the same figures.
func TestEvaluationsRepeat(t *testing.T) {
	var text [2]bytes.Buffer
	for i := range text {
		s, err := Levels(context.Background(), 2, 5)
		if err != nil {
			t.Fatal(err)
		}
		if err := s.WriteTable(&text[i]); err != nil {
			t.Fatal(err)
		}
	}
	if text[0].String() != text[1].String() {
		t.Errorf("two evaluations differ:\n%s\n%s", &text[0], &text[1])
	}
}

func TestEvaluationCanBeStopped(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, err := Levels(ctx, 5, 1); !errors.Is(err, context.Canceled) {
		t.Errorf("a stopped evaluation ended with %v", err)
	}
}

// Figures of known samples (derived here): errors of 0.01 to 1.00 in steps of 0.01, each with a sigma of half its size.
func TestFiguresOfKnownSamples(t *testing.T) {
	s := &Scenes{Seed: 1}
	for i := 1; i <= 100; i++ {
		x := Sample{Scene: i, Curve: studio.PlainCurve, Quantity: WhitePeak, Truth: -2}
		v := float64(i) / 100
		x.Off[After], x.Sigma[After] = exposure.Stops(-v), exposure.Stops(v/2)
		s.Samples = append(s.Samples, x)
	}
	r, ok := s.Row(WhitePeak, After, -30, -1)
	if !ok || r.Samples != 100 || r.Scenes != 100 {
		t.Fatalf("the row is %+v (%v)", r, ok)
	}
	if math.Abs(r.Median.Value-0.51) > 0.011 || math.Abs(r.Most.Value-0.96) > 0.011 || math.Abs(r.RMS-2) > 1e-6 {
		t.Errorf("median %.3f, 95 %% %.3f, r.m.s. %.2f; want 0.51, 0.96 and 2", r.Median.Value, r.Most.Value, r.RMS)
	}
	// The standard error of a median of 100 even values is about 0.05, so its 95 % interval is about 0.1 either side.
	if w := r.Median.High - r.Median.Low; w < 0.1 || w > 0.35 {
		t.Errorf("the median's interval is %v, want a width of about 0.2", r.Median)
	}
	if _, ok := s.Row(WhitePeak, After, -1, 0); ok {
		t.Error("a range without samples gave a row")
	}
}
