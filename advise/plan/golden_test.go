package plan

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

// Each file of testdata tells one story: a sentence, a plan, a line of dashes, and
// what is said about it. Lines with "(unusual)" are remarks, others are faults; a good plan
// is followed by its canonical form. UPDATE_GOLDEN=1 writes what is said now; whoever uses it
// explains each changed line in the commit.
func TestWhatPlansAreToldReadsAsRecorded(t *testing.T) {
	files, err := filepath.Glob("testdata/*.txt")
	if err != nil || len(files) < 20 {
		t.Fatalf("testdata holds %d stories, want 20 and more (%v)", len(files), err)
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			b, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			story, want, ok := strings.Cut(strings.ReplaceAll(string(b), "\r\n", "\n"), "\n----\n")
			if !ok {
				t.Fatal("has no line of four dashes between the plan and what is said about it")
			}
			got := told(strings.TrimSuffix(filepath.Base(file), ".txt")+".yaml", story+"\n")
			if os.Getenv("UPDATE_GOLDEN") == "1" {
				if err := os.WriteFile(file, []byte(story+"\n----\n"+got), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			if got != want {
				t.Errorf("said\n%s\nwant\n%s", got, want)
			}
		})
	}
}

func told(name, text string) string {
	p, faults, unusual := Check(name, []byte(text))
	if faults != nil {
		return faults.Error() + "\n"
	}
	var b strings.Builder
	for _, u := range unusual {
		fmt.Fprintf(&b, "%v (unusual)\n", u)
	}
	if back, faults := Parse("back", p.Marshal()); faults != nil || !reflect.DeepEqual(back, p) {
		return fmt.Sprintf("does not read back the same: %v\n%+v\n%+v\n", faults, back, p)
	}
	return b.String() + "\n" + string(p.Marshal())
}
