// Package scene finds what the parts of a frame are: which cells show the
// backdrop, which the sitter, and where a white reference may be.
//
// It sees surveys only, upright, and works on a coarse grid of at most 96
// columns and rows in code values: where things are doesn't depend on how code
// values become light. It must never know what is wanted of a region, nor whose
// picture it is. Where it is not sure it says so, with the reason, and gives no region.
//
// Read find.go first: [Find] tells the steps in order.
package scene
