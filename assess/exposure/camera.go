package exposure

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// FNumber is a lens opening as marked: 5.6 for f/5.6. Zero means not known.
type FNumber float64

// ISO is a camera speed as marked: 100, 125, 160 ... Zero means not known.
type ISO float64

// TStop is a lens opening marked by the light that comes through, as on lenses for film: the f-number over the
// square root of the lens's transmittance. 2.8 is T2.8; zero means not known.
type TStop float64

// UsualTransmittance is the share of the light that a lens lets through where f-numbers are taken for
// exposures: meters and camera speeds reckon with it (0.9, ISO 2720's and ISO 12232's q as quoted in colour-hdri's dsc.py).
const UsualTransmittance = 0.9

// FNumber is the f-number at which a lens of some transmittance, over 0 to 1, lets as much light through:
// N = T sqrt(transmittance). It is 0 where either is not known or impossible.
func (t TStop) FNumber(transmittance float64) FNumber {
	if !(t > 0) || !(transmittance > 0 && transmittance <= 1) {
		return 0
	}
	return FNumber(float64(t) * math.Sqrt(transmittance))
}

// TStop is what a lens of some transmittance marked with the f-number would be marked in T-stops: N / sqrt(transmittance).
func (n FNumber) TStop(transmittance float64) TStop {
	if !(n > 0) || !(transmittance > 0 && transmittance <= 1) {
		return 0
	}
	return TStop(float64(n) / math.Sqrt(transmittance))
}

// OverFNumber is how much more light comes through a lens set to a T-stop than through a usual
// one set to the f-number of the same number: -log2 of the usual transmittance, 0.15 stop.
func (t TStop) OverFNumber() Stops { return Stops(-math.Log2(UsualTransmittance)) }

// String writes T2.8; an unknown opening is "T?".
func (t TStop) String() string {
	if !(t > 0) {
		return "T?"
	}
	return "T" + strconv.FormatFloat(roundTo(float64(t), 1), 'f', -1, 64)
}

// ParseTStop reads "T2.8", "t/2.8" or "T 2.8", from T0.7 to T128. The letter must be there.
func ParseTStop(text string) (TStop, error) {
	c, ok := compact(text)
	c, marked := strings.CutPrefix(c, "t")
	v, err := decimal(strings.TrimPrefix(c, "/"))
	if !ok || !marked || err != nil || !(v >= 0.7 && v <= 128) {
		return 0, fmt.Errorf("%w: %q is no T-stop; write one like \"T2.8\"", ErrSetting, text)
	}
	return TStop(v), nil
}

// Shutter is an exposure time in seconds as marked: 1.0/125 for 1/125 s. Zero
// means not known.
type Shutter float64

// Marked numbers are rounded: f/11 is really f/11.31 and 1/30 s is 1/32 s. Sums
// of their plain logarithms would be off by up to 0.17 stop, so marks are
// taken back to the exact series N = 2^(i/6), t = 2^(-i/3), S = 100 x 2^(i/3)
// (index i in thirds of a stop). Half-stop marks are known where they can't be
// mistaken for thirds. Values that are no mark keep their plain logarithm.

// Av is the aperture value 2 log2 N of the exact opening that is marked so
// (Exif 2.3 Annex C). It reports false for an unknown or impossible opening.
func (n FNumber) Av() (Stops, bool) {
	if !(n > 0) || math.IsInf(float64(n), 0) {
		return 0, false
	}
	if av, ok := halfApertures[roundTo(float64(n), 2)]; ok {
		return av, true
	}
	i := math.Round(6 * math.Log2(float64(n)))
	if nearMark(float64(n), math.Exp2(i/6), 0.03) {
		return Stops(i / 3), true
	}
	return Stops(2 * math.Log2(float64(n))), true
}

// halfApertures are the half-stop marks that are no third-stop mark.
var halfApertures = map[float64]Stops{
	1.7: 1.5, 2.4: 2.5, 3.3: 3.5, 4.8: 4.5, 6.7: 5.5, 9.5: 6.5, 19: 8.5, 27: 9.5,
}

// Tv is the time value -log2 t of the exact time that is marked so.
func (t Shutter) Tv() (Stops, bool) {
	if !(t > 0) || math.IsInf(float64(t), 0) {
		return 0, false
	}
	i := math.Round(-3 * math.Log2(float64(t)))
	if nearMark(float64(t), math.Exp2(-i/3), 0.07) {
		return Stops(i / 3), true
	}
	return Stops(-math.Log2(float64(t))), true
}

// Sv is the speed value log2(S/3.125) of the exact speed that is marked so;
// ISO 100 is 5 (Exif 2.3 Annex C).
func (s ISO) Sv() (Stops, bool) {
	if !(s > 0) || math.IsInf(float64(s), 0) {
		return 0, false
	}
	i := math.Round(3 * math.Log2(float64(s)/100))
	if nearMark(float64(s), 100*math.Exp2(i/3), 0.02) {
		return 5 + Stops(i/3), true
	}
	return Stops(math.Log2(float64(s) / 3.125)), true
}

func nearMark(marked, exact, tolerance float64) bool {
	return math.Abs(marked-exact) <= tolerance*exact
}

func roundTo(v float64, digits int) float64 {
	p := math.Pow(10, float64(digits))
	return math.Round(v*p) / p
}

// Gain is how strongly a camera setting turns flash light into exposure, in
// stops against f/1 at ISO 100: (Sv - 5) - Av. The shutter has no part in it as
// long as it is slower than the sync limit. It reports false where one of the two is not known.
func Gain(s ISO, n FNumber) (Stops, bool) {
	sv, ok1 := s.Sv()
	av, ok2 := n.Av()
	return sv - 5 - av, ok1 && ok2
}

// EV is the exposure value Av + Tv.
func EV(n FNumber, t Shutter) (Stops, bool) {
	av, ok1 := n.Av()
	tv, ok2 := t.Tv()
	return av + tv, ok1 && ok2
}

// The marks of the usual third-stop series, as engraved and displayed
// (common practice, no source; the exact values behind them are checked in the tests).
var (
	FNumberMarks = []FNumber{1, 1.1, 1.2, 1.4, 1.6, 1.8, 2, 2.2, 2.5, 2.8, 3.2, 3.5, 4, 4.5, 5, 5.6,
		6.3, 7.1, 8, 9, 10, 11, 13, 14, 16, 18, 20, 22, 25, 29, 32, 36, 40, 45}
	ISOMarks = []ISO{50, 64, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250,
		1600, 2000, 2500, 3200, 4000, 5000, 6400, 8000, 10000, 12800, 16000, 20000, 25600}
	shutterDens = []float64{8000, 6400, 5000, 4000, 3200, 2500, 2000, 1600, 1250, 1000, 800, 640,
		500, 400, 320, 250, 200, 160, 125, 100, 80, 60, 50, 40, 30, 25, 20, 15, 13, 10, 8, 6, 5, 4}
	shutterLong = []Shutter{0.3, 0.4, 0.5, 0.6, 0.8, 1, 1.3, 1.6, 2, 2.5, 3.2, 4, 5, 6, 8, 10, 13, 15, 20, 25, 30}
)

// shutterMarks are all exposure times of the series, the shortest first.
var shutterMarks = func() []Shutter {
	var all []Shutter
	for _, den := range shutterDens {
		all = append(all, Shutter(1/den))
	}
	return append(all, shutterLong...)
}()

// Step gives the mark that lies k third stops from n in opening (k > 0 closes
// the lens). A value between two marks counts as the nearer one. It reports false
// where the series ends, and for values that lie outside it.
func (n FNumber) Step(k int) (FNumber, bool) { return step(FNumberMarks, n, k) }

// Step gives the mark that lies k third stops from s (k > 0 is faster), in the
// way of [FNumber.Step].
func (s ISO) Step(k int) (ISO, bool) { return step(ISOMarks, s, k) }

// Step gives the mark that lies k third stops from t (k > 0 is longer), from 1/8000 s to 30 s, in
// the way of [FNumber.Step].
func (t Shutter) Step(k int) (Shutter, bool) { return step(shutterMarks, t, k) }

func step[T ~float64](marks []T, v T, k int) (T, bool) {
	if len(marks) == 0 || !(v >= marks[0]*0.94) || !(v <= marks[len(marks)-1]*1.06) {
		return 0, false
	}
	best := 0
	for i, m := range marks {
		if math.Abs(math.Log2(float64(m/v))) < math.Abs(math.Log2(float64(marks[best]/v))) {
			best = i
		}
	}
	if k < -best || k >= len(marks)-best {
		return 0, false
	}
	return marks[best+k], true
}

// String writes f/5.6; an unknown opening is "f/?".
func (n FNumber) String() string {
	if !(n > 0) {
		return "f/?"
	}
	return "f/" + strconv.FormatFloat(roundTo(float64(n), 1), 'f', -1, 64)
}

// String writes "ISO 100"; an unknown speed is "ISO ?".
func (s ISO) String() string {
	if !(s > 0) {
		return "ISO ?"
	}
	return "ISO " + strconv.FormatFloat(math.Round(float64(s)), 'f', -1, 64)
}

// String writes "1/125 s", "0.5 s" or "2 s"; an unknown time is "? s".
func (t Shutter) String() string {
	switch {
	case !(t > 0):
		return "? s"
	case t >= 0.28:
		return strconv.FormatFloat(roundTo(float64(t), 2), 'f', -1, 64) + " s"
	}
	return "1/" + strconv.FormatFloat(math.Round(1/float64(t)), 'f', -1, 64) + " s"
}

// ErrSetting is wrapped by the refusals of [ParseFNumber], [ParseISO] and [ParseShutter].
var ErrSetting = errors.New("not a camera setting")

// ParseFNumber reads "f/5.6", "F5.6" or "5.6", from f/0.7 to f/128.
func ParseFNumber(text string) (FNumber, error) {
	t, ok := compact(text)
	t = strings.TrimPrefix(strings.TrimPrefix(t, "f"), "/")
	v, err := decimal(t)
	if !ok || err != nil || !(v >= 0.7 && v <= 128) {
		return 0, fmt.Errorf("%w: %q is no aperture; write one like \"f/8\"", ErrSetting, text)
	}
	return FNumber(v), nil
}

// ParseISO reads "ISO 100" or "100", from 1 to 1,000,000.
func ParseISO(text string) (ISO, error) {
	t, ok := compact(text)
	v, err := decimal(strings.TrimPrefix(t, "iso"))
	if !ok || err != nil || !(v >= 1 && v <= 1e6) {
		return 0, fmt.Errorf("%w: %q is no ISO speed; write one like \"100\"", ErrSetting, text)
	}
	return ISO(v), nil
}

// ParseShutter reads "1/125", "1/125 s", "0.5" or "2s", from 1/100000 s to an hour.
func ParseShutter(text string) (Shutter, error) {
	t, ok := compact(text)
	t = strings.TrimSuffix(t, "s")
	var v float64
	var err error
	if den, fraction := strings.CutPrefix(t, "1/"); fraction {
		v, err = decimal(den)
		v = 1 / v
	} else {
		v, err = decimal(t)
	}
	if !ok || err != nil || !(v >= 1e-5 && v <= 3600) {
		return 0, fmt.Errorf("%w: %q is no shutter time; write one like \"1/125\"", ErrSetting, text)
	}
	return Shutter(v), nil
}

// NominalShutter gives the usual mark for a time, such as 1/125 for 1/128 s, or
// the time itself where it is near no mark of 1/4 s and shorter.
func NominalShutter(t Shutter) Shutter {
	for _, den := range shutterDens {
		if nearMark(float64(t)*den, 1, 0.08) {
			return Shutter(1 / den)
		}
	}
	return t
}
