// Package dashboard shows a shoot to people and takes what they do: an HTTP
// server with the embedded pages, a JSON API under /api/v1, and a websocket that carries
// the newest state to every tablet.
//
// It knows requests, devices, roles and how a state is written as JSON. It adds
// nothing to the truth: what a person does goes to a [Shoot] as one request, and what
// is shown is the snapshot that came of it. It must never know a trail, a file of
// the capture folder, or how advice is made.
//
// Read config.go for what it needs, routes.go for who may do what, then live.go.
// A new call of the API is a line in routes.go, a handler beside its kin, and an example in
// DEVELOPERS.md, which the tests run.
package dashboard
