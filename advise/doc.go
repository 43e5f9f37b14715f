// Package advise turns readings and a light plan into concrete adjustments.
//
// It is a pure, deterministic state machine: [Apply] takes a [State] and an
// [Input] and gives the next state and its [Output]s. It has no clock, files,
// network, logging, randomness or map order; times come in on inputs. The same
// inputs give the same outputs, byte for byte, under the same [Rules].
//
// It knows plans, readings and the light model in advise/rig. It must never
// know how a record is kept (advise/trail), who calls it (advise/shoot) or how it is
// shown (dashboard). Read input.go and output.go first, then apply.go.
package advise

// Rules is the version of the advising rules. It stands on every record, and
// changes whenever the same inputs could give other outputs.
const Rules = "6"
