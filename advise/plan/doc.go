// Package plan knows the light plan of a shoot: the lights with their roles and
// dials, the camera's settings, the backdrop and the levels that are aimed at. It
// reads plans strictly, with every fault named at once, and writes them back.
//
// It must never know a frame, a reading or what a light does to a region: it says
// what is wanted and what each dial can do, never how the light falls. It touches
// no file, clock or network.
//
// Read plan.go first, then [Annotated] for the format as a person sees it. A new
// key is added in read.go (meaning), marshal.go (writing) and example.yaml (words).
package plan
