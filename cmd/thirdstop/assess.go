package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"text/tabwriter"

	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/assess/faces"
	"thirdstop/assess/photo"
	"thirdstop/assess/tone"
)

const assessHelp = `Measure camera files, without a plan.

    thirdstop assess [flags] FILE...
    thirdstop assess --fields

Each file is read and its reading printed, in the order given. Levels are stops
to clipping in linear light. Files are only read, one at a time.

    --json               one JSON object per line per file: "file" as it was given,
                         then the reading. A file that can't be read has its line
                         too, with "file" and "error" (and a sentence on standard
                         error). A field that can't be measured is null, and
                         "missing" says why.
    --white X0,Y0,X1,Y1  declare a white reference: a box in fractions of the upright
                         frame, from the left and the top
    --backdrop X0,Y0,X1,Y1
                         look for the backdrop in this box only
    --faces              list the faces anywhere in the frame, unsure ones and those without a sitter's
                         outline too. The reading itself holds the sure ones on the sitter
    --fields             list every field with its unit and range
    --                   what follows are files, even if it begins with a dash

Exit code: 0 all read, 1 some not, 2 wrong use.
`

// largestFile bounds what is taken into memory. Camera files stay well under it.
const largestFile = 1 << 30

// runAssess prints readings.
func runAssess(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("assess", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	asJSON := flags.Bool("json", false, "")
	fields := flags.Bool("fields", false, "")
	withFaces := flags.Bool("faces", false, "")
	var hints assess.Hints
	flags.Func("white", "", boxFlag(&hints.WhiteReference))
	flags.Func("backdrop", "", boxFlag(&hints.Backdrop))
	if len(args) == 1 && args[0] == "help" {
		args = []string{"--help"}
	}
	if code, done := parse(flags, args, assessHelp, stdout, stderr); done {
		return code
	}
	switch {
	case *fields && flags.NArg() == 0:
		if err := printFields(stdout); err != nil {
			fmt.Fprintf(stderr, "thirdstop assess: can't write the list: %v\n", err)
			return 1
		}
		return 0
	case *fields:
		fmt.Fprintf(stderr, "thirdstop assess: --fields takes no files\n\n%s", assessHelp)
		return 2
	case flags.NArg() == 0:
		fmt.Fprintf(stderr, "thirdstop assess: name at least one file\n\n%s", assessHelp)
		return 2
	}

	failed := false
	for n, name := range flags.Args() {
		if ctx.Err() != nil {
			fmt.Fprintf(stderr, "thirdstop assess: stopped before %s\n", name)
			return 1
		}
		reading, found, err := assessFile(name, hints, *withFaces)
		if err != nil {
			failed = true
			fmt.Fprintf(stderr, "thirdstop assess: %v\n", err)
		}
		if *asJSON {
			err = printJSON(stdout, name, reading, found, err)
		} else if err == nil {
			err = printReading(stdout, n > 0, name, reading, found)
		} else {
			err = nil
		}
		if err != nil {
			fmt.Fprintf(stderr, "thirdstop assess: can't write the reading of %s: %v\n", name, err)
			return 1
		}
	}
	if failed {
		return 1
	}
	return 0
}

// boxFlag reads a box in fractions of the frame.
func boxFlag(to **assess.Box) func(string) error {
	return func(text string) error {
		var v [4]float64
		parts := strings.Split(text, ",")
		ok := len(parts) == 4
		for i := 0; ok && i < 4; i++ {
			f, err := strconv.ParseFloat(strings.TrimSpace(parts[i]), 64)
			ok = err == nil && f >= 0 && f <= 1
			v[i] = f
		}
		if !ok || v[0] >= v[2] || v[1] >= v[3] {
			return errors.New("write a box as left, top, right, bottom in fractions of the frame, like 0.4,0.6,0.5,0.75")
		}
		*to = &assess.Box{X0: v[0], Y0: v[1], X1: v[2], Y1: v[3]}
		return nil
	}
}

// face is a face that was found, as it is printed. A list that is nil was not asked for.
type face struct {
	Box  assess.Box `json:"box"`  // from mid-forehead to chin, in fractions of the upright frame
	Sure float64    `json:"sure"` // 0 to 1
}

// assessFile reads and measures one file. Nothing of it stays in memory but the reading.
func assessFile(name string, hints assess.Hints, withFaces bool) (assess.Reading, []face, error) {
	data, err := readWhole(name)
	if err != nil {
		return assess.Reading{}, nil, err
	}
	p, err := photo.Read(name, data)
	if err != nil {
		return assess.Reading{}, nil, err
	}
	p.Release()
	var found []face
	if withFaces {
		found = []face{}
		s := p.Survey
		for _, f := range faces.Find(s) {
			half := f.Size / 2
			wide := half * float64(s.Height) / float64(s.Width)
			found = append(found, face{Box: assess.Box{X0: max(0, f.X-wide), Y0: max(0, f.Y-half), X1: min(1, f.X+wide), Y1: min(1, f.Y+half)}, Sure: f.Sure})
		}
	}
	return assess.Measure(p, tone.Default(), hints), found, nil
}

func readWhole(name string) ([]byte, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, aboutFile(name, err, "")
	}
	defer f.Close()
	info, err := f.Stat()
	switch {
	case err != nil:
		return nil, aboutFile(name, err, "")
	case info.IsDir():
		return nil, fmt.Errorf("%s: this is a folder; name the files in it", name)
	case info.Size() > largestFile:
		return nil, fmt.Errorf("%s: at %d MiB this is no camera file that can be measured", name, info.Size()>>20)
	}
	// A file can grow, and a device has no size: the limit counts while reading, too.
	data, err := io.ReadAll(io.LimitReader(f, largestFile+1))
	if err == nil && len(data) > largestFile {
		err = fmt.Errorf("%s: this is no camera file that can be measured; it goes on past %d MiB", name, largestFile>>20)
	}
	return data, aboutFile(name, err, "check the drive it is on")
}

func printJSON(w io.Writer, name string, r assess.Reading, found []face, failed error) error {
	if failed != nil {
		return jsonLine(w, struct {
			File  string `json:"file"`
			Error string `json:"error"`
		}{name, beside(name, failed)})
	}
	return jsonLine(w, struct {
		File string `json:"file"`
		assess.Reading
		Faces *[]face `json:"faces,omitempty"`
	}{name, r, asked(found)})
}

// asked is nil for what was not asked for, which is left out.
func asked(found []face) *[]face {
	if found == nil {
		return nil
	}
	return &found
}

func printFields(w io.Writer) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "FIELD\tTYPE\tUNIT\tRANGE\tMEANING")
	fmt.Fprintln(t, "file\ttext\t\t\tthe file as it was named; with error, alone with it")
	fmt.Fprintln(t, "error\ttext\t\t\twhy the file could not be read; the reading is left out")
	fmt.Fprintln(t, "faces[].box\tbox\tfraction of the upright frame\t0 to 1\tmid-forehead to chin of a face; with --faces alone")
	fmt.Fprintln(t, "faces[].sure\tnumber\t\t0 to 1\thow sure that is a face; with --faces alone")
	for _, f := range assess.Fields() {
		doc := f.Doc
		if f.Null {
			doc += "; null where missing says why"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\n", f.Path, f.Type, f.Unit, f.Range, doc)
	}
	return t.Flush()
}

// printReading writes a reading for people.
func printReading(w io.Writer, gap bool, name string, r assess.Reading, found []face) error {
	var b strings.Builder
	line := func(what, format string, args ...any) {
		fmt.Fprintf(&b, "    %-16s "+format+"\n", append([]any{what}, args...)...)
	}
	if gap {
		b.WriteString("\n")
	}
	fmt.Fprintf(&b, "%s\n", filepath.Base(name))
	line("frame", "%d x %d%s", r.Width, r.Height, kindText(r.Kind))
	line("camera", "%s", cameraText(&r.Exif))
	line("clipped", "%s of all pixels (red %s, green %s, blue %s)",
		percent(r.ClippedShare.Any), percent(r.ClippedShare.R), percent(r.ClippedShare.G), percent(r.ClippedShare.B))
	if d := r.Regions.Backdrop; d != nil {
		line("backdrop", "%s, headroom %.2f; %s of the frame, confidence %s", levelText(d.Value, d.Sigma, d.AtLeast), d.Headroom, percent(d.Share), percent(d.Confidence))
		line("", "white floor %s; uneven by %s%.2f", levelText(d.WhiteFloor, d.FloorSigma, d.FloorAtLeast), orMore(d.EvennessAtLeast), d.Evenness)
	} else {
		line("backdrop", "not measured: %s", r.Missing["regions.backdrop"])
	}
	if s := r.Regions.Sitter; s != nil {
		line("sitter", "%s, headroom %.2f; %s of the frame", levelText(s.Value, s.Sigma, s.AtLeast), s.Headroom, percent(s.Share))
	} else {
		line("sitter", "not measured: %s", r.Missing["regions.sitter"])
	}
	if v := r.Regions.WhiteReference; v != nil {
		how := "found, not declared"
		if v.Declared {
			how = "declared"
		}
		peak := fmt.Sprintf("peak %.2f", depth(v.Peak))
		if v.PeakAtLeast {
			peak = "peak clipped"
		}
		line("white reference", "%s, %s, headroom %.2f; %s", levelText(v.Value, v.Sigma, v.AtLeast), peak, v.Headroom, how)
	} else {
		line("white reference", "not measured: %s", r.Missing["regions.white_reference"])
	}
	for i := range r.Regions.Faces {
		faceLines(line, &r.Regions.Faces[i])
	}
	if d := r.Balance.Face; d != nil {
		line("backdrop", "%s stops over the face", differenceText(d))
	}
	if d := r.Balance.Faces; d != nil {
		line("faces", "%s stops between the lightest and the darkest", differenceText(d))
	}
	for _, f := range found {
		line("found face", "%.2f to %.2f of the width, %.2f to %.2f of the height; confidence %s", f.Box.X0, f.Box.X1, f.Box.Y0, f.Box.Y1, percent(f.Sure))
	}
	if found != nil && len(found) == 0 {
		line("found face", "none")
	}
	line("tone curve", "%s (%s), good to %.2f a stop under clipping", r.Tone.Curve, r.Tone.Source, r.Tone.Sigma)
	for _, l := range r.Labels {
		line("note", "%s", l.Text)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// faceLines writes what is measured of a face.
func faceLines(line func(what, format string, args ...any), f *assess.Face) {
	line("face", "%s, headroom %.2f, %s clipped; its box is %s of the frame's height", levelText(f.Value, f.Sigma, f.AtLeast), f.Headroom, percent(f.ClippedShare), percent(f.Size))
	if f.KeyFill != nil {
		line("", "%s", f.KeyFill)
	}
	if f.Glare != nil {
		line("", "%s", f.Glare.Advice())
	}
}

// differenceText is a difference of levels with its sign.
func differenceText(d *assess.Difference) string {
	text := fmt.Sprintf("%+.2f ± %.2f", d.Value, d.Sigma)
	switch {
	case d.AtLeast:
		return text + " or more"
	case d.AtMost:
		return text + " or less"
	}
	return text
}

// levelText says how far a level lies under the edge.
func levelText(level, sigma exposure.Stops, least bool) string {
	if least && level > -0.005 {
		return "clipped"
	}
	text := fmt.Sprintf("%.2f ± %.2f stops to clipping", depth(level), sigma)
	if least {
		text += " or less (it clips)"
	}
	return text
}

// depth is a level's distance from the edge, never "-0.00".
func depth(level exposure.Stops) float64 { return max(-float64(level), 0) }

func orMore(flag bool) string {
	if flag {
		return "at least "
	}
	return ""
}

func percent(share float64) string {
	switch p := 100 * share; {
	case p == 0:
		return "0 %"
	case p < 0.01:
		return "under 0.01 %"
	case p < 10:
		return fmt.Sprintf("%.2f %%", p)
	default:
		return fmt.Sprintf("%.0f %%", p)
	}
}

func kindText(k assess.Kind) string {
	switch k {
	case assess.Approximate:
		return ", approximate"
	case assess.Provisional:
		return ", provisional"
	}
	return ""
}

func cameraText(e *assess.Exif) string {
	var parts []string
	if e.Model != nil {
		parts = append(parts, *e.Model)
	}
	if e.ExposureTime != nil {
		parts = append(parts, e.ExposureTime.String())
	}
	if e.FNumber != nil {
		parts = append(parts, e.FNumber.String())
	}
	if e.ISO != nil {
		parts = append(parts, e.ISO.String())
	}
	if e.TakenAt != nil {
		parts = append(parts, "taken "+*e.TakenAt)
	}
	if len(parts) == 0 {
		return "nothing recorded"
	}
	return strings.Join(parts, ", ")
}
