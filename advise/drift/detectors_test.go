package drift

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// table reads a reference table of testdata: rows by column name. Empty cells are left out.
func table(t *testing.T, name string) []map[string]float64 {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%s: %d rows, %v", name, len(rows), err)
	}
	var out []map[string]float64
	for _, r := range rows[1:] {
		m := map[string]float64{}
		for k, cell := range r {
			if cell = strings.TrimSpace(cell); cell != "" {
				v, err := strconv.ParseFloat(cell, 64)
				if err != nil {
					t.Fatal(err)
				}
				m[rows[0][k]] = v
			}
		}
		out = append(out, m)
	}
	return out
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.6f, want %.6f within %.2g", what, got, want, tolerance)
	}
}

// NIST/SEMATECH e-Handbook 6.3.2.3, two printed decimals. Half-way ties are
// rounded either way there, hence the whole half unit.
func TestTheCusumIsThatOfTheNISTHandbook(t *testing.T) {
	c, s := Cusum{K: 0.3175, H: 4.1959}, CusumState{}
	first := 0
	for _, r := range table(t, "nist_cusum.csv") {
		s = c.Next(s, r["x"]-325)
		i := strconv.Itoa(int(r["i"]))
		near(t, "upper sum at "+i, s.Up, r["nist_s_hi"], 0.005+1e-6)
		near(t, "lower sum at "+i, s.Down, r["nist_s_lo"], 0.005+1e-6)
		if got := c.Signal(s) != 0; got != (r["signal"] == 1) {
			t.Errorf("signal at %s is %v, the handbook says %v", i, got, r["signal"] == 1)
		}
		if first == 0 && c.Signal(s) != 0 {
			first = int(r["i"])
			if s.UpFor != 2 {
				t.Errorf("the change is put %d values back, want 2: the sum left zero at 13 (e-Handbook's table)", s.UpFor)
			}
		}
	}
	if first != 14 {
		t.Errorf("first signal at %d, the handbook says 14", first)
	}
}

// Montgomery & Runger, Table 16-8, one printed decimal: no signal.
func TestTheCusumIsThatOfMontgomeryAndRunger(t *testing.T) {
	c, s := Cusum{K: 1, H: 10}, CusumState{}
	for _, r := range table(t, "montgomery_cusum.csv") {
		s = c.Next(s, r["x"]-99)
		i := strconv.Itoa(int(r["i"]))
		near(t, "upper sum at "+i, s.Up, r["s_hi"], 1e-6)
		near(t, "lower sum at "+i, s.Down, r["s_lo"], 1e-6)
		if c.Signal(s) != 0 {
			t.Errorf("signal at %s, the table has none", i)
		}
	}
}

// NIST/SEMATECH e-Handbook 6.3.2.4, two printed decimals; limits 52.5884 and
// 47.4115 with the factor rounded to 0.4201 there.
func TestTheEwmaIsThatOfTheNISTHandbook(t *testing.T) {
	e, s := Ewma{Lambda: 0.3, L: 3}, EwmaState{}
	const start, sd = 50.0, 2.0539
	for _, r := range table(t, "nist_ewma.csv") {
		if r["i"] == 0 {
			continue
		}
		s = e.Next(s, r["x"]-start)
		near(t, "average at "+strconv.Itoa(int(r["i"])), start+s.Mean, r["nist_ewma"], 0.005+1e-6)
		if math.Abs(s.Mean) > sd*e.Limit(1e6) {
			t.Errorf("signal at %v, the handbook has none", r["i"])
		}
	}
	near(t, "upper limit", start+sd*e.Limit(1e6), 52.5884, 3*sd*0.00005+0.00005)
	near(t, "lower limit", start-sd*e.Limit(1e6), 47.4115, 3*sd*0.00005+0.00005)
	near(t, "first limit", e.Limit(1), 3*0.3, 1e-12) // one value has the standard deviation lambda (derived here)
}

// Sen 1968: slope 4, intercept 6, 93 % limits 26/7 and 35/8 (as corrected by the
// tests of SciPy and of R's deming: the interval printed in the paper rests on slips in its list of slopes).
func TestTheilSenIsThatOfSen1968(t *testing.T) {
	at := []float64{1, 2, 3, 4, 10, 12, 18}
	y := []float64{9, 15, 19, 20, 45, 55, 78}
	const z93 = 1.8119106729525978 // normal quantile of 0.965
	l, ok := TheilSen(at, y, z93)
	if !ok {
		t.Fatal("no slope")
	}
	near(t, "slope", l.Slope, 4, 1e-12)
	near(t, "intercept", l.Intercept, 6, 1e-12)
	near(t, "lower limit", l.Low, 26.0/7, 1e-12)
	near(t, "upper limit", l.High, 35.0/8, 1e-12)
	if _, ok := TheilSen([]float64{3, 3}, []float64{1, 2}, 2); ok {
		t.Error("two points at one time have a slope")
	}
	// Up to 29 % of the points may be anything: one in four here (Sen 1968; derived here).
	for i := range y {
		y[i] = 2 * at[i]
	}
	y[3] = 1000
	if l, _ := TheilSen(at, y, 1.96); l.Slope != 2 {
		t.Errorf("one wild point moves the slope from 2 to %v", l.Slope)
	}
}

func TestAStepIsToldFromASlope(t *testing.T) {
	var step, ramp []float64
	for i := range 20 {
		s, r := 0.0, 0.0
		if i >= 10 {
			s, r = -0.3, -0.05*float64(i-9)
		}
		wiggle := 0.02 * float64(1-2*(i%2))
		step, ramp = append(step, s+wiggle), append(ramp, r+wiggle)
	}
	if f := stepOrRamp(step, 0.03); f.ramp || f.start != 10 || math.Abs(f.now+0.3) > 0.01 || f.lead < 4 {
		t.Errorf("a step of -0.3 at 10 is taken for %+v", f)
	}
	if f := stepOrRamp(ramp, 0.03); !f.ramp || f.start < 9 || f.start > 11 || math.Abs(f.per+0.05) > 0.005 || f.lead < 4 {
		t.Errorf("a slope of -0.05 from 10 on is taken for %+v", f)
	}
}
