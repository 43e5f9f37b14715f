package shoot

import (
	"testing"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/trail"
)

// What stands in a record, it is played or refused, and never brings the program down: a
// trail may come from anywhere. Refused or played, it does the same each time.
func FuzzRecord(f *testing.F) {
	b := newBench(f)
	s := b.open()
	b.submit(s, withPlan(Request{}))
	b.take(s, "Q_0001.JPG", dark)
	b.submit(s, Request{Reference: &advise.Reference{Frame: 1, Box: &card}})
	b.submit(s, Request{Adjusted: &advise.Adjusted{Group: "B", To: -60}})
	b.close(s)
	base := player{}
	for r, err := range trail.Read(b.trailOf(s)) {
		if err != nil {
			f.Fatal(err)
		}
		if _, err := base.play(r); err != nil {
			f.Fatal(err)
		}
		f.Add(r.Kind, []byte(r.Body))
	}
	f.Add(inputKind, []byte(`{"input":{"frame":{"number":-1,"revision":0,"reading":{}}}}`))
	f.Add(inputKind, []byte(`{"input":{"adjusted":{"group":"A","to":-99999999}}}`))
	f.Add(inputKind, []byte(`{"input":{"session":{"phase":"?"}},"kept":[{"kept":"x"}]}`))
	f.Add(outputKind, []byte(`{"of":3,"outputs":null}`))
	f.Fuzz(func(t *testing.T, kind string, body []byte) {
		r := trail.Record{Seq: 99, At: time.Unix(1_790_000_000, 0).UTC(), Kind: kind, V: bodyVersion, Rules: advise.Rules, Body: body}
		one, two := base, base
		_, err := one.play(r)
		_, err2 := two.play(r)
		if (err == nil) != (err2 == nil) || one.state.Seq != two.state.Seq || len(one.outputs) != len(two.outputs) {
			t.Errorf("a record of kind %q plays differently the second time: %v and %v", kind, err, err2)
		}
		if err == nil && kind == outputKind {
			if _, err := one.recordedOutputs(); err != nil {
				t.Logf("its outputs are refused: %v", err)
			}
		}
		frame := trail.Record{Seq: 100, At: r.At, Kind: inputKind, V: bodyVersion, Rules: advise.Rules, Body: []byte(`{"input":{"at":"2026-11-25T09:00:00Z","session":{"phase":"resumed"}}}`)}
		if _, err := one.play(frame); err != nil {
			t.Errorf("the shoot can't go on after it: %v", err)
		}
	})
}
