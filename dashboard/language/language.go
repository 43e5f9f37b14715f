// Package language puts what the daemon says into another language.
//
// It knows tables: a sentence of the daemon's, with what is filled in marked by its kind, and the same sentence in the
// other language. dashboard/web/said-de.txt is one and says how it is written. The page reads the same tables with its
// own reader, sentences.js; a test holds the two against each other. It must never know what the sentences are about.
// Read table.go first.
package language
