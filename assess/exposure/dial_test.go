package exposure

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
)

// everyScale is each way of marking a dial that exists: both markings, all
// clicks, and tops that are whole and not.
func everyScale() []Scale {
	scales := []Scale{}
	for _, click := range []Dial{Third, Tenth, Stop} {
		scales = append(scales, Scale{Marking: Fractions, Click: click})
		for _, top := range []int{50, 60, 70, 80, 90, 95, 100, 110, 120, 63, 997} {
			scales = append(scales, Scale{Marking: Numbers, Click: click, Top: top})
		}
	}
	return scales
}

func TestTheWholeDialReadsBackWhatItPrints(t *testing.T) {
	for _, s := range everyScale() {
		seen := map[string]Dial{}
		for d := FullPower; d >= LeastPower; d -= s.Click {
			text := s.Format(d)
			got, err := s.Parse(text)
			if err != nil || got != d {
				t.Errorf("scale %+v prints %d as %q and reads it back as %d, %v", s, d, text, got, err)
			}
			if other, twice := seen[text]; twice {
				t.Errorf("scale %+v prints both %d and %d as %q", s, other, d, text)
			}
			seen[text] = d
		}
	}
}

func TestEveryThirtiethReadsBackWhatStringPrints(t *testing.T) {
	any := Scale{Marking: Fractions, Click: 1}
	for d := FullPower; d >= LeastPower; d-- {
		if got, err := any.Parse(d.String()); err != nil || got != d {
			t.Errorf("Dial(%d) prints %q and reads back as %d, %v", d, d.String(), got, err)
		}
	}
}

func TestSettingsGiveTheirShareOfFullPower(t *testing.T) {
	for _, row := range powerFractions {
		s := Scale{Marking: Fractions, Click: row.click}
		d, err := s.Parse(row.says)
		if err != nil {
			t.Errorf("%q on a dial with clicks of %d/30: %v", row.says, row.click, err)
			continue
		}
		if got := -float64(d.Stops()); math.Abs(got-row.below) > 5e-5 {
			t.Errorf("%q is %.4f stops under full, want %.4f (power fractions, 4 decimals)", row.says, got, row.below)
		}
		if got := d.Fraction(); math.Abs(got-row.fraction) > 5e-9 {
			t.Errorf("%q gives %.8f of full power, want %.8f (power fractions, 8 decimals)", row.says, got, row.fraction)
		}
	}
}

func TestWritingsOfOneSettingMeanTheSame(t *testing.T) {
	third := Dial(-50)             // 1/4 and a third: 1.667 stops under full
	for _, text := range []string{ // "1/4 + 0.3" and "1/2 - 0.7" are one setting (common practice, no source)
		"1/4 + 1/3", "1/4+1/3", " 1/4  + 0.3 ", "1/4 + .3", "1/2 - 0.7", "1/2-2/3", "1/4 + 0.33", "1/4 + 0.333",
		"1/2 - 0.67", "1/2 - .66", "1/2 - 0.666667", "1/4 + 10/30", "1/2 - 20/30", "1/4 + 0.30",
	} {
		if got, err := ThirdFractions.Parse(text); err != nil || got != third {
			t.Errorf("%q on third clicks is %d, %v; want %d", text, got, err, third)
		}
	}
	for text, want := range map[string]Dial{
		"1/8 + 0.3": -81, "1/8 + 0.7": -69, "1/8 - 0.7": -111, "1/8": -90, "1/1": 0, "1": 0, "full": 0, "Full - 0.1": -3,
		"1/128": -210, "1/256": -240, "1/4096": -360, "1/8 + 1/2": -75, "1/8 + 0": -90,
	} {
		if got, err := TenthFractions.Parse(text); err != nil || got != want {
			t.Errorf("%q on tenth clicks is %d, %v; want %d", text, got, err, want)
		}
	}
	// On third-click lights .3 and .7 mean a third and two thirds (common practice, no source).
	for _, c := range []struct {
		click Dial
		text  string
		want  Dial
	}{
		{Third, "10.0", 0}, {Third, "10", 0}, {Third, "9.7", -10}, {Third, "9.3", -20}, {Third, "7.3", -80}, {Third, "0.0", -300}, {Third, "-1.3", -340},
		{Tenth, "9.7", -9}, {Tenth, "9.3", -21}, {Tenth, "7.3", -81}, {Stop, "7", -90},
	} {
		s := Scale{Marking: Numbers, Click: c.click, Top: 100}
		if got, err := s.Parse(c.text); err != nil || got != c.want {
			t.Errorf("%q on a dial of numbers with clicks of %d/30 is %d, %v; want %d", c.text, c.click, got, err, c.want)
		}
	}
}

func TestWhatIsNoSettingIsRefusedWithAWayOut(t *testing.T) {
	numbers := Scale{Marking: Numbers, Click: Third, Top: 100}
	for _, c := range []struct {
		scale Scale
		text  string
		says  string // part of the message
	}{
		{ThirdFractions, "", "empty"},
		{ThirdFractions, "   ", "empty"},
		{ThirdFractions, "1/3", `like "1/8 + 1/3"`},
		{ThirdFractions, "1/0", "no setting"},
		{ThirdFractions, "1/08", "no setting"},
		{ThirdFractions, "1/8192", "no setting"},
		{ThirdFractions, "1/+8", "no setting"},
		{ThirdFractions, "2/8", "no setting"},
		{ThirdFractions, "1/8 +", "ends after the sign"},
		{ThirdFractions, "1/8 + +0.3", "no setting"},
		{ThirdFractions, "1/8 + -0.3", "no setting"},
		{ThirdFractions, "1/8 + 0x1p-2", "no setting"},
		{ThirdFractions, "1/8 + 3e-1", "no setting"},
		{ThirdFractions, "1/8 + inf", "no setting"},
		{ThirdFractions, "1/8 + nan", "no setting"},
		{ThirdFractions, "1/8 + 1.3", "no setting"},
		{ThirdFractions, "1/1 6", "space inside a number"},
		{ThirdFractions, "1/8 + 0.4", `write "1/8 + 1/3" or "1/8 + 2/3"`},
		{ThirdFractions, "1/8 + 1/2", "between the clicks"},
		{ThirdFractions, "1/8 + 9/30", "between the clicks"},
		{ThirdFractions, "1/1 + 1/3", "over full power"},
		{ThirdFractions, "1/4096 - 1/3", "less than any flash gives"},
		{TenthFractions, "1/8 + 1/3", `write "1/8 + 0.3" or "1/8 + 0.4"`},
		{TenthFractions, "1/8 + 0.33", "between the clicks"},
		{TenthFractions, "1/8 + 0.35", "no setting"},
		{TenthFractions, "1/8 + 0.25", "no setting"},
		{Scale{Marking: Fractions, Click: Stop}, "1/8 + 0.3", `write "1/8" or "1/4"`},
		{numbers, "1/8", `a number such as "8.0"`},
		{numbers, "7.4", `write "7.3" or "7.7"`},
		{numbers, "7.33", "more than one decimal"},
		{numbers, "10.3", "over full power; the most is 10.0"},
		{numbers, "1e1", "no setting"},
		{numbers, "010", "no setting"},
		{numbers, "--1", "no setting"},
		{numbers, "99999999999999999999", "no setting"},
		{numbers, "-2.3", "less than any flash gives"},
	} {
		got, err := c.scale.Parse(c.text)
		if err == nil {
			t.Errorf("%q on %+v was read as %d; it should be refused", c.text, c.scale, got)
			continue
		}
		if !errors.Is(err, ErrDial) {
			t.Errorf("%q on %+v: %v does not wrap ErrDial", c.text, c.scale, err)
		}
		if !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q on %+v is refused with %q, which should say %q", c.text, c.scale, err, c.says)
		}
	}
}

func TestChangesAreWrittenInClicksWithTheirUnit(t *testing.T) {
	for _, c := range []struct {
		scale Scale
		d     Dial
		want  string
	}{
		{ThirdFractions, 0, "0 stops"}, {ThirdFractions, 10, "1/3 stop"}, {ThirdFractions, -20, "2/3 stop"},
		{ThirdFractions, 30, "1 stop"}, {ThirdFractions, -40, "1 + 1/3 stops"}, {ThirdFractions, 60, "2 stops"},
		{ThirdFractions, 3, "3/30 stop"}, {ThirdFractions, 15, "1/2 stop"},
		{TenthFractions, 3, "0.1 stop"}, {TenthFractions, -27, "0.9 stop"}, {TenthFractions, 30, "1 stop"},
		{TenthFractions, 33, "1.1 stops"}, {TenthFractions, 10, "1/3 stop"}, {TenthFractions, -90, "3 stops"},
	} {
		if got := c.scale.FormatChange(c.d); got != c.want {
			t.Errorf("a change of %d/30 with clicks of %d/30 is written %q, want %q", c.d, c.scale.Click, got, c.want)
		}
	}
}

func TestSettingsThatNoDialHasAreStillPrintedTruthfully(t *testing.T) {
	for _, c := range []struct {
		d    Dial
		want string
	}{{10, "1/1 + 1/3"}, {30, "1/1 + 30/30"}, {-21, "1/2 + 9/30"}, {-64 * Stop, "1/18446744073709551616"}} {
		if got := ThirdFractions.Format(c.d); got != c.want {
			t.Errorf("Dial(%d) on third clicks is written %q, want %q", c.d, got, c.want)
		}
	}
	ThirdFractions.Format(math.MinInt) // must come back
}

func TestClicksRoundToTheNearestClick(t *testing.T) {
	for _, c := range []struct {
		s     Stops
		click Dial
		want  Dial
	}{
		{-0.65, Third, -20}, {-0.65, Tenth, -21}, {0.16, Third, 0}, {0.17, Third, 10}, {0.5, Stop, 30}, {-0.5, Stop, -30}, {0, Tenth, 0},
	} {
		if got := Clicks(c.s, c.click); got != c.want {
			t.Errorf("%v in clicks of %d/30 is %d, want %d", c.s, c.click, got, c.want)
		}
	}
	for d := FullPower; d >= LeastPower; d -= Tenth {
		if got := Clicks(d.Stops(), Tenth); got != d {
			t.Errorf("the clicks of %v are %d, want the setting itself, %d", d.Stops(), got, d)
		}
	}
}

func FuzzParseDial(f *testing.F) {
	for _, seed := range []string{"1/8 + 1/3", "1/8-0.7", "7.3", "full", "1/4096", "-1.3", "1/2 + 29/30", "1/1 6", "1/8++1", "\x00", "1/8 + 0.33"} {
		f.Add(seed, 0)
	}
	f.Fuzz(func(t *testing.T, text string, which int) {
		scales := everyScale()
		s := scales[uint(which)%uint(len(scales))]
		d, err := s.Parse(text)
		if err != nil {
			if d != 0 || !errors.Is(err, ErrDial) {
				t.Fatalf("%q on %+v is refused with %d, %v", text, s, d, err)
			}
			return
		}
		if d > FullPower || d < LeastPower || d%s.Click != 0 {
			t.Fatalf("%q on %+v is read as %d, which that dial has not", text, s, d)
		}
		if back, err := s.Parse(s.Format(d)); err != nil || back != d {
			t.Fatalf("%q on %+v is %d, printed %q, read back as %d, %v", text, s, d, s.Format(d), back, err)
		}
	})
}

func ExampleScale_Format() {
	fmt.Println(ThirdFractions.Format(-80))
	fmt.Println(TenthFractions.Format(-81))
	fmt.Println(Scale{Marking: Numbers, Click: Third, Top: 100}.Format(-80))
	// Output:
	// 1/8 + 1/3
	// 1/8 + 0.3
	// 7.3
}
