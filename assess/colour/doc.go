// Package colour knows colour in the terms of the CIE: tristimulus values,
// CIELAB, colour difference, the temperature of a light; and the 24-patch chart:
// how to find it in a survey, and what its patches ought to look like.
//
// It knows surveys, tone curves and published colours. It must never know lights,
// plans, sitters, or what anybody wants of a picture's colour.
//
// A survey holds what the camera rendered. So all it can say of a light is how far
// the light lies from what the camera's white balance was set for: "as rendered".
//
// Read chart.go first for the chart ([Find], then [Sighting.Read]), space.go for colour.
package colour
