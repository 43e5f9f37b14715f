// Package drift watches what the light model did not predict, frame after frame,
// and says what it means: which light, since when, by how much, and what to do.
//
// [State.Next] takes the residuals of one frame (measured minus predicted, in stops, per
// region) and gives the next state and its [Finding]s. It is pure: no clock, files,
// randomness or map order; a [State] is a value that survives JSON unchanged.
//
// What detects: a two-sided CUSUM (Page 1954) with the two-in-a-row rule against
// single odd frames (Lucas & Crosier 1982, "Robust CUSUM"; from memory), an EWMA (Roberts
// 1959; Lucas & Saccucci 1990) and a likelihood ratio over the newest frames (Willsky & Jones 1976). Each has an in-control run length of [RunLength] frames or more per
// region. What estimates: Theil-Sen slopes (Sen 1968), least squares for step or
// slope, and a comparison of every single cause by chi-square.
//
// It knows lights by letter and name, regions, shares of light, and times. It must never
// know readings, plans, how coefficients are learned, or who shows a finding. Read
// frame.go first, then state.go; meaning.go says what a change means, text.go how it is said.
package drift
