package assess

import (
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thirdstop/assess/exposure"
	"thirdstop/assess/photo"
	"thirdstop/assess/studio"
	"thirdstop/testdata"
)

// The band of a curtain that runs across in 1/200 s: at shorter times 1 - time x 200 of the frame lies behind the second
// curtain when the first has run across (derived here). At 1/200 s and longer there is none, however the light stands.
func TestTheDarkBandOfAShutterFasterThanTheFlash(t *testing.T) {
	scenes := testdata.Scenes(25, 5)
	edges := map[int]Edge{1: BottomEdge, 3: TopEdge, 6: LeftEdge, 8: RightEdge} // where the stored picture's bottom comes to lie
	for _, tv := range []exposure.Shutter{1.0 / 60, 1.0 / 200, 1.0 / 250, 1.0 / 320, 1.0 / 400} {
		want, seen := max(0, 1-float64(tv)*200), 0
		for seed := range uint64(scenes) {
			st := studio.Random(seed+5200, studio.RandomOptions{Off: 1.2, NoNarrow: true}) // the wall beside a narrow roll looks like a band
			st.Camera.Sync, st.Camera.Shutter = 1.0/200, tv
			s, _ := st.RenderSurvey()
			b := MeasureSurvey(s, Facts{}, curveOf(t, st.Camera.Curve), Hints{}).DarkBand
			switch {
			case b == nil:
				continue
			case want == 0:
				t.Errorf("studio %d at %v: a dark band where there is none: %+v", seed+5200, tv, *b)
			case b.Edge != edges[st.Camera.Orientation] || math.Abs(b.Share-want) > 0.06:
				t.Errorf("studio %d at %v: a band of %.2f at the %s, want %.2f at the %s", seed+5200, tv, b.Share, b.Edge, want, edges[st.Camera.Orientation])
			}
			seen++
		}
		t.Logf("%v: a band of %.2f is found in %d of %d scenes", tv, want, seen, scenes)
		// A backdrop that is blown by two stops hides a narrow one: its soft border clips as well.
		if want > 0 && seen*10 < scenes*8 {
			t.Errorf("a band of %.2f is found in %d of %d scenes, want 4 of 5", want, seen, scenes)
		}
	}
}

// Real pictures, among them portraits whose clothes or hall are dark along an edge: a band is what no
// portrait has. Of other pictures a few may look so (a floor, a shore): a slow shutter says that it is none.
func TestRealPicturesHaveNoDarkBand(t *testing.T) {
	dir := testdata.Photos(t)
	pictures, like, n := 0, 0, 0
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		ext := strings.ToLower(filepath.Ext(path))
		if err != nil || d.IsDir() || ext != ".jpg" && ext != ".jpeg" {
			return err
		}
		if n++; n%4 != 0 && !testdata.Thorough() && !strings.Contains(path, "portrait") {
			return nil
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		p, err := photo.Read(filepath.Base(path), data)
		if err != nil || p.Survey == nil {
			return nil // not a picture; others test that
		}
		pictures++
		b := Measure(p, nil, Hints{}).DarkBand
		if b == nil {
			return nil
		}
		like++
		t.Logf("%s: %+v", path, *b)
		if strings.Contains(path, "portrait") {
			t.Errorf("%s is a portrait without a dark band, and one of %.2f is found at its %s", path, b.Share, b.Edge)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if pictures < testdata.Scenes(50, 20) || like > max(pictures/30, 1) {
		t.Errorf("%d of %d real pictures look as if they had a dark band, want 1 in 30 at most", like, pictures)
	}
}
