package dashboard

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"strings"
	"sync"
	"testing"

	"thirdstop/dashboard/dashtest"
)

// paper is a plan file that is held in memory.
type paper struct {
	mu     sync.Mutex
	text   string
	gone   bool
	broken error // of the next writes
	writes int
}

func (p *paper) Read() (string, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.gone {
		return "", fmt.Errorf("boathouse.yaml: %w", fs.ErrNotExist)
	}
	return p.text, nil
}

func (p *paper) Write(text string) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.broken != nil {
		return p.broken
	}
	p.text, p.gone, p.writes = text, false, p.writes+1
	return nil
}

// What is edited on the page goes into the plan's file, unless somebody edited that: then both are shown, and it is written only
// by who saw it.
func TestAnEditOfThePlanWritesItsFile(t *testing.T) {
	file := &paper{text: dashtest.PlanText}
	b := start(t, open, func(_ *Server, c *Config) { c.Plan = file })
	n := 0
	put := func(text string, more string) reply {
		n++
		quoted, _ := json.Marshal(text)
		return b.ask("PUT", "/api/v1/plan", fmt.Sprintf(`{"client": "p-%d", "seen": %d, "name": "boathouse.yaml", "text": %s%s}`, n, b.sh.Snapshot().State.Seq, quoted, more), "Content-Type: application/json")
	}
	mine := dashtest.PlanText + "# the umbrella sags: weigh it down\n"
	if got := put(mine, ""); got.status != http.StatusOK || !strings.Contains(got.text, `"file":""`) || file.text != mine {
		t.Fatalf("an edit = %d %s, and the file holds\n%s", got.status, got.text, file.text)
	}
	by := dashtest.PlanText + "# by hand\n"
	file.text = by
	for range 2 { // a repeat is refused, too
		got := put(mine+"# more\n", "")
		var said struct {
			Error struct{ Code string }
			File  string
		}
		if err := json.Unmarshal([]byte(got.text), &said); err != nil || got.status != http.StatusConflict || said.Error.Code != "plan_file" || said.File != by {
			t.Fatalf("an edit over a file that was edited = %d %s", got.status, got.text)
		}
	}
	if file.text != by || b.sh.Snapshot().State.PlanText != mine {
		t.Fatal("a refused edit changed the file or the plan")
	}
	seen, _ := json.Marshal(by)
	if got := put(mine+"# more\n", `, "file": `+string(seen)); got.status != http.StatusOK || file.text != mine+"# more\n" {
		t.Fatalf("who saw the file writes it: %d %s", got.status, got.text)
	}
	file.gone = true
	if got := put(mine, ""); got.status != http.StatusOK || file.text != mine {
		t.Errorf("a file that is gone is written anew: %d %s", got.status, got.text)
	}
	file.broken = errors.New("boathouse.yaml: the disk is full; free some space")
	if got := put(mine+"# last\n", ""); got.status != http.StatusOK || !strings.Contains(got.text, "the disk is full") || b.sh.Snapshot().State.PlanText != mine+"# last\n" {
		t.Errorf("a file that can't be written = %d %s", got.status, got.text)
	}
	file.broken, file.text = nil, mine+"# last\n"
	writes := file.writes
	if got := put("", ""); got.status != http.StatusOK || file.writes != writes {
		t.Errorf("taking the plan away = %d, and wrote the file %d times", got.status, file.writes-writes)
	}
}
