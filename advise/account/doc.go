// Package account reads a recorded shoot for people: its frames one by one, what
// happened in order, how the lights stood at the end.
//
// It knows how records become rows, tables and corrections. It must never write to a
// trail, decide about light (advise does) or know how a page looks. It adds nothing to
// the truth: advice and texts are the recorded ones. Read account.go first, then export.go.
package account
