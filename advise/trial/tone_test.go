package trial

import (
	"bytes"
	"strings"
	"testing"

	"thirdstop/assess/exposure"
)

// In one studio: known changes are seen, a curve comes of them that is no worse, and the table says so.
func TestAShootTeachesTheCurveInAStudio(t *testing.T) {
	if testing.Short() {
		t.Skip("a bracket and some forty frames: not in short mode")
	}
	all, err := Tones(t.Context(), ToneOptions{Studios: 1, Seed: 320002, Scatter: 0.05})
	if err != nil {
		t.Fatal(err)
	}
	o := all[0]
	if !o.OK[ByDefault] || !o.OK[After3] || o.Known < 3 || o.Adopted < 1 {
		t.Fatalf("the studio saw %d known changes in %d frames and adopted %d curves", o.Known, o.Frames, o.Adopted)
	}
	rms := func(s ToneStage) exposure.Stops {
		sum := exposure.Stops(0)
		for _, m := range o.Off[s] {
			sum += m.Off * m.Off
		}
		return sum / exposure.Stops(len(o.Off[s]))
	}
	if rms(After3) > rms(ByDefault)+0.01 || !(o.Sigma[After3] < o.Sigma[ByDefault]) {
		t.Errorf("mean square error %.3f by default and %.3f after three changes, sigma %.2f and %.2f: no better",
			float64(rms(ByDefault)), float64(rms(After3)), float64(o.Sigma[ByDefault]), float64(o.Sigma[After3]))
	}
	var b bytes.Buffer
	if err := WriteTones(&b, append(append(append(append(all, o), o), o), o), 1); err != nil || !strings.Contains(b.String(), "| -1 stop to white | after 3 known changes |") {
		t.Errorf("the table: %v\n%s", err, b.String())
	}
}
