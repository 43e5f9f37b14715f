//go:build !race

package entropy

const raceDetector = false
