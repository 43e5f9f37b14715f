// Package exposure holds the units everybody in thirdstop speaks: stops, dial
// settings, f-numbers, shutter times, ISO speeds, metres and guide numbers, and
// the arithmetic that joins them.
//
// It knows photographic units and nothing else: no pictures, no plans, no
// lights. It imports nothing of ours. Read stops.go first, then dial.go.
//
// Sources: APEX and the nominal series follow Exif 2.3 Annex C (Av = 2 log2 N,
// Tv = -log2 t, Sv = log2(S/3.125)) as tabulated in GNU Units 2.22 under
// "Photographic Exposure Value" and in ExifTool's Exif.pm.
package exposure
