// Package index answers what spans shoots: which there are, which one it was, how two of them differ. It is an SQLite
// file made out of the trails, and may be deleted at any time: it is made anew.
//
// It knows tables and how a shoot becomes rows. It must never hold what is nowhere else, nor anything of the
// erasable side files: names of people, files and notes are looked up in those when somebody searches, and are in no table.
// Read index.go first, then update.go.
package index
