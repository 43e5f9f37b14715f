package browsertest

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"thirdstop/dashboard/browsertest/fake"
	"thirdstop/dashboard/language"
)

// The page and the sheet read one table of the daemon's sentences, in JavaScript and in Go. The two readers give the
// same words for every line of every story. That the table knows them all is tested beside its Go reader.
func TestThePageReadsTheTableAsGoDoes(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile(filepath.Join("..", "web", "said-de.txt"))
	if err != nil {
		t.Fatal(err)
	}
	table, err := language.Parse(string(text))
	if err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob(filepath.Join("..", "..", "advise", "testdata", "stories", "*.txt"))
	if err != nil || len(files) < 10 {
		t.Fatalf("only %d stories found: %v", len(files), err)
	}
	say := []string{"", "what no table knows", "The shoot begins. what no table knows", "Frame 3 could not be read; what is shown belongs to frame 2. No backdrop was found in frame 2."}
	word := regexp.MustCompile(`^  +(?:log [a-z_]+|ask|[a-z_]+(?: \([a-z ,]+\))?): (.+)$`)
	for _, f := range files {
		story, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range strings.Split(string(story), "\n") {
			if m := word.FindStringSubmatch(l); m != nil {
				l = m[1]
			}
			say = append(say, strings.TrimSpace(l))
		}
	}
	list, err := json.Marshal(say)
	if err != nil {
		t.Fatal(err)
	}
	p := open(t, 390, 844, serve(t, fake.New(time.Now)).url())
	p.says("Measuring only")
	got := eval[[]string](p, fmt.Sprintf(`import(document.querySelector('script[type=module]').src.replace('main.js', 'texts-de.js')).then((m) => m.ready.then(() => %s.map((l) => m.texts.said.sentence(l))))`, list))
	known := 0
	for i, l := range say {
		want, ok := table.Say(l)
		if ok {
			known++
		}
		if got[i] != want {
			t.Errorf("the page says %q for %q, Go says %q", got[i], l, want)
		}
	}
	if known < 500 {
		t.Errorf("only %d sentences are known", known)
	}
}
