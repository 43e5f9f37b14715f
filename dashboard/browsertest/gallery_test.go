package browsertest

import (
	"flag"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"thirdstop/advise"
	"thirdstop/advise/shoot"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
	"thirdstop/dashboard/browsertest/fake"
)

var (
	galleryTo   = flag.String("gallery", "", "write a picture of what the page can have to say, in every size, theme and language, into this folder")
	galleryOnly = flag.String("only", "", "with -gallery: the pictures whose names hold this alone")
)

// four is a shoot with four lights and a frame that needs some of them turned.
func four(turns int) *fake.Shoot {
	s := rigged((*fake.Shoot).OnTarget, (*fake.Shoot).Shot)
	s.Change(func(st *advise.State) []advise.Event {
		st.Lights = append(st.Lights, fake.Light("Hair", "D", -5*exposure.Stop, 1.6, "snoot"))
		a := &st.Advice
		a.Adjustments = append(a.Adjustments, fake.Turn(st.Lights[2], st.Lights[2].Power+exposure.Third, "keeps the backdrop on target while the other light is turned"),
			fake.Turn(st.Lights[3], st.Lights[3].Power-2*exposure.Third, "hair is 1/2 stop over its target (at most -0.7)"))[:turns]
		return nil
	})
	return s
}

var (
	asks  = advise.Question{Number: 1, Frame: 2, No: "No, as recorded", Text: "Key (B) fell by about 2/3 stop in frame 2, and nobody recorded it. Turned to 1/8 + 1/3? If otherwise, record how.", Group: "B", Expires: 5}
	all   = advise.Question{Number: 1, Frame: 2, No: "No", Text: "The backdrop changed by -0.7 stop in frame 2, and no one light explains it. Do all stand as recorded: Background (A) 1/8 + 2/3, Key (B) 1/4, Fill (C) 1/32 + 1/3 and Hair (D) 1/32?", Expires: 5}
	noted = advise.Warning{Code: "no_reference", Text: "No white reference is declared, so the key is not judged. Show a white card or shirt and tap it on the frame."}
	slope = advise.Drift{ID: 1, Kind: "slope", Frame: 2, Since: 1, Group: "B", Light: "Key (B)", Candidates: []string{"Key (B)"}, Size: -0.4, Witnessed: true, May: "light",
		Text: "Key (B) has been going down since about frame 1, 0.40 stop by now (0.02 stop a frame).", Remedy: "Look for a sagging stand or umbrella, and whether the sitter or the light creeps nearer or away.",
		Caution: "Lower a stand before changing its load, put a leg under the load and weigh it down, as the makers of stand and light say."}
	heat = advise.Drift{ID: 2, Kind: "heat", Frame: 2, Since: 1, Group: "B", Light: "Key (B)", Candidates: []string{"Key (B)"}, Size: -0.3, Witnessed: true, May: "tell",
		Text: "Key (B) sags through runs of frames and recovers with rest, 0.30 stop by now: it gets too hot.", Remedy: "Let it rest. Then less power and more ISO, and longer pauses; don't make up for it with more power.",
		Caution: "Don't cool it by force (no ice, water or wet cloth) and never open it. Stop at a smell, smoke or a heat warning. Its maker's manual says how long to rest, and decides."}
)

// galleryCases are what the page can have to say.
var galleryCases = []struct {
	name  string
	shoot func() *fake.Shoot
	then  func(p *tab, v *server)
}{
	{"turn1", func() *fake.Shoot { return four(1) }, nil},
	{"turn2", func() *fake.Shoot { return four(2) }, nil},
	{"turn4", func() *fake.Shoot { return four(4) }, nil},
	{"question2", func() *fake.Shoot {
		return with(four(2), func(st *advise.State) { st.Question = &asks; st.Advice.Warnings = []advise.Warning{noted} })
	}, nil},
	{"questionall", func() *fake.Shoot {
		return with(four(1), func(st *advise.State) {
			st.Question = &all
			st.Advice.Status, st.Advice.Adjustments, st.Advice.Headline, st.Advice.Reason, st.Advice.AtLeast, st.Advice.Guess = advise.Look, nil, "See how the lights stand", "The light changed, nobody recorded it, and no one light explains it.", false, false
		})
	}, nil},
	{"drift2", func() *fake.Shoot {
		return with(four(2), func(st *advise.State) {
			st.Drift.Stands, st.Advice.Warnings = []advise.Drift{slope}, []advise.Warning{{Code: "drift_slope", Text: slope.Text}}
		})
	}, nil},
	{"drifthold", func() *fake.Shoot {
		return with(four(0), func(st *advise.State) {
			st.Drift.Stands, st.Advice.Warnings = []advise.Drift{heat}, []advise.Warning{{Code: "drift_heat", Text: heat.Text}}
			st.Advice.Status, st.Advice.Headline, st.Advice.Reason = advise.Hold, "Hold", "Every judged region is on target, or nearer than a click could bring it."
			st.Advice.AtLeast, st.Advice.Guess = false, false
		})
	}, nil},
	{"absent", func() *fake.Shoot {
		return with(four(0), func(st *advise.State) {
			st.Drift.Stands = []advise.Drift{{ID: 3, Kind: "light_absent", Frame: 2, Group: "B", Light: "Key (B)", Candidates: []string{"Key (B)"}, Witnessed: true, May: "tell", Text: "Frame 2: Key (B) did not light it.",
				Remedy: "Wake it, then check that it is on and ready, its trigger, channel and group, and the trigger's battery. Don't turn any power up for it; take the frame again."}}
			st.Advice.Status, st.Advice.Headline, st.Advice.AtLeast, st.Advice.Guess = advise.Look, "Key (B) did not fire", false, false
			st.Advice.Reason = "Wake it, check its trigger and channel, and take the frame again. Leave its power as it is; its manual tells what its lights and tones mean."
		})
	}, nil},
	{"unknown", func() *fake.Shoot {
		return with(four(1), func(st *advise.State) {
			a := &st.Advice
			a.Adjustments = []advise.Adjustment{fake.Turn(st.Lights[0], st.Lights[0].Power-exposure.Stop, "")}
			a.Headline, a.Reason = a.Adjustments[0].Text, "The backdrop is clipped, and how far over cannot be seen; one frame under the edge tells."
			for i := range a.Expected {
				if a.Expected[i].Region == advise.BackdropFloor {
					e := &a.Expected[i]
					e.Now, e.NowText, e.AtLeast, e.InTarget, e.Unknown = 0, "at least 0.00", true, false, true
				}
			}
			st.Frames[len(st.Frames)-1].Expected = a.Expected
		})
	}, nil},
	{"aside", func() *fake.Shoot {
		return with(four(2), func(st *advise.State) { st.Advice.Status, st.Advice.Headline = "aside", "Put aside" })
	}, nil},
	{"hold", func() *fake.Shoot {
		return with(four(0), func(st *advise.State) {
			st.Advice.Status, st.Advice.Headline, st.Advice.Reason, st.Advice.AtLeast, st.Advice.Guess = advise.Hold, "Hold", "Every judged region is on target, or nearer than a click could bring it.", false, false
			for i := range st.Advice.Expected {
				st.Advice.Expected[i].InTarget = true
			}
			st.Baseline = 1
		})
	}, nil},
	{"ways", func() *fake.Shoot {
		return with(four(1), func(st *advise.State) {
			st.Advice.Status, st.Advice.Headline, st.Advice.Adjustments = advise.Look, "Camera: open from f/8 to f/5.6", nil
			st.Advice.Reason = "Power alone can't reach the targets. This can; its price: less depth of field; ambient light counts for more."
			st.Advice.Ways = []advise.Way{{Text: "Camera: open from f/8 to f/5.6", Price: "less depth of field; ambient light counts for more"}, {Text: "Camera: ISO 200 instead of ISO 100", Price: "more noise; ambient light counts for more"},
				{Text: "Key (B): move from 1.2 m to 0.85 m", Price: "light falls off faster across the sitter, shadows get softer; mind the stand"}}
			st.Advice.Warnings = []advise.Warning{{Code: "auto_wb", Text: "The camera's white balance is automatic: colours shift from frame to frame. Set a fixed one."}}
		})
	}, nil},
	{"noplan", func() *fake.Shoot {
		s := fake.New(time.Now)
		s.Shot()
		return s
	}, nil},
	{"empty", func() *fake.Shoot { return rigged() }, nil},
	{"stale", func() *fake.Shoot { return four(2) }, func(p *tab, v *server) {
		v.down()
		p.until("it is old", `document.querySelector('.stale-bar')`)
	}},
	{"trouble", func() *fake.Shoot {
		s := four(1)
		s.Trouble("", shoot.Trouble{Code: "folder-gone", Text: "The capture folder is gone. Plug the disk in again; thirdstop goes on by itself."})
		return s
	}, nil},
	{"crowded", crowded, nil},
	{"wide", func() *fake.Shoot {
		s := fake.New(time.Now)
		s.Wide()
		s.Rigged()
		s.Shot()
		return s
	}, nil},
	{"face", func() *fake.Shoot {
		s := four(2)
		source, over := 2.1, exposure.Stops(1.07)
		return with(s, func(st *advise.State) {
			f := &st.Frames[len(st.Frames)-1]
			r := *f.Reading
			r.Regions.Faces = []assess.Face{{Box: assess.Box{X0: 0.35, Y0: 0.2, X1: 0.65, Y1: 0.42}, Size: 0.22, EyeLine: 0.29, Headroom: 0.8, Confidence: 1,
				KeyFill: &assess.KeyFill{Lit: "left", Difference: 1.63, Sigma: 0.2, Additive: 3.1, Source: &source, KeyOver: &over}, Glare: &assess.Glare{Sides: "both", Area: 0.02}}}
			f.Reading = &r
		})
	}, nil},
}

func with(s *fake.Shoot, f func(*advise.State)) *fake.Shoot {
	s.Change(func(st *advise.State) []advise.Event { f(st); return nil })
	return s
}

// TestGallery writes pictures to be looked at, of every case and screen in every size, theme and language:
// `go test ./dashboard/browsertest -run Gallery -args -gallery FOLDER`.
func TestGallery(t *testing.T) {
	if *galleryTo == "" {
		t.Skip("skipped: no folder was given with -gallery")
	}
	wanted := func(name string) bool { return strings.Contains(name, *galleryOnly) }
	for _, language := range []string{"en", "de"} {
		for _, theme := range []string{"dim", "light"} {
			kind := language + "-" + theme
			look := func(name, screen string, v *server, then func(p *tab, v *server)) {
				any := false
				for _, size := range sizes {
					any = any || wanted(fmt.Sprintf("%s-%s-%dx%d", name, kind, size[0], size[1]))
				}
				if !any {
					return
				}
				p := open(t, sizes[0][0], sizes[0][1], v.url())
				eval[chromedpVoid](p, fmt.Sprintf(`localStorage.setItem('thirdstop.language', %q), localStorage.setItem('thirdstop.theme', %q)`, language, theme))
				p.do(chromedp.Navigate(v.url() + "?again#" + screen))
				p.until("the page is there", `document.querySelector('.board:not(.opening)') && document.documentElement.lang === '`+language+`'`)
				if then != nil {
					then(p, v)
				}
				for _, size := range sizes {
					file := fmt.Sprintf("%s-%s-%dx%d", name, kind, size[0], size[1])
					if !wanted(file) {
						continue
					}
					p.do(chromedp.EmulateViewport(size[0], size[1]))
					eval[chromedpVoid](p, `new Promise((done) => { window.scrollTo(0, 0); setTimeout(done, 300); })`)
					p.picture(*galleryTo, file)
				}
			}
			for _, c := range galleryCases {
				v := serve(t, c.shoot(), withDemo)
				look(c.name, "now", v, c.then)
				v.down()
			}
			v := serve(t, crowded(), withDemo)
			for _, s := range screens[1:] {
				look("screen-"+s, s, v, nil)
			}
			look("screen-more", "more", v, nil)
			v.down()
		}
	}
}
