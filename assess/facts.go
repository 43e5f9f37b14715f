package assess

import (
	"slices"

	"thirdstop/assess/exposure"
	"thirdstop/assess/photo"
)

// Facts is what a reading says of a frame besides what its survey shows. Kept with
// the survey, it lets a frame be measured again without its file.
type Facts struct {
	Kind        Kind
	Orientation int
	Exif        Exif
	NoExif      bool // the file has no Exif at all
	Labels      []Label
}

// FactsOf takes the facts from a picture.
func FactsOf(p *photo.Picture) Facts {
	f := Facts{
		Kind:        Full,
		Orientation: p.Orientation,
		Exif:        exifOf(&p.Exif),
		NoExif:      p.Labelled(photo.LabelNoExif),
		Labels:      []Label{},
	}
	if p.Source == photo.SourcePreview || p.Labelled(photo.LabelReduced) {
		f.Kind = Approximate
	}
	for _, l := range p.Labels {
		f.Labels = append(f.Labels, Label{Code: l.Code, Text: l.Text})
	}
	return f
}

// FromRaw tells that a frame was measured from the preview in its raw file.
func (r *Reading) FromRaw() bool {
	return slices.ContainsFunc(r.Labels, func(l Label) bool { return l.Code == photo.LabelPreview })
}

func exifOf(e *photo.Exif) Exif {
	out := Exif{
		ExposureTime: known(e.ExposureTime, e.ExposureTime > 0),
		FNumber:      known(e.FNumber, e.FNumber > 0),
		ISO:          known(e.ISO, e.ISO > 0),
		FocalLength:  known(e.FocalLength, e.FocalLength > 0),
		Program:      known(e.Program, e.HasProgram),
		ExposureMode: known(e.ExposureMode, e.HasExposureMode),
		WhiteBalance: known(e.WhiteBalance, e.HasWhiteBalance),
		TakenAt:      known(e.TakenText, e.TakenText != ""),
		Make:         known(e.Make, e.Make != ""),
		Model:        known(e.Model, e.Model != ""),
		Lens:         known(e.Lens, e.Lens != ""),
		Serial:       known(e.Serial, e.Serial != ""),
	}
	if e.HasFlash {
		out.Flash = &Flash{Raw: e.Flash, Fired: e.Flash&1 != 0, Mode: flashModes[e.Flash>>3&3]}
	}
	return out
}

// flashModes are the meanings of bits 3 and 4 of the Exif Flash tag (Exif 2.32, tag 0x9209).
var flashModes = [4]string{"unknown", "on", "off", "auto"}

func known[T any](v T, ok bool) *T {
	if !ok {
		return nil
	}
	return &v
}

// Gain is how strongly the camera turned flash light into exposure ([exposure.Gain]).
// It reports false where aperture or ISO was not recorded.
func (e *Exif) Gain() (exposure.Stops, bool) {
	if e.ISO == nil || e.FNumber == nil {
		return 0, false
	}
	return exposure.Gain(*e.ISO, *e.FNumber)
}
