// Package trail keeps the durable record of a shoot: one append-only file whose records are chained to the
// exact bytes of the records before them, and beside it one file of texts that can be erased.
//
// It knows files, bytes, hashes and when something is safely on disk. It must never know what a record means:
// bodies are opaque, and the package imports nothing else of thirdstop. Read record.go first, then append.go.
//
// # The folder of a shoot
//
//	trail.jsonl            the chain; only ever appended to
//	names.jsonl            the side file: names, paths and notes of people; texts in it can be erased
//	cut-<seq>-<time>.part  an unfinished last line that was cut off trail.jsonl when it was opened
//	bookmark               the writer's cache, see advise/shoot; may be deleted
//	*.new                  a file being made; one left over by a crash is removed by the next Create or Open
//
// # trail.jsonl, format 1
//
// UTF-8 without a byte order mark. Every record is one line: one JSON object with exactly these keys in exactly
// this order, no space between them, and a line feed (0x0A, never with a carriage return) at the end. A line is
// at most 4 MiB long, its line feed included.
//
//	{"seq":2,"prev":"<64 hex>","at":"2026-11-25T09:15:40.123456Z","kind":"input","v":1,"rules":"r1","body":{...}}
//
//	seq    1, 2, 3 ... without a gap; decimal, no leading zero
//	prev   SHA-256 (FIPS 180-4) of the previous line's exact bytes with its line feed, in lower-case hexadecimal;
//	       64 zeros in record 1
//	at     UTC with six decimals of a second, always 27 characters; the caller's clock, which may step back
//	kind   a lower-case letter, then lower-case letters, digits, '.', '_' or '-'; at most 40 bytes
//	v      the version of the body's format, 0 to 999999999
//	rules  the version of the rules that wrote it, or empty: printable ASCII without '"' and '\', at most 100 bytes
//	body   any JSON value on one line, opaque here
//
// Record 1 is of kind "header" with v 1 and is the only one of that kind. Its body is
//
//	{"format":1,"shoot":"<32 hex>","program":"<version>","about":<any JSON value>}
//
// A newer format has a higher number; a program that does not know it refuses the file and says so. Format 1 is
// read for good (testdata/format1).
//
// Anyone can check the chain with general tools. This prints the hash that line 6 must carry as its prev:
//
//	sed -n 5p trail.jsonl | sha256sum
//
// # What the chain proves, and what it can't
//
// A record that was changed, removed, moved, doubled or put in no longer fits its neighbours, and [Verify] names
// it. Two things it can't see by itself: a change to the last record, which no later one vouches for, and records
// removed from the end. Both are found when the head (number and hash of the last record, [Trail.Head]) was kept
// somewhere else, on paper or in an export, and is given to Verify. Somebody who rewrites every record from the
// changed one to the end makes a valid chain; that too is found only by a head kept elsewhere.
//
// # names.jsonl
//
// One JSON object per line, keys in this order, at most 512 KiB with its line feed:
//
//	{"id":"<32 hex>","salt":"<32 hex>","text":"<text>"}
//	{"id":"<32 hex>","salt":"<32 hex>","base64":"<bytes>"}   when the text is no valid UTF-8, as some paths are
//	{"id":"<32 hex>","erased":true}                          what Erase leaves
//
// The chain refers to a text by {"kept":"<id>","sha256":"<hash>"} somewhere in a body ([Ref]). The hash is the
// SHA-256 of the salt's 32 characters followed by the text's bytes, so
//
//	printf '%s%s' "$salt" "$text" | sha256sum
//
// prints it. Once id, salt and text are gone the chain says nothing about the text, not even whether a guess is
// right. Erasing rewrites names.jsonl whole; it can't reach copies, backups, snapshots of a file system, or the
// freed blocks of a disk.
//
// # When something is on disk
//
// [Trail.Append] returns after the line and everything before it was written and synced. [Trail.AppendUnsynced]
// returns after it was written: it outlives the process, and a loss of power only if a later Append, Sync or
// Close returned. A text of [Trail.Keep] is synced before any later record is written. After a write or sync that
// failed nothing more is written ([ErrPoisoned]). The record whose Append failed may be found there or not when
// the trail is opened again: only what returned without an error is promised.
//
// Power may fail between the write and the sync. What is then left of the unsynced lines is a beginning of them,
// perhaps followed by zero bytes; Open cuts off what has no line feed. On Windows folders can't be synced, and a
// new folder may be lost with the power although its files were synced. A disk that reports a failed sync may
// have dropped what it took before; a copy of the folder on another disk is the remedy.
//
// # One writer
//
// A shoot's folder has one writer at a time. The program locks the data folder that holds all of them with
// [LockDir]; Create and Open lock nothing themselves. [Read] and [Verify] may run beside the writer.
package trail
