package language

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

func german(t *testing.T) *Table {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "web", "said-de.txt"))
	if err != nil {
		t.Fatal(err)
	}
	table, err := Parse(string(text))
	if err != nil {
		t.Fatal(err)
	}
	return table
}

// Every sentence of every story that an advice, a question or the shoot log says has its German.
func TestEverySentenceOfEveryStoryIsKnown(t *testing.T) {
	table := german(t)
	files, err := filepath.Glob(filepath.Join("..", "..", "advise", "testdata", "stories", "*.txt"))
	if err != nil || len(files) < 10 {
		t.Fatalf("only %d stories found: %v", len(files), err)
	}
	log := regexp.MustCompile(`^  (?:log [a-z_]+|ask): (.+)$`)
	headline := regexp.MustCompile(`^  (?:[a-z_]+)(?: \([a-z ,]+\))?: (.+)$`)
	adjustment := regexp.MustCompile(`^    ([A-Z][a-z]+ \(\w+\): power (?:up|down) [^;:]+, set [^;:]+): (.+)$`)
	way := regexp.MustCompile(`^    way: (.+) \((.+)\)$`)
	n := 0
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		_, trace, _ := strings.Cut(string(text), "----\n")
		for _, l := range strings.Split(trace, "\n") {
			var say []string
			if m := log.FindStringSubmatch(l); m != nil {
				say = m[1:]
			} else if m := headline.FindStringSubmatch(l); m != nil {
				say = m[1:]
			} else if m := adjustment.FindStringSubmatch(l); m != nil {
				say = m[1:]
			} else if m := way.FindStringSubmatch(l); m != nil {
				say = m[1:]
			} else if strings.HasPrefix(l, "    ") && !strings.HasPrefix(l, "    warning ") {
				say = []string{strings.TrimSpace(l)}
			}
			for _, s := range say {
				n++
				if _, ok := table.Say(s); !ok {
					t.Errorf("%s: no German for %q", filepath.Base(f), s)
				}
			}
		}
	}
	if n < 500 {
		t.Errorf("only %d sentences came of the stories", n)
	}
}
