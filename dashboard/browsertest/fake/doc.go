// Package fake is a shoot that needs no camera: it stands in for the real one
// where the pages are tested. It answers requests as a shoot does (once each, stale
// ones refused) and changes its state by hand. Its scene is invented: the committee
// portraits of the Alder Quay Rowing Club.
//
// It knows the dashboard's idea of a shoot and a little of advice. It must never
// be used for a check of measuring or advising. Read shoot.go first, then scene.go.
package fake
