package main

import (
	"thirdstop/advise/shoot"
	"thirdstop/assess"
	"thirdstop/assess/photo"
	"thirdstop/assess/tone"
)

// measurer joins assess/photo and assess for the shoot. Each frame is measured
// under the curve of its own camera, as its Exif names it.
type measurer struct{ curves *tone.Store }

// curveFor is the learned curve of a picture's camera, or the default.
func (m measurer) curveFor(p *photo.Picture) *tone.Curve {
	if key, ok := assess.CurveKey(p); ok {
		return m.curves.For(key)
	}
	return tone.Default()
}

func (m measurer) Measure(name string, data []byte, h assess.Hints) (*assess.Reading, shoot.Measured, error) {
	p, err := photo.Read(name, data)
	if err != nil {
		return nil, nil, err
	}
	curve := m.curveFor(p)
	r := assess.Measure(p, curve, h)
	return &r, measured{p, m}, nil
}

// Preview measures the preview that the camera put into a frame's file, nil where there is none.
func (m measurer) Preview(name string, data []byte, h assess.Hints) *assess.Reading {
	p, ok := photo.Preview(name, data)
	if !ok {
		return nil
	}
	h.Provisional = true
	r := assess.Measure(p, m.curveFor(p), h)
	return &r
}

type measured struct {
	p    *photo.Picture
	with measurer
}

// Again measures under the camera's curve as it is known by now.
func (m measured) Again(h assess.Hints) *assess.Reading {
	r := assess.Measure(m.p, m.with.curveFor(m.p), h)
	return &r
}

func (m measured) Thumbnail(edge int, yield func()) ([]byte, error) {
	return m.p.ThumbnailYielding(edge, yield)
}

func (m measured) Release() { m.p.Release() }
