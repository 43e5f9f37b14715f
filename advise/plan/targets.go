package plan

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"thirdstop/assess/exposure"
)

// Bounds of a target, in stops to clipping. Under -12 a camera JPEG holds nothing to measure;
// over +4 nobody lights a backdrop (common practice, no source).
const (
	lowestTarget  exposure.Stops = -12
	highestTarget exposure.Stops = 4
	narrowestBand exposure.Stops = 0.1 // what flashes scatter by (common practice, no source)
)

var errStops = errors.New("not stops")

// stops reads "-1/3", "+0.5" or "0".
func stops(text string) (exposure.Stops, error) {
	t := strings.TrimSpace(text)
	sign := 1.0
	switch {
	case strings.HasPrefix(t, "+"):
		t = t[1:]
	case strings.HasPrefix(t, "-"):
		t, sign = t[1:], -1
	}
	n, d, isFraction := strings.Cut(t, "/")
	v, err := decimal(n)
	if err != nil {
		return 0, errStops
	}
	if isFraction {
		den, err := decimal(d)
		if err != nil || den < 1 || den > 30 || strings.Contains(n+d, ".") {
			return 0, errStops
		}
		v /= den
	}
	if v == 0 {
		return 0, nil // never minus zero
	}
	return exposure.Stops(sign * v), nil
}

// unit takes the unit off a target, if it has one.
func unit(text string) string {
	t := strings.TrimSpace(text)
	for _, u := range []string{"stops", "stop"} {
		if rest, ok := strings.CutSuffix(t, u); ok {
			return strings.TrimSpace(rest)
		}
	}
	return t
}

func parseStops(text string) (exposure.Stops, error) {
	v, err := stops(unit(text))
	if err != nil || v < lowestTarget || v > highestTarget {
		return 0, fmt.Errorf("is %s; write stops to clipping from -12 to +4, like -1/3 or -0.3", quote(text))
	}
	return v, nil
}

func parseBand(text string) (Band, error) {
	low, high, ok := strings.Cut(unit(text), " to ")
	if !ok {
		return Band{}, fmt.Errorf("is %s; write the lowest and the highest level in stops to clipping, like -0.4 to -0.05", quote(text))
	}
	a, err1 := stops(low)
	b, err2 := stops(high)
	switch {
	case err1 != nil || err2 != nil || a < lowestTarget || b > highestTarget || a > highestTarget || b < lowestTarget:
		return Band{}, fmt.Errorf("is %s; write two levels in stops to clipping from -12 to +4, like -0.4 to -0.05", quote(text))
	case a > b:
		return Band{}, fmt.Errorf("is %s, highest first; write the lower level first: %s to %s", quote(text), formatStops(b), formatStops(a))
	case b-a < narrowestBand:
		return Band{}, fmt.Errorf("is %s, which is narrower than flashes scatter; leave at least 0.1 stop between the two", quote(text))
	}
	return Band{a, b}, nil
}

// parseShare reads "2 %" as 0.02.
func parseShare(text string) (float64, error) {
	t, ok := strings.CutSuffix(strings.TrimSpace(text), "%")
	v, err := decimal(strings.TrimSpace(t))
	if !ok || err != nil || v > 100 {
		return 0, fmt.Errorf("is %s; write a share of the sitter in per cent, like 2 %%", quote(text))
	}
	return math.Round(v*1000) / 1000 / 100, nil // a thousandth of a per cent is plenty
}

// formatStops writes stops so that they read back the same: thirds and halves as
// fractions, others as decimals.
func formatStops(s exposure.Stops) string {
	v, sign := float64(s), "+"
	switch {
	case v == 0:
		return "0"
	case v < 0:
		v, sign = -v, "-"
	}
	if v == 0.5 {
		return sign + "1/2"
	}
	for n := 1; n <= 36; n++ {
		if n%3 != 0 && v == float64(n)/3 {
			return sign + strconv.Itoa(n) + "/3"
		}
	}
	return sign + strconv.FormatFloat(v, 'f', -1, 64)
}

// formatShare writes a share so that it reads back the same.
func formatShare(v float64) string {
	return strconv.FormatFloat(math.Round(v*1e5)/1000, 'f', -1, 64) + " %"
}
