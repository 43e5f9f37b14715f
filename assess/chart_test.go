package assess

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"testing"

	"thirdstop/assess/photo"
	"thirdstop/assess/tone"
)

// The sRGB codes that are widely printed for the 24 patches, row by row (as in Android's compatibility tests and
// eight other public files). They differ a little from what the published Lab values give, so colours are not judged by them here.
var printedCodes = [24][3]float64{
	{115, 82, 68}, {194, 150, 130}, {98, 122, 157}, {87, 108, 67}, {133, 128, 177}, {103, 189, 170},
	{214, 126, 44}, {80, 91, 166}, {193, 90, 99}, {94, 60, 108}, {157, 188, 64}, {224, 163, 46},
	{56, 61, 150}, {70, 148, 73}, {175, 54, 60}, {231, 199, 31}, {187, 86, 149}, {8, 133, 161},
	{243, 243, 242}, {200, 200, 200}, {160, 160, 160}, {122, 122, 121}, {85, 85, 85}, {52, 52, 52},
}

// chartPicture draws the chart with its light multiplied channel by channel.
func chartPicture(gain [3]float64) image.Image {
	const patch, gap = 80, 12
	img := image.NewRGBA(image.Rect(0, 0, 6*patch+7*gap+80, 4*patch+5*gap+80))
	for i := range img.Pix {
		img.Pix[i] = 30
	}
	linear := func(c float64) float64 { // IEC 61966-2-1
		if c /= 255; c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	code := func(l float64) uint8 {
		c := 12.92 * l
		if l > 0.0031308 {
			c = 1.055*math.Pow(l, 1/2.4) - 0.055
		}
		return uint8(math.Round(255 * min(max(c, 0), 1)))
	}
	for i, p := range printedCodes {
		x0, y0 := 40+gap+i%6*(patch+gap), 40+gap+i/6*(patch+gap)
		c := color.RGBA{code(linear(p[0]) * gain[0]), code(linear(p[1]) * gain[1]), code(linear(p[2]) * gain[2]), 255}
		for y := range patch {
			for x := range patch {
				img.SetRGBA(x0+x, y0+y, c)
			}
		}
	}
	return img
}

func surveyOfImage(t *testing.T, img image.Image) *photo.Survey {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	p, err := photo.Read("chart.jpg", b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	return p.Survey
}

// Light that is halved lies a stop lower, and red light that is raised is warm: laws, on the printed codes.
func TestTheChartIsReadWhereOneIsExpected(t *testing.T) {
	read := func(gain [3]float64, h Hints) Reading {
		return MeasureSurvey(surveyOfImage(t, chartPicture(gain)), Facts{}, tone.SRGB(), h)
	}
	plain := read([3]float64{1, 1, 1}, Hints{Chart: true})
	if plain.Chart == nil {
		t.Fatalf("the chart was not read: %s", plain.Missing["chart"])
	}
	if c := plain.Chart; c.Shift == nil || math.Abs(*c.Shift) > 8 || c.White == nil || c.Mean == nil || *c.Mean > 6 {
		t.Errorf("a chart in the printed colours reads %+v, want hardly any cast and colours a few units off", *c)
	}
	half := read([3]float64{0.5, 0.5, 0.5}, Hints{Chart: true}).Chart
	if half == nil || half.White == nil || math.Abs(float64(*plain.Chart.White-*half.White)-1) > 0.03 || math.Abs(float64(*plain.Chart.Error-*half.Error)-1) > 0.03 {
		t.Errorf("at half the light the chart reads %+v, want one stop under %+v", half, plain.Chart)
	}
	warm := read([3]float64{1, 0.85, 0.7}, Hints{Chart: true}).Chart
	if warm == nil || warm.Shift == nil || *warm.Shift < *plain.Chart.Shift+15 {
		t.Errorf("in warm light the chart reads %+v, want it clearly too warm", warm)
	}
	if r := read([3]float64{1, 1, 1}, Hints{}); r.Chart != nil || r.Missing["chart"] != "" {
		t.Error("a chart was looked for where none was expected")
	}
	none := MeasureSurvey(surveyOfImage(t, image.NewRGBA(image.Rect(0, 0, 400, 300))), Facts{}, tone.SRGB(), Hints{Chart: true})
	if none.Chart != nil || none.Missing["chart"] == "" {
		t.Errorf("a frame without a chart gives %+v and no reason", none.Chart)
	}
}
