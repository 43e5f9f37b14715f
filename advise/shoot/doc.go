// Package shoot is the single writer of a shoot: it takes finished files and
// people's requests one at a time, has each stored and synced by advise/trail,
// then applied by advise, then shown. In that order, so that nothing is
// acknowledged that a crash could take back.
//
// It knows the order of things, who may be told what, and where a shoot's
// folder lies. It must never decide about light (advise does), read a picture
// (the [Measurer] does) or know how a page looks. Read shoot.go first, then step.go;
// find.go and resume.go go on with a shoot, frames.go turns files into frames.
//
// # Records
//
// Bodies of kind "input", version 1, are {"input": an advise.Input, "kept": the texts it
// refers to, "client": the id of the request}; of kind "output", version 1,
// {"of": number of the input's record, "outputs": the advise.Outputs}.
//
// Outputs ride with the sync of the next input, for they can be computed again: a record of outputs that
// a crash left out is written when the shoot is opened. A declared white reference makes two inputs, the
// declaration and the newest frame measured again, and both carry the request's id.
//
// # Files and frames
//
// A frame is the files that share folder and stem, numbered by arrival. A content counts once under its
// name; contents of earlier shoots in the same capture folder never count. The pictures folder beside the trail is a cache.
//
// Another sub-folder is taken for another sitter, and recorded as if somebody had said so; see folder.go.
//
// # Opening
//
// A bookmark beside the trail holds what the records up to a place in it came to, so that opening plays only those
// behind it. It is written when a shoot is closed and every now and then beside it. What is checked at the start:
// the header, the record at the bookmark's place against its hash, every record behind it, and of a trail of up to 64 MB
// every record. Of a longer one the rest is read beside the shoot, and damage becomes a standing trouble.
// A shoot of 100,000 frames (1.7 GB, readings of 17 KB) opened in 1.8 s so; played whole it takes about 65 s of one core.
package shoot
