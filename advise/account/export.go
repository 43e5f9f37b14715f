package account

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

// ExportVersion is the version of the tables' columns. Columns are only added under one version.
const ExportVersion = 1

// Table says which table of a shoot to write.
type Table string

// The tables.
const (
	FramesTable Table = "frames" // one row for every revision of every frame
	LogTable    Table = "log"    // one row for everything that happened

	CorrectionsTable Table = "corrections" // one row for every frame: what brings it to the baseline
)

// Form says how to write it.
type Form string

// The forms. CSV is RFC 4180 in UTF-8; JSON Lines is one JSON object a line (RFC 8259).
const (
	CSV       Form = "csv"
	JSONLines Form = "jsonl"
)

// Column is one column of a table.
type Column struct {
	Name string
	Doc  string // unit, range and meaning
}

// A column of rows of type R. value gives nil where there is nothing.
type column[R any] struct {
	Column
	value func(R) any
}

// Columns are those of a table, in order.
func Columns(t Table) []Column {
	var out []Column
	add := func(c Column) { out = append(out, c) }
	switch t {
	case LogTable:
		for _, c := range logColumns(nil) {
			add(c.Column)
		}
	case CorrectionsTable:
		for _, c := range correctionColumns(nil) {
			add(c.Column)
		}
	default:
		for _, c := range frameColumns(nil) {
			add(c.Column)
		}
	}
	return out
}

// Write writes one table of the account. Corrections of a shoot without a baseline are [ErrNoBaseline].
func (a *Account) Write(w io.Writer, t Table, f Form) error {
	switch t {
	case LogTable:
		return write(w, f, logColumns(a), a.Log)
	case CorrectionsTable:
		all, err := a.Corrections()
		if err != nil {
			return err
		}
		return write(w, f, correctionColumns(a), all)
	}
	return write(w, f, frameColumns(a), a.Frames)
}

func write[R any](dst io.Writer, f Form, cols []column[R], rows []R) error {
	w := bufio.NewWriterSize(dst, 64<<10)
	cells := make([]any, len(cols))
	if f == CSV {
		for i, c := range cols {
			cells[i] = c.Name
		}
		writeCSV(w, cells)
	}
	for _, r := range rows {
		for i, c := range cols {
			cells[i] = c.value(r)
		}
		if f == CSV {
			writeCSV(w, cells)
			continue
		}
		w.WriteByte('{')
		for i, c := range cols {
			if i > 0 {
				w.WriteByte(',')
			}
			fmt.Fprintf(w, "%q:", c.Name)
			w.Write(inJSON(cells[i]))
		}
		w.WriteString("}\n")
	}
	return w.Flush() // holds the first error of any write
}

func inJSON(v any) []byte {
	var b strings.Builder
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		panic("account: a cell that is no JSON: " + err.Error())
	}
	return []byte(strings.TrimSuffix(b.String(), "\n"))
}

func writeCSV(w *bufio.Writer, cells []any) {
	for i, c := range cells {
		if i > 0 {
			w.WriteByte(',')
		}
		switch v := c.(type) {
		case nil:
		case string:
			w.WriteByte('"')
			w.WriteString(strings.ReplaceAll(unarmed(v), `"`, `""`))
			w.WriteByte('"')
		default: // numbers, true and false
			w.Write(inJSON(v))
		}
	}
	w.WriteString("\r\n")
}

// unarmed keeps a spreadsheet from taking a text for a formula: one that begins with a character that starts
// formulas, in its full-width form too, or with a control character, gets an apostrophe before it (the
// characters are those of OWASP's page on CSV injection, from memory). Texts are always quoted, so a separator in them
// begins no cell. Numbers are not texts and stay as they are.
func unarmed(s string) string {
	first := strings.TrimLeft(s, " \u00a0\ufeff'")
	if first != "" && (strings.ContainsRune("=+-@\t\r\n|%＝＋－＠", []rune(first)[0]) || first[0] < ' ') {
		return "'" + s
	}
	return s
}

func text(s string) any {
	if s == "" {
		return nil
	}
	return s
}

func stops(v exposure.Stops) any { return json.Number(strconv.FormatFloat(float64(v), 'f', 3, 64)) }

func decimal(v float64) any {
	if v == 0 {
		return nil
	}
	return json.Number(strconv.FormatFloat(v, 'f', -1, 64))
}

func moment(t time.Time) any { return t.UTC().Format("2006-01-02T15:04:05.000000Z") }

func whole(n int) any {
	if n == 0 {
		return nil
	}
	return n
}

// rooted are the columns that tie a row to the record it was taken from.
func rooted[R any](a *Account, of func(R) (uint64, string, time.Time)) []column[R] {
	return []column[R]{
		{Column{"shoot", "id of the shoot"}, func(R) any { return a.ID }},
		{Column{"head", "number and SHA-256 of the last record that was read, the same in every row: keep it, and `thirdstop trail verify --head` finds a record that was removed or changed since"},
			func(R) any { return a.Head.String() }},
		{Column{"record", "number of the record in trail.jsonl that the row was taken from"}, func(r R) any { n, _, _ := of(r); return n }},
		{Column{"record_sha256", "SHA-256 of that record's line"}, func(r R) any { _, h, _ := of(r); return h }},
		{Column{"at", "when it was recorded: RFC 3339, UTC, the daemon's clock"}, func(r R) any { _, _, t := of(r); return moment(t) }},
	}
}

func frameColumns(a *Account) []column[Frame] {
	cols := rooted(a, func(f Frame) (uint64, string, time.Time) { return f.Record, f.Hash, f.At })
	add := func(name, doc string, value func(Frame) any) {
		cols = append(cols, column[Frame]{Column{name, doc}, value})
	}
	region := func(name, doc string, of func(Frame) *Region) {
		at := func(pick func(*Region) any) func(Frame) any {
			return func(f Frame) any {
				if r := of(f); r != nil {
					return pick(r)
				}
				return nil
			}
		}
		add(name+"_stops", doc+", in stops to clipping: 0 is the edge, -1 one stop under it", at(func(r *Region) any { return stops(r.Value) }))
		add(name+"_sigma_stops", "one standard deviation of it, in stops", at(func(r *Region) any { return stops(r.Sigma) }))
		add(name+"_at_least", "true: it clips, so the level is this or more", at(func(r *Region) any { return r.AtLeast }))
	}
	add("frame", "number of the frame, from 1, in the order of arrival", func(f Frame) any { return f.Number })
	add("revision", "from 1; a rewritten file, another file of the frame or a new measurement counts up", func(f Frame) any { return f.Revision })
	add("stands", "true for the revision that counts", func(f Frame) any { return f.Stands })
	add("file", "path in the capture folder; empty where it was erased", func(f Frame) any { return text(f.File) })
	add("file_sha256", "SHA-256 of the file; empty where the frame was only measured again", func(f Frame) any { return text(f.Content) })
	add("sitter", "as named on the page, else the sub-folder; empty where nobody was named, or erased", func(f Frame) any { return text(f.Sitter) })
	add("taken", "when it was taken by the camera's clock, as recorded", func(f Frame) any { return text(f.Taken) })
	add("kind", "full, approximate or provisional: what the reading was taken from", func(f Frame) any { return text(string(f.Kind)) })
	add("damaged", "why there is no reading", func(f Frame) any { return text(f.Damaged) })
	add("f_number", "lens opening as recorded by the camera", func(f Frame) any { return decimal(float64(f.FNumber)) })
	add("iso", "camera speed as recorded", func(f Frame) any { return decimal(float64(f.ISO)) })
	add("exposure_time_s", "seconds, as recorded", func(f Frame) any { return decimal(float64(f.Shutter)) })
	add("focal_length_mm", "millimetres, as recorded", func(f Frame) any { return decimal(f.Focal) })
	region("white_floor", "weakest channel in the darkest area of the backdrop around the head", func(f Frame) *Region { return f.Floor })
	region("backdrop", "median of the backdrop, brightest channel", func(f Frame) *Region { return f.Backdrop })
	add("backdrop_evenness_stops", "largest minus smallest area of the backdrop, in stops", func(f Frame) any {
		if f.Backdrop == nil {
			return nil
		}
		return stops(f.Evenness)
	})
	region("white_reference", "declared white card or shirt, 98th percentile of its brightest channel", func(f Frame) *Region { return f.White })
	region("hair", "top of the head, 98th percentile of its brightest channel", func(f Frame) *Region { return f.Crown })
	region("sitter_median", "median of the sitter; shown, never judged", func(f Frame) *Region { return f.Sitting })
	add("red_green_stops", "red against green in linear light, of the white reference, else of the backdrop where it does not clip", func(f Frame) any {
		if f.Cast == nil {
			return nil
		}
		return stops(f.Cast.Red)
	})
	add("blue_green_stops", "blue against green, likewise", func(f Frame) any {
		if f.Cast == nil {
			return nil
		}
		return stops(f.Cast.Blue)
	})
	add("clipped_share", "share of the frame's pixels with a clipped channel, 0 to 1", func(f Frame) any {
		if f.Kind == "" {
			return nil
		}
		return json.Number(strconv.FormatFloat(f.Clipped, 'f', -1, 64))
	})
	add("tone_curve", "what turned code values into light", func(f Frame) any { return text(f.Curve) })
	add("on_target", "every judged region was; empty where none was judged", func(f Frame) any {
		if len(f.Judged) == 0 {
			return nil
		}
		return f.OnTarget
	})
	add("marks", "what was noted about it besides, with spaces between: absent (a light did not light it), unexplained, drift, damaged, late ...", func(f Frame) any { return text(strings.Join(f.Marks, " ")) })
	add("advice", "status of the advice that stood after it", func(f Frame) any { return text(string(f.Status)) })
	add("headline", "that advice", func(f Frame) any { return text(f.Headline) })
	add("faces", "how many were found; where there is one, the columns that follow tell of it", func(f Frame) any {
		if f.Kind == "" {
			return nil
		}
		return f.Faces
	})
	face := func(name, doc string, value func(*assess.Face) any) {
		add(name, doc, func(f Frame) any {
			if f.Face == nil {
				return nil
			}
			return value(f.Face)
		})
	}
	share := func(v float64) any { return json.Number(strconv.FormatFloat(v, 'f', 4, 64)) }
	face("face_x_share", "middle of the face from the left, as a share of the upright frame's width", func(f *assess.Face) any { return share((f.Box.X0 + f.Box.X1) / 2) })
	face("face_eye_line_share", "line of the eyes from the top, as a share of its height", func(f *assess.Face) any { return share(f.EyeLine) })
	face("face_size_share", "size of the head, as a share of its height", func(f *assess.Face) any { return share(f.Size) })
	region("face", "median of the face; shown, never judged", func(f Frame) *Region {
		if f.Face == nil {
			return nil
		}
		return &Region{f.Face.Value, f.Face.Sigma, f.Face.AtLeast}
	})
	sides := func(name, doc string, value func(*assess.KeyFill) any) {
		face(name, doc, func(f *assess.Face) any {
			if f.KeyFill == nil {
				return nil
			}
			return value(f.KeyFill)
		})
	}
	sides("face_sides_stops", "how much lighter one side of the face is; empty where it is not seen from the front", func(k *assess.KeyFill) any { return stops(k.Difference) })
	sides("face_sides_sigma_stops", "one standard deviation of it, in stops", func(k *assess.KeyFill) any { return stops(k.Sigma) })
	sides("face_lit_side", "left or right as the picture shows it; even where that can't be told", func(k *assess.KeyFill) any { return text(k.Lit) })
	sides("key_and_fill_to_fill", "the same as a ratio of the lit side to the other, so much to 1", func(k *assess.KeyFill) any {
		return json.Number(strconv.FormatFloat(k.Additive, 'f', 2, 64))
	})
	sides("key_to_fill", "each alone: one less; empty where the sides are even", func(k *assess.KeyFill) any {
		if k.Source == nil {
			return nil
		}
		return json.Number(strconv.FormatFloat(*k.Source, 'f', 2, 64))
	})
	return cols
}

func logColumns(a *Account) []column[Line] {
	cols := rooted(a, func(l Line) (uint64, string, time.Time) { return l.Record, l.Hash, l.At })
	add := func(name, doc string, value func(Line) any) {
		cols = append(cols, column[Line]{Column{name, doc}, value})
	}
	add("kind", "frame, advice, adjusted, followed, question, plan, reference, exposure, baseline, sitter, note, session, damaged, drift ...", func(l Line) any { return l.Kind })
	add("device", "id of the device it was done on; local is the machine itself; empty where thirdstop noted it", func(l Line) any { return text(l.By.Device) })
	add("role", "role of that device", func(l Line) any { return text(l.By.Role) })
	add("frame", "number of the frame it speaks of", func(l Line) any { return whole(l.Frame) })
	add("light", "group of the light it speaks of", func(l Line) any { return text(l.Group) })
	dial := func(name, doc string, of func(Line) *exposure.Dial) {
		add(name, doc, func(l Line) any {
			if d := of(l); d != nil {
				return int(*d)
			}
			return nil
		})
	}
	dial("from", "advice: the light's power before, in thirtieths of a stop from full", func(l Line) *exposure.Dial { return l.From })
	dial("to", "advice, question: the power to set, likewise", func(l Line) *exposure.Dial { return l.To })
	add("text", "a sentence", func(l Line) any { return text(l.Text) })
	add("words", "the note, or the name of the file or sitter; empty where it was erased", func(l Line) any { return text(l.Words) })
	return cols
}

func correctionColumns(a *Account) []column[Correction] {
	cols := rooted(a, func(c Correction) (uint64, string, time.Time) { return c.Record, c.Hash, c.At })
	add := func(name, doc string, value func(Correction) any) {
		cols = append(cols, column[Correction]{Column{name, doc}, value})
	}
	add("frame", "number of the frame", func(c Correction) any { return c.Number })
	add("revision", "its revision that counts", func(c Correction) any { return c.Revision })
	add("file", "path in the capture folder; empty where it was erased", func(c Correction) any { return text(c.File) })
	add("file_sha256", "SHA-256 of the file; empty where the frame was measured again since", func(c Correction) any { return text(c.Content) })
	add("sitter", "as named on the page, else the sub-folder", func(c Correction) any { return text(c.Sitter) })
	of := func(pick func(*Region) exposure.Stops) func(Correction) any {
		return func(c Correction) any {
			if c.Exposure == nil {
				return nil
			}
			return stops(pick(c.Exposure))
		}
	}
	add("exposure_stops", "how much lighter, over 0, or darker to develop it, in stops of linear light", of(func(r *Region) exposure.Stops { return r.Value }))
	add("exposure_sigma_stops", "one standard deviation of it", of(func(r *Region) exposure.Stops { return r.Sigma }))
	add("exposure_from", "what told it: white reference or backdrop", func(c Correction) any { return text(c.From) })
	white := func(pick func(*Colour) exposure.Stops) func(Correction) any {
		return func(c Correction) any {
			if c.White == nil {
				return nil
			}
			return stops(pick(c.White))
		}
	}
	add("red_green_stops", "how much more red against green, in stops of linear light", white(func(c *Colour) exposure.Stops { return c.Red }))
	add("blue_green_stops", "how much more blue against green", white(func(c *Colour) exposure.Stops { return c.Blue }))
	add("white_from", "what told them", func(c Correction) any { return text(c.WhiteFrom) })
	add("not_told", "what could not be told, and why", func(c Correction) any { return text(c.Why) })
	return cols
}
