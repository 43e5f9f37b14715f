// Package studio is a virtual portrait studio: it renders camera frames whose
// truth is known. The demo shoots with it, and measuring and advising are
// tested against it.
//
// What it models: flashes that add in linear light, each by guide number, dial,
// modifier loss and the inverse square from the lamp to every point of sitter
// and backdrop; key and fill spilling on the backdrop; the lit backdrop shining
// back at the sitter's edges; ambient light, which the shutter limits and the
// flashes don't; f-number and ISO; light fall-off towards the corners; veiling
// flare; colour of each light; flash scatter; a sitter who never sits still;
// sensor clipping before the camera's tone curve; shot and read noise; several
// tone curves; JPEG coding and Exif.
//
// What it leaves out, so that nobody believes it too much: light bouncing about
// the room, shadows that the sitter casts on the backdrop, hard shadow edges,
// the lamp's own picture, flash duration and sync limits, a sensor's colour
// matrix and filter array, sharpening, noise reduction, lens blur, local tone
// and lens corrections, pleats in the paper. Skin is a diffuse surface with a
// little shine. A method that works here has been shown to do its arithmetic
// right, not to work on a real camera.
//
// It must never know how frames are measured or what is advised. Read studio.go
// first, then light.go for the physics, figure.go for the sitter's looks,
// render.go for the way to code values and truth.go for what is known of each frame.
package studio
