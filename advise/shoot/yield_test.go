package shoot

import (
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"thirdstop/assess"
)

// shy is a frame whose picture notes whether it was made while another frame was measured.
type shy struct {
	measuring *atomic.Bool
	begun     chan struct{}
	made      chan bool
}

func (s shy) Again(assess.Hints) *assess.Reading { return nil }
func (s shy) Release()                           {}

func (s shy) Thumbnail(_ int, yield func()) ([]byte, error) {
	s.begun <- struct{}{}
	yield()
	s.made <- s.measuring.Load()
	return []byte("a picture"), nil
}

func TestPicturesStandStillWhileAFrameIsMeasured(t *testing.T) {
	b := newBench(t)
	s := b.open()
	for _, patience := range []time.Duration{time.Hour, 0} {
		p := newPictures(filepath.Join(t.TempDir(), picturesDir), s.room, func() int { return 0 }, zerolog.Nop())
		p.wait = patience
		m := shy{new(atomic.Bool), make(chan struct{}), make(chan bool)}
		m.measuring.Store(true)
		p.measuring(true)
		p.measuring(true) // two at once
		p.put(version{1, 1}, m)
		<-m.begun
		if patience == 0 {
			if !<-m.made {
				t.Error("the picture was made when the measuring had ended, want it made all the same after a while")
			}
		}
		p.measuring(false)
		m.measuring.Store(false)
		p.measuring(false)
		if patience > 0 && <-m.made {
			t.Error("the picture was made while a frame was measured")
		}
		<-m.begun // the small one
		<-m.made
		p.close()
	}
}
