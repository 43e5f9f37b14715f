//go:build !race

package photo

const raceDetector = false
