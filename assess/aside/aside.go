// Package aside does a part of some work in goroutines of its own, for whom waits for it. A panic in one of them
// is the waiting one's: who measures a foreign file catches what its bytes bring down, which a panic in a goroutine of which
// he knows nothing would take from him.
//
// It knows goroutines. It must never know pictures.
package aside

import (
	"fmt"
	"runtime/debug"
	"sync"
)

// Panic is what [Work.Wait] and the function of [Begin] panic with: what a goroutine did, and its stack.
type Panic struct {
	Value any
	Stack []byte
}

// Error is the value and where it came from.
func (p *Panic) Error() string { return fmt.Sprintf("%v\n\n%s", p.Value, p.Stack) }

// Unwrap is the value, if it is an error.
func (p *Panic) Unwrap() error {
	err, _ := p.Value.(error)
	return err
}

// Work is several things done at once. The zero value has none. Whoever calls Go must call Wait.
type Work struct {
	all   sync.WaitGroup
	mu    sync.Mutex
	first *Panic // held by mu
}

// Go does f in a goroutine of its own.
func (w *Work) Go(f func()) {
	w.all.Go(func() {
		if p := caught(f); p != nil {
			w.mu.Lock()
			defer w.mu.Unlock()
			if w.first == nil {
				w.first = p
			}
		}
	})
}

// Wait waits for all of it, and then panics with the first [Panic], if there was one.
func (w *Work) Wait() {
	w.all.Wait()
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.first != nil {
		panic(w.first)
	}
}

// Begin does f in a goroutine of its own. The function that it gives waits for the result, and panics with a [Panic] if f did. It
// may be called by several, or by none: then a panic of f is nobody's, as its result is.
func Begin[T any](f func() T) (result func() T) {
	var v T
	var p *Panic
	done := make(chan struct{})
	go func() {
		defer close(done)
		p = caught(func() { v = f() })
	}()
	return func() T {
		<-done
		if p != nil {
			panic(p)
		}
		return v
	}
}

// caught does f and gives its panic, if there was one; that of work further down as it is.
func caught(f func()) (p *Panic) {
	defer func() {
		switch v := recover().(type) {
		case nil:
		case *Panic:
			p = v
		default:
			p = &Panic{Value: v, Stack: debug.Stack()}
		}
	}()
	f()
	return nil
}
