package assess

import (
	"thirdstop/assess/aside"
	"thirdstop/assess/photo"
	"thirdstop/assess/scene"
	"thirdstop/assess/tone"
)

// Measure takes the reading of a picture. A nil curve is [tone.Default].
func Measure(p *photo.Picture, c *tone.Curve, h Hints) Reading {
	return MeasureSurvey(p.Survey, FactsOf(p), c, h)
}

// MeasureSurvey takes the reading of a survey, so that a frame can be measured
// anew, under a better curve or when a white reference was declared, without its file. Its
// result for [FactsOf] a picture and the picture's survey is that of [Measure].
func MeasureSurvey(s *photo.Survey, f Facts, c *tone.Curve, h Hints) Reading {
	if c == nil {
		c = tone.Default()
	}
	r := Reading{
		Version:     FormatVersion,
		Orientation: max(f.Orientation, 1),
		Kind:        f.Kind,
		Exif:        f.Exif,
		Labels:      append([]Label{}, f.Labels...),
		Missing:     make(map[string]string),
		Tone:        toneOf(c),
	}
	if r.Kind == "" {
		r.Kind = Full
	}
	if h.Provisional {
		r.Kind = Provisional
	}
	r.Regions.Faces = []Face{}
	r.Exif.missing(r.Missing, f.NoExif)
	if s == nil || len(s.Cells) == 0 {
		for _, path := range []string{"clipped_share", "regions.backdrop", "regions.sitter", "regions.white_reference", "regions.faces", "regions.witness",
			"balance.backdrop_over_sitter", "balance.backdrop_over_face", "balance.faces_uneven"} {
			r.Missing[path] = "the picture could not be surveyed"
		}
		r.PartOfSet = PartOfSet{Answer: BelongsUnsure, Reason: "the picture could not be surveyed"}
		return r
	}
	r.Width, r.Height = s.Width, s.Height
	m := newMeter(s, c)
	m.adobe = labelled(f.Labels, photo.LabelAdobeRGB)
	var beside aside.Work // what no region is needed for
	beside.Go(func() {
		m.weigh()
		r.DarkBand = m.band()
	})
	if s.Exact {
		r.ClippedShare = m.shares()
	} else {
		r.Missing["clipped_share"] = "the picture was surveyed without counting every pixel"
	}
	find := scene.Hints{Backdrop: (*scene.Box)(h.Backdrop), WhiteReference: (*scene.Box)(h.WhiteReference), Face: (*scene.Box)(h.Face)}
	if h.Empty != nil {
		if bits, ok := h.Empty.Cells(); ok {
			find.Empty = &scene.Mask{Cols: h.Empty.Cols, Rows: h.Empty.Rows, In: bits}
		}
	}
	look := m.lookForFaces(h)
	sc := scene.Find(s, find)
	found := look(sc)
	followed := false
	if was, ok := h.follows(); ok {
		_, followed = follow(sc, was)
	}
	beside.Wait()
	m.regions(&r, sc, h, followed)
	m.faces(&r, sc, h, found())
	r.Balance = r.balance()
	m.done()
	r.PartOfSet = belongs(&r, sc, h.Before)
	if h.Chart {
		r.chart(s, c, m.adobe)
	}
	return r
}

// regions fills in what the scene holds.
func (m *meter) regions(r *Reading, sc *scene.Scene, h Hints, followed bool) {
	var both aside.Work
	if sc.Backdrop.Found() {
		both.Go(func() { r.Regions.Backdrop = m.backdrop(sc) })
	}
	if sc.Sitter.Found() {
		r.Regions.Sitter = m.sitter(sc)
		r.Regions.Sitter.Rim = m.rim(sc)
	}
	if sc.White.Found() {
		r.Regions.WhiteReference = m.white(sc, h, followed)
	}
	both.Wait()
	for path, region := range map[string]*scene.Region{
		"regions.backdrop": &sc.Backdrop, "regions.sitter": &sc.Sitter, "regions.white_reference": &sc.White.Region,
	} {
		if !region.Found() {
			r.Missing[path] = region.Reason
		}
	}
	r.Regions.Witness = nil
	switch {
	case h.Witness == nil:
		r.Missing["regions.witness"] = "no witness strip was declared"
	case !h.Witness.ok():
		r.Missing["regions.witness"] = "the box that was declared as witness strip is empty or outside of the frame"
	default:
		r.Regions.Witness = m.witness(*h.Witness)
	}
	const colourless = "it clips, or is too dark to tell a colour"
	if w := r.Regions.WhiteReference; w != nil {
		if w.Channels == nil {
			r.Missing["regions.white_reference.channels"] = colourless
		}
		if w.DeclaredBox == nil {
			r.Missing["regions.white_reference.declared_box"] = "nobody declared it"
		}
		if w.Look == nil {
			r.Missing["regions.white_reference.look"] = "nobody declared it"
			if w.Declared {
				r.Missing["regions.white_reference.look"] = "the picture is too small to keep what it looks like"
			}
		}
	}
	if b := r.Regions.Backdrop; b != nil {
		const little = "so much of the backdrop clips in every channel that nothing is left to tell by"
		for path, is := range map[string]struct {
			over    *Over
			atLeast bool
		}{"regions.backdrop.over": {b.Over, b.AtLeast}, "regions.backdrop.white_floor_over": {b.FloorOver, b.FloorAtLeast}} {
			switch {
			case is.over != nil:
			case is.atLeast:
				r.Missing[path] = little
			default:
				r.Missing[path] = "it doesn't clip"
			}
		}
	}
	if b := r.Regions.Backdrop; b != nil && b.Quality.HotSpot == nil {
		r.Missing["regions.backdrop.quality.hot_spot"] = "no part is over a third of a stop lighter than most of it"
		if b.AtLeast {
			r.Missing["regions.backdrop.quality.hot_spot"] = "the backdrop clips"
		}
	}
	if b := r.Regions.Backdrop; b != nil && b.Channels == nil {
		r.Missing["regions.backdrop.channels"] = colourless
	}
	if b := r.Regions.Backdrop; b != nil && b.Quality.Cast == nil {
		r.Missing["regions.backdrop.quality.cast"] = "the backdrop clips"
	}
	if p := r.Regions.Sitter; p != nil && p.Crown == nil {
		r.Missing["regions.sitter.crown"] = "the top of the head is too small to be told from the backdrop around it"
	}
	if b := r.Regions.Backdrop; b != nil && len(b.Areas) < 2 {
		r.Missing["regions.backdrop.evenness_stops"] = "the backdrop shows in one area of the frame only"
	}
}

// leastOfArea is the share of an area that must be backdrop for it to be listed,
// and leastRoundHead that for which it counts as an area around the head.
const (
	leastOfArea    = 0.05
	leastRoundHead = 0.10
)

func (m *meter) backdrop(sc *scene.Scene) *Backdrop {
	cells := m.cellsOf(sc.Grid, sc.Backdrop.Mask)
	t := m.tally(cells)
	b := &Backdrop{
		Level:        m.median(cells, brightest),
		Headroom:     m.headroom(cells),
		ClippedShare: t.any(),
		ClippedAll:   t.all(),
		Share:        float64(t.pixels) / float64(m.s.Width*m.s.Height),
		Confidence:   sc.Backdrop.Confidence,
		Box:          Box(sc.BoxOf(sc.Backdrop.Mask)),
		Areas:        []Area{},
		Mask:         maskOf(sc.Grid, sc.Backdrop.Mask),
		Codes:        m.codes(cells),
	}
	parts := m.byArea(cells)
	sizes := m.areaPixels()
	var darkest *Level
	darkestOf := cells
	consider := func(l Level, of []int32) {
		if darkest == nil || l.Value < darkest.Value {
			darkest, darkestOf = &l, of
		}
	}
	var lightest, dimmest *Level
	type area struct {
		floor Level
		cells []int32
	}
	floors := make([]area, 0, 9)
	for n, part := range parts {
		share := float64(m.tally(part).pixels) / float64(max(sizes[n], 1))
		if len(part) == 0 || share < leastOfArea {
			continue
		}
		level, floor := m.median(part, brightest), m.median(part, weakest)
		floors = append(floors, area{floor, part})
		if share >= leastRoundHead && roundHead(sc, n/3, n%3) {
			consider(floor, part)
		}
		if lightest == nil || level.Value > lightest.Value {
			lightest = &level
		}
		if dimmest == nil || level.Value < dimmest.Value {
			dimmest = &level
		}
		b.Areas = append(b.Areas, Area{
			Row: n / 3, Col: n % 3,
			Level: level.Value, Floor: floor.Value, AtLeast: level.AtLeast, Share: share,
			Box: Box{float64(n%3) / 3, float64(n/3) / 3, float64(n%3+1) / 3, float64(n/3+1) / 3},
		})
	}
	b.Quality = m.quality(sc, cells, parts, b.Level)
	b.Channels = m.channels(b.Codes, b.ClippedShare)
	if darkest == nil {
		for _, f := range floors {
			consider(f.floor, f.cells)
		}
	}
	if darkest == nil { // so small a backdrop that no area lists it
		consider(m.median(cells, weakest), cells)
	}
	b.WhiteFloor, b.FloorSigma, b.FloorAtLeast = darkest.Value, darkest.Sigma, darkest.AtLeast
	if b.AtLeast || b.FloorAtLeast {
		if light, ok := m.clippedLight(sc); ok {
			if b.AtLeast {
				b.Over = m.over(light, cells, brightest)
			}
			if b.FloorAtLeast {
				b.FloorOver = m.over(light, darkestOf, weakest)
			}
		}
	}
	if lightest != nil {
		b.Evenness = (lightest.Value - dimmest.Value).Round()
		b.EvennessAtLeast = lightest.AtLeast
	}
	return b
}

// roundHead says whether an area lies around the head.
func roundHead(sc *scene.Scene, row, col int) bool {
	if !sc.Sitter.Found() {
		return row < 2
	}
	r, c := min(int(sc.HeadY*3), 2), min(int(sc.HeadX*3), 2)
	return max(row-r, r-row) <= 1 && max(col-c, c-col) <= 1
}

func (m *meter) white(sc *scene.Scene, h Hints, followed bool) *WhiteReference {
	cells := m.cellsOf(sc.Grid, sc.White.Mask)
	within := Box{0, 0, 1, 1}
	if sc.White.Declared {
		within = Box(sc.White.Box)
		cells = m.cellsIn(within)
	}
	peak, peakAtLeast := m.peak(cells, within)
	w := &WhiteReference{
		Level:        m.median(cells, brightest),
		Peak:         peak,
		PeakAtLeast:  peakAtLeast,
		Headroom:     m.headroom(cells),
		ClippedShare: m.tally(cells).any(),
		Declared:     sc.White.Declared,
		Followed:     followed,
		Confidence:   sc.White.Confidence,
		Box:          Box(sc.White.Box),
		Codes:        m.codes(cells),
	}
	w.Channels = m.channels(w.Codes, w.ClippedShare)
	switch was, ok := h.follows(); {
	case followed && ok:
		w.DeclaredBox, w.Look = was.DeclaredBox, was.Look // as it was declared, so that small changes don't add up
	case sc.White.Declared:
		b := *h.WhiteReference
		w.DeclaredBox = &b
		if l, ok := sc.LookAt(sc.White.Box); ok {
			w.Look = lookOf(l)
		}
	}
	return w
}

func (e *Exif) missing(why map[string]string, noExif bool) {
	say := func(absent bool, name, what string) {
		if !absent {
			return
		}
		if noExif {
			why["exif."+name] = "the file has no Exif"
		} else {
			why["exif."+name] = "the camera did not record " + what
		}
	}
	say(e.ExposureTime == nil, "exposure_time_s", "the exposure time")
	say(e.FNumber == nil, "f_number", "the aperture; a lens without contacts has none to record")
	say(e.ISO == nil, "iso", "the ISO speed")
	say(e.FocalLength == nil, "focal_length_mm", "the focal length")
	say(e.Flash == nil, "flash", "the flash tag")
	say(e.Program == nil, "exposure_program", "the exposure program")
	say(e.ExposureMode == nil, "exposure_mode", "the exposure mode")
	say(e.WhiteBalance == nil, "white_balance", "the white-balance mode")
	say(e.TakenAt == nil, "taken_at", "when it was taken")
	say(e.Make == nil, "make", "its maker")
	say(e.Model == nil, "model", "its model")
	say(e.Lens == nil, "lens", "the lens")
	say(e.Serial == nil, "serial", "its serial number")
}

func labelled(labels []Label, code string) bool {
	for _, l := range labels {
		if l.Code == code {
			return true
		}
	}
	return false
}
