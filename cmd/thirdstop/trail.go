package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"thirdstop/advise/account"
	"thirdstop/advise/shoot"
	"thirdstop/advise/trail"
)

const trailHelp = `Check the record of a shoot, write it as tables, and erase what it holds of people.

    thirdstop trail list   [--data FOLDER]            the shoots in the data folder
    thirdstop trail verify [--head HEAD] SHOOT...     is the record whole and unchanged?
    thirdstop trail replay [-v] SHOOT...              does the same advice come of it again?
    thirdstop trail export [--table WORD] [--as csv|jsonl] SHOOT > FILE
    thirdstop trail export --columns                  what the tables' columns mean
    thirdstop trail sheet  [--chart FILE] SHOOT > sheet.html    one page to print and keep: the light, the levels, the head
    thirdstop trail corrections [--to FOLDER] SHOOT   what brings each frame to the baseline, as CSV and XMP
    thirdstop trail erase  --what WORDS SHOOT...      take names and pictures out for good

SHOOT is the id of a shoot in the data folder, or the path of a shoot's folder
or of its trail.jsonl. HEAD is what "verify" printed earlier and you kept
elsewhere: only with it can records that were cut off at the end be missed.
Every row of an export holds the head, too. WORD is frames (if left out: one row for
every revision of every frame), log (one for everything that happened) or corrections; csv is meant
for spreadsheets, jsonl (one JSON object a line) for programs.
FILE is a frame of the shoot that shows a 24-patch colour chart, whose result goes onto the sheet.
Corrections are exposure and white balance for the raw development: corrections.csv and one
XMP packet for each frame, in the shoot's own folder or in FOLDER, which must be empty and must not
lie in the capture folder.
WORDS are what to erase, with commas between: files (names of files and folders),
sitters, notes, pictures, or all. The record stays whole and can still be verified
and replayed. Stop the daemon first; copies and backups are beyond its reach.

Exit code: 0 all is well, 1 something is not, 2 wrong use.
`

func runTrail(_ context.Context, args []string, stdout, stderr io.Writer) int {
	if len(args) == 0 {
		fmt.Fprint(stderr, trailHelp)
		return 2
	}
	verb := args[0]
	flags := flag.NewFlagSet("trail "+verb, flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	data := flags.String("data", "", "")
	head := flags.String("head", "", "")
	verbose := flags.Bool("v", false, "")
	words := flags.String("what", "", "")
	table := flags.String("table", string(account.FramesTable), "")
	form := flags.String("as", string(account.CSV), "")
	to := flags.String("to", "", "")
	chartFile := flags.String("chart", "", "")
	columns := flags.Bool("columns", false, "")
	switch verb {
	case "help", "-h", "-help", "--help":
		fmt.Fprint(stdout, trailHelp)
		return 0
	case "list", "verify", "replay", "export", "sheet", "corrections", "erase":
	default:
		fmt.Fprintf(stderr, "thirdstop trail: %q is no command; use list, verify, replay, export, sheet, corrections or erase\n\n%s", verb, trailHelp)
		return 2
	}
	if code, done := parse(flags, args[1:], trailHelp, stdout, stderr); done {
		return code
	}
	var err error
	if *data, err = dataOf(*data, os.Getenv); err != nil && verb == "list" { // else only needed for ids
		fmt.Fprintln(stderr, "thirdstop trail list:", err)
		return 1
	}
	switch {
	case verb == "list" && flags.NArg() > 0:
		fmt.Fprintf(stderr, "thirdstop trail list: what is %q?\n\n%s", flags.Arg(0), trailHelp)
		return 2
	case verb == "list":
		return trailList(*data, stdout, stderr)
	case *head != "" && (verb != "verify" || flags.NArg() != 1):
		fmt.Fprintf(stderr, "thirdstop trail %s: --head goes with \"verify\" and one shoot, whose head it is\n\n%s", verb, trailHelp)
		return 2
	}
	if (verb == "sheet" || verb == "corrections") && flags.NArg() != 1 {
		fmt.Fprintf(stderr, "thirdstop trail %s: name one shoot\n\n%s", verb, trailHelp)
		return 2
	}
	if *chartFile != "" && verb != "sheet" {
		fmt.Fprintf(stderr, "thirdstop trail %s: --chart goes with \"sheet\"\n\n%s", verb, trailHelp)
		return 2
	}
	if *to != "" && verb != "corrections" {
		fmt.Fprintf(stderr, "thirdstop trail %s: --to goes with \"corrections\"\n\n%s", verb, trailHelp)
		return 2
	}
	if done, code := wrongExport(verb, flags, *table, *form, *columns, stdout, stderr); done {
		return code
	}
	what, err := personal(*words)
	if (verb == "erase") != (*words != "") || err != nil {
		fmt.Fprintf(stderr, "thirdstop trail %s: say with --what, and only of \"erase\", what to erase: files, sitters, notes, pictures or all\n\n%s", verb, trailHelp)
		return 2
	}
	if flags.NArg() == 0 {
		fmt.Fprintf(stderr, "thirdstop trail %s: name a shoot\n\n%s", verb, trailHelp)
		return 2
	}
	code := 0
	for _, name := range flags.Args() {
		dir := shootFolder(*data, name)
		var err error
		switch verb {
		case "verify":
			err = trailVerify(dir, *head, stdout)
		case "replay":
			err = trailReplay(dir, *verbose, stdout)
		case "export":
			err = trailExport(dir, account.Table(*table), account.Form(*form), forPrograms(stdout))
		case "sheet":
			err = trailSheet(dir, *chartFile, *data, forPrograms(stdout))
		case "corrections":
			err = trailCorrections(dir, *to, stdout)
		case "erase":
			err = trailErase(dir, what, stdout)
		}
		if err != nil {
			var none *trail.NoShootError
			if errors.As(err, &none) { // it names the folder itself
				fmt.Fprintf(stderr, "thirdstop trail %s: %v\n", verb, err)
			} else {
				fmt.Fprintf(stderr, "thirdstop trail %s: %s: %v\n", verb, name, err)
			}
			code = 1
		}
	}
	return code
}

// shootFolder finds the folder that a name on the command line means.
func shootFolder(data, name string) string {
	if filepath.Base(name) == "trail.jsonl" {
		return filepath.Dir(name)
	}
	if _, err := os.Stat(name); err != nil && filepath.Base(name) == name {
		return filepath.Join(data, "shoots", name)
	}
	return name
}

// personal reads what is to be erased.
func personal(words string) (shoot.Personal, error) {
	var p shoot.Personal
	for _, w := range split(words) {
		switch w {
		case "files":
			p.Files = true
		case "sitters":
			p.Sitters = true
		case "notes":
			p.Notes = true
		case "pictures":
			p.Pictures = true
		case "all":
			p = shoot.Personal{Files: true, Sitters: true, Notes: true, Pictures: true}
		default:
			return p, fmt.Errorf("%q is nothing that can be erased", w)
		}
	}
	return p, nil
}

func trailErase(dir string, what shoot.Personal, stdout io.Writer) (err error) {
	if _, err := trail.ReadHeader(dir); err != nil { // before a lock is looked for in a place that isn't there
		return err
	}
	if shoots := filepath.Dir(dir); filepath.Base(shoots) == "shoots" { // not an archived copy
		release, err := lockData(filepath.Dir(shoots), "stop that one first")
		if err != nil {
			return err
		}
		defer release()
	}
	n, err := shoot.Erase(dir, what)
	if err != nil {
		return err
	}
	fmt.Fprintf(stdout, "%s: %d texts erased\n", filepath.Base(dir), n)
	return nil
}

func trailList(data string, stdout, stderr io.Writer) int {
	entries, err := os.ReadDir(filepath.Join(data, "shoots"))
	if errors.Is(err, fs.ErrNotExist) || err == nil && len(entries) == 0 {
		fmt.Fprintf(stdout, "No shoot was recorded in %s yet.\n", data)
		return 0
	}
	if err != nil {
		fmt.Fprintln(stderr, "thirdstop trail list: the shoots can't be listed:", aboutFile(filepath.Join(data, "shoots"), err, "check the folder after --data"))
		return 1
	}
	code := 0
	for _, e := range entries {
		if !e.IsDir() {
			continue
		}
		h, err := trail.ReadHeader(filepath.Join(data, "shoots", e.Name()))
		if err != nil {
			fmt.Fprintf(stderr, "thirdstop trail list: %s: its record can't be read: %v\n", e.Name(), err)
			code = 1
			continue
		}
		fmt.Fprintf(stdout, "%s  began %s\n", e.Name(), h.At.Local().Format("2006-01-02 15:04"))
	}
	return code
}

func trailVerify(dir, head string, stdout io.Writer) error {
	r, err := trail.Verify(dir, head)
	if r.Records > 0 {
		fmt.Fprintf(stdout, "%s: %d records from %s to %s; texts: %d kept, %d erased, %d missing\n  head %s\n", filepath.Base(dir), r.Records,
			r.First.Local().Format("2006-01-02 15:04:05"), r.Last.Local().Format("2006-01-02 15:04:05"), r.Kept, r.Erased, len(r.Missing), r.Head)
	}
	if r.Unfinished > 0 {
		fmt.Fprintf(stdout, "  %d bytes of an unfinished record at the end: one is being written, or a crash left it\n", r.Unfinished)
	}
	if err == nil {
		fmt.Fprintln(stdout, "  whole and unchanged")
		if head == "" {
			fmt.Fprintln(stdout, "  (records removed from the end are only found with --head and a head kept elsewhere, in an export or on paper)")
		}
	}
	return err
}

func trailReplay(dir string, verbose bool, stdout io.Writer) error {
	r, err := shoot.Replay(dir)
	if err != nil {
		return err
	}
	fmt.Fprintf(stdout, "%s: %d inputs, %d frames, recorded under rules %v\n", filepath.Base(dir), r.Inputs, r.Frames, r.Rules)
	for i, d := range r.Differs {
		if i == 20 && !verbose {
			fmt.Fprintf(stdout, "  and %d more; -v lists all\n", len(r.Differs)-i)
			break
		}
		fmt.Fprintf(stdout, "  record %d (rules %s): recorded and now differ\n", d.Record, d.Rules)
		if verbose {
			fmt.Fprintf(stdout, "    recorded %s\n    now      %s\n", d.Recorded, d.Now)
		}
	}
	if same := len(r.Differs) - r.Other; same > 0 {
		return fmt.Errorf("%d inputs give other advice under the very rules they were recorded under", same)
	}
	if r.Open {
		fmt.Fprintln(stdout, "  what came of the last input is not recorded yet: a crash left it out, or it is being written")
	}
	if r.Other == 0 {
		fmt.Fprintln(stdout, "  the same advice, byte for byte")
	} else {
		fmt.Fprintf(stdout, "  %d inputs would be advised otherwise today; the record stands\n", r.Other)
	}
	return nil
}
