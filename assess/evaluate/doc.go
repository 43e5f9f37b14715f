// Package evaluate says how far readings are off, on scenes whose truth is known.
//
// It sets the virtual studio up at random, measures its frames before and after the
// camera's curve was learned from a simulated bracket, and compares. It knows measuring and the studio; it
// must never be used while measuring. The seeds from [Base] on are its own: nothing is built or tuned on them.
// Read levels.go first.
package evaluate
