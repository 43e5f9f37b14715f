package shoot

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"thirdstop/advise"
	"thirdstop/assess"
	"thirdstop/assess/tone"
)

// checkBracket says why something that is asked of the guide to the tone curve makes no sense now.
func (s *Shoot) checkBracket(in advise.BracketInput) error {
	b := s.state.Bracket
	switch in.Do {
	case advise.BracketBegin:
		if s.c.Curves == nil {
			return refuse("tone curves are not kept here, so none can be learned")
		}
		if s.state.Walking() {
			return refuse("the set-up walk waits for a frame; finish or leave it first")
		}
		if s.learning {
			return refuse("a tone curve is being learned; wait a moment")
		}
		return nil
	case advise.BracketLeave:
		if b == nil {
			return refuse("no bracket for a tone curve is under way; begin one")
		}
		return nil
	case advise.BracketLearn:
		switch {
		case !s.state.Bracketing():
			return refuse("no bracket for a tone curve is under way; begin one")
		case !b.Enough || b.Ready:
			return refuse("%s", map[bool]string{true: "the curve is being learned", false: "there are too few frames to learn from yet; take those that are asked for"}[b.Ready])
		}
		return nil
	}
	return refuse("the bracket knows no %q; it can begin, learn and leave", in.Do)
}

// sight looks, while the guide to the tone curve waits, whether a frame can stand beside those before it; nil at all other
// times. What it is learned from is kept. The caller holds mu.
func (s *Shoot) sight(number int, m Measured) *advise.Sight {
	if !s.state.Bracketing() || s.state.Bracket.Ready {
		if !s.state.Bracketing() && !s.learning {
			s.shots = nil
		}
		return nil
	}
	b, ok := m.(Bracketed)
	if !ok {
		return &advise.Sight{Why: "it can't be measured for a tone curve here."}
	}
	shot, key, err := b.Shot()
	if err != nil {
		return &advise.Sight{Why: sentence(err, shot.Name) + "."}
	}
	last := s.state.Bracket.LastServing(number)
	if last == 0 {
		s.shots, s.shotsOf = map[int]assess.Shot{number: shot}, key
		return &advise.Sight{}
	}
	before, err := s.shotAgain(last)
	switch {
	case err != nil:
		return &advise.Sight{Why: fmt.Sprintf("frame %d can't be read again (%s). Begin the bracket anew.", last, sentence(err))}
	case key != s.shotsOf:
		return &advise.Sight{Why: fmt.Sprintf("it is from another camera or rendering than those before: %s (%s), not %s (%s).", key.Camera(), key.Rendering(), s.shotsOf.Camera(), s.shotsOf.Rendering())}
	case shot.Survey.Width != before.Survey.Width || shot.Survey.Height != before.Survey.Height:
		return &advise.Sight{Why: "it has another size than the frames before, or lies the other way."}
	}
	s.shots[number] = shot
	out := &advise.Sight{}
	for _, st := range assess.BracketSteps([]assess.Shot{before, shot}) {
		out.Moved = out.Moved || tone.Still(st) != nil
	}
	return out
}

// shotAgain is what a frame of the bracket showed, out of its file where it is not at hand. The caller holds mu.
func (s *Shoot) shotAgain(number int) (assess.Shot, error) {
	if shot, ok := s.shots[number]; ok {
		return shot, nil
	}
	i := slices.IndexFunc(s.state.Frames, func(f advise.FrameState) bool { return f.Number == number })
	if i < 0 {
		return assess.Shot{}, errors.New("it lies too far back")
	}
	name, data, err := s.file(s.state.Frames[i])
	if err != nil {
		return assess.Shot{}, err
	}
	_, m, err := s.measure(name, data, assess.Hints{})
	if err != nil {
		return assess.Shot{}, err
	}
	defer release(m)
	b, ok := m.(Bracketed)
	if !ok {
		return assess.Shot{}, errors.New("it can't be measured for a tone curve here")
	}
	shot, key, err := b.Shot()
	if err != nil {
		return assess.Shot{}, err
	}
	if s.shots == nil {
		s.shots, s.shotsOf = map[int]assess.Shot{}, key
	}
	s.shots[number] = shot
	return shot, nil
}

// learnWhenReady learns the tone curve beside the shoot, once its bracket wants no more frames. The caller holds mu.
func (s *Shoot) learnWhenReady() {
	b := s.state.Bracket
	if !s.state.Bracketing() || !b.Ready || s.learning || s.closed || s.trail.Err() != nil {
		return
	}
	var shots []assess.Shot
	for _, n := range b.Serving() {
		shot, err := s.shotAgain(n)
		if err != nil {
			s.takeCurve(advise.Curve{How: advise.CurveByBracket, Why: fmt.Sprintf("frame %d can't be read again (%s).", n, sentence(err))})
			return
		}
		shots = append(shots, shot)
	}
	s.learning = true
	key, at := s.shotsOf, s.now()
	stored, _ := s.c.Curves.Entry(key)
	s.beside.Go(func() {
		learned, err := assess.LearnBracket(shots, key, at, stored.Brackets...)
		s.mu.Lock()
		defer s.mu.Unlock()
		defer s.show()
		s.learning = false
		if s.closed || !s.state.Bracketing() || !s.state.Bracket.Ready {
			return // left meanwhile; or it is learned again when the shoot goes on
		}
		c := advise.Curve{How: advise.CurveByBracket, Camera: key.Camera()}
		if err == nil {
			c.Was = s.c.Curves.For(key)
			_, err = s.c.Curves.Save(learned.Entry)
		}
		if err != nil {
			s.takeCurve(advise.Curve{How: advise.CurveByBracket, Why: sentence(err) + "."})
			return
		}
		c.Frames = learned.Entry.Frames
		c.Now, c.Median, c.Most, c.Edge = learned.Entry.Curve, learned.Entry.Median, learned.Entry.Most, learned.Fitted.EdgeSigma().Round()
		s.takeCurve(c)
	})
}

// takeCurve records what came of learning. The caller holds mu.
func (s *Shoot) takeCurve(c advise.Curve) {
	s.shots = nil
	if _, err := s.take(inputBody{Input: advise.Input{Curve: &c}}); err != nil {
		s.c.Log.Warn().Str("why", sentence(err)).Msg("a tone curve was not recorded")
	}
}

// curveElsewhere records that a camera's frames come through another curve than those of this shoot so far: it was
// learned while the shoot rested. A camera whose curve was known keeps two for two renderings, so only
// the first one counts. The caller holds mu.
func (s *Shoot) curveElsewhere(r *assess.Reading, m Measured) error {
	b, ok := m.(Bracketed)
	if !ok || s.c.Curves == nil || r.Tone.Source != string(tone.FromFrames) {
		return nil
	}
	for i := len(s.state.Frames) - 1; i >= 0; i-- {
		x := s.state.Frames[i].Reading
		if x == nil || !sameCamera(x, r) {
			continue
		}
		if x.Tone.Curve != tone.Default().Name() {
			return nil
		}
		_, key, _ := b.Shot()
		now := s.c.Curves.For(key)
		if now.Name() != r.Tone.Curve {
			return nil
		}
		_, err := s.take(inputBody{Input: advise.Input{Curve: &advise.Curve{How: advise.CurveElsewhere, Camera: key.Camera(), Was: tone.Default(), Now: now}}})
		return err
	}
	return nil
}

func sameCamera(a, b *assess.Reading) bool {
	same := func(x, y *string) bool { return x == y || x != nil && y != nil && *x == *y }
	return same(a.Exif.Make, b.Exif.Make) && same(a.Exif.Model, b.Exif.Model) && same(a.Exif.Serial, b.Exif.Serial)
}

// outOfDate tells that a frame was measured through a curve that another one took the place of meanwhile.
func (s *Shoot) outOfDate(r *assess.Reading, m Measured) bool {
	b, ok := m.(Bracketed)
	if !ok || s.c.Curves == nil || r == nil {
		return false
	}
	_, key, _ := b.Shot()
	now := s.c.Curves.For(key)
	return now.Source() == tone.FromFrames && now.Name() != r.Tone.Curve && r.AsWritten()
}

// learnAt are the numbers of known steps at which a curve is learned from them: often enough to get better, and not with
// every frame, for each time levels are expressed anew.
var learnAt = []int{3, 6, 10, 20, 30, 40, 60}

// learnByItself learns from the changes of known size that this shoot showed, when there are enough since before of them
// were. The caller holds mu.
func (s *Shoot) learnByItself(m Measured, before int) {
	n := s.state.KnownCount
	b, ok := m.(Bracketed)
	if !ok || s.c.Curves == nil || s.state.Unfixed || s.state.Bracketing() || s.trail.Err() != nil ||
		!slices.ContainsFunc(learnAt, func(at int) bool { return before < at && at <= n }) {
		return
	}
	_, key, _ := b.Shot()
	stored, have := s.c.Curves.Entry(key)
	was := s.c.Curves.For(key)
	e, better, err := tone.Improved(stored, have, key, s.id, s.state.Known)
	switch {
	case err != nil:
		s.takeCurve(advise.Curve{How: advise.CurveByItself, Why: sentence(err) + "."})
	case better:
		e.Learned = s.now().Truncate(time.Second)
		if _, err := s.c.Curves.Save(e); err != nil {
			s.c.Log.Warn().Str("why", sentence(err)).Msg("a tone curve can't be kept")
			return
		}
		s.takeCurve(advise.Curve{How: advise.CurveByItself, Camera: key.Camera(), Was: was, Now: e.Curve, Frames: len(e.Known)})
	}
}
