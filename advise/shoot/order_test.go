package shoot

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"

	"thirdstop/advise"
	"thirdstop/advise/trail"
)

func TestAnInputIsStoredAndSyncedBeforeItIsShown(t *testing.T) {
	b := newBench(t)
	var s *Shoot
	var story []string
	d := &breaking{before: func(op, file string) error {
		if s != nil {
			story = append(story, op+" "+file+" at "+string(s.Snapshot().State.Advice.Status))
		}
		return nil
	}}
	b.disk = d
	opened := b.open()
	changed, stop := opened.Watch()
	defer stop()
	s = opened
	b.submit(s, withPlan(Request{Client: "a"}))
	want := []string{"write trail.jsonl at no_plan", "sync trail.jsonl at no_plan", "write trail.jsonl at no_plan"}
	if !slices.Equal(story, want) {
		t.Errorf("a plan was given: %q, want input, sync and outputs before anything is shown: %q", story, want)
	}
	select {
	case <-changed:
	default:
		t.Error("nobody was told of the new state")
	}
	if got := s.Snapshot(); got.State.Advice.Status != advise.Waiting || got.State.Seq != 2 {
		t.Errorf("after the plan state %d is %q, want 2 and waiting", got.State.Seq, got.State.Advice.Status)
	}
	story = nil
	b.take(s, "Q_0001.JPG", dark)
	want = []string{"write names.jsonl at waiting", "sync names.jsonl at waiting", "write trail.jsonl at waiting", "sync trail.jsonl at waiting", "write trail.jsonl at waiting"}
	if !slices.Equal(story, want) {
		t.Errorf("a frame came: %q, want its name, the input, and then the outputs: %q", story, want)
	}
}

func TestWhatCantBeStoredChangesNothingAndSaysSo(t *testing.T) {
	for _, at := range []string{"write trail.jsonl", "sync trail.jsonl", "write names.jsonl", "sync names.jsonl"} {
		t.Run(at, func(t *testing.T) {
			b := newBench(t)
			broken := false
			fails := 0
			d := &breaking{before: func(op, file string) error {
				if broken && op+" "+file == at {
					fails++
					return syscall.ENOSPC
				}
				return nil
			}}
			b.disk = d
			s := b.open()
			b.submit(s, withPlan(Request{Client: "plan"}))
			b.take(s, "Q_0001.JPG", dark)
			b.submit(s, Request{Client: "card", Reference: &advise.Reference{Frame: 1, Box: &card}})
			before := s.Snapshot()

			broken = true
			v := b.file("Q_0002.JPG", good)
			if err := s.Complete(context.Background(), v); !errors.Is(err, ErrNotRecorded) {
				t.Errorf("Complete on a full disk = %v, want ErrNotRecorded, so that the file comes again", err)
			}
			got := s.Snapshot()
			if got.State.Seq != before.State.Seq || got.State.FrameCount != 1 || got.LastEvent != before.LastEvent || !got.At.Equal(before.At) {
				t.Errorf("a frame that was not stored changed the state: %d to %d, %d frames", before.State.Seq, got.State.Seq, got.State.FrameCount)
			}
			if !strings.Contains(got.Recording, "disk") || !strings.Contains(got.Recording, "full") {
				t.Errorf("Recording = %q, want a sentence that says the disk is full", got.Recording)
			}
			u := got.Unrecorded
			if u == nil || u.Number != 2 || u.Reading == nil || !u.OnTarget || len(u.Expected) != 2 {
				t.Errorf("Unrecorded = %+v, want frame 2 measured and held against the targets", u)
			}
			if got.Measuring != 0 {
				t.Errorf("Measuring = %d after the frame was measured", got.Measuring)
			}
			measured := b.g.measured.Load()
			if err := s.Complete(context.Background(), v); !errors.Is(err, ErrNotRecorded) {
				t.Errorf("the same file again = %v, want ErrNotRecorded", err)
			}
			if b.g.measured.Load() != measured {
				t.Error("the same file was measured again, though nothing can be stored")
			}
			for _, r := range []Request{{Client: "n", Note: new("sagging umbrella")}, {Client: "e", End: true}, {Client: "r", Reference: &advise.Reference{}}} {
				if _, err := s.Submit(context.Background(), r); !errors.Is(err, ErrNotRecorded) {
					t.Errorf("Submit(%+v) = %v, want ErrNotRecorded", r, err)
				}
			}
			if r := b.submit(s, Request{Client: "card", Reference: &advise.Reference{Frame: 1, Box: &card}}); !r.Repeat {
				t.Error("a repeat of what was recorded before isn't known any more")
			}
			if s.Alive() == nil {
				t.Error("Alive() = nil, want why the writer takes no more")
			}
			if fails != 1 {
				t.Errorf("the disk was asked %d times after it failed, want never again", fails)
			}
			if err := s.Close(); !errors.Is(err, trail.ErrPoisoned) {
				t.Errorf("Close() = %v, want why it was not recorded", err)
			}
			if s.Close() != nil {
				t.Error("a second Close says something again")
			}

			// With the disk free again everything acknowledged is there, and the frame comes again.
			broken = false
			s = b.open()
			if got := s.Snapshot().State; got.Reference == nil || got.FrameCount < 1 {
				t.Errorf("what had been acknowledged is gone: %+v", got.Reference)
			}
			b.take(s, "Q_0002.JPG", good)
			if got := frames(s); !strings.HasPrefix(got, "1.2 2.") || strings.Contains(got, "3.") {
				t.Errorf("frames = %s, want 1.2 and 2", got)
			}
			if s.Snapshot().Unrecorded != nil || s.Snapshot().Recording != "" {
				t.Error("the trouble is still shown though it is over")
			}
		})
	}
}

// A sync that fails after the outputs were written must not be tried again either.
func TestAnOutputThatCantBeWrittenLeavesTheInputInForce(t *testing.T) {
	b := newBench(t)
	writes := 0
	armed := false
	b.disk = &breaking{before: func(op, file string) error {
		if armed && op == "write" && file == "trail.jsonl" {
			if writes++; writes == 2 {
				return syscall.EIO
			}
		}
		return nil
	}}
	s := b.open()
	armed = true
	r, err := s.Submit(context.Background(), withPlan(Request{Client: "plan"}))
	if err != nil {
		t.Fatalf("the plan was stored, but Submit = %v", err)
	}
	if got := s.Snapshot(); got.Recording == "" || got.State.PlanText == "" || r.State != got.State.Seq {
		t.Errorf("Recording = %q and state %d, want the plan in force and a sentence that nothing more is recorded", got.Recording, got.State.Seq)
	}
	s.Close()
	armed = false
	s, start := b.opened()
	if len(start.Differs) > 0 || s.Snapshot().State.PlanText == "" {
		t.Errorf("after a restart: %d differences and plan %q", len(start.Differs), s.Snapshot().State.PlanText)
	}
	if rep := b.submit(s, withPlan(Request{Client: "plan"})); !rep.Repeat || rep.State != r.State || rep.Event != r.Event || !rep.At.Equal(r.At) {
		t.Errorf("the repeat's receipt is %+v, want the first one %+v", rep, r)
	}
}

func TestARequestIsDoneOnce(t *testing.T) {
	b := newBench(t)
	s := b.open()
	requests := map[string]Request{}
	first := map[string]Receipt{}
	do := func(client string, r Request) {
		t.Helper()
		r.Client = client
		requests[client], first[client] = r, b.submit(s, r)
		if got := s.Snapshot(); first[client].State != got.State.Seq || first[client].Event != got.LastEvent || !first[client].At.Equal(got.At) {
			t.Errorf("%s: receipt %+v, but state %d, event %d, at %v are shown", client, first[client], got.State.Seq, got.LastEvent, got.At)
		}
	}
	do("plan", withPlan(Request{}))
	b.take(s, "Q_0001.JPG", dark)
	do("card", Request{Reference: &advise.Reference{Frame: 1, Box: &card}})
	do("note", Request{Note: new("the umbrella sagged")})
	do("turn", Request{Adjusted: &advise.Adjusted{Group: "b", To: -60}})
	do("sitter", Request{Sitter: new("stroke of the four")})
	b.take(s, "Q_0002.JPG", good)
	do("baseline", Request{Baseline: &advise.Baseline{Frame: 2}})
	events := s.Snapshot().LastEvent

	again := func() {
		t.Helper()
		for client, r := range requests {
			got := b.submit(s, r)
			want := first[client]
			if !got.Repeat || got.State != want.State || got.Event != want.Event || !got.At.Equal(want.At) {
				t.Errorf("%s again: %+v, want the first receipt %+v", client, got, want)
			}
		}
	}
	again()
	if n := s.Snapshot().LastEvent; n != events {
		t.Errorf("repeats added %d events", n-events)
	}
	b.close(s)
	s = b.open()
	again()
}

func TestARequestDecidedOnAnOldStateIsRefused(t *testing.T) {
	b := newBench(t)
	s := b.open()
	seen := s.Snapshot().State.Seq
	b.submit(s, withPlan(Request{Client: "a", Seen: seen}))
	if _, err := s.Submit(context.Background(), Request{Client: "b", Seen: seen, Note: new("late")}); !errors.Is(err, ErrStale) {
		t.Errorf("Submit on an old state = %v, want ErrStale", err)
	}
	b.submit(s, Request{Client: "c", Note: new("waived")})
	b.submit(s, Request{Client: "d", Seen: s.Snapshot().State.Seq, Note: new("fresh")})
}

// A frame that was refused for itself, not for the disk, is shown until the next one is recorded.
func TestAFrameThatWasNotRecordedIsForgottenWithTheNext(t *testing.T) {
	b := newBench(t)
	s := b.open()
	v := b.file("Q_0001.JPG", dark)
	v.Rel = strings.Repeat("x", trail.MaxText) + v.Rel
	if err := s.Complete(context.Background(), v); !errors.Is(err, ErrNotRecorded) || s.Snapshot().Unrecorded == nil || s.Snapshot().Recording != "" {
		t.Errorf("a name that is too long to keep = %v, unrecorded %v", err, s.Snapshot().Unrecorded)
	}
	b.take(s, "Q_0002.JPG", good)
	if s.Snapshot().Unrecorded != nil || s.Snapshot().State.FrameCount != 1 {
		t.Errorf("after the next frame %+v still counts as unrecorded", s.Snapshot().Unrecorded)
	}
}

func TestRequestsThatMakeNoSenseAreRefused(t *testing.T) {
	b := newBench(t)
	s := b.open()
	b.submit(s, withPlan(Request{}))
	b.take(s, "Q_0001.JPG", dark)
	b.take(s, "Q_0002.JPG", "broken")
	before := s.Snapshot()
	names := trailSize(t, b.trailOf(s), "names.jsonl")
	nan := card
	nan.X0 = nan.X0 / zero * zero
	out := card
	out.X1 = 1.2
	thin := card
	thin.X1 = thin.X0 + 0.001
	for name, r := range map[string]Request{
		"nothing":                    {},
		"two things":                 {Note: new("x"), End: true},
		"a light that isn't there":   {Adjusted: &advise.Adjusted{Group: "Q", To: -60}},
		"half a click":               {Adjusted: &advise.Adjusted{Group: "B", To: -65}},
		"over full power":            {Adjusted: &advise.Adjusted{Group: "B", To: 10}},
		"under its least":            {Adjusted: &advise.Adjusted{Group: "B", To: -300}},
		"no change":                  {Adjusted: &advise.Adjusted{Group: "B", To: -90}},
		"a distance of 0":            {Adjusted: &advise.Adjusted{Group: "B", To: -60, Distance: new(zeroMetres)}},
		"a frame not there":          {Reference: &advise.Reference{Frame: 7, Box: &card}},
		"a damaged frame":            {Reference: &advise.Reference{Frame: 2, Box: &card}},
		"a box outside":              {Reference: &advise.Reference{Frame: 1, Box: &out}},
		"a thin box":                 {Reference: &advise.Reference{Frame: 1, Box: &thin}},
		"a box of no numbers":        {Reference: &advise.Reference{Frame: 1, Box: &nan}},
		"a reference taken back":     {Reference: &advise.Reference{}},
		"an answer to nothing":       {Answer: &advise.Answer{Question: 1, Yes: true}},
		"another advice":             {NotNow: &advise.NotNow{Advice: 99}},
		"a damaged baseline":         {Baseline: &advise.Baseline{Frame: 2}},
		"a plan with faults":         {Plan: &advise.PlanText{Name: "x.yaml", Text: "lights: 3"}},
		"an empty note":              {Note: new(" \n")},
		"a long note":                {Note: new(strings.Repeat("ü", MaxNote+1))},
		"a name without a character": {Sitter: new("")},
	} {
		if _, err := s.Submit(context.Background(), r); !errors.Is(err, ErrRefused) || len(err.Error()) < 20 {
			t.Errorf("%s: Submit = %v, want ErrRefused with a sentence", name, err)
		}
	}
	if got := s.Snapshot(); got.State.Seq != before.State.Seq || got.LastEvent != before.LastEvent {
		t.Error("a refused request changed something")
	}
	if n := trailSize(t, b.trailOf(s), "names.jsonl"); n != names {
		t.Errorf("a refused request left %d bytes in the side file", n-names)
	}
	b.submit(s, Request{Note: new(strings.Repeat("ü", MaxNote))})
	b.submit(s, Request{End: true})
	if _, err := s.Submit(context.Background(), Request{Baseline: &advise.Baseline{Frame: 1}}); !errors.Is(err, ErrRefused) {
		t.Errorf("after the end: %v, want ErrRefused", err)
	}
	b.submit(s, Request{Note: new("a note after the end is welcome")})
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, err := s.Submit(ctx, Request{Note: new("x")}); !errors.Is(err, context.Canceled) {
		t.Errorf("a request that was given up = %v", err)
	}
}

// A plan of a file is handed over once: what was changed on the page stays over a restart.
func TestAPlanChangedOnThePageOutlivesARestartWithTheOldFile(t *testing.T) {
	b := newBench(t)
	s := b.open()
	ctx := context.Background()
	text := planText()
	if handed, err := s.PlanFile(ctx, advise.Actor{}, "boathouse.yaml", text); !handed || err != nil {
		t.Fatalf("PlanFile = %v, %v", handed, err)
	}
	page := strings.Replace(text, "Alder Quay Rowing Club", "Alder Quay, the second day", 1)
	b.submit(s, Request{Client: "page", Plan: &advise.PlanText{Name: "page", Text: page}})
	b.close(s)
	s = b.open()
	if handed, err := s.PlanFile(ctx, advise.Actor{}, "boathouse.yaml", text); handed || err != nil {
		t.Errorf("the same file after a restart = %v, %v, want it left alone", handed, err)
	}
	if s.Snapshot().State.PlanText != page {
		t.Error("the page's plan was lost")
	}
	if handed, err := s.PlanFile(ctx, advise.Actor{}, "boathouse.yaml", text+"\n# moved\n"); !handed || err != nil {
		t.Errorf("an edited file = %v, %v, want it in force", handed, err)
	}
	if handed, _ := s.PlanFile(ctx, advise.Actor{}, "boathouse.yaml", text); !handed {
		t.Error("the file as it was first is not in force again")
	}
	if _, err := s.PlanFile(ctx, advise.Actor{}, "x.yaml", "lights: 3"); !errors.Is(err, ErrRefused) {
		t.Errorf("a file with faults = %v", err)
	}
}

// Two pages, or a page and a script, change the plan from the same beginning: one of them is told, whichever comes second.
func TestTheSecondOfTwoPlansFromOneBeginningIsRefused(t *testing.T) {
	b := newBench(t)
	s := b.open()
	b.submit(s, withPlan(Request{}))
	b.take(s, "Q_0001.JPG", dark)
	text := s.Snapshot().State.PlanText
	seen := s.Snapshot().State.Seq
	b.take(s, "Q_0002.JPG", dark) // frames go on while they write
	b.submit(s, Request{Note: new("and so do notes")})

	const pages = 8
	errs := make([]error, pages)
	var together sync.WaitGroup
	start := make(chan struct{})
	for i := range pages {
		together.Go(func() {
			<-start
			_, errs[i] = s.Submit(context.Background(), Request{Client: fmt.Sprint("page-", i), Seen: seen,
				Plan: &advise.PlanText{Name: fmt.Sprint("page ", i), Text: text + fmt.Sprintf("\n# by page %d\n", i)}})
		})
	}
	close(start)
	together.Wait()
	taken := 0
	for i, err := range errs {
		switch {
		case err == nil:
			taken++
			if got := s.Snapshot().State.PlanName; got != fmt.Sprint("page ", i) {
				t.Errorf("page %d is told that its plan is in force, and it is that of %q", i, got)
			}
		case !errors.Is(err, ErrStale) || !strings.Contains(err.Error(), "the light plan was changed"):
			t.Errorf("page %d is told %v", i, err)
		}
	}
	if taken != 1 {
		t.Errorf("of %d plans that began from the same one %d were taken, want 1", pages, taken)
	}
	again := Request{Client: "again", Seen: seen, Plan: &advise.PlanText{Name: "late", Text: text}}
	for range 2 { // the same over a restart, by the bookmark and without
		dir := b.trailOf(s)
		b.close(s)
		s = b.open()
		if _, err := s.Submit(context.Background(), again); !errors.Is(err, ErrStale) {
			t.Errorf("after a restart the late one gets %v", err)
		}
		os.Remove(filepath.Join(dir, bookmarkName))
	}
	again.Seen = s.Snapshot().State.Seq
	b.submit(s, again)
	again.Seen, again.Client = again.Seen+100, "ahead"
	if _, err := s.Submit(context.Background(), again); !errors.Is(err, ErrStale) {
		t.Errorf("a state that is not there yet: %v", err)
	}
}
