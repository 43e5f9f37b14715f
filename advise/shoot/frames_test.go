package shoot

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"thirdstop/advise"
	"thirdstop/advise/trail"
	"thirdstop/assess"
	"thirdstop/watcher"
)

func TestFilesBecomeFrames(t *testing.T) {
	b := newBench(t)
	s := b.open()
	for _, step := range []struct{ why, rel, text, want string }{
		{"the first file", "Q_0009.JPG", dark, "1.1"},
		{"numbers count arrivals, not names", "Q_0002.JPG", good, "1.1 2.1"},
		{"the same content again", "Q_0002.JPG", good, "1.1 2.1"},
		{"the raw of the second frame, worth less, leaves the reading", "q_0002.raw", "backdrop 0.1 white -0.2 kind approximate", "1.1 2.1"},
		{"a rewrite after the raw is the third revision", "Q_0002.JPG", "backdrop 0.3 white -0.2 kind full", "1.1 2.3"},
		{"what it was before is a change as well", "Q_0002.JPG", good, "1.1 2.4"},
		{"a raw alone", "Q_0003.raw", "backdrop 0.1 white -0.2 kind approximate", "1.1 2.4 3.1"},
		{"its JPEG is worth more", "Q_0003.JPG", good, "1.1 2.4 3.2"},
		{"a late rewrite of the first", "Q_0009.JPG", good, "1.2 2.4 3.2"},
		{"another sitter's folder is another frame", "stroke/Q_0002.JPG", good, "1.2 2.4 3.2 4.1"},
		{"a damaged file", "Q_0005.JPG", "torn", "1.2 2.4 3.2 4.1 5.1"},
		{"sent again", "Q_0005.JPG", good, "1.2 2.4 3.2 4.1 5.2"},
		{"a rewrite that is damaged leaves what was read", "Q_0005.JPG", "torn again", "1.2 2.4 3.2 4.1 5.2"},
	} {
		b.take(s, step.rel, step.text)
		if got := frames(s); got != step.want {
			t.Errorf("%s: frames = %s, want %s", step.why, got, step.want)
		}
	}
	st := s.Snapshot().State
	if got := s.Words(st.Frames[3].Folder); got != "stroke" {
		t.Errorf("the folder of frame 4 is %q, want the sitter's", got)
	}
	if got := s.Words(st.Frames[1].File); got != "Q_0002.JPG" {
		t.Errorf("the file of frame 2 is %q", got)
	}
	// Over a restart nothing is doubled, and numbers and revisions go on.
	seq := st.Seq
	b.close(s)
	s = b.open()
	for rel, text := range map[string]string{"Q_0009.JPG": good, "Q_0002.JPG": good, "q_0002.raw": "backdrop 0.1 white -0.2 kind approximate",
		"Q_0003.JPG": good, "stroke/Q_0002.JPG": good, "Q_0005.JPG": "torn again"} {
		v := b.file(rel, text)
		if !s.Known(v.Rel, v.Hash) {
			t.Errorf("%s isn't known after a restart", rel)
		}
		if err := s.Complete(context.Background(), v); err != nil {
			t.Errorf("Complete(%s) = %v", rel, err)
		}
	}
	if got := s.Snapshot().State.Seq; got != seq+2 { // paused and resumed
		t.Errorf("files that were known made %d inputs", got-seq-2)
	}
	b.take(s, "Q_0010.JPG", dark)
	b.take(s, "Q_0003.JPG", dark)
	if got, want := frames(s), "1.2 2.4 3.3 4.1 5.2 6.1"; got != want {
		t.Errorf("after the restart frames = %s, want %s", got, want)
	}
}

func TestADamagedFileLeavesNoNameInTheChain(t *testing.T) {
	b := newBench(t)
	var log bytes.Buffer
	b.log = zerolog.New(&log)
	s := b.open()
	b.take(s, "committee/Margarethe-Q_0001.JPG", "torn")
	f := s.Snapshot().State.Frames[0]
	if f.Damaged != "the file: it is no picture: torn" || f.Reading != nil {
		t.Errorf("frame 1 is damaged by %q, want the sentence without the name", f.Damaged)
	}
	b.submit(s, Request{Sitter: new("Margarethe")})
	s.Trouble(context.Background(), watcher.Problem{Rel: "Margarethe-2.JPG", Kind: watcher.Damaged, Err: errors.New("Margarethe-2.JPG: is damaged")})
	b.close(s)
	chain, err := os.ReadFile(filepath.Join(b.trailOf(s), "trail.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	for where, text := range map[string]string{"the chain": string(chain), "the log": log.String()} {
		if strings.Contains(text, "Margarethe") || strings.Contains(text, "committee") || strings.Contains(text, b.capture) {
			t.Errorf("%s holds a name: %s", where, text)
		}
	}
	if !strings.Contains(log.String(), `"frame":1`) {
		t.Errorf("the log lacks the frame's number: %s", log.String())
	}
}

func TestAFaultInMeasuringIsADamagedFrame(t *testing.T) {
	b := newBench(t)
	s := b.open()
	b.take(s, "Q_0001.JPG", "panic")
	if f := s.Snapshot().State.Frames[0]; !strings.Contains(f.Damaged, "report") {
		t.Errorf("frame 1 = %+v, want it damaged with a sentence", f)
	}
	// No number, so the reading can't be written down: the frame counts as damaged, or it would come again for ever.
	b.take(s, "Q_0002.JPG", fmt.Sprintf("backdrop %g white 0 kind full", math.NaN()))
	if f := s.Snapshot().State.Frames[1]; f.Reading != nil || f.Damaged == "" || s.Snapshot().Recording != "" {
		t.Errorf("frame 2 = %+v, want it damaged, and recording to go on", f)
	}
	b.take(s, "Q_0003.JPG", good)
}

func TestFilesOfAnEarlierShootStayOut(t *testing.T) {
	b := newBench(t)
	first := b.open()
	b.take(first, "Q_0001.JPG", dark)
	b.take(first, "Q_0002.JPG", good)
	b.submit(first, Request{End: true})
	if err := first.Complete(context.Background(), b.file("Q_0003.JPG", dark+" late")); err != nil {
		t.Errorf("a file after the end = %v", err)
	}
	snap := first.Snapshot()
	if snap.State.FrameCount != 2 || len(snap.Troubles) != 1 || snap.Troubles[0].Code != "ended" {
		t.Errorf("after the end there are %d frames and %v, want 2 and a sentence", snap.State.FrameCount, snap.Troubles)
	}
	b.close(first)

	second, start := b.opened()
	if start.Resumed || second.ID() == first.ID() || second.Snapshot().State.Phase != advise.Begun {
		t.Error("an ended shoot was gone on with")
	}
	deliver := func(s *Shoot) {
		b.take(s, "Q_0001.JPG", dark)
		b.take(s, "Q_0002.JPG", good)
		b.take(s, "Q_0003.JPG", dark+" late")
	}
	deliver(second)
	if got := frames(second); got != "1.1" {
		t.Errorf("frames of the second shoot = %s, want the late file alone", got)
	}
	b.close(second)
	second, start = b.opened()
	deliver(second)
	if got := frames(second); got != "1.1" || !start.Resumed {
		t.Errorf("after a restart frames = %s, want the late file alone: the first shoot's are forgotten", got)
	}
	b.close(second)

	b.fresh = true
	third, start := b.opened()
	deliver(third)
	if third.Snapshot().State.FrameCount != 0 || start.Resumed {
		t.Errorf("a fresh shoot took %d old files", third.Snapshot().State.FrameCount)
	}
	b.close(third)
	b.fresh = false
	if again, _ := b.opened(); again.ID() != third.ID() {
		t.Error("not the newest shoot was gone on with")
	}

	// Another capture folder has shoots of its own.
	other := newBench(t)
	other.dir = b.dir
	if s, start := other.opened(); start.Resumed || s.ID() == third.ID() {
		t.Error("a shoot of another folder was gone on with")
	}
}

func TestErasedNamesDoubleNothing(t *testing.T) {
	b := newBench(t)
	s := b.open()
	b.take(s, "Q_0001.JPG", dark)
	b.take(s, "Q_0002.JPG", good)
	ref := s.Snapshot().State.Frames[0].File
	b.close(s)
	tr, _, err := trail.Open(b.trailOf(s), trail.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(tr.Erase(ref), tr.Close()); err != nil {
		t.Fatal(err)
	}
	s = b.open()
	b.take(s, "Q_0001.JPG", dark)
	if got := frames(s); got != "1.1 2.1" {
		t.Errorf("frames = %s, want no double of the one whose name was erased", got)
	}
	if s.Words(ref) != "" {
		t.Error("the erased name is back")
	}
	for _, e := range must(s.Events(0, 100)) {
		if e.Ref == ref && e.Words != "" {
			t.Error("the shoot log still says the erased name")
		}
	}
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func TestDeclaringTheWhiteReferenceMeasuresTheNewestFrameAgain(t *testing.T) {
	b := newBench(t)
	s := b.open()
	b.submit(s, withPlan(Request{}))
	b.take(s, "Q_0001.JPG", dark)
	b.take(s, "Q_0001.raw", "backdrop -0.7 white -3 kind approximate") // must not be measured in its place
	declare := Request{Client: "card", Reference: &advise.Reference{Frame: 1, Box: &card}}
	b.submit(s, declare)
	st := s.Snapshot().State
	w := st.Frames[0].Reading.Regions.WhiteReference
	if w == nil || w.Peak != -1.1 || st.Frames[0].Revision != 3 {
		t.Fatalf("frame 1 revision %d has the white reference %+v, want it measured at -1.1", st.Frames[0].Revision, w)
	}
	b.submit(s, Request{Client: "back", Reference: &advise.Reference{}})
	if st := s.Snapshot().State; st.Frames[0].Reading.Regions.WhiteReference != nil || st.Frames[0].Revision != 4 {
		t.Errorf("a declaration taken back still shows in revision %d", st.Frames[0].Revision)
	}
	// The other way round the JPEG is measured again, and not the raw that came first.
	b.take(s, "Q_0002.raw", "backdrop -0.7 white -3 kind approximate")
	b.take(s, "Q_0002.JPG", "backdrop 0.1 white -0.4 kind full")
	b.submit(s, Request{Reference: &advise.Reference{Frame: 2, Box: &card}})
	if w := s.Snapshot().State.Frames[1].Reading.Regions.WhiteReference; w == nil || w.Peak != -0.4 {
		t.Errorf("frame 2 has the white reference %+v, want that of its JPEG, -0.4", w)
	}
	b.submit(s, Request{Reference: &advise.Reference{}})
	// After a restart only the file is there.
	b.close(s)
	s = b.open()
	again := b.g.measured.Load()
	b.submit(s, Request{Client: "card2", Reference: &advise.Reference{Frame: 1, Box: &card}})
	if w := s.Snapshot().State.Frames[1].Reading.Regions.WhiteReference; w == nil || w.Peak != -0.4 || b.g.measured.Load() != again+1 {
		t.Errorf("after a restart the white reference is %+v, want it out of the file", w)
	}
	// And where the file has gone or changed, the declaration holds for the next frame.
	b.close(s)
	b.file("Q_0002.JPG", good)
	s = b.open()
	b.submit(s, Request{Client: "back2", Reference: &advise.Reference{}})
	if st := s.Snapshot().State; st.Reference != nil || st.Frames[1].Reading.Regions.WhiteReference == nil {
		t.Error("a file that was changed meanwhile was measured as if it were the frame")
	}
}

func TestAReferenceDeclaredWhileAFrameIsMeasuredHoldsForIt(t *testing.T) {
	b := newBench(t)
	s := b.open()
	b.submit(s, withPlan(Request{}))
	b.take(s, "Q_0001.JPG", dark)
	b.g.before = func() {
		b.g.before = nil
		b.submit(s, Request{Reference: &advise.Reference{Frame: 1, Box: &card}})
	}
	b.take(s, "Q_0002.JPG", good)
	if w := s.Snapshot().State.Frames[1].Reading.Regions.WhiteReference; w == nil {
		t.Error("frame 2 was measured without the reference that was declared meanwhile")
	}
	b.g.before = func() {
		b.g.before = nil
		b.submit(s, Request{End: true})
	}
	if err := s.Complete(context.Background(), b.file("Q_0003.JPG", dark)); err != nil || s.Snapshot().State.FrameCount != 2 {
		t.Errorf("a frame measured while the shoot ended = %v, %d frames, want it left to the next shoot", err, s.Snapshot().State.FrameCount)
	}
	if got := s.Snapshot(); got.Measuring != 0 || len(got.Troubles) != 1 {
		t.Errorf("measuring %d, troubles %v", got.Measuring, got.Troubles)
	}
}

// Killed between the declaration and the new measurement: the next start makes up for it.
func TestACrashBetweenDeclarationAndMeasurementIsMadeUpFor(t *testing.T) {
	b := newBench(t)
	s := b.open()
	b.submit(s, withPlan(Request{}))
	b.take(s, "Q_0001.JPG", dark)
	before := trailSize(t, b.trailOf(s), "trail.jsonl")
	b.submit(s, Request{Client: "card", Reference: &advise.Reference{Frame: 1, Box: &card}})
	chain := filepath.Join(b.trailOf(s), "trail.jsonl")
	text := must(os.ReadFile(chain))
	s.Close()
	first := bytes.IndexByte(text[before:], '\n') + 1
	if err := os.WriteFile(chain, text[:int(before)+first], 0o600); err != nil {
		t.Fatal(err)
	}
	s, _ = b.opened()
	if w := s.Snapshot().State.Frames[0].Reading.Regions.WhiteReference; w == nil {
		t.Error("the newest frame was not measured under the declared reference")
	}
	seq := s.Snapshot().State.Seq
	b.close(s)
	if s = b.open(); s.Snapshot().State.Seq != seq+2 {
		t.Error("it was measured once more, though nothing was owed")
	}
}

func TestTroublesComeAndGo(t *testing.T) {
	b := newBench(t)
	s := b.open()
	ctx := context.Background()
	told := func() string {
		var out []string
		for _, x := range s.Snapshot().Troubles {
			out = append(out, x.Code)
		}
		return strings.Join(out, " ")
	}
	if s.Snapshot().Troubles == nil {
		t.Error("no troubles are nil, want an empty list")
	}
	for _, step := range []struct {
		p    watcher.Problem
		want string
	}{
		{watcher.Problem{Kind: watcher.FolderGone, Err: errors.New("the folder is gone")}, "folder-gone"},
		{watcher.Problem{Kind: watcher.Polling, Err: errors.New("no events")}, "folder-gone polling"},
		{watcher.Problem{Kind: watcher.FolderBack}, "polling"},
		{watcher.Problem{Kind: watcher.EventsBack}, ""},
		{watcher.Problem{Kind: watcher.EventsLost}, ""},
		{watcher.Problem{Rel: "Q_0001.JPG", Kind: watcher.Incomplete, Err: errors.New("half")}, "incomplete"},
		{watcher.Problem{Rel: "Q_0001.JPG", Kind: watcher.Damaged, Err: errors.New("torn")}, "damaged"},
		{watcher.Problem{Rel: "Q_0002.JPG", Kind: watcher.Unreadable, Err: errors.New("no")}, "damaged unreadable"},
		{watcher.Problem{Rel: "Q_0002.JPG", Kind: watcher.Vanished}, "damaged"},
		{watcher.Problem{Rel: "bow", Kind: watcher.Unreadable, Err: errors.New("no")}, "damaged unreadable"},
		{watcher.Problem{Rel: "bow", Kind: watcher.Readable}, "damaged"},
	} {
		s.Trouble(ctx, step.p)
		if got := told(); got != step.want {
			t.Errorf("after %v %s the troubles are %q, want %q", step.p.Kind, step.p.Rel, got, step.want)
		}
	}
	b.take(s, "Q_0001.JPG", dark)
	if told() != "" {
		t.Errorf("a file that came whole still has the trouble %q", told())
	}
	// A known file isn't delivered again, so its trouble ends with the question.
	s.Trouble(ctx, watcher.Problem{Rel: "Q_0001.JPG", Kind: watcher.Unreadable, Err: errors.New("no")})
	v := b.file("Q_0001.JPG", dark)
	if !s.Known(v.Rel, v.Hash) || told() != "" {
		t.Errorf("a known file that can be read again still has the trouble %q", told())
	}
	for i := range 30 {
		s.Trouble(ctx, watcher.Problem{Rel: fmt.Sprint("torn", i, ".jpg"), Kind: watcher.Damaged, Err: errors.New("torn")})
	}
	if x := s.Snapshot().Troubles; len(x) != mostTroubles+1 || x[mostTroubles].Text != "And 10 more like these." {
		t.Errorf("of 30 troubles %d are shown, the last %q", len(x), x[len(x)-1].Text)
	}
}

func TestLatencyIsThatOfTheNewestFrame(t *testing.T) {
	b := newBench(t)
	s := b.open()
	changed, stop := s.Watch()
	defer stop()
	v := b.file("Q_0001.JPG", dark)
	for len(changed) > 0 {
		<-changed
	}
	var seen *Snapshot
	b.g.before = func() { seen = s.Snapshot() }
	if err := s.Complete(context.Background(), v); err != nil {
		t.Fatal(err)
	}
	if seen.Measuring != 1 || seen.State.FrameCount != 0 {
		t.Errorf("while it is measured: measuring %d, frames %d", seen.Measuring, seen.State.FrameCount)
	}
	if l := s.Snapshot().Latency; l <= 0 || l > time.Second {
		t.Errorf("latency = %v, want some hundredths by this clock", l)
	}
	v = b.file("Q_0000.JPG", good)
	v.Existing, v.Written = true, v.Written.Add(-time.Hour)
	if err := s.Complete(context.Background(), v); err != nil || s.Snapshot().Latency != 0 {
		t.Errorf("latency of a file that was there before = %v, want none", s.Snapshot().Latency)
	}
}

// A file over the watcher's limit comes without its bytes.
func TestALargeFileIsReadAgainAndMustBeTheSame(t *testing.T) {
	b := newBench(t)
	s := b.open()
	v := b.file("Q_0001.JPG", dark)
	v.Data = nil
	if err := os.WriteFile(v.Path, []byte(good), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := s.Complete(context.Background(), v); err == nil || s.Snapshot().State.FrameCount != 0 || s.Snapshot().Measuring != 0 {
		t.Errorf("a file that changed under way = %v, want an error, so that it comes again", err)
	}
	if err := os.Remove(v.Path); err != nil {
		t.Fatal(err)
	}
	if err := s.Complete(context.Background(), v); err == nil {
		t.Error("a file that went away was taken")
	}
	v = b.file("Q_0001.JPG", dark)
	v.Data = nil
	if err := s.Complete(context.Background(), v); err != nil || s.Snapshot().State.Frames[0].Reading == nil {
		t.Errorf("a large file = %v, want it measured", err)
	}
}

func TestBoxesAreComparedByWhatTheyHold(t *testing.T) {
	if !sameBox(nil, nil) || sameBox(&card, nil) || sameBox(nil, &card) || !sameBox(&card, new(card)) || sameBox(&card, &assess.Box{}) {
		t.Error("boxes are compared wrongly")
	}
}

// torn is what the watcher tells of a file that stays broken.
func torn(rel, content string, kind watcher.ProblemKind) watcher.Problem {
	return watcher.Problem{Rel: rel, Kind: kind, Err: errors.New(rel + ": is not whole"), Hash: sha256.Sum256([]byte(content)), Size: int64(len(content))}
}

func TestABrokenFileIsALineOfTheLogAndNeverAdvice(t *testing.T) {
	for name, between := range map[string]func(b *bench, dir string){
		"opened by its bookmark": func(*bench, string) {},
		"played whole":           func(_ *bench, dir string) { os.Remove(filepath.Join(dir, bookmarkName)) },
		"without names": func(b *bench, dir string) {
			if _, err := Erase(dir, Personal{Files: true}); err != nil {
				b.t.Fatal(err)
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			s := b.open()
			b.submit(s, withPlan(Request{}))
			b.take(s, "Q_0001.JPG", dark)
			before := s.Snapshot().State
			tell := func(s *Shoot, p watcher.Problem) {
				t.Helper()
				if err := s.Trouble(context.Background(), p); err != nil {
					t.Fatal(err)
				}
			}
			for range 2 { // once for each content
				tell(s, torn("stroke/Q_0002.JPG", "half", watcher.Incomplete))
			}
			tell(s, torn("stroke/Q_0002.JPG", "half and a bit", watcher.Incomplete))
			tell(s, torn("Q_0001.JPG", "junk", watcher.Damaged)) // of a frame that was read
			tell(s, torn("Q_0003.JPG", "", watcher.Incomplete))
			lines := func(s *Shoot) string {
				events, err := s.Events(0, 1000)
				if err != nil {
					t.Fatal(err)
				}
				var out []string
				for _, e := range events {
					if e.Kind == "damaged" {
						out = append(out, e.Words+": "+e.Text)
					}
				}
				return strings.Join(out, "\n")
			}
			want := "stroke/Q_0002.JPG: A file could not be read: it ends too early (4 bytes), and nothing more came; send it again from the camera.\n" +
				"stroke/Q_0002.JPG: A file could not be read: it ends too early (14 bytes), and nothing more came; send it again from the camera.\n" +
				"Q_0001.JPG: A file of frame 1 could not be read: it is damaged (4 bytes); send it again from the camera. What was read of the frame before stands.\n" +
				"Q_0003.JPG: A file could not be read: it is empty; send it again from the camera."
			if got := lines(s); got != want {
				t.Errorf("the log has\n%s\nwant\n%s", got, want)
			}
			after := s.Snapshot().State
			if !reflect.DeepEqual(after.Advice, before.Advice) || after.FrameCount != before.FrameCount || after.Seq != before.Seq+4 {
				t.Errorf("broken files made frames %d -> %d, states %d -> %d, advice %+v", before.FrameCount, after.FrameCount, before.Seq, after.Seq, after.Advice)
			}
			b.close(s)
			dir := b.trailOf(s)
			between(b, dir)

			s = b.open()
			tell(s, torn("stroke/Q_0002.JPG", "half and a bit", watcher.Incomplete))
			tell(s, torn("Q_0001.JPG", "junk", watcher.Damaged))
			if got := strings.Count(lines(s), "\n") + 1; got != 4 {
				t.Errorf("after a restart the log has %d lines of them, want the same 4:\n%s", got, lines(s))
			}
			b.take(s, "stroke/Q_0002.JPG", good) // sent again
			if a := s.Snapshot().State.Advice; a.Frame != 2 || len(s.Snapshot().Troubles) != 1 {
				t.Errorf("sent again whole, its advice is of frame %d, and %v", a.Frame, s.Snapshot().Troubles)
			}
			b.submit(s, Request{End: true})
			b.close(s)
			if r, err := Replay(dir); err != nil || len(r.Differs) > 0 || r.Inputs < 8 {
				t.Errorf("the replay: %+v, %v", r, err)
			}
			if v, err := trail.Verify(dir, ""); err != nil || v.Records == 0 {
				t.Errorf("the record: %+v, %v", v, err)
			}

			// The next shoot in this folder doesn't begin with the last one's.
			s = b.open()
			tell(s, torn("Q_0001.JPG", "junk", watcher.Damaged))
			if got := lines(s); got != "" {
				t.Errorf("the next shoot says %s", got)
			}
			b.close(s)
		})
	}
}

func TestABrokenFileThatCantBeRecordedComesAgain(t *testing.T) {
	b := newBench(t)
	s := b.open()
	s.trail.Close() // as a disk that fails
	if err := s.Trouble(context.Background(), torn("Q_0001.JPG", "half", watcher.Incomplete)); err == nil {
		t.Error("it is taken, and stands nowhere")
	}
	if x := s.Snapshot().Troubles; len(x) != 1 || x[0].Code != "incomplete" {
		t.Errorf("the troubles are %v, want the file's", x)
	}
}
