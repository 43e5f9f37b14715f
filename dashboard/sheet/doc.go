// Package sheet writes one self-contained page about a shoot, to be printed and kept: how it was lit,
// what was measured, what was off, and the head of its record.
//
// It knows HTML, SVG and paper. It must never read a trail (advise/account does), decide about
// light or reach for anything outside the page: no script, no address, every picture inside. Read sheet.go first;
// diagram.go draws the plan from above, course.go the levels over the shoot.
package sheet
