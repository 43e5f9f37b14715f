// Package rig is the light model: what each light adds to each judged region of
// the frame, how sure that is, what the next frame will show, and which
// settings would bring it on target.
//
// In linear light
//
//	E[r] = gain x ( sum over lights of power[l] x c[l,r]  +  shutter x ambient[r] )
//
// with gain from ISO and f-number. The coefficients are held as stops
// (x = log2 c), since what is known of them beforehand is known as ratios: a
// guide number, a falloff, "a tenth of the key's light reaches the backdrop".
//
// It knows stops and arithmetic. It must never know plans, readings, names or
// wording. Read model.go first, then fit.go and solve.go.
package rig
