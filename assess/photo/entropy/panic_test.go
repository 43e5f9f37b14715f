package entropy

import (
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"thirdstop/assess/aside"
)

// blowing is a sink that panics at the nth row of cells.
type blowing struct {
	left *atomic.Int32
}

func (blowing) Blocks(int, [][3]uint32) {}

func (b blowing) Cells(int, []Cell) {
	if b.left.Add(-1) == 0 {
		panic("this row brings it down")
	}
}

// A panic in one of the workers ends the others, wherever it comes, and is the caller's.
func TestAPanicInAWorkerIsTheCallers(t *testing.T) {
	data := made{width: 2200, height: 1400, lay: [4]int{2, 2, 1, 1}, busy: 24, seed: 1}.encode()
	for _, n := range []int32{1, 20, 80} {
		got := make(chan any, 1)
		go func() {
			defer func() { got <- recover() }()
			left := new(atomic.Int32)
			left.Store(n)
			err := readWith(data, Exact, func(Frame) Sink { return blowing{left} }, 2, vectors)
			t.Errorf("a panic at row %d ended as %v", n, err)
		}()
		select {
		case p := <-got:
			if p, ok := p.(*aside.Panic); !ok || !strings.Contains(fmt.Sprint(p.Value), "brings it down") {
				t.Errorf("the caller gets %v, want the worker's panic", p)
			}
		case <-time.After(time.Minute):
			t.Fatalf("a panic at row %d leaves the other worker waiting", n)
		}
	}
}
