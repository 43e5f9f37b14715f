// Package photo reads camera files: it turns the bytes of a JPEG, a TIFF export
// or a raw file into a survey (a grid of means, variances, extremes and clipped
// counts), and into what the camera recorded of the exposure.
//
// It knows file formats and code values. It must never know what a code value
// means as light, where a backdrop or a sitter is, or that light plans exist.
// It never writes, and never opens a file by itself: bytes come in.
//
// Everything that it is given may be hostile or half written. Declared sizes are
// held against the bytes that are there before anything is allocated, directories
// that point at each other are walked once, and the Exif library only ever sees
// a block that this package wrote anew from entries it found to be sound.
//
// Read picture.go first, then survey.go, then plain.go, which measures.
package photo
