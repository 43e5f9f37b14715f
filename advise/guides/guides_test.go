package guides

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"thirdstop/advise/plan"
	"thirdstop/assess/exposure"
)

func TestShootsTeachAGuideNumberWithItsSpread(t *testing.T) {
	path := filepath.Join(t.TempDir(), "guides.json")
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	l := plan.Light{Role: plan.Key, Group: "B", Guide: 58, Modifier: "Softbox ", Zoom: 50}
	if _, _, ok := s.Effective(l); ok {
		t.Error("an empty store knows a light")
	}
	s.Add("one", KeyOf(l), 20)
	_, first, _ := s.Effective(l)
	s.Add("one", KeyOf(l), 30) // the same shoot, resumed
	s.Add("two", KeyOf(l), 40)
	s.Add("three", KeyOf(plan.Light{Role: plan.Key, Modifier: "softbox"}), 99) // the plan states no guide number
	if err := s.Save(); err != nil {
		t.Fatal(err)
	}
	again, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	g, sigma, ok := again.Effective(plan.Light{Role: plan.Key, Group: "A", Guide: 58, Modifier: "softbox", Zoom: 50})
	// The geometric mean of 30 and 40; they lie 2 log2(4/3) = 0.83 stop apart (derived here).
	if !ok || math.Abs(float64(g)-math.Sqrt(1200)) > 0.01 || sigma < 0.4 || sigma > 0.8 {
		t.Errorf("30 and 40 give %.2f ± %v (known %v), want 34.64, and the spread between 0.4 and 0.8 stop", float64(g), sigma, ok)
	}
	for _, id := range []string{"a", "b", "c", "d", "e", "f"} {
		again.Add(id, KeyOf(l), 35)
	}
	if _, many, _ := again.Effective(l); many >= first {
		t.Errorf("after eight shoots the spread is %v, no less than after one, %v", many, first)
	}
	other := l
	other.Modifier = "umbrella"
	if _, _, ok := again.Effective(other); ok {
		t.Error("another modifier is another light")
	}
}

func TestADamagedFileIsNamedAndLeftAlone(t *testing.T) {
	path := filepath.Join(t.TempDir(), "guides.json")
	for _, text := range []string{"{", `{"version": 2}`, `{"version": 1, "lights": [{"shoots": {"x": -3}}]}`} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := Open(path); err == nil {
			t.Errorf("%s is taken", text)
		}
	}
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte(`{"version":1,"lights":[{"role":"key","stated_guide_number":58,"modifier":"","zoom_mm":50,"shoots":{"a":40}}]}`))
	f.Add([]byte(`{"version":1,"lights":[{"role":"key"}]}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		all, err := decode(text)
		if err != nil {
			return
		}
		s := Store{all: all}
		for _, l := range all.Lights {
			g, sigma, ok := s.Effective(plan.Light{Role: l.Role, Guide: l.Stated, Modifier: l.Modifier, Zoom: l.Zoom})
			if ok && (!(g > 0) || !(sigma > 0) || math.IsInf(float64(g), 0)) {
				t.Errorf("%s gives %v ± %v", text, exposure.GuideNumber(g), sigma)
			}
		}
	})
}
