// Package tone turns the code values of a camera's JPEG into linear light.
//
// A camera's JPEG is not sRGB-encoded light. Before the sRGB transfer function
// (IEC 61966-2-1) comes the camera's own rendering: contrast in the middle and a
// shoulder that squeezes the last stop below white into a few code values. Read as
// plain sRGB, one true stop shows as 1.3 to 1.6 in the mid-tones and 0.75 to 0.95
// near white. A [Curve] undoes both, and says how far to trust it.
//
// The package knows code values and light. It must never know pictures, regions,
// lights or plans. Read curve.go first.
package tone
