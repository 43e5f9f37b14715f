package watcher

import (
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"thirdstop/testdata"
)

// TestWhateverHappensEveryWholeFileIsDelivered lets chance write the scripts: pieces,
// renames, folders and drives that come and go, deafness, a sink that refuses. When all has
// been quiet for a while these must hold, whatever events the system has:
//
//   - each whole file that is there was delivered with the content it has;
//   - nothing was delivered that isn't whole (the stage checks that);
//   - the same content wasn't delivered twice running under one name, unless a damaged file stood there in between.
func TestWhateverHappensEveryWholeFileIsDelivered(t *testing.T) {
	if err := flag.Set("rapid.nofailfile", "true"); err != nil { // tests don't write in testdata
		t.Fatal(err)
	}
	if !testdata.Thorough() {
		if err := flag.Set("rapid.checks", "25"); err != nil {
			t.Fatal(err)
		}
	}
	for _, mode := range []string{"linux", "plain", "none"} {
		t.Run(mode, func(t *testing.T) {
			rapid.Check(t, func(rt *rapid.T) { chance(t, rt, mode) })
		})
	}
}

func chance(t *testing.T, rt *rapid.T, mode string) {
	base, err := os.MkdirTemp(t.TempDir(), "chance")
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(base)
	st := newStage(t, mode, filepath.Join(base, "capture"))
	defer st.shut()
	if rapid.Bool().Draw(rt, "forgets") {
		st.config.Known = nil // then only the watcher's own memory spares repeats
	}
	st.start()
	st.rest()
	var told []string
	away := ""
	for range rapid.IntRange(1, 25).Draw(rt, "steps") {
		c := st.draw(rt, &away)
		if c == "" {
			continue
		}
		told = append(told, c)
		st.command(strings.Fields(c))
		st.rest()
	}
	if away != "" {
		st.command([]string{"folder", away})
	}
	for _, rel := range st.openNames() {
		st.close(rel)
	}
	st.command([]string{"watches", "work"})
	st.wait(3 * time.Minute) // beyond the longest patience of the watcher
	story := fmt.Sprintf("events: %s\n%s\ntrace:\n%s", mode, strings.Join(told, "\n"), st.trace.String())

	last := map[string]string{}
	for line := range strings.Lines(st.trace.String()) {
		f := strings.Fields(line)
		if len(f) == 3 && f[1] == "damaged" {
			delete(last, f[2]) // something else stood there in between
		}
		if f[0] != "complete" {
			continue
		}
		if last[f[1]] == f[2] {
			rt.Fatalf("%s was delivered twice running with %s\n%s", f[1], f[2], story)
		}
		if last[f[1]] = f[2]; strings.HasPrefix(f[2], "junk") {
			rt.Fatalf("%s was delivered as %s\n%s", f[1], f[2], story)
		}
	}
	err = filepath.WalkDir(st.folder, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(p)
		rel, _ := filepath.Rel(st.folder, p)
		rel = filepath.ToSlash(rel)
		if err == nil && !ignoredPath(rel) && wholeJPEG(rel, strings.NewReader(string(b)), int64(len(b))) == nil && !st.known[rel][sum(b)] {
			rt.Fatalf("%s is there with %s, and that was never delivered\n%s", rel, st.pics.name(sum(b)), story)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// draw makes up a command that can be done as things are, or none.
func (st *stage) draw(rt *rapid.T, away *string) string {
	pick := func(label string, from ...string) string { return rapid.SampledFrom(from).Draw(rt, label) }
	there := func(rel string) bool { _, err := os.Stat(st.path(rel)); return err == nil }
	dir := pick("dir", "", "", "bow/", "bow/retakes/", "stroke/")
	file := dir + pick("file", "1.jpg", "2.jpg", ".hidden.jpg")
	pic := pick("picture", "A", "B", "C", "junk")
	possible := there(dir + ".")

	what := pick("what", "put", "put", "piece", "piece", "close", "move", "remove", "mkdir", "rmdir",
		"folder", "deaf", "hearing", "overflow", "watches", "sink", "wait", "wait", "wait")
	switch what {
	case "wait":
		return "wait " + pick("how long", "1ms", "50ms", "300ms", "1s", "3s", "12s")
	case "deaf", "hearing", "overflow":
		return what
	case "watches":
		return "watches " + pick("watches", "fail", "work")
	case "sink":
		return "sink refuses " + pick("times", "1", "2", "5")
	case "folder":
		if *away != "" {
			how := *away
			*away = ""
			return "folder " + how
		}
		how := pick("how", "away", "covered")
		*away = map[string]string{"away": "back", "covered": "uncovered"}[how]
		return "folder " + how
	case "mkdir":
		if d := strings.TrimSuffix(dir, "/"); d != "" && !possible && there(filepath.Dir(d)) {
			return "mkdir " + d
		}
	case "rmdir":
		if d := strings.TrimSuffix(dir, "/"); d != "" && possible && !st.openBelow(d) {
			return "rmdir " + d
		}
	case "put":
		if possible && st.open[file] == nil {
			return "put " + file + " " + pic
		}
	case "piece":
		if _, isOpen := st.open[file]; possible && isOpen == there(file) && *away == "" {
			return "append " + file + " " + pic + " " + pick("part", "0..40", "40..100", "0..100")
		}
	case "close":
		if st.open[file] != nil {
			return "close " + file
		}
	case "move":
		to := file
		file = pick("from", "1.jpg", "bow/2.jpg", ".hidden.jpg", "../outside.jpg")
		if file != to && possible && there(file) && there(filepath.Dir(to)) && st.open[to] == nil {
			return "move " + file + " " + to
		}
	case "remove":
		if there(file) && st.open[file] == nil {
			return "remove " + file
		}
	}
	return ""
}

func (st *stage) openBelow(dir string) bool {
	return slices.ContainsFunc(st.openNames(), func(rel string) bool { return strings.HasPrefix(rel, dir+"/") })
}

func (st *stage) openNames() (names []string) {
	for rel := range st.open {
		names = append(names, rel)
	}
	return names
}
