package evaluate

import (
	"bytes"
	"context"
	"math"
	"strings"
	"testing"
)

// A few scenes: most of what is taken for backdrop and sitter is, and the table has its lines.
func TestRegionsOfAFewScenes(t *testing.T) {
	s, err := Regions(context.Background(), 12, 800_000)
	if err != nil {
		t.Fatal(err)
	}
	m, _, _, n := s.low(func(f Frame) (float64, bool) { return f.Backdrop.Union, f.Found })
	if n < 10 || m.Value < 0.95 {
		t.Errorf("%d of 12 backdrops found, median intersection over union %v, want 10 and 0.95", n, m)
	}
	var text bytes.Buffer
	if err := s.WriteTable(&text); err != nil {
		t.Fatal(err)
	}
	if got := strings.Count(text.String(), "\n| "); got != 16 {
		t.Errorf("the tables have %d lines, want 16:\n%s", got, text.String())
	}
}

// Wilson's interval for 81 of 263: 0.2553 to 0.3662 (Newcombe 1998, Statist. Med. 17, 857, table I, from memory).
func TestProportion(t *testing.T) {
	f := proportion(81, 263)
	if math.Abs(f.Low-0.2553) > 5e-5 || math.Abs(f.High-0.3662) > 5e-5 {
		t.Errorf("81 of 263 gives %v, want 0.2553 to 0.3662 (Newcombe 1998)", f)
	}
}
