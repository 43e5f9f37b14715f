package studio

import (
	"fmt"
	"math"
	"testing"
	"time"

	"thirdstop/assess/exposure"
	"thirdstop/assess/photo"
)

// A frame of the boathouse, and what is true of it.
func ExampleStudio_Shoot() {
	s := BoatHouse(1)
	s.Camera.Width, s.Camera.PictureHeight = 300, 200
	s.Only("B") // the key alone
	shot := s.Shoot(time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC))
	card, _ := shot.Truth.Region(WhiteReference)
	fmt.Println(shot.Name, shot.Truth.Sitter, shot.Truth.Flashes[0].Fired, shot.Truth.Flashes[1].Fired)
	fmt.Println("the key gives most of the card's light:", card.Shares[1].Part > 0.9)
	// Output:
	// AQ_0001.JPG captain false true
	// the key gives most of the card's light: true
}

// The survey made here lies over the one that is read from the file: the same
// cells in the same places, and means that JPEG coding alone sets apart.
func TestSurveyIsTheOneReadFromTheFile(t *testing.T) {
	for _, orientation := range []int{1, 3, 6, 8} {
		a, b := small(3), small(3)
		for _, s := range []*Studio{a, b} {
			s.Camera.Orientation, s.Camera.Width = orientation, 443
		}
		shot := a.Shoot(noon)
		here, _ := b.RenderSurvey()
		p, err := photo.Read(shot.Name, shot.JPEG)
		if err != nil {
			t.Fatal(err)
		}
		read := p.Survey
		if read.Width != here.Width || read.Height != here.Height || len(read.Cells) != len(here.Cells) ||
			fmt.Sprint(read.ColEdges, read.RowEdges) != fmt.Sprint(here.ColEdges, here.RowEdges) {
			t.Fatalf("orientation %d: %d x %d with %d cells read from the file, %d x %d with %d here",
				orientation, read.Width, read.Height, len(read.Cells), here.Width, here.Height, len(here.Cells))
		}
		var sum float64
		for i := range here.Cells {
			d := math.Abs(float64(read.Cells[i].Mean[1] - here.Cells[i].Mean[1]))
			if sum += d; d > 2 {
				t.Errorf("orientation %d: cell %d has a mean of %v in the file, %v here", orientation, i, read.Cells[i].Mean, here.Cells[i].Mean)
			}
		}
		if mean := sum / float64(len(here.Cells)); mean > 0.4 {
			t.Errorf("orientation %d: cells differ by %.3f code values on average", orientation, mean)
		}
	}
}

func TestWhiteBalanceThatIsOffMovesOneChannel(t *testing.T) {
	s := bare()
	before, _ := s.Exposure(WhiteReference)
	s.Camera.Cast = [3]exposure.Stops{0.3, 0, -0.2}
	after, _ := s.Exposure(WhiteReference)
	for c, want := range []float64{0.3, 0, -0.2} {
		if got := float64(after.Channel[c] - before.Channel[c]); math.Abs(got-want) > 1e-3 {
			t.Errorf("channel %d moves by %.4f, want %.1f", c, got, want)
		}
	}
	if after.Level != after.Channel[0] || after.Floor != after.Channel[2] {
		t.Errorf("brightest %v and weakest %v of %v", after.Level, after.Floor, after.Channel)
	}
}

func TestTheSceneShowsWhatIsInIt(t *testing.T) {
	shows := func(s *Studio, r Region) bool { _, ok := s.Exposure(r); return ok }
	for _, c := range []struct {
		what   string
		change func(*Studio)
		region Region
		want   bool
	}{
		{"a card is a white reference", func(s *Studio) {}, WhiteReference, true},
		{"with a card the shirt is only a shirt", func(s *Studio) {}, WhiteShirtRegion, true},
		{"without one the shirt is the reference", func(s *Studio) { s.Sitter.Card = false }, WhiteReference, true},
		{"without one there is no other shirt", func(s *Studio) { s.Sitter.Card = false }, WhiteShirtRegion, false},
		{"a jumper shows no white", func(s *Studio) { s.Sitter.Card, s.Sitter.Wear = false, Jumper }, WhiteReference, false},
		{"an empty backdrop has no face", func(s *Studio) { s.Empty = true }, Face, false},
		{"an empty backdrop is a backdrop", func(s *Studio) { s.Empty = true }, BackdropRegion, true},
		{"a narrow backdrop shows the wall", func(s *Studio) { s.Backdrop.HalfWidth = 0.4 }, Surround, true},
		{"a wide one does not", func(s *Studio) {}, Surround, false},
		{"no hair, no hair", func(s *Studio) { s.Sitter.Style = NoHair }, HairRegion, false},
	} {
		s := bare()
		c.change(s)
		if got := shows(s, c.region); got != c.want {
			t.Errorf("%s: %v is shown: %v", c.what, c.region, got)
		}
	}
	s := small(1)
	s.Sitter.Spectacles = true
	_, truth := s.RenderSurvey()
	glint, ok := truth.Region(Glint)
	card, _ := truth.Region(WhiteReference)
	if !ok || glint.Peak < card.Peak+0.5 {
		t.Errorf("spectacles mirror the key: %v, at %v over a card at %v", ok, glint.Peak, card.Peak)
	}
}

func TestTheCommitteeIsVaried(t *testing.T) {
	darkest, lightest := 0.0, 1.0
	roles := map[string]bool{}
	for _, c := range Committee() {
		darkest, lightest = max(darkest, c.Skin), min(lightest, c.Skin)
		roles[c.Role] = true
		s := small(1)
		s.Sitter = c
		truth := s.Shoot(noon).Truth
		face, ok := truth.Region(Face)
		if truth.Sitter != c.Role || !ok || face.Size < 0.02 {
			t.Errorf("%s: the frame says %q, and the face takes %.3f of it", c.Role, truth.Sitter, face.Size)
		}
	}
	if len(roles) != len(Committee()) || len(roles) < 6 || darkest < 0.9 || lightest > 0.1 {
		t.Errorf("%d roles, skins from %v to %v", len(roles), lightest, darkest)
	}
}
