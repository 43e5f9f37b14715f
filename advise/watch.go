package advise

import (
	"math"
	"slices"
	"time"

	"thirdstop/advise/drift"
	"thirdstop/advise/plan"
	"thirdstop/advise/rig"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// watching is what is kept to notice drift: the light as it was at the baseline, and the
// detectors. Its fields are exported so that a state can be stored whole.
//
// Levels are held against the baseline's, moved by what the frozen model says of every
// setting that was recorded, advised or recognised since. The model that advises is no help
// here: it learns from every frame, and would follow a drift.
type watching struct {
	Base    int              // frame of the baseline; 0: there is none, and loads alone are counted
	Model   rig.Model        // as taught up to the baseline; it never learns again
	Kind    assess.Kind      // of the baseline's reading: another kind is not comparable
	Places  []place          // the settings of late, with the levels that belong to them; the newest last
	Areas   [9]area          // of the backdrop in the baseline,
	First   exposure.Stops   // and its level there
	Set     rig.Setting      // of the newest frame held against the baseline
	Shift   []exposure.Stops // per light: a drift that was made up for with its dial
	Missed  []run            // frames since a baseline that missed a target, oldest first
	Past    []past           // frames of late, so that one of them can become the baseline
	Drift   drift.State
	Stands  []drift.Finding // what stands now
	Since   int             // the first frame of this sitter
	Another bool            // the next frame is the first of another sitter
	Folder  string          // of the newest frame
	Clock   time.Time       // when the newest frame was taken, as far as arrival and camera tell
	Arrived time.Time
	Taken   string
	StripAt assess.Box                    // where the grey strip is
	Chart   [neutralCount]assess.Channels // of the neutrals in the colour chart's frame; zero: it shows none
	Neutral [neutralCount]assess.Channels // of the neutrals where they were first seen since the baseline; zero: not yet
}

// place is how the regions stand under one setting, without drift.
type place struct {
	Set     rig.Setting
	Anchors [regionCount]anchor
	Strip   anchor // of a declared grey strip; the light model knows nothing of it
}

// anchor is the level that a region is held against.
type anchor struct {
	Level exposure.Stops
	Var   float64 // of Level, in stops squared
	Count int     // frames behind it
	Known bool
	Over  bool // it clipped when it was learned: Level is the model's word
}

// past is a frame as it would be a baseline.
type past struct {
	Number int
	Set    rig.Setting
	Levels [regionCount]rig.Measured
	Areas  [9]area
	Kind   assess.Kind

	Neutral [neutralCount]assess.Channels
	Strip   rig.Measured
}

// area is the level of a ninth of the frame, as far as it shows backdrop.
type area struct {
	Level exposure.Stops
	OK    bool
}

const (
	keepPlaces = 4
	keepPast   = 30
	// A level is learned over so many frames under one setting: then it is known to a sixth of the
	// scatter, and what changes after that can't pull it along (derived here).
	anchorFrames = 40
	// What a step of the dial is predicted to do is off by this part of it: curve and modifier.
	stepError = 0.15
	// A frame that lies so many standard deviations off says nothing of how the light stands.
	strange = 3
	// From so many frames on one side of what is allowed, something may be going on: they teach no level.
	suspect = 3
	// Another card, or the same one held another way, differs by so much (common practice, no source).
	cardSigma = 0.2
	// The edge of clipping is known to so much (half of what a curve is off just under it; common practice, no source).
	edgeSigma exposure.Stops = 0.05
	// A pause this long is a break, whether or not anybody said who sits next (common practice, no source).
	breakTime = 2 * time.Minute
)

// regionNames are the detectors' names of the regions.
var regionNames = [regionCount]string{"backdrop", "white_reference", "crown", "sitter"}

// measuring is what a region differs by from frame to frame besides the flashes' scatter, one
// standard deviation (common practice, no source).
var measuring = [regionCount]exposure.Stops{0.02, 0.02, crownSigma, 0.1}

// setUp makes the detectors fit the plan, and keeps what they know where the lights are the same.
func (w *watching) setUp(p *plan.Plan) {
	lights := make([]drift.Light, len(p.Lights))
	for i, l := range p.Lights {
		lights[i] = drift.Light{Group: l.Group, Name: l.Name(), Limit: drift.FlashesPerMinute(l.Limit)}
	}
	same := slices.EqualFunc(w.Drift.Setup.Lights, lights, func(a, b drift.Light) bool { return a.Group == b.Group && a.Name == b.Name })
	if !same {
		w.Drift = drift.New(drift.Setup{Lights: lights})
		return
	}
	w.Drift.Setup.Lights = lights // a limit may have changed
}

// drop forgets the baseline. Loads, pauses and the list of frames stay.
func (w *watching) drop() {
	w.Base, w.Model, w.Places, w.Set, w.Shift, w.Past, w.Areas, w.Neutral = 0, rig.Model{}, nil, rig.Setting{}, nil, nil, [9]area{}, [neutralCount]assess.Channels{}
	w.Drift = w.Drift.Rebased()
	w.Stands = nil
}

// watched holds the newest frame against the baseline. told is what was said of
// it so far; the answer is what there is to say besides.
func (s State) watched(in Input, told []Output) (State, []Output) {
	f, w := *in.Frame, &s.watch
	if f.Reading == nil || f.Reading.Kind == assess.Provisional || f.Number <= w.Drift.Last || s.lastSet.Power == nil {
		return s, told
	}
	w.setUp(s.Plan)
	w.tick(in.At, f)
	if f.Folder != w.Folder && w.Folder != "" {
		s.anotherSitter()
	}
	w.Folder = f.Folder
	if w.Since == 0 {
		w.Since = f.Number
	}
	if w.Clock.Sub(w.Drift.LastAt) >= breakTime && !w.Drift.LastAt.IsZero() {
		s.heldHere = false // a break: an adjustment may be offered
	}
	seen := measuredRegions(s.Plan, f.Reading)
	areas, strip := areasOf(f.Reading), w.strip(f.Reading)
	w.evened(&seen, areas)
	if s.strayed(seen) {
		seen[whiteRegion] = rig.Measured{}
	}
	set := s.litFor()
	x := drift.Frame{Number: f.Number, At: w.Clock, NewSitter: w.Another}
	for _, l := range s.Lights {
		x.Power = append(x.Power, l.Power)
		// A light that did not fire is the detectors' business too, but it loads nothing.
		x.Off = append(x.Off, l.Off)
		x.Unfired = append(x.Unfired, slices.Contains(s.absent, l.Group))
	}
	usable := w.Base > 0 && s.comparable() && !(s.untaught && s.Question == nil) &&
		f.Reading.Kind == w.Kind && f.Reading.PartOfSet.Answer != assess.BelongsNo && (f.Reading.Regions.Backdrop != nil || !w.hasBackdrop())
	at := -1
	if s.roomAlone() { // it is no frame of the set, and tells only whether a drift is the room's
		if w.Base > 0 && s.comparable() && f.Reading.Kind == w.Kind {
			x.Residuals = s.roomResiduals(f)
		}
		next, found := w.Drift.Next(x)
		w.Drift = next
		return s.findings(f.Number, found, told)
	}
	if usable {
		fit := w.Model.Fit()
		at = s.placed(fit, set, seen)
		x.Residuals = append(s.residuals(fit, w.Places[at], seen), w.stripResidual(at, strip)...)
		x.Colours = s.hues(fit, w.Places[at].Set, f.Reading)
	}
	w.Another = w.Another && !usable
	next, found := w.Drift.Next(x)
	w.Drift = next
	if at >= 0 && len(found) == 0 && w.quiet() {
		s.anchored(at, seen, strip)
	}
	w.Past = append(slices.Clone(w.Past), past{f.Number, set, seen, areas, f.Reading.Kind, s.neutrals(f.Reading), strip})
	w.Past = w.Past[max(0, len(w.Past)-keepPast):]
	return s.findings(f.Number, found, told)
}

// explained starts afresh after a change turned out to be a recorded one: the predictions follow it.
func (w *watching) explained() {
	w.Drift = w.Drift.Rebased()
	w.Stands = slices.DeleteFunc(slices.Clone(w.Stands), func(x drift.Finding) bool { return !w.stands(x, w.Drift.Last) })
}

// areasOf are the unclipped areas of the backdrop, as far as enough of each is seen.
func areasOf(r *assess.Reading) (out [9]area) {
	if r.Regions.Backdrop == nil {
		return out
	}
	for _, a := range r.Regions.Backdrop.Areas {
		if i := a.Row*3 + a.Col; i >= 0 && i < len(out) && !a.AtLeast && a.Share >= areaShare {
			out[i] = area{Level: a.Level.Round(), OK: true}
		}
	}
	return out
}

// areaShare is how much of an area must be backdrop before it is held against the baseline's.
const areaShare = 0.25

// evened puts in the place of the backdrop's level what its areas did since the baseline, in the middle. Sitters
// cover one part of an uneven backdrop and then another, which moves its level and is no light's doing.
func (w *watching) evened(seen *[regionCount]rig.Measured, now [9]area) {
	b := &seen[backdropRegion]
	if w.Base == 0 || !b.OK || b.AtLeast || !slices.ContainsFunc(w.Areas[:], func(a area) bool { return a.OK }) {
		return
	}
	var by []exposure.Stops
	for i, a := range now {
		if a.OK && w.Areas[i].OK {
			by = append(by, a.Level-w.Areas[i].Level)
		}
	}
	if len(by) == 0 {
		*b = rig.Measured{} // no part of it was seen then
		return
	}
	slices.Sort(by)
	m := by[len(by)/2]
	if len(by)%2 == 0 {
		m = (by[len(by)/2-1] + m) / 2
	}
	b.Value = (w.First + m).Round()
}

// strayed tells that the declared white is no longer where it was declared: it fell by a stop or more, and the
// sitter who holds or wears it hardly did.
func (s State) strayed(seen [regionCount]rig.Measured) bool {
	w := s.watch
	if w.Base == 0 || !seen[whiteRegion].OK || !seen[sitterRegion].OK || seen[sitterRegion].AtLeast {
		return false
	}
	p := w.Places[len(w.Places)-1]
	white, sitter := p.Anchors[whiteRegion], p.Anchors[sitterRegion]
	if !white.Known || !sitter.Known {
		return false
	}
	fell := white.Level - seen[whiteRegion].Value
	return fell >= 1 && sitter.Level-seen[sitterRegion].Value < fell/3
}

// quiet tells that nothing is being looked into: then frames may say how the light stands.
func (w *watching) quiet() bool {
	return w.Drift.Open == nil && w.Drift.Held == nil && w.Drift.Dark == nil &&
		!slices.ContainsFunc(w.Drift.Streams, func(x drift.Stream) bool { return x.Witnessed && max(x.Cusum.UpFor, x.Cusum.DownFor) >= suspect })
}

func (w *watching) hasBackdrop() bool {
	p := w.Places[0].Anchors[backdropRegion]
	return p.Known
}

// tick dates the frame. The daemon's clock counts arrivals, the camera's the shutter, often in whole
// seconds; where the two disagree by more than that, frames had queued up and the camera is right.
func (w *watching) tick(at time.Time, f Frame) {
	taken := ""
	if x := f.Reading.Exif.TakenAt; x != nil {
		taken = *x
	}
	gap := at.Sub(w.Arrived)
	if a, ok := cameraTime(w.Taken); ok && !w.Arrived.IsZero() {
		if b, ok := cameraTime(taken); ok && !b.Before(a) {
			gap = min(max(gap, b.Sub(a)-time.Second), b.Sub(a)+time.Second)
		}
	}
	if w.Arrived.IsZero() || w.Clock.IsZero() || gap < 0 {
		w.Clock = at.UTC()
	} else {
		w.Clock = w.Clock.Add(gap)
	}
	w.Arrived, w.Taken = at.UTC(), taken
}

func cameraTime(s string) (time.Time, bool) {
	for _, layout := range []string{time.RFC3339Nano, "2006-01-02T15:04:05.999999999"} {
		if t, err := time.Parse(layout, s); err == nil {
			return t, true
		}
	}
	return time.Time{}, false
}

// litFor is how the lights were set for the newest frame, whether or not all of them fired.
func (s State) litFor() rig.Setting {
	set := s.lastSet
	set.Power, set.Off = slices.Clone(set.Power), slices.Clone(set.Off)
	for i, l := range s.Lights {
		if slices.Contains(s.absent, l.Group) {
			set.Off[i] = l.Off
		}
		if i < len(s.watch.Shift) {
			set.Power[i] += s.watch.Shift[i]
		}
	}
	return set
}

// placed finds the levels that belong to a setting, or moves those of the newest
// setting there, and returns their index.
func (s *State) placed(fit rig.Fit, set rig.Setting, seen [regionCount]rig.Measured) int {
	w := &s.watch
	set = s.madeUpFor(fit, set, seen)
	w.Set = set
	if i := slices.IndexFunc(w.Places, func(p place) bool { return p.Set.Equal(set) }); i >= 0 {
		p := w.Places[i]
		w.Places = append(slices.Delete(slices.Clone(w.Places), i, i+1), p)
	} else {
		w.Places = append(slices.Clone(w.Places), moved(fit, w.Places[len(w.Places)-1], set))
		w.Places = w.Places[max(0, len(w.Places)-keepPlaces):]
	}
	return len(w.Places) - 1
}

// moved is a place under another setting, as the frozen model has it.
func moved(fit rig.Fit, p place, set rig.Setting) place {
	out := place{Set: set}
	absolute := fit.Predict(set)
	for k, c := range fit.Change(p.Set, set) {
		a := p.Anchors[k]
		by := float64(c.Value)
		if a.Over || !a.Known { // nothing was learned there but by the model
			v := math.Pow(float64(absolute[k].Sigma), 2)
			a = anchor{Level: absolute[k].Value.Round(), Var: v, Known: a.Known, Over: a.Over, Count: a.Count}
		} else {
			a.Level = (a.Level + c.Value).Round()
			a.Var += math.Pow(float64(c.Sigma), 2) + math.Pow(stepError*by, 2)
			a.Count = 0
		}
		a.Var = math.Round(a.Var*1e9) / 1e9
		out.Anchors[k] = a
	}
	return out
}

// madeUpFor looks at a setting in which a light was turned or moved. Turning it may have made up for a
// drift, found or hidden by clipping: then that belongs to the prediction from now on. Or the record
// was put right, and there was no drift. The frame is nearest to one of them.
func (s *State) madeUpFor(fit rig.Fit, set rig.Setting, seen [regionCount]rig.Measured) rig.Setting {
	w := &s.watch
	if len(w.Places) == 0 || len(w.Set.Power) != len(set.Power) {
		return set
	}
	last := w.Places[len(w.Places)-1]
	miss := func(set rig.Setting) (sum float64) {
		for _, r := range s.residuals(fit, moved(fit, last, set), seen) {
			if r.Witnessed {
				sum += math.Pow(float64(r.Value), 2) / (math.Pow(float64(r.Doubt), 2) + 0.005)
			}
		}
		return math.Round(sum*1000) / 1000
	}
	best, least, by, light := set, math.Inf(1), exposure.Stops(0), -1
	found := false // the light that drifts was turned
	for i := range set.Power {
		turn := (set.Power[i] - w.Set.Power[i]).Round()
		if turn == 0 || set.Off[i] {
			continue
		}
		if light < 0 {
			least, light = miss(set), i
		}
		sizes := []exposure.Stops{-turn}
		if open := w.Drift.Open; open != nil && len(open.Said.Candidates) > 0 && open.Said.Candidates[0].What == drift.OneLight && open.Said.Candidates[0].Index == i {
			sizes, found = append(sizes, open.Said.Size), true
		}
		for _, size := range sizes {
			with := set
			with.Power = slices.Clone(set.Power)
			with.Power[i] = (with.Power[i] + size).Round()
			if m := miss(with); m+clearly < least || found && m < least {
				best, least, by, light = with, m, size, i
			}
		}
	}
	if by != 0 {
		w.Shift = append(slices.Clone(w.Shift), make([]exposure.Stops, len(set.Power)-len(w.Shift))...)
		w.Shift[light] = (w.Shift[light] + by).Round()
	}
	if found || by != 0 {
		w.explained()
	}
	return best
}

// residuals are what the frame shows beside what its place predicts.
func (s State) residuals(fit rig.Fit, p place, seen [regionCount]rig.Measured) []drift.Residual {
	var out []drift.Residual
	hair := slices.ContainsFunc(s.Lights, func(l LightState) bool { return l.Role == string(plan.Hair) })
	for k, y := range seen {
		a := p.Anchors[k]
		if !y.OK || !a.Known || k == crownRegion && !hair {
			continue
		}
		r := drift.Residual{Region: regionNames[k], Sigma: measuring[k], Witnessed: k == whiteRegion || k == backdropRegion,
			Doubt: exposure.Stops(math.Sqrt(a.Var)).Round()}
		at := a.Level
		if y.AtLeast {
			// It clips. That tells something only if it should lie clearly under the edge.
			if r.Value = y.Value - at; r.Value < 0.1 {
				continue
			}
		} else {
			// Of a region at the edge only the darker frames show a level: against the edge that is no fall.
			if r.Witnessed && at > clipEdge && y.Value <= clipEdge {
				at = clipEdge
				if a.Over { // it was over the edge, and is not: however far over, that much is sure
					r.Doubt = min(r.Doubt, edgeSigma)
				}
			}
			r.Value = y.Value - at
		}
		r.Value = r.Value.Round()
		r.Shares = fit.Shares(p.Set, k)[:len(s.Lights)]
		r.ShareSigmas = fit.ShareSigmas(p.Set, k)
		for _, list := range [][]float64{r.Shares, r.ShareSigmas} {
			for i, v := range list {
				list[i] = math.Round(v*1e4) / 1e4
			}
		}
		out = append(out, r)
	}
	return out
}

// roomResiduals are what a frame of the room alone shows beside what the frozen model has of the room.
func (s State) roomResiduals(f Frame) []drift.Residual {
	set := s.litFor()
	for i := range set.Off {
		set.Off[i] = true
	}
	var out []drift.Residual
	seen := s.seenIn(true, f.Reading)
	for k, l := range s.watch.Model.Fit().Predict(set) {
		if (k == backdropRegion || k == whiteRegion) && seen[k].OK {
			out = append(out, drift.Residual{Region: regionNames[k], Value: (seen[k].Value - l.Value).Round(), Sigma: max(seen[k].Sigma, 0.1),
				Doubt: l.Sigma.Round(), Witnessed: true, AtLeast: seen[k].AtLeast})
		}
	}
	return out
}

// anchored lets a frame without drift say how the light stands under its setting.
func (s *State) anchored(at int, seen [regionCount]rig.Measured, strip rig.Measured) {
	w := &s.watch
	p := w.Places[at] // a copy: its array comes along
	own := func(k int) float64 {
		return math.Pow(float64(w.Drift.Scatter(regionNames[k])), 2) + math.Pow(float64(measuring[k]), 2)
	}
	for k, y := range seen {
		if a := p.Anchors[k]; y.OK && !y.AtLeast && a.Known && !a.Over && math.Abs(float64(y.Value-a.Level)) > strange*math.Sqrt(a.Var+own(k)) {
			return // too strange to teach, though nothing was found yet
		}
	}
	for k, y := range seen {
		p.Anchors[k].learn(y, own(k))
	}
	p.Strip.learn(strip, w.stripVar())
	w.Places = slices.Clone(w.Places)
	w.Places[at] = p
}

// learn takes in what a frame without drift shows; own is the variance of one frame.
func (a *anchor) learn(y rig.Measured, own float64) {
	if !y.OK || y.AtLeast || a.Over || a.Count >= anchorFrames {
		return
	}
	if !a.Known {
		*a = anchor{Level: y.Value, Var: own, Count: 1, Known: true}
	} else {
		gain := a.Var / (a.Var + own)
		a.Level = (a.Level + exposure.Stops(gain)*(y.Value-a.Level)).Round()
		a.Var *= 1 - gain
		a.Count++
	}
	a.Var = math.Round(a.Var*1e9) / 1e9
}

// based makes a frame the baseline. It reports false where the frame lies too far back to be
// held against: then the light of the next ones is taken for it.
func (s *State) based(frame int) bool {
	w := &s.watch
	s.Baseline = frame
	if s.Plan == nil || s.taught.Spec.Lights == 0 {
		w.drop()
		return true
	}
	w.setUp(s.Plan)
	i := slices.IndexFunc(w.Past, func(p past) bool { return p.Number == frame })
	p := past{Number: frame, Set: s.litFor(), Kind: assess.Full}
	if i >= 0 {
		p = w.Past[i]
	} else if f := s.newest(); f != nil {
		p.Kind = f.Reading.Kind
	}
	w.Base, w.Model, w.Kind, w.Shift, w.Stands = frame, s.taught, p.Kind, nil, nil
	w.Drift = w.Drift.Rebased()
	w.Neutral = p.Neutral
	for k, n := range w.Chart { // what the chart's frame shows of them is the reference
		if n != (assess.Channels{}) && w.Neutral[k] != (assess.Channels{}) {
			w.Neutral[k] = n
		}
	}
	start := place{Set: p.Set}
	for k, l := range w.Model.Fit().Predict(p.Set) {
		y := p.Levels[k]
		own := math.Pow(float64(w.Drift.Scatter(regionNames[k])), 2) + math.Pow(float64(measuring[k]), 2)
		switch {
		case i < 0 || !y.OK:
		case y.AtLeast:
			start.Anchors[k] = anchor{Level: max(l.Value, y.Value).Round(), Var: math.Round(float64(l.Sigma*l.Sigma)*1e9) / 1e9, Known: true, Over: true}
		default:
			start.Anchors[k] = anchor{Level: y.Value, Var: math.Round(own*1e9) / 1e9, Count: 1, Known: true}
		}
	}
	start.Strip.learn(p.Strip, w.stripVar())
	w.Places, w.Set, w.Areas, w.First = []place{start}, p.Set, p.Areas, p.Levels[backdropRegion].Value
	return i >= 0
}

// firstHold makes the frame on which every target first holds the baseline, unless a
// person made one.
func (s State) firstHold(st FrameState) (State, []Output) {
	w := s.watch
	if w.Base > 0 || s.Advice.Status != Hold || !st.OnTarget || s.untaught || len(s.absent) > 0 || s.Question != nil ||
		st.Reading.Kind == assess.Provisional || !s.comparable() || len(w.Past) == 0 || w.Past[len(w.Past)-1].Number != st.Number ||
		slices.ContainsFunc(s.Lights, func(l LightState) bool { return l.Off }) || !s.allJudged(st) ||
		s.atEdge(measuredRegions(s.Plan, st.Reading)[whiteRegion]) || slices.ContainsFunc(st.Expected, func(e Expected) bool { return e.Region == WhitePeak && e.Now > e.High }) { // at the edge of clipping scatter decides
		return s, nil
	}
	s.based(st.Number)
	return s, []Output{event("baseline", Event{Frame: st.Number, Text: sayBaseline(st.Number)})}
}

// allJudged tells whether a frame shows everything that the plan has a target for.
func (s State) allJudged(st FrameState) bool {
	for _, j := range judgedRegions(s.Plan, s.Reference != nil) {
		if j.target.Judged && j.name != Crown && !slices.ContainsFunc(st.Expected, func(e Expected) bool { return e.Region == j.name }) {
			return false
		}
	}
	return true
}

// anotherSitter starts everything that belongs to one person anew.
func (s *State) anotherSitter() {
	w := &s.watch
	w.Another, w.Since = true, 0
	w.Neutral[whiteNeutral] = assess.Channels{} // another card, or another shirt
	s.heldHere = false
	w.loosen(crownRegion, math.Inf(1))
	w.loosen(sitterRegion, math.Inf(1))
}

// loosen adds doubt to a region's levels, for another card or another head.
func (w *watching) loosen(region int, by float64) {
	w.Places = slices.Clone(w.Places)
	for i := range w.Places {
		a := &w.Places[i].Anchors[region]
		if math.IsInf(by, 1) {
			*a = anchor{}
		} else if a.Known {
			a.Var, a.Count = math.Round((a.Var+by*by)*1e9)/1e9, 0
		}
	}
}

// loose is the model that advises after a change that nobody recorded, of one of some lights, or where none are named of anything: how
// much light these give must be learned anew. Where it goes, and what the others give, is not forgotten.
func (s State) loose(lights ...int) rig.Model {
	if !s.model.Known() {
		return s.model
	}
	regions := []int{backdropRegion, whiteRegion, crownRegion, sitterRegion}
	if f := s.newest(); f != nil && f.Reading != nil {
		// A region that clips as before did not show the change: what the lights do there stays believed.
		seen := measuredRegions(s.Plan, f.Reading)
		regions = slices.DeleteFunc(regions, func(k int) bool { return k == backdropRegion && seen[k].AtLeast })
	}
	var shifts []rig.Shift
	for l := rig.Ambient; l < s.model.Spec.Lights; l++ {
		if len(lights) == 0 || slices.Contains(lights, l) {
			shifts = append(shifts, rig.Shift{Of: rig.All([]int{l}, regions), Sigma: unnamed})
		}
	}
	return s.model.Swapped(shifts...)
}

// unnamed is how far any light may have changed in a way that nobody can name (common practice, no source).
const unnamed exposure.Stops = 0.7
