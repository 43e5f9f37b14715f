package exposure

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Dial is a flash's power as its dial shows it, in thirtieths of a stop from
// full: 0 is 1/1, -30 is 1/2. Thirds and tenths are both whole numbers here.
type Dial int

// The steps a dial is built from.
const (
	Tenth Dial = 3
	Third Dial = 10
	Stop  Dial = 30
)

// FullPower and LeastPower bound what this program takes for a dial setting:
// 1/1 to 1/4096, which is beyond every hand-set flash we know of (common practice, no source).
const (
	FullPower  Dial = 0
	LeastPower Dial = -12 * Stop
)

// Stops is the dial as a difference in exposure from full power.
func (d Dial) Stops() Stops { return Stops(d) / Stops(Stop) }

// Fraction is the share of full power, 1 at full: 2^(d/30).
func (d Dial) Fraction() float64 { return d.Stops().Factor() }

// Clicks rounds a wanted difference to whole clicks of the given size, nearest
// first, halves away from zero.
func Clicks(s Stops, click Dial) Dial {
	return Dial(math.Round(float64(s)*float64(Stop)/float64(click))) * click
}

// Marking is how a flash writes its power.
type Marking int

// The ways of marking.
const (
	Fractions Marking = iota // 1/1, 1/2 ... with thirds or tenths between
	Numbers                  // a number that falls by 1 per stop from Top at full power
)

// Scale is how one flash marks and steps its power. The zero value is not
// valid; [ThirdFractions] is the commonest.
type Scale struct {
	Marking Marking
	Click   Dial // the smallest change: [Third], [Tenth], or [Stop]
	Top     int  // with Numbers: the reading at full power, in tenths (100 is "10.0"); else 0
}

// The two usual scales of fractions.
var (
	ThirdFractions = Scale{Marking: Fractions, Click: Third}
	TenthFractions = Scale{Marking: Fractions, Click: Tenth}
)

// Format writes a setting as the flash shows it: "1/8 + 1/3", "1/8 + 0.3", "7.3".
func (s Scale) Format(d Dial) string {
	if s.Marking == Numbers {
		// A tenth is 3 thirtieths; on third-click lights 1/3 and 2/3 show as .3 and .7.
		return strconv.FormatFloat(math.Round(float64(s.Top)+float64(d)/3)/10, 'f', 1, 64)
	}
	whole := -(d / Stop) // whole stops under full, so that the rest is added on top
	if d < 0 && d%Stop != 0 {
		whole++
	}
	rest := d + whole*Stop
	base := "1/" + strconv.FormatFloat(math.Exp2(float64(max(whole, 0))), 'f', 0, 64)
	if d > 0 { // over full power: not a setting, but print it truthfully
		base, rest = "1/1", d
	}
	if rest == 0 {
		return base
	}
	return base + " + " + part(rest, s.Click)
}

// part writes a positive part of a stop in the given clicks: 1/3, 2/3, 0.7.
func part(rest, click Dial) string {
	switch {
	case click == Tenth && rest%Tenth == 0:
		return strconv.FormatFloat(float64(rest/Tenth)/10, 'f', 1, 64)
	case rest == Third:
		return "1/3"
	case rest == 2*Third:
		return "2/3"
	case rest == Stop/2:
		return "1/2"
	case rest%Tenth == 0 && click != Third: // there, 0.3 would be read as a third
		return strconv.FormatFloat(float64(rest/Tenth)/10, 'f', 1, 64)
	}
	return strconv.Itoa(int(rest)) + "/30"
}

// FormatChange writes a change without its sign, in the clicks of the flash and
// with its unit: "2/3 stop", "1 stop", "1 + 1/3 stops", "0.7 stop".
func (s Scale) FormatChange(d Dial) string {
	if d < 0 {
		d = -d
	}
	whole, rest := d/Stop, d%Stop
	switch {
	case d == 0:
		return "0 stops"
	case s.Click == Tenth && d%Tenth == 0 && rest != 0:
		v := float64(d/Tenth) / 10
		if v < 1 {
			return strconv.FormatFloat(v, 'f', 1, 64) + " stop"
		}
		return strconv.FormatFloat(v, 'f', 1, 64) + " stops"
	case rest == 0 && whole == 1:
		return "1 stop"
	case rest == 0:
		return strconv.Itoa(int(whole)) + " stops"
	case whole == 0:
		return part(rest, s.Click) + " stop"
	}
	return strconv.Itoa(int(whole)) + " + " + part(rest, s.Click) + " stops"
}

// ErrDial is wrapped by every refusal of [Scale.Parse].
var ErrDial = errors.New("not a power setting")

// Parse reads a setting as a person writes it: "1/8", "1/8 + 1/3", "1/8+0.3",
// "1/2 - 0.7", or on a scale of numbers "7.3". On lights with third clicks .3
// and .7 mean 1/3 and 2/3 (common practice, no source). It refuses settings over full
// power, under 1/4096, and between the clicks of the scale.
func (s Scale) Parse(text string) (Dial, error) {
	t, ok := compact(text)
	if !ok {
		return 0, fmt.Errorf("%w: %q has a space inside a number; write %s", ErrDial, text, s.example())
	}
	if t == "" {
		return 0, fmt.Errorf("%w: it is empty; write %s", ErrDial, s.example())
	}
	var d Dial
	if s.Marking == Numbers {
		under, negative := strings.CutPrefix(t, "-") // some scales pass zero at their low end
		v, err := decimal(under)
		if err != nil || v > 1000 {
			return 0, fmt.Errorf("%w: %q is no setting; write %s", ErrDial, text, s.example())
		}
		if negative {
			v = -v
		}
		tenths := int(math.Round(v * 10))
		if math.Abs(v*10-float64(tenths)) > 1e-6 {
			return 0, fmt.Errorf("%w: %q has more than one decimal; write %s", ErrDial, text, s.example())
		}
		d = s.snap(Dial(tenths-s.Top) * Tenth)
	} else {
		base, sign, rest := t, Dial(1), ""
		if i := strings.IndexAny(t, "+-"); i > 0 {
			base, rest = t[:i], t[i+1:]
			if t[i] == '-' {
				sign = -1
			}
			if rest == "" {
				return 0, fmt.Errorf("%w: %q ends after the sign; write %s", ErrDial, text, s.example())
			}
		}
		whole, err := fraction(base)
		if err != nil {
			return 0, fmt.Errorf("%w: %q is no setting; write %s", ErrDial, text, s.example())
		}
		d = whole
		if rest != "" {
			p, err := s.partOfStop(rest)
			if err != nil {
				return 0, fmt.Errorf("%w: %q is no setting; write %s", ErrDial, text, s.example())
			}
			d += sign * p
		}
	}
	if d > FullPower {
		return 0, fmt.Errorf("%w: %q is over full power; the most is %s", ErrDial, text, s.Format(FullPower))
	}
	if d < LeastPower {
		return 0, fmt.Errorf("%w: %q is under %s, less than any flash gives", ErrDial, text, s.Format(LeastPower))
	}
	if s.Click > 0 && d%s.Click != 0 {
		down := d - (d%s.Click+s.Click)%s.Click
		return 0, fmt.Errorf("%w: %q lies between the clicks of this light, which are %s; write %q or %q",
			ErrDial, text, s.FormatChange(s.Click), s.Format(down), s.Format(down+s.Click))
	}
	return d, nil
}

// snap brings .3 and .7 on a third-click scale of numbers to 1/3 and 2/3.
func (s Scale) snap(d Dial) Dial {
	if s.Click != Third {
		return d
	}
	r := ((d % Stop) + Stop) % Stop
	switch r {
	case 3 * Tenth:
		return d - r + Third
	case 7 * Tenth:
		return d - r + 2*Third
	}
	return d
}

func (s Scale) example() string {
	switch {
	case s.Marking == Numbers:
		return fmt.Sprintf("a number such as %q", s.Format(-2*Stop))
	case s.Click == Tenth:
		return `a fraction and a part of a stop, like "1/8 + 0.3"`
	}
	return `a fraction and a part of a stop, like "1/8 + 1/3"`
}

// fraction reads 1/1, 1/2, ... 1/4096 as whole stops; "1" and "full" are 1/1.
func fraction(t string) (Dial, error) {
	if t == "1" || t == "full" {
		return 0, nil
	}
	den, ok := strings.CutPrefix(t, "1/")
	if !ok {
		return 0, ErrDial
	}
	n, err := count(den)
	if err != nil || n < 1 || n > 4096 || n&(n-1) != 0 {
		return 0, ErrDial
	}
	d := Dial(0)
	for ; n > 1; n >>= 1 {
		d -= Stop
	}
	return d, nil
}

// partOfStop reads 1/3, 2/3, 1/2, 0.3, .7, 0.1 ... or n/30 as thirtieths.
func (s Scale) partOfStop(t string) (Dial, error) {
	switch t {
	case "1/3":
		return Third, nil
	case "2/3":
		return 2 * Third, nil
	case "1/2":
		return Stop / 2, nil
	}
	if n, ok := strings.CutSuffix(t, "/30"); ok {
		v, err := count(n)
		if err != nil || v >= int(Stop) {
			return 0, ErrDial
		}
		return Dial(v), nil
	}
	v, err := decimal(t)
	if err != nil || v >= 1 {
		return 0, ErrDial
	}
	_, digits, _ := strings.Cut(t, ".")
	digits = strings.TrimRight(digits, "0")
	third := strings.Trim(digits, "3") == "" && (len(digits) > 1 || digits == "3" && s.Click == Third)
	twoThirds := digits == "7" && s.Click == Third ||
		len(digits) > 1 && strings.Trim(strings.TrimSuffix(digits, "7"), "6") == ""
	switch {
	case third: // .33 is a third on every light, .3 on those with third clicks
		return Third, nil
	case twoThirds:
		return 2 * Third, nil
	case len(digits) > 1:
		return 0, ErrDial
	}
	return Dial(math.Round(v*10)) * Tenth, nil
}

// String writes a setting as fractions in the coarsest parts that fit.
func (d Dial) String() string {
	if d%Third == 0 {
		return ThirdFractions.Format(d)
	}
	return TenthFractions.Format(d)
}
