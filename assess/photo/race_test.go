//go:build race

package photo

// raceDetector is on: everything takes ten times as long, so large frames are left out.
const raceDetector = true
