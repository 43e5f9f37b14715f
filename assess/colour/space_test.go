package colour

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

func near(a, b, tolerance float64) bool { return math.Abs(a-b) <= tolerance }

func nearLab(a, b Lab, tolerance float64) bool {
	return near(a.L, b.L, tolerance) && near(a.A, b.A, tolerance) && near(a.B, b.B, tolerance)
}

func nearXYZ(a, b XYZ, tolerance float64) bool {
	return near(a.X, b.X, tolerance) && near(a.Y, b.Y, tolerance) && near(a.Z, b.Z, tolerance)
}

func TestLabAgreesWithThePublishedExamples(t *testing.T) {
	// colour-science 9d743142, models/tests/test_cie_lab.py, 8 decimals, whites given to 4 and 5 digits in xy.
	dark := XYZ{0.20654008, 0.12197225, 0.05136952}
	for _, c := range []struct {
		xyz   XYZ
		white XYZ
		want  Lab
	}{
		{dark, D65, Lab{41.52787529, 52.63858304, 26.92317922}},
		{dark, D50, Lab{41.52787529, 51.19354174, 19.91843098}},
		{dark, A, Lab{41.52787529, 38.48089305, -5.73295122}},
		{XYZ{0.14222010, 0.23042768, 0.10495772}, D65, Lab{55.11636304, -41.08791787, 30.91825778}},
		{XYZ{0.07818780, 0.06157201, 0.28099326}, D65, Lab{29.80565520, 20.01830466, -48.34913874}},
	} {
		if got := c.xyz.Lab(c.white); !nearLab(got, c.want, 1e-7) {
			t.Errorf("Lab of %v = %v, want %v (colour-science)", c.xyz, got, c.want)
		}
		if back := c.want.XYZ(c.white); !nearXYZ(back, c.xyz, 1e-9) {
			t.Errorf("XYZ of %v = %v, want %v (colour-science)", c.want, back, c.xyz)
		}
	}
}

func TestSpacesAgreeWithTheirStandards(t *testing.T) {
	for _, c := range []struct {
		space  Space
		want   matrix
		digits float64
		source string
	}{
		// The white's xy rounded to 4 digits shifts the third column in the 5th digit.
		{SRGB, matrix{0.4124, 0.3576, 0.1805, 0.2126, 0.7152, 0.0722, 0.0193, 0.1192, 0.9505}, 5e-5 + 1e-9, "IEC 61966-2-1, 4 digits"},
		{AdobeRGB, matrix{0.57667, 0.18556, 0.18823, 0.29734, 0.62736, 0.07529, 0.02703, 0.07069, 0.99134}, 5e-6 + 1e-9, "Adobe RGB (1998), 5 digits"},
	} {
		for k, want := range c.want {
			if got := toXYZ[c.space][k]; !near(got, want, c.digits) {
				t.Errorf("%v to XYZ, entry %d = %.7f, want %v (%s)", c.space, k, got, want, c.source)
			}
		}
	}
	// colour-science test of the sRGB transfer function: 0.18 encodes to 0.461356129500442.
	if got := SRGB.Encode(0.18) / 255; !near(got, 0.461356129500442, 1e-14) {
		t.Errorf("sRGB of 0.18 = %.15f, want 0.461356129500442 (colour-science)", got)
	}
	// Derived here from Adobe RGB (1998) 4.3.1.2: 0.18^(256/563), 6 decimals; code 128.
	if got := AdobeRGB.Encode(0.18) / 255; !near(got, 0.458529, 5e-7) {
		t.Errorf("Adobe RGB of 0.18 = %.6f, want 0.458529 (derived here)", got)
	}
	if got := AdobeRGB.Decode(128); !near(got, 0.219638, 5e-7) {
		t.Errorf("Adobe RGB light of code 128 = %.6f, want 0.219638 (derived here)", got)
	}
	for _, s := range []Space{SRGB, AdobeRGB} {
		for code := 0; code <= 255; code++ {
			if got := s.Encode(s.Decode(float64(code))); !near(got, float64(code), 1e-4) { // the two breaks of sRGB differ by 1e-7 of light
				t.Errorf("%v: code %d comes back as %v", s, code, got)
			}
		}
	}
}

func TestPrimariesInLab(t *testing.T) {
	// Derived here with the standard's primaries and white, 4 decimals.
	for _, c := range []struct {
		rgb  RGB
		want Lab
	}{
		{RGB{1, 0, 0}, Lab{53.2371, 80.0901, 67.2033}},
		{RGB{0, 1, 0}, Lab{87.7355, -86.1816, 83.1866}},
		{RGB{0, 0, 1}, Lab{32.3009, 79.1953, -107.8555}},
		{RGB{1, 1, 1}, Lab{100, 0, 0}},
	} {
		if got := SRGB.XYZ(c.rgb).Lab(D65); !nearLab(got, c.want, 1e-4) {
			t.Errorf("Lab of %v = %v, want %v (derived here)", c.rgb, got, c.want)
		}
	}
}

func TestBradfordAgreesWithThePublishedMatrix(t *testing.T) {
	// colour-science, adaptation tests, 8 decimals.
	got := Bradford(XYZ{0.95045593, 1, 1.08905775}, XYZ{0.96429568, 1, 0.82510460}).m
	want := matrix{1.04792979, 0.02294687, -0.05019227, 0.02962781, 0.99043443, -0.01707380, -0.00924304, 0.01505519, 0.75187428}
	for k, want := range want {
		if !near(got[k], want, 2e-8) {
			t.Errorf("Bradford D65 to D50, entry %d = %.8f, want %.8f (colour-science)", k, got[k], want)
		}
	}
	if got := d65ToD50.Of(D65); !nearXYZ(got, D50, 1e-12) {
		t.Errorf("white becomes %v, want %v", got, D50)
	}
}

// rows reads a table of testdata with a header.
func rows(t *testing.T, file string) [][]string {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil || len(all) < 2 {
		t.Fatalf("%s: %d rows, %v", file, len(all), err)
	}
	return all[1:]
}

func TestCIEDE2000OnAllPairsOfSharma(t *testing.T) {
	// Sharma, Wu & Dalal 2005, table 1: 34 pairs, 4 decimals. They are made to find
	// wrong hue means and signs; pair 14 lies on the tie of opposite hues.
	all := rows(t, "testdata/ciede2000.csv")
	if len(all) != 34 {
		t.Fatalf("%d pairs, want 34", len(all))
	}
	for _, r := range all {
		var v [7]float64
		for i := range v {
			var err error
			if v[i], err = strconv.ParseFloat(r[i+1], 64); err != nil {
				t.Fatal(err)
			}
		}
		x, y := Lab{v[0], v[1], v[2]}, Lab{v[3], v[4], v[5]}
		for _, got := range []Difference{CIEDE2000(x, y), CIEDE2000(y, x)} {
			if !near(float64(got), v[6], 5e-5+1e-9) {
				t.Errorf("pair %s: %.5f, want %.4f (Sharma, Wu & Dalal 2005)", r[0], float64(got), v[6])
			}
		}
	}
}

func TestCIEDE2000DoesNotHangOnTheLastDigitOfAHue(t *testing.T) {
	// Pair 14 of Sharma, Wu & Dalal 2005 with its hues turned by less than a rounding.
	x, y := Lab{50, -0.0010, 2.4900}, Lab{50, 0.0010, -2.4900}
	want := CIEDE2000(x, y)
	for _, eps := range []float64{-1e-15, 1e-15} {
		if got := CIEDE2000(x, Lab{50, 0.0010 + eps, -2.4900}); !near(float64(got), float64(want), 1e-6) {
			t.Errorf("turned by %g: %.6f, want %.6f", eps, got, want)
		}
	}
}

func TestCIEDE2000IsADifference(t *testing.T) {
	lab := rapid.Custom(func(t *rapid.T) Lab {
		return Lab{rapid.Float64Range(0, 100).Draw(t, "L"), rapid.Float64Range(-120, 120).Draw(t, "a"), rapid.Float64Range(-120, 120).Draw(t, "b")}
	})
	rapid.Check(t, func(t *rapid.T) {
		x, y := lab.Draw(t, "x"), lab.Draw(t, "y")
		d, e := CIEDE2000(x, y), CIEDE2000(y, x)
		if !near(float64(d), float64(e), 1e-9) || d < 0 || math.IsNaN(float64(d)) || CIEDE2000(x, x) != 0 {
			t.Fatalf("%v to %v is %v, back %v, and to itself %v", x, y, d, e, CIEDE2000(x, x))
		}
	})
}

func uvOf(u, v float64) UV { return UV{u, v} }

func TestTemperatureAgreesWithOhno(t *testing.T) {
	// colour-science, temperature/tests/test_ohno2013.py. It sums in steps of 1 nm; the observer's
	// table of 5 nm adds up to 0.03 % less in z, which makes 1.4e-5 of Duv and, at 6500 K, 1.5 K.
	for _, c := range []struct {
		uv         UV
		cct        Kelvin
		duv        Duv
		tol        Kelvin
		meaningful bool
	}{
		{uvOf(0.1978, 0.3122), 6507.474788799616, 0.003223346337596, 1.6, true},
		{uvOf(0.4328, 0.2883), 1041.678320000468, -0.067378053475797, 0.5, false},
		{uvOf(0.2927, 0.2722), 2444.971818951083, -0.084370641205118, 0.5, false},
	} {
		got, err := temperatureOf(c.uv)
		if err != nil {
			t.Fatal(err)
		}
		if !near(float64(got.CCT), float64(c.cct), float64(c.tol)) || !near(float64(got.Duv), float64(c.duv), 1.5e-5) || got.Meaningful != c.meaningful {
			t.Errorf("%v: %.3f K, Duv %.6f, meaningful %v; want %.3f K, %.6f, %v (Ohno 2013 in colour-science)", c.uv, got.CCT, got.Duv, got.Meaningful, c.cct, c.duv, c.meaningful)
		}
	}
}

func TestPlanckAgreesWithThePublishedTable(t *testing.T) {
	// colour-science's table for Ohno 2013 (CIE 1931, 1 nm), 9 decimals; steps of 5 nm cost up to 1.6e-5 (see above).
	for _, c := range []struct {
		t  Kelvin
		uv UV
	}{{5001, UV{0.211414166, 0.323105716}}, {6000, UV{0.203307932, 0.314117832}}} {
		got := Planck(c.t)
		if !near(got.U, c.uv.U, 5e-6) || !near(got.V, c.uv.V, 1.6e-5) {
			t.Errorf("black body of %v: %.7f %.7f, want %.7f %.7f (colour-science)", c.t, got.U, got.V, c.uv.U, c.uv.V)
		}
	}
}

func TestTemperatureAgreesWithRobertson(t *testing.T) {
	// Robertson 1968 as tested in colour-science: a table of 31 lines, itself good to about 0.1 % (common statement, from
	// memory), so half a percent is allowed and 4e-4 of Duv.
	for _, c := range []struct {
		cct Kelvin
		duv Duv
		uv  UV
	}{
		{2000, 0, UV{0.30505, 0.35907}}, {4500, 0, UV{0.217331111111111, 0.328426666666667}},
		{4500, 0.025, UV{0.201269099983503, 0.347584218664158}}, {7000, 0, UV{0.198191428571429, 0.306981428571429}},
		{7000, -0.025, UV{0.218977485405785, 0.293091149910477}}, {9500, 0, UV{0.191225263157895, 0.294975789473684}},
	} {
		got, err := temperatureOf(c.uv)
		if err != nil || !near(float64(got.CCT), float64(c.cct), 0.005*float64(c.cct)) || !near(float64(got.Duv), float64(c.duv), 4e-4) {
			t.Errorf("%v: %v K, Duv %.5f, %v; want %v K, %.5f (Robertson 1968 in colour-science)", c.uv, got.CCT, got.Duv, err, c.cct, c.duv)
		}
	}
}

func TestMcCamy(t *testing.T) {
	// colour-science, temperature/tests/test_mccamy1992.py, 8 decimals.
	for _, c := range []struct {
		x, y float64
		want Kelvin
	}{{0.31270, 0.32900, 6505.08059131}, {0.44757, 0.40745, 2857.28961266}, {0.252520939374083, 0.252220883926284, 19501.61953130}} {
		if got, ok := McCamy(XyY{c.x, c.y, 1}); !ok || !near(float64(got), float64(c.want), 1e-6) {
			t.Errorf("McCamy of %v %v = %.8f, want %.8f (colour-science)", c.x, c.y, float64(got), float64(c.want))
		}
	}
	if _, ok := McCamy(XyY{0.3, 0.1858, 1}); ok {
		t.Error("McCamy answers where it divides by zero")
	}
	for k := Kelvin(2500); k <= 9000; k += 250 {
		xyy, _ := Planck(k).XYZ().XyY()
		if got, _ := McCamy(xyy); !near(float64(got), float64(k), 0.01*float64(k)) {
			t.Errorf("McCamy finds %v for a black body of %v", got, k)
		}
	}
}

func TestDaylightAgreesWithThePublishedPoints(t *testing.T) {
	// colour-science, temperature/tests/test_cie_d.py, 9 digits and more.
	for _, c := range []struct {
		t    Kelvin
		x, y float64
	}{{4000, 0.382343625, 0.383766261015578}, {7000, 0.305357431486880, 0.321646345474552}, {25_000, 0.24985367, 0.254799464210944}} {
		if got := Daylight(c.t); !near(got.X, c.x, 1e-9) || !near(got.Y, c.y, 1e-9) {
			t.Errorf("daylight of %v: %v, want %v %v (colour-science)", c.t, got, c.x, c.y)
		}
	}
	// D65 lies on the daylight locus, by its definition; its xy has 4 digits.
	got, err := TemperatureOf(D65)
	if err != nil || !near(float64(got.DaylightDuv), 0, 1e-4) {
		t.Errorf("D65 lies %.6f off the daylight locus (%v)", got.DaylightDuv, err)
	}
}

func TestTemperatureFindsWhatItWasMadeFrom(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := Mired(rapid.Float64Range(20, 900).Draw(t, "mired"))
		p, q := Planck(m.Kelvin()), Planck((m + 0.01).Kelvin())
		duv := rapid.Float64Range(-0.03, 0.03).Draw(t, "duv")
		l := math.Hypot(q.U-p.U, q.V-p.V)
		got, err := temperatureOf(UV{p.U - duv*(q.V-p.V)/l, p.V + duv*(q.U-p.U)/l})
		if err != nil || !near(float64(got.CCT.Mired()), float64(m), 0.2) || !near(float64(got.Duv), duv, 2e-6) {
			t.Fatalf("%.3f mired and Duv %.4f are found as %.3f and %.4f (%v)", m, duv, got.CCT.Mired(), got.Duv, err)
		}
	})
}

func TestNoTemperatureIsAnError(t *testing.T) {
	for _, light := range []XYZ{{}, {math.NaN(), 1, 1}, SRGB.XYZ(RGB{0, 0, 1})} {
		if got, err := TemperatureOf(light); !errors.Is(err, ErrNoTemperature) {
			t.Errorf("light %v has the temperature %v (%v)", light, got, err)
		}
	}
}

func TestPatchesAgreeWithTheNeutralDensities(t *testing.T) {
	// McCamy, Marcus & Davidson 1976: densities of the neutrals; the colours are later measurements of the
	// same tones, within 0.05 of density (derived here from the largest difference, white: 0.005, and N5: 0.02).
	for i, d := range []float64{0.05, 0.23, 0.44, 0.70, 1.05, 1.50} {
		for _, e := range []Edition{After2014, Before2014} {
			y := Patches[FirstNeutral+i].Reference(e).XYZ(D50).Y
			if got := -math.Log10(y); !near(got, d, 0.025) {
				t.Errorf("%s, %v: density %.3f, want %.2f (McCamy, Marcus & Davidson 1976)", Patches[FirstNeutral+i].Name, e, got, d)
			}
		}
	}
}

func TestEditionsDifferAsComputedElsewhere(t *testing.T) {
	// CIEDE2000 between the editions, computed here independently (Python): 3 decimals.
	for i, want := range map[int]float64{18: 1.951, 17: 1.569, 16: 1.390, 6: 0.182} {
		p := &Patches[i]
		if got := CIEDE2000(p.Reference(Before2014), p.Reference(After2014)); !near(float64(got), want, 5e-4) {
			t.Errorf("%s: %.4f between the editions, want %.3f (derived here)", p.Name, got, want)
		}
	}
	// Row-major 2005 xyY of the patches under D50, colour-science, 4 digits: equal to the edition before 2014.
	for i, want := range map[int]XyY{0: {0.4316, 0.3777, 0.1008}, 6: {0.5295, 0.4055, 0.3118}, 12: {0.2018, 0.1692, 0.0575}, 18: {0.3469, 0.3608, 0.9131}, 23: {0.3406, 0.3537, 0.0311}} {
		got, _ := Patches[i].Reference(Before2014).XYZ(D50).XyY()
		if !near(got.X, want.X, 1.5e-4) || !near(got.Y, want.Y, 1.5e-4) || !near(got.Lum, want.Lum, 1.5e-4) {
			t.Errorf("%s: %v, want %v (colour-science)", Patches[i].Name, got, want)
		}
	}
}
