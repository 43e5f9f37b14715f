// Package watcher turns whatever a file system does into "this file is complete".
//
// It knows names, sizes, times, hashes and how files come to be: written in chunks,
// renamed into place, copied, uploaded, reserved at full size and filled later, replaced,
// or already there. It must never know what a picture or a frame is (the structure check
// and the capture time are handed in), and it must never write to, rename or lock anything
// in the capture folder. What lies outside that folder is never opened, wherever links lead.
//
// The scan is the truth; events are only the wake-up. Everything is found by reading the
// folder, and no answer depends on an event having arrived: a lost one costs time, never a
// file. Where the system says when a writer closes its file (Linux), that spares the wait
// for two equal looks at its size and time.
//
// Read turn in run.go first: it is one round of the only goroutine that owns the state.
// scan.go finds files and folders, look.go decides when a file has come to rest, deliver.go
// reads it once and hands it over, source*.go bring events.
package watcher
