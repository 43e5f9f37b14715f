// Package assess turns a frame into a reading: where its backdrop, sitter and
// white reference are, and how far under the edge of clipping each lies, in stops of
// linear light.
//
// It knows pictures and light. It must never know a light plan, a target, or
// what anybody wants of a frame. All measuring reads surveys ([photo.Survey]), never pixels, so that its cost
// hardly depends on the camera and a faster decoder can take the plain one's place.
//
// Read types.go first: [Reading] is the contract, and its field tags are the documentation of
// the JSON form that [Fields] lists. Then measure.go. Rooms inside: photo reads files,
// tone makes light of code values, scene finds regions, studio renders frames of known truth.
//
// # Definitions
//
// The light of a cell in a channel is the curve's mean of its samples ([tone.Curve.Mean]). A
// cell's brightest channel is the one with most light, its weakest the one with least.
//
// level_stops is the level of the median cell of a region, cells being ordered by the light of
// their brightest channel; of an even number, the lower of the two in the middle.
//
// at_least is true where over 1 % of the deciding cell's samples in the deciding channel
// are clipped: the true level is this one or more.
//
// headroom_stops is the distance from the edge of the 99th-percentile cell (nearest rank)
// in its brightest channel, and 0 where over 1 % of that cell's samples are clipped.
//
// Areas are the ninths of the upright frame. A cell belongs to the area its middle lies in. An area
// less than 5 % of which is backdrop is left out. evenness_stops is the largest minus the smallest
// median of the areas, in the brightest channel.
//
// white_floor_stops is the level of the weakest channel in the darkest area around
// the head: of the areas that touch the one in which the sitter's top lies (or are it) and are
// at least a tenth backdrop, the one whose median cell, cells being ordered by the light
// of their weakest channel, has least. Where no sitter was found these are all areas of the upper
// two rows; where none qualifies, all areas.
//
// peak_stops is the highest of the three channels' 98th percentiles (nearest rank) over the
// 8x8 blocks of the white reference, so glints of less than 2 % of it have no say. Cells with an edge through them
// are left out. Where over 1 % of the samples of the deciding block's cell are clipped and the block's mean lies
// within 0.15 stop of the edge, peak_at_least is true and peak_stops 0.
package assess
