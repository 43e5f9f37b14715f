package assess

import (
	"thirdstop/assess/exposure"
)

// FormatVersion is the version of the reading's JSON form. Fields are only ever
// added under one version; a change of meaning makes a new one.
const FormatVersion = 1

// Reading is everything measured on one frame. Its JSON form is what
// `thirdstop assess --json` prints and what the trail keeps, so names, units and ranges are stable.
//
// Levels are in stops relative to the edge of clipping in linear light: 0 is
// the edge, -1 one stop under it. All stops are rounded to 0.001. A region
// that could not be measured is null, and Missing says why.
type Reading struct {
	Version      int               `json:"version" range:"1" doc:"version of this form"`
	Width        int               `json:"width" unit:"pixels" range:"1 and up" doc:"width, upright"`
	Height       int               `json:"height" unit:"pixels" range:"1 and up" doc:"height, upright"`
	Orientation  int               `json:"orientation" range:"1 to 8" doc:"Exif orientation as recorded; 1 where nothing is recorded"`
	Kind         Kind              `json:"kind" range:"full, approximate, provisional" doc:"what the reading was taken from"`
	Exif         Exif              `json:"exif" doc:"what the camera recorded"`
	ClippedShare Shares            `json:"clipped_share" doc:"of the whole frame"`
	PartOfSet    PartOfSet         `json:"part_of_set" doc:"does the frame show the set: a backdrop with somebody or nobody before it"`
	Regions      Regions           `json:"regions" doc:"the parts of the frame that have a meaning"`
	Balance      Balance           `json:"balance" doc:"how light the regions are against each other"`
	Chart        *Chart            `json:"chart,omitempty" doc:"a 24-patch colour chart; looked for only where one is expected"`
	DarkBand     *Band             `json:"dark_band,omitempty" doc:"a straight dark band along a long edge, as of a shutter faster than the flash; only where there is one"`
	Tone         Tone              `json:"tone" doc:"how code values became light"`
	Labels       []Label           `json:"labels" doc:"what this file cannot show, or what makes it hard to compare"`
	Missing      map[string]string `json:"missing" doc:"path of a field that is null or says nothing, and why"`
}

// PartOfSet says whether a frame shows the set at all, or the floor, a wide view, a hand, a chart.
type PartOfSet struct {
	Answer Belongs `json:"answer" range:"yes, no, unsure" doc:"frames that are no part of the set are best left out of advice and drift"`
	Sure   float64 `json:"sure" range:"0 to 1" doc:"how sure the answer is"`
	Reason string  `json:"reason" doc:"why, for people"`
}

// Belongs is an answer.
type Belongs string

// The answers.
const (
	BelongsYes    Belongs = "yes"
	BelongsNo     Belongs = "no"
	BelongsUnsure Belongs = "unsure"
)

// Kind says what the reading was taken from.
type Kind string

// The kinds of reading.
const (
	Full        Kind = "full"        // the picture file itself, at its full size
	Approximate Kind = "approximate" // the preview inside a raw file, or a reduced copy
	Provisional Kind = "provisional" // the preview inside a picture whose full reading follows
)

// Exif is what the camera recorded and thirdstop uses. A nil field was not recorded.
type Exif struct {
	ExposureTime *exposure.Shutter `json:"exposure_time_s" unit:"seconds" range:"over 0" doc:"exposure time"`
	FNumber      *exposure.FNumber `json:"f_number" range:"over 0" doc:"lens opening as marked"`
	ISO          *exposure.ISO     `json:"iso" range:"over 0" doc:"camera speed"`
	FocalLength  *float64          `json:"focal_length_mm" unit:"millimetres" range:"over 0" doc:"focal length"`
	Flash        *Flash            `json:"flash" doc:"the Exif flash tag taken apart"`
	Program      *int              `json:"exposure_program" range:"0 to 9" doc:"Exif ExposureProgram; 1 is manual"`
	ExposureMode *int              `json:"exposure_mode" range:"0 to 2" doc:"Exif ExposureMode; 0 auto, 1 manual, 2 bracket"`
	WhiteBalance *int              `json:"white_balance" range:"0 to 1" doc:"Exif WhiteBalance; 0 auto, 1 manual"`
	TakenAt      *string           `json:"taken_at" unit:"RFC 3339" doc:"when it was taken; without offset where none was recorded"`
	Make         *string           `json:"make" doc:"camera's maker"`
	Model        *string           `json:"model" doc:"camera"`
	Lens         *string           `json:"lens" doc:"lens"`
	Serial       *string           `json:"serial" doc:"camera's serial number"`
}

// Flash is the Exif flash tag taken apart. Plain radio triggers record "did not
// fire", so Fired false never means that a flash failed.
type Flash struct {
	Raw   int    `json:"raw" range:"0 to 65535" doc:"the tag's value"`
	Fired bool   `json:"fired" doc:"bit 0; false never means that a flash failed, plain radio triggers record it"`
	Mode  string `json:"mode" range:"unknown, on, off, auto" doc:"bits 3 and 4"`
}

// Shares are parts of a frame or region, 0 to 1, exact over every pixel.
type Shares struct {
	R   float64 `json:"r" unit:"share" range:"0 to 1" doc:"pixels whose red is clipped, exact over every pixel"`
	G   float64 `json:"g" unit:"share" range:"0 to 1" doc:"pixels whose green is clipped, exact"`
	B   float64 `json:"b" unit:"share" range:"0 to 1" doc:"pixels whose blue is clipped, exact"`
	Any float64 `json:"any" unit:"share" range:"0 to 1" doc:"pixels with at least one clipped channel, exact"`
}

// Box is a rectangle in fractions of the upright frame: 0 is left or top, 1 right or bottom.
type Box struct {
	X0 float64 `json:"x0" unit:"share" range:"0 to 1" doc:"left edge, of the upright frame"`
	Y0 float64 `json:"y0" unit:"share" range:"0 to 1" doc:"top edge"`
	X1 float64 `json:"x1" unit:"share" range:"0 to 1" doc:"right edge"`
	Y1 float64 `json:"y1" unit:"share" range:"0 to 1" doc:"bottom edge"`
}

// ok says that a box lies in the frame and isn't empty.
func (b Box) ok() bool {
	return b.X0 >= 0 && b.Y0 >= 0 && b.X1 <= 1 && b.Y1 <= 1 && b.X0 < b.X1 && b.Y0 < b.Y1
}

// Level is the exposure of a region, relative to the edge of clipping.
type Level struct {
	Value   exposure.Stops `json:"level_stops" unit:"stops" range:"-12 to 0" doc:"median cell, in its brightest channel; 0 is the edge of clipping"`
	Sigma   exposure.Stops `json:"sigma_stops" unit:"stops" range:"0 and up" doc:"one standard deviation of the level, from curve and noise"`
	AtLeast bool           `json:"at_least" doc:"over 1 % of the deciding cell's samples are clipped: this level or more"`
}

// Regions are the parts of a frame that have a meaning.
type Regions struct {
	Backdrop       *Backdrop       `json:"backdrop" doc:"the paper, cloth or wall behind the sitter"`
	Sitter         *Sitter         `json:"sitter" doc:"everybody in front of the backdrop"`
	WhiteReference *WhiteReference `json:"white_reference" doc:"a white card or shirt"`
	Faces          []Face          `json:"faces" doc:"faces that look about towards the camera, from left to right; people's skin differs by over two stops, so none is ever a target"`
	Witness        *Witness        `json:"witness" doc:"a grey strip fixed at the frame's edge, where one was declared"`
}

// Backdrop is the reading of the paper, cloth or wall behind the sitter.
type Backdrop struct {
	Level
	WhiteFloor      exposure.Stops `json:"white_floor_stops" unit:"stops" range:"-12 to 0" doc:"weakest channel in the darkest area around the head"`
	FloorSigma      exposure.Stops `json:"white_floor_sigma_stops" unit:"stops" range:"0 and up" doc:"one standard deviation of white_floor_stops"`
	FloorAtLeast    bool           `json:"white_floor_at_least" doc:"as at_least, of the white floor"`
	Over            *Over          `json:"over" doc:"estimate of how far over the edge the clipped level is; null where it doesn't clip or too little is left to tell by"`
	FloorOver       *Over          `json:"white_floor_over" doc:"the same of the white floor"`
	Headroom        exposure.Stops `json:"headroom_stops" unit:"stops" range:"0 to 12" doc:"stops left at the 99th-percentile cell; 0 where it clips"`
	Evenness        exposure.Stops `json:"evenness_stops" unit:"stops" range:"0 to 12" doc:"largest minus smallest median of the areas; 0 with a single area"`
	EvennessAtLeast bool           `json:"evenness_at_least" doc:"the lightest area clips, so the spread may be larger"`
	ClippedShare    float64        `json:"clipped_share" unit:"share" range:"0 to 1" doc:"pixels of the backdrop with any clipped channel"`
	ClippedAll      float64        `json:"clipped_all_share" unit:"share" range:"0 to 1" doc:"pixels with every channel clipped are at most this share: the least clipped channel of each cell, added up"`
	Channels        *Channels      `json:"channels" doc:"level of each channel; null where it clips or is too dark to tell a colour"`
	Quality         Quality        `json:"quality" doc:"what a person would look over the backdrop for"`
	Share           float64        `json:"share" unit:"share" range:"0 to 1" doc:"backdrop's part of the frame"`
	Confidence      float64        `json:"confidence" range:"0 to 1" doc:"how sure it is that this is the backdrop; under 0.5 there is no reading"`
	Box             Box            `json:"box" doc:"the smallest box around it"`
	Areas           []Area         `json:"areas" doc:"ninths of the upright frame, row by row; those with under 5 % backdrop are left out"`
	Mask            Mask           `json:"mask" doc:"which cells"`
	Codes           Codes          `json:"codes" doc:"histograms of 8x8 block means, to express the levels anew under a better curve"`
}

// Over is an estimate of how far over the edge a clipped level lies, from what doesn't clip: the falloff over the
// backdrop and the channels that are left. Nobody can see it; the interval says how much it is worth.
type Over struct {
	Likely exposure.Stops `json:"likely_stops" unit:"stops" range:"0 to 4" doc:"the best guess"`
	Low    exposure.Stops `json:"low_stops" unit:"stops" range:"0 and up" doc:"nine times in ten it is between this"`
	High   exposure.Stops `json:"high_stops" unit:"stops" range:"0 and up" doc:"and this"`
	Left   float64        `json:"left_share" unit:"share" range:"0 to 1" doc:"of the backdrop, where a channel is left that doesn't clip"`
}

// Quality is how good a backdrop looks: falloff, hot spot, colour.
type Quality struct {
	Across  exposure.Stops `json:"across_stops" unit:"stops" range:"-12 to 12" doc:"level of the frame's right third less that of its left; 0 where one shows no backdrop or both clip"`
	Down    exposure.Stops `json:"down_stops" unit:"stops" range:"-12 to 12" doc:"level of the lower third less that of the upper; 0 as above"`
	Falloff string         `json:"falloff" doc:"the larger of the two in words, such as: left side 0.4 stop darker; empty under 0.15 stop. At least where a side clips"`
	HotSpot *HotSpot       `json:"hot_spot" doc:"the largest part that is over a third of a stop lighter than most; null where there is none"`
	Cast    *Cast          `json:"cast" doc:"its colour as a screen shows it; null where it clips"`
}

// HotSpot is a pool of light on a backdrop.
type HotSpot struct {
	Over    exposure.Stops `json:"over_stops" unit:"stops" range:"0 to 12" doc:"its median less that of the backdrop"`
	AtLeast bool           `json:"at_least" doc:"it clips"`
	Share   float64        `json:"share" unit:"share" range:"0 to 1" doc:"of the backdrop"`
	Box     Box            `json:"box" doc:"the smallest box around it"`
}

// Cast is the colour of what should be neutral, in CIELAB under D65.
type Cast struct {
	A      float64 `json:"a" range:"-128 to 127" doc:"a*: green to red"`
	B      float64 `json:"b" range:"-128 to 127" doc:"b*: blue to yellow"`
	Chroma float64 `json:"chroma" range:"0 and up" doc:"C*ab; up to 2 passes for neutral"`
	Word   string  `json:"word" range:"neutral, warm, yellow, green, cyan, cool, magenta, pink" doc:"in a word"`
}

// Area is a ninth of the frame, as far as it shows backdrop.
type Area struct {
	Row     int            `json:"row" range:"0 to 2" doc:"0 is the top"`
	Col     int            `json:"col" range:"0 to 2" doc:"0 is the left"`
	Level   exposure.Stops `json:"level_stops" unit:"stops" range:"-12 to 0" doc:"median cell, in its brightest channel"`
	Floor   exposure.Stops `json:"white_floor_stops" unit:"stops" range:"-12 to 0" doc:"median cell, in its weakest channel"`
	AtLeast bool           `json:"at_least" doc:"as at_least, of the level"`
	Share   float64        `json:"share" unit:"share" range:"0 to 1" doc:"part of the area that is backdrop"`
	Box     Box            `json:"box" doc:"the smallest box around it"`
}

// Sitter is the reading of everybody in front of the backdrop.
type Sitter struct {
	Level
	Headroom     exposure.Stops `json:"headroom_stops" unit:"stops" range:"0 to 12" doc:"stops left at the 99th-percentile cell; 0 where it clips"`
	ClippedShare float64        `json:"clipped_share" unit:"share" range:"0 to 1" doc:"pixels of the sitter with any clipped channel; along the outline, where cells show backdrop too, by what lies further in"`
	ClippedLeast float64        `json:"clipped_share_least" unit:"share" range:"0 to 1" doc:"of clipped_share, what is surely sitter"`
	ClippedMost  float64        `json:"clipped_share_most" unit:"share" range:"0 to 1" doc:"clipped_share if all that may be backdrop, beside the sitter or between arm and body, were sitter"`
	Darkest      exposure.Stops `json:"darkest_stops" unit:"stops" range:"-12 to 0" doc:"2nd-percentile cell inside the outline, in its brightest channel: veiling flare from the backdrop lifts it, so it is held against a frame without background light"`
	Rim          exposure.Stops `json:"rim_stops" unit:"stops" range:"-12 to 12" doc:"how much lighter the sitter is just inside the outline than further in, below the head, median: light of the backdrop that wraps round, or a hair light; 0 where the sitter is too small to tell"`
	Crown        *Crown         `json:"crown" doc:"the top of the head, where a hair light shows; null where it can't be told from the backdrop"`
	Share        float64        `json:"share" unit:"share" range:"0 to 1" doc:"sitter's part of the frame"`
	Confidence   float64        `json:"confidence" range:"0 to 1" doc:"how sure it is that this is the sitter"`
	Box          Box            `json:"box" doc:"the smallest box around it"`
	Mask         Mask           `json:"mask" doc:"which cells of a coarse grid belong to it"`
	Codes        Codes          `json:"codes" doc:"histograms of 8x8 block means, to express the levels anew under a better curve"`
}

// Crown is the reading of the top of the sitter's head: what a hair light brightens most.
// It has an upper limit only, for hair and headwear differ.
type Crown struct {
	Peak    exposure.Stops `json:"peak_stops" unit:"stops" range:"-12 to 0" doc:"highest of the channels' 98th percentiles over 8x8 blocks"`
	AtLeast bool           `json:"at_least" doc:"over 1 % of the samples around the deciding block are clipped, and the block lies at the edge: peak_stops is 0 then"`
	Box     Box            `json:"box" doc:"the smallest box around it"`
}

// WhiteReference is the reading of a white card or shirt. One that nobody
// declared is shown and never causes an adjustment.
type WhiteReference struct {
	Level
	Peak         exposure.Stops `json:"peak_stops" unit:"stops" range:"-12 to 0" doc:"highest of the channels' 98th percentiles over 8x8 blocks"`
	PeakAtLeast  bool           `json:"peak_at_least" doc:"over 1 % of the samples around the deciding block are clipped, and the block lies at the edge: peak_stops is 0 then"`
	Headroom     exposure.Stops `json:"headroom_stops" unit:"stops" range:"0 to 12" doc:"stops left at the 99th-percentile cell; 0 where it clips"`
	ClippedShare float64        `json:"clipped_share" unit:"share" range:"0 to 1" doc:"pixels with any clipped channel"`
	Channels     *Channels      `json:"channels" doc:"level of each channel; null where it clips or is too dark to tell a colour"`
	Declared     bool           `json:"declared" doc:"a person said so; one that was merely found is shown and never acted on"`
	Followed     bool           `json:"followed" doc:"declared on an earlier frame and found again in this one: box is where"`
	Confidence   float64        `json:"confidence" range:"0 to 1" doc:"1 where declared on this frame; where followed, how like it is to what was declared"`
	Box          Box            `json:"box" doc:"the smallest box around it"`
	DeclaredBox  *Box           `json:"declared_box" doc:"the box as a person declared it; null where nobody did"`
	Look         *Look          `json:"look" doc:"what it looked like where it was declared, to find it again; null where nobody declared it"`
	Codes        Codes          `json:"codes" doc:"histograms of 8x8 block means, to express the levels anew under a better curve"`
}

// Look is what a declared white reference and its bearer's head looked like, in lightness code values: enough to
// know them again, too coarse to recognise anybody.
type Look struct {
	Patch string  `json:"patch" unit:"base64" doc:"12x12 samples of the box and what is around it, row by row; 0 is outside of the frame"`
	Wide  float64 `json:"wide" unit:"sizes of the box" range:"0.5 to 4" doc:"how much is around the box in patch, on each side; more where the box alone shows no edge"`
	Head  string  `json:"head" unit:"base64" doc:"8x8 samples of the head above; empty where none was found"`
	Red   float64 `json:"red" range:"-1 and up" doc:"the box's red code over its green, less 1"`
	Blue  float64 `json:"blue" range:"-1 and up" doc:"the box's blue code over its green, less 1"`
	Frame float64 `json:"frame" range:"0 to 255" doc:"mean lightness code of the whole frame"`
}

// Face is the reading of one face. What is measured of it is an oval of skin, eyes and mouth.
type Face struct {
	Level
	Headroom     exposure.Stops `json:"headroom_stops" unit:"stops" range:"0 to 12" doc:"stops left at the 99th-percentile cell, in its brightest channel; 0 where it clips"`
	ClippedShare float64        `json:"clipped_share" unit:"share" range:"0 to 1" doc:"pixels of the face with any clipped channel"`
	Box          Box            `json:"box" doc:"from mid-forehead to chin, and as wide"`
	Size         float64        `json:"size_share" unit:"share" range:"0 to 1" doc:"height of the box, of the frame's height: grows and shrinks with the head"`
	EyeLine      float64        `json:"eye_line" unit:"share" range:"0 to 1" doc:"height at which the eyes of such a box lie, from the top of the frame"`
	Confidence   float64        `json:"confidence" range:"0.5 to 1" doc:"how sure it is that this is a face"`
	KeyFill      *KeyFill       `json:"key_to_fill" doc:"the light on its two sides; null where it isn't seen from the front, or a cheek clips"`
	Glare        *Glare         `json:"glare" doc:"lamps that spectacles mirror over the eyes: key higher, or frames tilted, never a power; null where none is surely seen"`
}

// KeyFill is how the light on a face's two sides compares, cheek against cheek. The lit side has key and fill, the other
// fill alone, as far as the key doesn't reach round the face.
type KeyFill struct {
	Lit        string          `json:"lit_side" range:"left, right, even" doc:"the lighter side, as the picture shows it; even within what can be told"`
	Difference exposure.Stops  `json:"difference_stops" unit:"stops" range:"0 to 12" doc:"the lit cheek less the other: log2 of key_and_fill_to_fill"`
	Sigma      exposure.Stops  `json:"sigma_stops" unit:"stops" range:"0 and up" doc:"one standard deviation of the difference"`
	LitLevel   exposure.Stops  `json:"lit_level_stops" unit:"stops" range:"-12 to 0" doc:"level of the lit cheek, with which the difference is expressed anew under another curve; 0 in readings of before it was kept"`
	Additive   float64         `json:"key_and_fill_to_fill" range:"1 and up" doc:"additive convention, (key + fill):fill, so much to 1"`
	Source     *float64        `json:"key_to_fill" range:"over 0" doc:"source convention, key:fill, each alone: one less; null where the sides are even"`
	KeyOver    *exposure.Stops `json:"key_over_fill_stops" unit:"stops" doc:"log2 of the source convention; null where the sides are even"`
	Channel    string          `json:"channel" range:"red, green, blue" doc:"in which they were compared: the one with most light that clips on neither side"`
	Symmetry   float64         `json:"symmetry" range:"0 to 1" doc:"how well the halves mirror each other in what is fine: correlation"`
}

// Glare is light that spectacles mirror towards the camera. Catchlights in the eyes are wanted, and none.
type Glare struct {
	Sides string  `json:"sides" range:"left, right, both" doc:"over which eye, as the picture shows it"`
	Area  float64 `json:"area_share" unit:"share" range:"0 to 1" doc:"of the face's box"`
}

// Balance compares regions. Differences of levels don't depend on exposure, as long as nothing clips.
type Balance struct {
	Sitter *Difference `json:"backdrop_over_sitter" doc:"level of the backdrop less that of the sitter, clothes and all; negative: the backdrop is darker"`
	Face   *Difference `json:"backdrop_over_face" doc:"level of the backdrop less that of the largest face"`
	Faces  *Difference `json:"faces_uneven" doc:"in a group: the lightest face less the darkest, skins and light together; only with like skins it tells of the light"`
}

// Difference is that between two levels.
type Difference struct {
	Value   exposure.Stops `json:"stops" unit:"stops" range:"-12 to 12" doc:"the difference"`
	Sigma   exposure.Stops `json:"sigma_stops" unit:"stops" range:"0 and up" doc:"one standard deviation of it"`
	AtLeast bool           `json:"at_least" doc:"the first clips, so it may be more"`
	AtMost  bool           `json:"at_most" doc:"the second clips, so it may be less"`
}

// Channels are the levels of what should be neutral, channel by channel: what tells its colour, whatever its
// exposure. Linear light in the primaries of the file.
type Channels struct {
	Red   exposure.Stops `json:"red_stops" unit:"stops" range:"-12 to 0" doc:"median 8x8 block in red"`
	Green exposure.Stops `json:"green_stops" unit:"stops" range:"-12 to 0" doc:"in green"`
	Blue  exposure.Stops `json:"blue_stops" unit:"stops" range:"-12 to 0" doc:"in blue"`
}

// Witness is the reading of a grey strip that is fixed at the frame's edge: light that falls on it is the same from frame to frame.
type Witness struct {
	Level
	Red          exposure.Stops `json:"red_stops" unit:"stops" range:"-12 to 0" doc:"median cell's level in red"`
	Green        exposure.Stops `json:"green_stops" unit:"stops" range:"-12 to 0" doc:"in green"`
	Blue         exposure.Stops `json:"blue_stops" unit:"stops" range:"-12 to 0" doc:"in blue"`
	ClippedShare float64        `json:"clipped_share" unit:"share" range:"0 to 1" doc:"pixels with any clipped channel"`
	Box          Box            `json:"box" doc:"as declared"`
}

// Tone says how code values became light.
type Tone struct {
	Source string         `json:"source" range:"default, learned, raw" doc:"where the curve comes from"`
	Curve  string         `json:"curve" doc:"which curve, by its name and version"`
	Sigma  exposure.Stops `json:"sigma" unit:"stops" range:"0 and up" doc:"one standard deviation of the curve a stop under clipping"`
}

// Label is a remark that a person should see with the reading.
type Label struct {
	Code string `json:"code" doc:"stable, for programs"`
	Text string `json:"text" doc:"a sentence, for people"`
}

// Mask marks cells of a coarse grid over the upright frame, row by row. Each covers as many of the survey's 16x16 cells across as down; those
// at the right and lower border may be smaller.
type Mask struct {
	Cols int    `json:"cols" unit:"cells" range:"0 to 96" doc:"columns of the grid"`
	Rows int    `json:"rows" unit:"cells" range:"0 to 96" doc:"rows of the grid"`
	Bits string `json:"bits" unit:"base64" doc:"one bit per cell, row by row, first cell in the highest bit of the first byte"`
}

// Codes is a histogram of a region's 8x8 block means in whole code values, enough to
// express the region's level anew under a better curve.
type Codes struct {
	R []int32 `json:"r" unit:"blocks" doc:"256 counts of 8x8 block means by whole code value; trailing zeros left out"`
	G []int32 `json:"g" unit:"blocks" doc:"as r"`
	B []int32 `json:"b" unit:"blocks" doc:"as r"`
}

// Hints is what is known about a frame before it is measured. The zero value
// is a frame of which nothing is known.
type Hints struct {
	WhiteReference *Box // declared by a person
	Backdrop       *Box // drawn by a person
	Witness        *Box // a grey strip fixed at the frame's edge, declared by a person
	Face           *Box // drawn by a person: the sitter's face, so that what it holds is sitter and a body is looked for under it

	// Before is a reading of an earlier frame of the same set and sitter, the newest that has a declared white
	// reference or else a backdrop. If its white reference was declared by the same box, it is followed from there. Its
	// backdrop says what the set looks like.
	Before *Reading

	// Empty is the backdrop's mask in a frame of the same set without a sitter, camera unmoved: what is no
	// backdrop there, stands and the room, is none here.
	Empty *Mask

	Chart       bool // a colour chart is expected in it, and read
	Provisional bool // the picture is a preview, and the full reading of the same frame follows
}
