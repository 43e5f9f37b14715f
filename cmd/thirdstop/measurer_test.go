package main

import (
	"errors"
	"strings"
	"testing"
	"time"

	"thirdstop/assess"
	"thirdstop/assess/photo"
	"thirdstop/assess/studio"
	"thirdstop/assess/tone"
)

// The record keeps the sentence of a fault and must be able to forget the file's name.
func TestAFaultIsToldWithoutTheFilesName(t *testing.T) {
	m := measurer{&tone.Store{}}
	for name, data := range map[string]string{"Wendelin.JPG": "\xff\xd8\xff\xe0 torn", "Wendelin.heic": "\x00\x00\x00\x18ftypheic", "Wendelin.TIF": "II*\x00", "Wendelin.cr2": ""} {
		_, _, err := m.Measure(name, []byte(data), assess.Hints{})
		var s interface{ Sentence() string }
		if !errors.As(err, &s) || s.Sentence() == "" || strings.Contains(s.Sentence(), "Wendelin") {
			t.Errorf("%s: %v has the sentence %v, want one without the name", name, err, s)
		}
		var f *photo.FileError
		if !errors.As(err, &f) {
			t.Errorf("%s: %v hides what kind of fault it is", name, err)
		}
	}
}

func TestAFrameCanBeMeasuredAgainWithoutItsPicture(t *testing.T) {
	shot := studio.BoatHouse(1).Shoot(time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC))
	r, m, err := measurer{&tone.Store{}}.Measure("Q_0001.JPG", shot.JPEG, assess.Hints{})
	if err != nil {
		t.Fatal(err)
	}
	if jpeg, err := m.Thumbnail(320, func() {}); err != nil || len(jpeg) < 1000 {
		t.Errorf("Thumbnail = %d bytes, %v", len(jpeg), err)
	}
	m.Release()
	if _, err := m.Thumbnail(320, func() {}); err == nil {
		t.Error("a released frame still has its picture")
	}
	card, ok := shot.Truth.Region(studio.WhiteReference)
	if !ok {
		t.Fatal("the studio shows no white card")
	}
	box := inner(card.Box)
	again := m.Again(assess.Hints{WhiteReference: &box})
	w := again.Regions.WhiteReference
	if w == nil || !w.Declared || again.Width != r.Width {
		t.Fatalf("measured again with a declared card: %+v", w)
	}
	// The studio's truth is the source; the camera's curve is not the assumed one, so the tolerance is the reading's own.
	if d := float64(w.Peak - card.Peak); d > 0.35 || d < -0.35 {
		t.Errorf("the card reads %v and is at %v", w.Peak, card.Peak)
	}
}
