package exposure

import (
	"errors"
	"math"
	"testing"
)

func close(a, b, tolerance float64) bool { return math.Abs(a-b) <= tolerance }

func TestMarksStandForTheExactSeries(t *testing.T) {
	for _, row := range thirdStops {
		var got Stops
		var ok bool
		var back float64
		want := float64(row.thirds) / 3
		switch row.kind {
		case "f":
			n, err := ParseFNumber("f/" + row.mark)
			if err != nil {
				t.Fatal(err)
			}
			if row.mark == "1.2" {
				// f/1.2 is a mark of the half-stop series as well (and what fast lenses
				// really have), so it keeps its plain logarithm: 0.526.
				if got, _ := n.Av(); !close(float64(got), 2*math.Log2(1.2), 1e-9) {
					t.Errorf("Av of f/1.2 = %v, want its plain logarithm 0.526, as the mark is ambiguous", got)
				}
				continue
			}
			got, ok = n.Av()
			back = math.Exp2(float64(got) / 2)
		case "s":
			s, err := ParseShutter(row.mark)
			if err != nil {
				t.Fatal(err)
			}
			got, ok = s.Tv()
			back = math.Exp2(-float64(got))
		case "ISO":
			s, err := ParseISO(row.mark)
			if err != nil {
				t.Fatal(err)
			}
			got, ok = s.Sv()
			got -= 5 // ISO 100 is Sv 5 (Exif 2.3 Annex C, as quoted by GNU Units 2.22 and ExifTool)
			back = 100 * math.Exp2(float64(got))
		}
		if !ok || !close(float64(got), want, 1e-9) {
			t.Errorf("%s %s is %.6f (known: %v), want %.6f (third-stop table)", row.kind, row.mark, float64(got), ok, want)
		}
		if !close(back/row.exact, 1, 5e-6) {
			t.Errorf("%s %s stands for %.6g, want %.6g (third-stop table, 6 digits)", row.kind, row.mark, back, row.exact)
		}
	}
}

func TestHalfStopMarksAreKnownWhereTheyCannotBeMistaken(t *testing.T) {
	// Half-stop cameras use 1.2 1.7 2.4 3.3 4.8 6.7 9.5 13 19 27 (list at
	// kameraarkasi.org/objektifler/terminoloji/fstop.html); f/13 is in both series and taken for the third.
	for n, want := range map[FNumber]Stops{1.7: 1.5, 2.4: 2.5, 3.3: 3.5, 4.8: 4.5, 6.7: 5.5, 9.5: 6.5, 19: 8.5, 27: 9.5, 13: 22.0 / 3} {
		if got, ok := n.Av(); !ok || !close(float64(got), float64(want), 1e-9) {
			t.Errorf("Av of %v = %v, want %v", n, got, want)
		}
	}
}

func TestExposureValuesMatchPublishedOnes(t *testing.T) {
	// f/16 at 1/100 s is EV 14.643856 (GNU Units 2.22, Photographic Exposure Value, 6 decimals), from the
	// plain logarithm of the marked time. 1/100 s as a mark stands for 1/101.6 s, so that
	// EV is 14.6667 here: the difference, 0.0228, is that of the third-stop table.
	ev, ok := EV(16, 1.0/100)
	if !ok || !close(float64(ev), 14.643856+0.022811, 5e-6) {
		t.Errorf("EV(f/16, 1/100 s) = %.6f, want 14.643856 + 0.022811 (GNU Units 2.22; third-stop table)", float64(ev))
	}
	// A time that is no mark keeps its plain logarithm: 1 min is Tv -5.9068906 (GNU Units 2.22, 7 decimals).
	if tv, ok := Shutter(60).Tv(); !ok || !close(float64(tv), -6, 0.0932) {
		t.Errorf("Tv of 60 s = %v, want the mark's -6, within 0.0932 of -5.9068906 (GNU Units 2.22)", tv)
	}
	// EV at ISO 100 of three settings: 13.96578428, 10.93663794, 8.93663794 from marked numbers
	// (colour-hdri test values), 14, 11 and 9 from exact thirds (derived here).
	for _, c := range []struct {
		n       FNumber
		t       Shutter
		s       ISO
		nominal float64
		want    float64
	}{
		{8, 1.0 / 250, 100, 13.96578428, 14},
		{5.6, 1.0 / 500, 800, 10.93663794, 11},
		{2.8, 1.0 / 1000, 1600, 8.93663794, 9},
	} {
		ev, ok1 := EV(c.n, c.t)
		sv, ok2 := c.s.Sv()
		if got := float64(ev - (sv - 5)); !ok1 || !ok2 || !close(got, c.want, 1e-9) {
			t.Errorf("EV at ISO 100 of %v, %v, %v = %.8f, want %v", c.n, c.t, c.s, got, c.want)
		}
		plain := 2*math.Log2(float64(c.n)) - math.Log2(float64(c.t)) - math.Log2(float64(c.s)/100)
		if !close(plain, c.nominal, 5e-9) {
			t.Errorf("the plain logarithms of %v, %v, %v give %.8f, want %.8f (colour-hdri, 8 decimals)", c.n, c.t, c.s, plain, c.nominal)
		}
	}
}

func TestMarksOfFarAwayValuesKeepTheirPlainLogarithm(t *testing.T) {
	if av, ok := FNumber(1.25).Av(); !ok || !close(float64(av), 2.0/3, 1e-9) {
		t.Errorf("Av of f/1.25 = %v, want the third-stop mark 0.667", av)
	}
	if tv, ok := Shutter(1.0 / 90).Tv(); !ok || !close(float64(tv), math.Log2(90), 1e-9) {
		t.Errorf("Tv of 1/90 s = %v, want log2 90, as it is no third-stop mark", tv)
	}
	if sv, ok := ISO(140).Sv(); !ok || !close(float64(sv), math.Log2(140/3.125), 1e-9) {
		t.Errorf("Sv of ISO 140 = %v, want log2(140/3.125), as it is no third-stop mark", sv)
	}
}

func TestUnknownAndImpossibleSettingsAreNeverANumber(t *testing.T) {
	for _, v := range []float64{0, -1, math.NaN(), math.Inf(1), math.Inf(-1)} {
		if _, ok := FNumber(v).Av(); ok {
			t.Errorf("Av of %v is said to be known", v)
		}
		if _, ok := Shutter(v).Tv(); ok {
			t.Errorf("Tv of %v is said to be known", v)
		}
		if _, ok := ISO(v).Sv(); ok {
			t.Errorf("Sv of %v is said to be known", v)
		}
		if _, ok := Gain(ISO(v), 8); ok {
			t.Errorf("the gain at ISO %v is said to be known", v)
		}
		if _, ok := EV(FNumber(v), 1); ok {
			t.Errorf("the EV at f/%v is said to be known", v)
		}
		if m, ok := FNumber(v).Step(0); ok {
			t.Errorf("the mark nearest to f/%v is said to be %v", v, m)
		}
		if m, ok := ISO(v).Step(0); ok {
			t.Errorf("the mark nearest to ISO %v is said to be %v", v, m)
		}
	}
}

func TestGainFollowsApertureAndSpeed(t *testing.T) {
	for _, c := range []struct {
		s    ISO
		n    FNumber
		want Stops
	}{
		{100, 1, 0}, {100, 8, -6}, {200, 8, -5}, {100, 5.6, -5}, {400, 11, -5}, {50, 4, -5}, {125, 8, 1.0/3 - 6}, // derived here
	} {
		if got, ok := Gain(c.s, c.n); !ok || !close(float64(got), float64(c.want), 1e-9) {
			t.Errorf("the gain of %v and %v is %v, want %v", c.s, c.n, got, c.want)
		}
	}
	// One stop of aperture is one stop of flash power: 1/16 at f/4 and 1/4 at f/8 give
	// the same level, P/N^2 = 1/256 both (common practice, no source).
	a, _ := Gain(100, 4)
	b, _ := Gain(100, 8)
	if x, y := a+Dial(-120).Stops(), b+Dial(-60).Stops(); !close(float64(x), float64(y), 1e-9) || !close(x.Factor(), 1.0/256, 1e-12) {
		t.Errorf("1/16 at f/4 gives %v and 1/4 at f/8 gives %v, want the same, 1/256", x, y)
	}
	// "Lower key by 2/3 stop" is power x 0.630, or f/8 to f/10 (derived here).
	c, _ := Gain(100, 10)
	if !close(float64(c-b), -2.0/3, 1e-9) || !close(Dial(-20).Fraction(), 0.630, 5e-4) {
		t.Errorf("f/8 to f/10 is %v and a dial 2/3 down gives %.4f, want -2/3 stop and 0.630", c-b, Dial(-20).Fraction())
	}
}

func TestStepWalksTheMarks(t *testing.T) {
	for i, m := range FNumberMarks {
		for k := -i; k < len(FNumberMarks)-i; k++ {
			if got, ok := m.Step(k); !ok || got != FNumberMarks[i+k] {
				t.Fatalf("%d thirds from %v is %v, %v; want %v", k, m, got, ok, FNumberMarks[i+k])
			}
		}
	}
	for i := range ISOMarks[1:] {
		if got, ok := ISOMarks[i].Step(1); !ok || got != ISOMarks[i+1] {
			t.Errorf("a third over %v is %v, want %v", ISOMarks[i], got, ISOMarks[i+1])
		}
	}
	for _, c := range []struct {
		n  FNumber
		k  int
		ok bool
	}{{45, 1, false}, {1, -1, false}, {0.95, 0, true}, {0.7, 0, false}, {128, 0, false}, {8, math.MaxInt, false}, {8, math.MinInt, false}} {
		if got, ok := c.n.Step(c.k); ok != c.ok {
			t.Errorf("%d thirds from %v is %v, %v; want %v", c.k, c.n, got, ok, c.ok)
		}
	}
}

func TestWhatSettingsPrintReadsBack(t *testing.T) {
	for _, n := range FNumberMarks {
		if got, err := ParseFNumber(n.String()); err != nil || got != n {
			t.Errorf("%v reads back as %v, %v", n, got, err)
		}
	}
	for _, s := range ISOMarks {
		if got, err := ParseISO(s.String()); err != nil || got != s {
			t.Errorf("%v reads back as %v, %v", s, got, err)
		}
	}
	for _, row := range thirdStops {
		if row.kind != "s" {
			continue
		}
		s, err := ParseShutter(row.mark)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := ParseShutter(s.String()); err != nil || got != s {
			t.Errorf("%s s prints %q, which reads back as %v, %v", row.mark, s.String(), float64(got), err)
		}
	}
	for text, v := range map[string]interface{ String() string }{
		"f/?": FNumber(0), "ISO ?": ISO(0), "? s": Shutter(0), "? m": Metres(0), "f/5.6": FNumber(5.6), "f/11": FNumber(11),
		"1/125 s": Shutter(1.0 / 125), "0.5 s": Shutter(0.5), "2 s": Shutter(2), "1/4 s": Shutter(0.25), "1.2 m": Metres(1.2),
	} {
		if v.String() != text {
			t.Errorf("%#v prints %q, want %q", v, v.String(), text)
		}
	}
}

func TestSettingsAreReadAsPeopleWriteThem(t *testing.T) {
	for text, want := range map[string]FNumber{"f/8": 8, "F8": 8, " f / 5.6 ": 5.6, "11": 11, "0.95": 0.95} {
		if got, err := ParseFNumber(text); err != nil || got != want {
			t.Errorf("%q is %v, %v; want %v", text, got, err, want)
		}
	}
	for text, want := range map[string]ISO{"100": 100, "ISO 100": 100, "iso125": 125} {
		if got, err := ParseISO(text); err != nil || got != want {
			t.Errorf("%q is %v, %v; want %v", text, got, err, want)
		}
	}
	for text, want := range map[string]Shutter{"1/125": 1.0 / 125, "1/125 s": 1.0 / 125, "0.5": 0.5, "2s": 2, "1 / 60": 1.0 / 60} {
		if got, err := ParseShutter(text); err != nil || got != want {
			t.Errorf("%q is %v, %v; want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"", "f", "f/", "f/0", "f/200", "f/1e1", "f/0x8", "f/1 1", "f/-8", "inf", "nan", "f/08", "eight"} {
		if got, err := ParseFNumber(text); !errors.Is(err, ErrSetting) {
			t.Errorf("%q is read as the aperture %v, %v; it should be refused", text, got, err)
		}
	}
	for _, text := range []string{"", "ISO", "0", "-100", "1e2", "010", "1 00", "2000000", "auto", "nan"} {
		if got, err := ParseISO(text); !errors.Is(err, ErrSetting) {
			t.Errorf("%q is read as the speed %v, %v; it should be refused", text, got, err)
		}
	}
	for _, text := range []string{"", "s", "1/", "1/0", "1/1e3", "1/inf", "nan", "2/125", "4000", "1/200000", "1/12 5", "-1"} {
		if got, err := ParseShutter(text); !errors.Is(err, ErrSetting) {
			t.Errorf("%q is read as the time %v, %v; it should be refused", text, got, err)
		}
	}
}

func TestExactTimesGetTheirUsualMark(t *testing.T) {
	for _, row := range thirdStops {
		if row.kind != "s" || row.thirds < 6 {
			continue
		}
		want, err := ParseShutter(row.mark)
		if err != nil {
			t.Fatal(err)
		}
		if got := NominalShutter(Shutter(row.exact)); got != want {
			t.Errorf("%.6g s is marked %v, want %v (third-stop table)", row.exact, got, want)
		}
	}
	if got := NominalShutter(1.5); got != 1.5 {
		t.Errorf("1.5 s, which is near no mark of 1/4 s and shorter, becomes %v", got)
	}
}

func FuzzParseSettings(f *testing.F) {
	for _, seed := range []string{"f/5.6", "ISO 100", "1/125 s", "1.2 m", "4 ft", "120cm", "58", "0x1p3", "1e309", "\xff", "1/0"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if n, err := ParseFNumber(text); err == nil {
			if _, ok := n.Av(); !ok || n < 0.7 || n > 128 {
				t.Fatalf("%q is read as %v", text, n)
			}
		}
		if s, err := ParseISO(text); err == nil {
			if _, ok := s.Sv(); !ok || s < 1 || s > 1e6 {
				t.Fatalf("%q is read as %v", text, s)
			}
		}
		if s, err := ParseShutter(text); err == nil {
			if _, ok := s.Tv(); !ok || s < 1e-5 || s > 3600 {
				t.Fatalf("%q is read as %v", text, s)
			}
		}
		if m, err := ParseMetres(text); err == nil && !(m > 0 && m <= 200) {
			t.Fatalf("%q is read as %v", text, m)
		}
	})
}

// A lens marked in T-stops, against published figures.
func TestTStops(t *testing.T) {
	for _, tc := range []struct {
		n             FNumber
		transmittance float64
		want          float64
		tolerance     float64
		source        string
	}{
		{2, 0.75, 2.309, 5e-4, "Wikipedia, F-number, T-stop: 2.0/sqrt(0.75) = 2.309..."},
		{4, 0.5, 5.6, 0.06, "idigitalphoto.com dictionary, T-number: f/4 at 50 % is a T/5.6, marked"},
		{2.656, 0.9, 2.8, 5e-4, "calculator.academy, T-stop to f-stop table at 0.90: T2.8 is f/2.656"},
		{5.313, 0.9, 5.6, 5e-4, "the same table: T5.6 is f/5.313"},
		{7.589, 0.9, 8, 5e-4, "the same table: T8 is f/7.589"},
	} {
		got := tc.n.TStop(tc.transmittance)
		if math.Abs(float64(got)-tc.want) > tc.tolerance {
			t.Errorf("f/%v through %v is T%.4f, want T%v (%s)", float64(tc.n), tc.transmittance, float64(got), tc.want, tc.source)
		}
		if back := got.FNumber(tc.transmittance); math.Abs(float64(back-tc.n)) > 1e-9 {
			t.Errorf("T%.4f through %v is f/%.4f, want f/%v back", float64(got), tc.transmittance, float64(back), float64(tc.n))
		}
	}
	// The light at T8 is that of an ideal f/8, 1/0.9 of a usual f/8: 0.152 stop (derived here).
	if d := TStop(8).OverFNumber(); math.Abs(float64(d)-0.152) > 5e-4 {
		t.Errorf("T8 lets %.4f stop more through than a usual f/8, want 0.152", float64(d))
	}
	for _, text := range []string{"T2.8", "t/2.8", " T 2.8"} {
		if got, err := ParseTStop(text); err != nil || got != 2.8 || got.String() != "T2.8" {
			t.Errorf("%q is read as %v (%v), want T2.8", text, got, err)
		}
	}
	for _, text := range []string{"2.8", "f/2.8", "T", "T0", "T200", "tall"} {
		if got, err := ParseTStop(text); err == nil {
			t.Errorf("%q is read as %v, want a refusal", text, got)
		}
	}
	if TStop(0).FNumber(0.9) != 0 || FNumber(0).TStop(0.9) != 0 || FNumber(8).TStop(0) != 0 || TStop(0).String() != "T?" {
		t.Error("an unknown opening or transmittance gives a number")
	}
}
