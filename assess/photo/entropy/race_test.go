//go:build race

package entropy

// raceDetector is on: everything takes ten times as long, so large files are left out.
const raceDetector = true
