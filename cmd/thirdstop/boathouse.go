package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"

	"thirdstop/advise"
	"thirdstop/advise/plan"
	"thirdstop/assess/exposure"
	"thirdstop/assess/studio"
)

// boathouse is the demo's studio behind its controls: the page turns its lights,
// and it shoots into the capture folder. The daemon is told nothing of it.
type boathouse struct {
	capture string
	hands   func(ctx context.Context, d time.Duration) error // lets the time pass that turning dials takes

	mu   sync.Mutex // a studio is not safe for concurrent use
	room *studio.Studio
	auto bool
	sag  exposure.Stops // of the key by now, where it tires
	tire bool
}

// sagPerFrame is how fast the key tires, where it is let; sagMost is where it ends.
const (
	sagPerFrame exposure.Stops = 0.025
	sagMost     exposure.Stops = 0.6
)

// setTired lets the key tire from the next frame on, or gives it rest.
func (b *boathouse) setTired(on bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.tire, b.sag = on, 0
	b.room.Fault = func(_ int, l *studio.Light) (exposure.Stops, bool) {
		if l.Role != studio.Key || !b.tire {
			return 0, false
		}
		b.sag = min(b.sag+sagPerFrame, sagMost)
		return -b.sag, false
	}
}

// autoEvery is how often the demo shoots by itself.
const autoEvery = 8 * time.Second

// shoot takes a frame and saves it as tethering software does.
func (b *boathouse) shoot() (studio.Truth, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	shot := b.room.Shoot(time.Now())
	_, err := shot.Save(b.capture, studio.Tether{Direct: true, Chunk: 64 << 10})
	return shot.Truth, err
}

func (b *boathouse) turn(group string, to exposure.Dial) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	l := b.room.Light(group)
	if l == nil {
		return fmt.Errorf("the boathouse has no light %q", group)
	}
	return l.Turn(to)
}

// goOn sets the lights and the frame counter where a record left them: real flashes and
// cameras stay as they were while nobody looks. What can't be set is told.
func (b *boathouse) goOn(st *advise.State) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	names, err := os.ReadDir(b.capture)
	if err != nil {
		return fmt.Errorf("the demo's captures can't be listed: %w", err)
	}
	taken := 0
	for _, e := range names {
		if rest, ok := strings.CutPrefix(e.Name(), b.room.Camera.Prefix); ok {
			if n, err := strconv.Atoi(strings.TrimSuffix(rest, filepath.Ext(rest))); err == nil {
				taken = max(taken, n)
			}
		}
	}
	b.room.GoOn(taken)
	var cant []error
	for _, l := range st.Lights {
		at := b.room.Light(l.Group)
		if at == nil {
			continue // of another plan
		}
		if err := at.Turn(l.Power); err != nil {
			cant = append(cant, fmt.Errorf("the record has %s at %s, and the boathouse's flash can't be set to it: %w", l.Name, l.PowerText, err))
			continue
		}
		at.On = !l.Off
		if l.Distance > 0 {
			at.Distance = l.Distance
		}
	}
	return errors.Join(cant...)
}

// keepShooting takes the first frame, and more while the visitor wants them.
func (b *boathouse) keepShooting(ctx context.Context) error {
	if _, err := b.shoot(); err != nil {
		return err
	}
	tick := time.NewTicker(autoEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
			b.mu.Lock()
			auto := b.auto
			b.mu.Unlock()
			if auto {
				if _, err := b.shoot(); err != nil {
					return err
				}
			}
		}
	}
}

// plan is the light plan that fits the boathouse, as its photographer would have
// written it: what the dials say is true, the rest is as well as one knows.
func (b *boathouse) plan() []byte {
	p := plan.Plan{Version: plan.FormatVersion, Shoot: "Alder Quay Rowing Club, committee portraits",
		Backdrop: plan.Backdrop{Colour: plan.White, Distance: b.room.Backdrop.Distance},
		Targets:  plan.DefaultTargets(plan.White)}
	c := b.room.Camera
	p.Camera = plan.Camera{FNumber: c.FNumber, Shutter: c.Shutter, ISO: c.ISO, Sync: 1.0 / 200}
	for _, l := range b.room.Lights {
		scale := exposure.ThirdFractions
		if l.Click == exposure.Tenth {
			scale = exposure.TenthFractions
		}
		p.Lights = append(p.Lights, plan.Light{Role: plan.Role(l.Role), Group: l.Group, Power: l.Power, Scale: scale,
			Least: l.Least, Most: l.Most, Distance: l.Distance})
	}
	return p.Marshal()
}

// roomLight is a light of the boathouse as its controls show it.
type roomLight struct {
	Group     string   `json:"group"`
	Role      string   `json:"role"`
	Name      string   `json:"name"`
	PowerText string   `json:"power_text"`
	Settings  []string `json:"settings"`
	Index     int      `json:"index"` // of PowerText in Settings
	On        bool     `json:"on"`
	Distance  float64  `json:"distance_m"`
}

// ServeHTTP is the studio's controls: GET studio, POST light, frame, auto and tire.
func (b *boathouse) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	answer := func(v any) {
		w.Header().Set("Content-Type", "application/json")
		json.NewEncoder(w).Encode(v)
	}
	refuse := func(status int, text string) {
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(status)
		json.NewEncoder(w).Encode(map[string]any{"error": map[string]string{"code": "refused", "text": text}})
	}
	var body struct {
		Group    string   `json:"group"`
		Index    *int     `json:"index"`
		On       *bool    `json:"on"`
		Distance *float64 `json:"distance_m"`
	}
	if r.Method == http.MethodPost {
		d := json.NewDecoder(http.MaxBytesReader(w, r.Body, 4<<10))
		d.DisallowUnknownFields()
		if err := d.Decode(&body); err != nil {
			refuse(http.StatusBadRequest, "the request's body can't be read: "+err.Error())
			return
		}
	}
	switch r.Method + " " + strings.Trim(r.URL.Path, "/") {
	case "GET studio":
		answer(b.show())
	case "POST light":
		if err := b.set(body.Group, body.Index, body.On, body.Distance); err != nil {
			refuse(http.StatusUnprocessableEntity, err.Error())
			return
		}
		answer(b.show())
	case "POST frame":
		if _, err := b.shoot(); err != nil {
			refuse(http.StatusInternalServerError, err.Error())
			return
		}
		answer(b.show())
	case "POST auto":
		if body.On == nil {
			refuse(http.StatusUnprocessableEntity, `say {"on": true} or {"on": false}`)
			return
		}
		b.mu.Lock()
		b.auto = *body.On
		b.mu.Unlock()
		answer(b.show())
	case "POST tire":
		if body.On == nil {
			refuse(http.StatusUnprocessableEntity, `say {"on": true} or {"on": false}`)
			return
		}
		b.setTired(*body.On)
		answer(b.show())
	default:
		refuse(http.StatusNotFound, "the boathouse has no such control")
	}
}

func (b *boathouse) show() any {
	b.mu.Lock()
	defer b.mu.Unlock()
	lights := []roomLight{}
	for _, l := range b.room.Lights {
		scale := exposure.ThirdFractions
		if l.Click == exposure.Tenth {
			scale = exposure.TenthFractions
		}
		x := roomLight{Group: l.Group, Role: string(l.Role), Name: plan.Light{Role: plan.Role(l.Role), Group: l.Group}.Name(),
			PowerText: scale.Format(l.Power), On: l.On, Distance: float64(l.Distance)}
		for d := l.Least; d <= l.Most; d += l.Click {
			if d == l.Power {
				x.Index = len(x.Settings)
			}
			x.Settings = append(x.Settings, scale.Format(d))
		}
		lights = append(lights, x)
	}
	c := b.room.Camera
	return map[string]any{"lights": lights, "auto": b.auto, "tired": b.tire, "camera": fmt.Sprintf("%s, %s, %s", c.FNumber, c.Shutter, c.ISO)}
}

func (b *boathouse) set(group string, index *int, on *bool, distance *float64) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	l := b.room.Light(group)
	if l == nil {
		return fmt.Errorf("the boathouse has no light %q", group)
	}
	if distance != nil && !(*distance >= 0.3 && *distance <= 8) { // before anything is turned
		return fmt.Errorf("a light of the boathouse stands 0.3 to 8 m away, not %g m", *distance)
	}
	if index != nil {
		if *index < 0 || *index > int(l.Most-l.Least)/int(l.Click) {
			return fmt.Errorf("%s has no setting of the number %d", group, *index)
		}
		if err := l.Turn(l.Least + exposure.Dial(*index)*l.Click); err != nil {
			return err
		}
	}
	if on != nil {
		l.On = *on
	}
	if distance != nil {
		l.Distance = exposure.Metres(*distance)
	}
	return nil
}
