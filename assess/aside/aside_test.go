package aside

import (
	"errors"
	"strings"
	"sync/atomic"
	"testing"
)

// panicOf is what f panics with.
func panicOf(t *testing.T, f func()) *Panic {
	t.Helper()
	var p *Panic
	func() {
		defer func() {
			v := recover()
			ok := true
			if p, ok = v.(*Panic); !ok && v != nil {
				t.Errorf("it panics with %v, want a Panic", v)
			}
		}()
		f()
	}()
	return p
}

func blowUp() { panic("a cell without pixels") }

func TestAPanicIsTheWaitingOnes(t *testing.T) {
	var w Work
	var done atomic.Int32
	w.Go(func() { done.Add(1) })
	w.Go(blowUp)
	w.Go(func() { done.Add(1) })
	p := panicOf(t, w.Wait)
	if p == nil || p.Value != "a cell without pixels" || !strings.Contains(string(p.Stack), "blowUp") {
		t.Errorf("waiting for it panics with %v, want what was said in blowUp, and its stack", p)
	}
	if n := done.Load(); n != 2 {
		t.Errorf("%d of the other two were done, want both", n)
	}
	result := Begin(func() int { blowUp(); return 1 })
	for range 2 {
		if p := panicOf(t, func() { result() }); p == nil || p.Value != "a cell without pixels" {
			t.Errorf("asking for the result panics with %v", p)
		}
	}
	fault := errors.New("a fault")
	deep := panicOf(t, func() {
		var outer Work
		outer.Go(func() { Begin(func() int { panic(fault) })() })
		outer.Wait()
	})
	if deep == nil || !errors.Is(deep, fault) {
		t.Errorf("two goroutines down it is %v, want the fault itself", deep)
	}
}

func TestWorkThatGoesWell(t *testing.T) {
	var w Work
	var sum atomic.Int32
	for i := range int32(10) {
		w.Go(func() { sum.Add(i) })
	}
	if p := panicOf(t, w.Wait); p != nil || sum.Load() != 45 {
		t.Errorf("ten summed to %d, want 45 (panic %v)", sum.Load(), p)
	}
	if v := Begin(func() string { return "done" })(); v != "done" {
		t.Errorf("the result is %q", v)
	}
}
