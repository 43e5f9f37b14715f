package language

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// written are the texts in the source of a folder that may reach a page: every string of two words or more, joined
// where it is put together from pieces, a "\x00" where something is filled in. What is only logged, matched or panicked
// with is left out.
func written(t *testing.T, dir string) map[string]string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*.go"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no source in %s: %v", dir, err)
	}
	out := map[string]string{} // text -> where
	for _, f := range files {
		if strings.HasSuffix(f, "_test.go") {
			continue
		}
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		set := token.NewFileSet()
		file, err := parser.ParseFile(set, f, text, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			switch x := n.(type) {
			case *ast.ImportSpec:
				return false
			case *ast.Field:
				return false
			case *ast.CommentGroup:
				_ = x
				return false
			case *ast.CallExpr:
				if s, ok := x.Fun.(*ast.SelectorExpr); ok && unseen[s.Sel.Name] {
					return false
				}
				if s, ok := x.Fun.(*ast.Ident); ok && s.Name == "panic" {
					return false
				}
			case *ast.BinaryExpr, *ast.BasicLit:
				if s, ok := joined(x.(ast.Expr)); ok {
					if sentence.MatchString(strings.TrimSpace(s)) {
						out[s] = set.Position(n.Pos()).String()
					}
					_ = x
					return false
				}
			}
			return true
		})
	}
	return out
}

// unseen are the calls whose texts no page shows.
var unseen = map[string]bool{"Msg": true, "MustCompile": true, "Compile": true, "Dur": true, "Str": true, "ParseDuration": true}

var sentence = regexp.MustCompile(`[A-Za-z]{2,}[^A-Za-z]+[A-Za-z]{2,}|\x00.* .*[a-z]{3,}|[a-z]{3,}.* .*\x00`)

// joined is a text put together by +, with "\x00" for what is no literal; ok where some of it is one.
func joined(e ast.Expr) (string, bool) {
	switch x := e.(type) {
	case *ast.BasicLit:
		if x.Kind != token.STRING {
			return "", false
		}
		s, err := strconv.Unquote(x.Value)
		return strings.ReplaceAll(verb.ReplaceAllString(strings.ReplaceAll(s, "%%", "\x01"), "\x00"), "\x01", "%"), err == nil
	case *ast.BinaryExpr:
		if x.Op != token.ADD {
			return "", false
		}
		a, ok := joined(x.X)
		b, also := joined(x.Y)
		if !ok && !also {
			return "", false
		}
		if !ok {
			a = "\x00"
		}
		if !also {
			b = "\x00"
		}
		return a + b, true
	}
	return "", false
}

var verb = regexp.MustCompile(`%[-+#0]*[\d.]*[a-zA-Z]`)

const (
	terminal = "told on the terminal"
	logged   = "goes to the log"
	wrongly  = "only a program that speaks the API wrongly is told so"
	name     = "a name or a form, no sentence"
	foreign  = "the words of another program or of a person"
)

// rooms are the folders whose texts reach a page, and the files in them whose texts don't, with the reason.
var rooms = map[string]map[string]string{
	"advise":       {"text.go": name, "place.go": name},
	"advise/drift": {},
	"advise/plan":  {"marshal.go": "written into the plan's file, in the file's own words", "loss.go": foreign, "plan.go": name},
	"advise/shoot": {"bookmark.go": terminal, "erase.go": terminal, "find.go": terminal, "replay.go": terminal, "records.go": terminal,
		"shoot.go": terminal, "pictures.go": logged, "resume.go": name},
	"assess": {"fields.go": terminal, "learn.go": terminal, "measure.go": "why something is not measured: read by programs, and the page shows what is", "quality.go": "the same",
		"face.go": "the same", "keyfill.go": "the same, and the terminal's words", "glare.go": "the same, and the terminal's words"},
	"assess/scene":    {},
	"assess/photo":    {"whole.go": logged, "raw.go": logged, "exif.go": logged, "dirs.go": logged, "thumb.go": logged, "jpegmarks.go": foreign, "preview.go": foreign},
	"assess/exposure": {},
	"assess/colour":   {"reference.go": "parts of a kind", "cast.go": logged, "space.go": name, "temperature.go": logged},
	"watcher":         {"watcher.go": terminal, "source_linux.go": foreign, "source.go": foreign, "file.go": logged, "names.go": foreign},
	"dashboard/sheet": {"svg.go": name},
	"dashboard": {"body.go": wrongly, "plans.go": wrongly, "bracket.go": wrongly, "meter.go": wrongly, "walk.go": wrongly, "reach.go": wrongly, "reads.go": wrongly,
		"origin.go": "no page of ours is loaded then", "pages.go": "no page is loaded then", "config.go": terminal, "certificate.go": terminal,
		"server.go": terminal, "roles.go": terminal, "devices.go": terminal, "qr.go": logged, "pictures.go": name, "pack.go": name, "routes.go": name},
}

// open is what stands before a text that is filled into another.
var open = regexp.MustCompile("^\x00:? ?|[;:] ?\x00$")

// unsaid are texts in the other files that no page shows, with the reason.
var unsaid = map[string]string{
	"the parser gave up; compare the file with what `thirdstop plan new -` writes": "stands behind \"is not YAML that can be read here\"",
	"line \x00: ": terminal, "not stops": "taken off before it is shown", "not a power setting": "taken off before it is shown", "\x00 + \x00 stops": name,
	"a finished file can't be read again: \x00": logged, "there is little room on the disk, and it is kept for the record": logged,
	"a request must ask for exactly one thing, and this one asks for \x00": wrongly, "the set-up walk knows no \x00; it can begin, skip, redo and leave": wrongly,
	"another aperture needs its f-number": wrongly, "another ISO needs its number": wrongly, "what was swapped is lens, aperture, iso or backdrop, not \x00": wrongly,
	"\x00: the light plan has faults:\n\x00": "the faults are shown one by one", "\x00; the plan allows \x00 %. \x00": "three parts, each known by itself",
	"not a picture that can be measured": logged, "the file is not complete yet": logged, "no JPEG start marker": logged, "a JPEG without picture data": logged,
	"a JPEG without a frame header": logged, "a JPEG segment that makes no sense": logged, "\x00 colour channels": logged,
	"state \x00 can't be written as JSON: \x00": logged, "the pairing code": wrongly, "a device was paired": wrongly, "shoots, lights or looks": wrongly,
	"too slow": logged, "this call is a websocket: \x00": wrongly, "the device was revoked": logged, "this device was unpaired": logged, "wrong code": logged,
	"text/html; charset=utf-8": name, "text/csv; charset=utf-8": name, "application/json; charset=utf-8": name, "the id of the shoot whose light is to be built again": wrongly,
	"there is no such call": wrongly, "this call does not know that method": wrongly, "the light's group letter": wrongly,
	`nothing is adjusted: send "to", "to_text", "off", "distance_m", "bearing_deg", "turned_deg", "modifier" or "zoom_mm"`: wrongly,
	`"to" and "to_text" name different settings; send one of them`:                                                         wrongly,
	"\x00 has no dial, modifier or zoom: send \"off\", \"distance_m\", \"bearing_deg\" or \"turned_deg\"":                  wrongly, `"box" needs x0, y0, x1 and y1`: wrongly,
	`"box" must lie inside the frame: 0 <= x0 < x1 <= 1 and 0 <= y0 < y1 <= 1`: wrongly, `"backdrop", "face", "witness" or "empty"`: wrongly,
	`"box" makes no sense with "back": leave one of them out`: wrongly, `"box" is needed for backdrop, face and witness, and means nothing for "empty"`: wrongly,
	"the number of the frame it was shown on": wrongly, "x0, y0, x1, y1 in fractions of the upright frame, or null to take the declaration back": wrongly,
	"the question's number": wrongly, "true or false": wrongly, "the advice's number": wrongly, "the number of the frame that is right": wrongly,
	"an id that you make for this action, so that a repeat does nothing twice": wrongly, `"client" must be 1 to 64 letters, digits, dots, dashes or underscores`: wrongly,
	"the number of the state you saw; 0 if it doesn't matter": wrongly, "the file changed while it was read": logged, "it is empty: \x00": logged,
	"course \x00": name, "span \x00": name, "mark \x00": name, "small middle": name, "small end": name, "measure unknown": name, "translate(\x00 \x00) rotate(\x00)": name,
	"default-src 'none'; img-src data:; style-src 'sha256-\x00'; base-uri 'none'; form-action 'none'": name,
	"there is no language \x00; leave it out for English":                                             wrongly, "the table of the language \x00 can't be read: \x00": logged, "said-\x00.txt": name,
	"the watcher was already run; make a new one": logged, "power down at least \x00": "a part of a kind", "grey strip": "a part of a kind",
	"it can't be measured for a tone curve here": logged, "the bracket knows no \x00; it can begin, learn and leave": wrongly,
	"\x00 \x00 What its dial can make up for is offered \x00.": "several sentences, each known by itself",
	"Hand meter, \x00: \x00 at \x00":                           "two parts, each known by itself", " \x00, though. \x00": "two sentences, each known by itself",
	" (raise fs.inotify.max_user_watches)": "known with any such name", " (raise fs.inotify.max_user_instances)": "known with any such name",
}

// Every text in the source that reaches a page is in the table, as a line of it or as a part of one.
func TestEverySentenceInTheSourceIsKnown(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "web", "said-de.txt"))
	if err != nil {
		t.Fatal(err)
	}
	table := german(t)
	var lines []string
	for _, l := range strings.Split(string(text), "\n") {
		if l != "" && !strings.ContainsRune("#@\t", rune(l[0])) {
			for _, k := range []string{"region", "Region", "acc", "dat"} { // kinds with an article
				l = strings.ReplaceAll(l, "<"+k+">", "the <x>")
			}
			for _, k := range []string{"turn", "turns"} {
				l = strings.ReplaceAll(l, "<"+k+">", "<x>: <x>, set <x>")
			}
			lines = append(lines, named.ReplaceAllString(l, "\x00"))
		}
	}
	all := strings.Join(lines, "\n")
	asked := 0
	for room, but := range rooms {
		for s, at := range written(t, filepath.Join("..", "..", room)) {
			name, _, _ := strings.Cut(filepath.Base(at), ":")
			if why := but[name]; why != "" || unsaid[s] != "" || !strings.Contains(strings.TrimSpace(s), " ") {
				continue
			}
			asked++
			if _, ok := table.Say(strings.TrimSpace(strings.ReplaceAll(s, "\x00", "7"))); ok {
				continue
			}
			s = strings.Trim(open.ReplaceAllString(s, ""), " ")
			if _, ok := table.Say(strings.ReplaceAll(s, "\x00", "7")); ok {
				continue
			}
			s = strings.ReplaceAll(strings.TrimPrefix(s, "Good: "), "\x00\x00", "\x00")
			var parts []string
			for _, p := range strings.Split(strings.TrimSpace(s), "\x00") {
				parts = append(parts, regexp.QuoteMeta(p))
			}
			if !regexp.MustCompile(`(?i)` + strings.Join(parts, "[^\n]+")).MatchString(all) {
				t.Errorf("%s: no German for %q", at, strings.ReplaceAll(s, "\x00", "…"))
			}
		}
	}
	if asked < 500 {
		t.Errorf("only %d texts were found in the source", asked)
	}
}
