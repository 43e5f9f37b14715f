// Package faces finds faces in a survey: where they are and how large.
//
// It knows what a face that looks about towards the camera looks like in lightness, upright or nearly so. It must never
// know whose face it is, nor the colour of a skin: there is no target to be had from one. It sees block means
// of 8x8 pixels, so its cost doesn't grow with the picture.
//
// Read find.go first.
package faces
