package dashboard

import (
	"context"
	"fmt"
	"image/jpeg"
	"strings"
	"sync"
	"testing"
	"time"

	"thirdstop/advise/shoot"
	"thirdstop/dashboard/dashtest"
)

func startState() *shoot.Snapshot { return dashtest.New().Snapshot() }

func TestTheStateDocumentHoldsTheWholeView(t *testing.T) {
	b := start(t, open)
	b.clock.pass(1500 * time.Millisecond)
	v := b.ask("GET", "/api/v1/state", "").json(t)
	for path, want := range map[string]any{
		"type": "state", "state": 4.0, "server_time": "2026-11-25T09:00:01.500Z", "demo": false,
		"shoot.id": "2026-11-25-alder-quay", "shoot.began": "2026-11-25T09:00:00.000Z", "shoot.phase": "begun",
		"you.device": "local", "you.role": "shoots",
		"advice.headline": "Key (B): power down 2/3 stop, set 1/8 + 1/3", "question.number": 1.0,
		"camera.text": "f/8, ISO 100, 1/125 s", "camera.f_number": 8.0, "camera.iso": 100.0, "camera.shutter_s": 0.008,
		"frame.number": 3.0, "frame.file_name": "AQ_0003.jpg", "frame.picture": "/api/v1/frames/3/picture?rev=1", "frame_count": 3.0,
		"reference": nil, "baseline": nil, "sitter": "", "plan.name": "boathouse.yaml", "plan.present": true,
		"recording": "", "measuring": 0.0, "latency_ms": 84.5, "last_event": 4.0,
	} {
		var at any = v
		for _, key := range strings.Split(path, ".") {
			m, ok := at.(map[string]any)
			if _, there := m[key]; !ok || !there {
				t.Errorf("the state has no %s", path)
			}
			at = m[key]
		}
		if at != want {
			t.Errorf("%s = %v, want %v", path, at, want)
		}
	}
	for _, path := range []string{"lights", "troubles"} {
		if _, ok := v[path].([]any); !ok {
			t.Errorf("%s = %v, want a list even if it is empty", path, v[path])
		}
	}
	for _, path := range []string{"adjustments", "expected", "ways", "warnings"} {
		if _, ok := v["advice"].(map[string]any)[path].([]any); !ok {
			t.Errorf("advice.%s is no list", path)
		}
	}
}

func TestAStateBeforeAnyFrameOrPlanIsWhole(t *testing.T) {
	b := start(t, open)
	b.sh.Change(func(s *shoot.Snapshot) { *s = shoot.Snapshot{ID: "x", Began: dashtest.Began} })
	v := b.ask("GET", "/api/v1/state", "").json(t)
	if v["frame"] != nil || v["latency_ms"] != nil || v["plan"].(map[string]any)["present"] != false || v["camera"].(map[string]any)["f_number"] != nil {
		t.Errorf("state = %v, want nulls for what is not known", v)
	}
	if _, ok := v["lights"].([]any); !ok {
		t.Errorf("lights = %v, want an empty list", v["lights"])
	}
	if got := b.ask("POST", "/api/v1/adjustments", `{"client":"a","seen":0,"group":"B","to":0}`); got.status != 422 || !strings.Contains(got.text, "plan") {
		t.Errorf("an adjustment without a plan = %d %s, want 422 that speaks of a plan", got.status, got.text)
	}
}

func TestErasedWordsDoNotLiveOnInTheState(t *testing.T) {
	b := start(t, open)
	if got := b.ask("GET", "/api/v1/state", ""); !strings.Contains(got.text, "AQ_0003") {
		t.Fatalf("the state lacks the file's name: %s", got.text)
	}
	b.sh.Erase("f3")
	b.clock.pass(viewLife)
	if got := b.ask("GET", "/api/v1/state", ""); strings.Contains(got.text, "AQ_0003") {
		t.Error("the state still holds a name that was erased")
	}
}

func TestTheStateIsLeanAndOneReadingIsWhole(t *testing.T) {
	b := start(t, open)
	b.ask("GET", "/api/v1/state", "")
	bits := func(r reply) (string, int) {
		frame := r.json(t)
		if f, ok := frame["frame"].(map[string]any); ok {
			frame = f
		}
		back := frame["reading"].(map[string]any)["regions"].(map[string]any)["backdrop"].(map[string]any)
		return back["mask"].(map[string]any)["bits"].(string), len(back["codes"].(map[string]any)["r"].([]any))
	}
	if m, n := bits(b.ask("GET", "/api/v1/state", "")); m != "" || n != 0 {
		t.Errorf("the state's frame has a mask of %q and %d codes, want neither", m, n)
	}
	if m, n := bits(b.ask("GET", "/api/v1/readings/3", "")); m != "//8=" || n != 256 {
		t.Errorf("the reading has a mask of %q and %d codes, want //8= and 256: the shared snapshot must stay as it is", m, n)
	}
	if got := b.ask("GET", "/api/v1/readings/9", ""); got.status != 404 || got.code() != "no_such_frame" {
		t.Errorf("reading 9 = %d %s, want 404 no_such_frame", got.status, got.code())
	}
	for _, path := range []string{"/api/v1/readings/x", "/api/v1/readings/0", "/api/v1/readings?limit=-1", "/api/v1/readings?before=x", "/api/v1/events?after=-1"} {
		if got := b.ask("GET", path, ""); got.status != 400 {
			t.Errorf("GET %s = %d, want 400", path, got.status)
		}
	}
}

func TestReadingsAreLeafedThroughFromTheNewest(t *testing.T) {
	b := start(t, open)
	for range 4 {
		b.sh.AddFrame()
	}
	var got []string
	before := ""
	for page := 0; page < 10; page++ {
		v := b.ask("GET", "/api/v1/readings?limit=3"+before, "").json(t)
		for _, r := range v["readings"].([]any) {
			n := r.(map[string]any)["number"].(float64)
			got = append(got, fmt.Sprint(n))
			before = fmt.Sprintf("&before=%v", n)
		}
		if v["more"] == false {
			break
		}
	}
	if s := strings.Join(got, " "); s != "7 6 5 4 3 2 1" {
		t.Errorf("readings came as %s, want 7 6 5 4 3 2 1", s)
	}
}

func TestEventsAreCaughtUpFromANumber(t *testing.T) {
	b := start(t, open)
	v := b.ask("GET", "/api/v1/events?after=1&limit=2", "").json(t)
	events := v["events"].([]any)
	if len(events) != 2 || events[0].(map[string]any)["number"] != 2.0 || v["last"] != 4.0 || v["more"] != true {
		t.Errorf("events after 1 = %v", v)
	}
	if e := events[0].(map[string]any); e["words"] != "AQ_0001.jpg" || e["kind"] != "frame" {
		t.Errorf("event 2 = %v, want frame 1 with its file's name in words", e)
	}
	v = b.ask("GET", "/api/v1/events?after=4", "").json(t)
	if list, ok := v["events"].([]any); !ok || len(list) != 0 || v["more"] != false || v["last"] != 4.0 {
		t.Errorf("events after the last = %v, want none", v)
	}
}

func TestAPictureIsMadeOnceAndTaggedByItsRevision(t *testing.T) {
	b := start(t, open)
	var wg sync.WaitGroup
	for range 20 {
		wg.Go(func() {
			if got := b.ask("GET", "/api/v1/frames/2/picture?edge=300&rev=1", ""); got.status != 200 || got.header.Get("Content-Type") != "image/jpeg" {
				t.Errorf("picture = %d %s", got.status, got.header.Get("Content-Type"))
			} else if img, err := jpeg.Decode(strings.NewReader(got.text)); err != nil || img.Bounds().Dx() != 512 {
				t.Errorf("picture with edge 300 = %v (%v), want 512 wide: the next size up", img.Bounds(), err)
			}
		})
	}
	wg.Wait()
	if n := b.sh.Thumbnails(); n != 1 {
		t.Errorf("20 tablets made the picture %d times, want once", n)
	}
	tag := b.ask("GET", "/api/v1/frames/2/picture?edge=512", "").header.Get("ETag")
	if got := b.ask("GET", "/api/v1/frames/2/picture?edge=512", "", "If-None-Match: "+tag); got.status != 304 || got.text != "" {
		t.Errorf("the picture again with its tag = %d, want 304", got.status)
	}
	b.sh.Revise(2)
	if got := b.ask("GET", "/api/v1/frames/2/picture?edge=512", "", "If-None-Match: "+tag); got.status != 200 || got.header.Get("ETag") == tag {
		t.Errorf("the picture of a new revision = %d with tag %s, want 200 and another tag", got.status, got.header.Get("ETag"))
	}
	for path, want := range map[string]int{"99/picture": 404, "x/picture": 400, "2/picture?edge=0": 400, "2/picture?edge=100000": 200} {
		if got := b.ask("GET", "/api/v1/frames/"+path, ""); got.status != want {
			t.Errorf("frames/%s = %d, want %d", path, got.status, want)
		}
	}
}

// waiting is a context that tells when somebody waits on it.
type waiting struct {
	context.Context
	asked chan<- bool
}

func (w waiting) Done() <-chan struct{} {
	w.asked <- true
	return w.Context.Done()
}

func TestWhoWaitedForAPictureTakesTheOneThatWasMade(t *testing.T) {
	made, going, release := 0, make(chan bool, 10), make(chan bool)
	p := newPictures(func(context.Context, int, int) ([]byte, error) {
		made++ // one at a time, so this needs no lock
		going <- true
		<-release
		return []byte("jpeg"), nil
	})
	const tablets = 5
	asked := make(chan bool, tablets+1)
	var wg sync.WaitGroup
	get := func() {
		if jpeg, err := p.get(waiting{context.Background(), asked}, pictureKey{1, 1, 256}); err != nil || string(jpeg) != "jpeg" {
			t.Errorf("get = %q, %v", jpeg, err)
		}
	}
	wg.Go(get)
	<-going
	<-asked
	for range tablets {
		wg.Go(get)
	}
	for range tablets {
		<-asked // found nothing kept, and is about to wait for its turn
	}
	close(release)
	wg.Wait()
	if made != 1 {
		t.Errorf("the picture was made %d times, want once", made)
	}
	stopped, stop := context.WithCancel(context.Background())
	stop()
	p.turn <- struct{}{} // somebody makes a picture
	if _, err := p.get(stopped, pictureKey{2, 1, 256}); err != context.Canceled {
		t.Errorf("who goes away while waiting gets %v, want context.Canceled", err)
	}
}

func TestKeptPicturesAreBounded(t *testing.T) {
	p := newPictures(nil)
	p.make = dashPicture(3 << 20)
	for i := range 30 {
		if _, err := p.get(t.Context(), pictureKey{i, 1, 256}); err != nil {
			t.Fatal(err)
		}
	}
	if p.bytes > keptPictures || len(p.kept) != len(p.order) || len(p.kept) != 10 {
		t.Errorf("%d pictures of 3 MiB with %d bytes are kept, want 10 in %d", len(p.kept), p.bytes, keptPictures)
	}
	if _, ok := p.look(pictureKey{29, 1, 256}); !ok {
		t.Error("the newest picture is not kept")
	}
}

func TestHealthSaysWhetherAllIsRecordedAndNothingElse(t *testing.T) {
	b := start(t)
	if got := b.ask("GET", "/healthz", ""); got.status != 200 || got.text != `{"recording":true,"version":"test"}` {
		t.Errorf("healthz = %d %s", got.status, got.text)
	}
	b.sh.Change(func(s *shoot.Snapshot) { s.Recording = "the disk is full" })
	if got := b.ask("GET", "/healthz", ""); got.status != 503 || strings.Contains(got.text, "disk") {
		t.Errorf("healthz while nothing is recorded = %d %s, want 503 without details", got.status, got.text)
	}
}

func TestPagesAreHandedOutUnderOneHash(t *testing.T) {
	b := start(t)
	got := b.ask("GET", "/", "")
	prefix := b.s.pages.prefix
	if want := `<script type="module" src="` + prefix + `main.js"></script><link href="` + prefix + `base.css">`; got.text != want {
		t.Errorf("index = %s, want %s", got.text, want)
	}
	if got.header.Get("Cache-Control") != "no-cache" {
		t.Errorf("the index's Cache-Control = %q, want no-cache", got.header.Get("Cache-Control"))
	}
	for name, kind := range map[string]string{"main.js": "text/javascript; charset=utf-8", "base.css": "text/css; charset=utf-8", "sub/x.js": "text/javascript; charset=utf-8"} {
		got := b.ask("GET", prefix+name, "")
		if got.status != 200 || got.header.Get("Content-Type") != kind || !strings.Contains(got.header.Get("Cache-Control"), "immutable") {
			t.Errorf("%s = %d %s %s", name, got.status, got.header.Get("Content-Type"), got.header.Get("Cache-Control"))
		}
	}
	for _, path := range []string{prefix + "web.go", prefix + "NOTES.md", prefix + "secret/key.pem", prefix + "index.html", prefix, prefix + "sub", prefix + "../web.go", "/assets/0000000000000000/main.js", "/main.js", "/web.go"} {
		if got := b.ask("GET", path, ""); got.status == 200 {
			t.Errorf("GET %s = 200, want it kept", path)
		}
	}
	other := map[string]string{}
	for name, f := range testPages {
		other[name] = string(f.Data)
	}
	changed := testPages["sub/x.js"]
	defer func() { testPages["sub/x.js"] = changed }()
	p1, _ := readPages(testPages)
	testPages["sub/x.js"] = testPages["web.go"]
	p2, _ := readPages(testPages)
	if p1.prefix == p2.prefix {
		t.Error("a file changed and the assets' address did not")
	}
}

func TestEveryAnswerCarriesTheSecurityHeaders(t *testing.T) {
	b := start(t)
	for _, path := range []string{"/", b.s.pages.prefix + "main.js", "/api/v1/state", "/healthz", "/nothing", "/api/nothing"} {
		h := b.ask("GET", path, "").header
		for name, want := range map[string]string{
			"X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer",
			"Cross-Origin-Opener-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin",
		} {
			if h.Get(name) != want {
				t.Errorf("GET %s: %s = %q, want %q", path, name, h.Get(name), want)
			}
		}
		csp := h.Get("Content-Security-Policy")
		for _, part := range []string{"default-src 'none'", "frame-ancestors 'none'", "base-uri 'none'", "form-action 'none'", "script-src 'self'"} {
			if !strings.Contains(csp, part) {
				t.Errorf("GET %s: the content policy %q lacks %s", path, csp, part)
			}
		}
		if strings.Contains(csp, "unsafe") || strings.Contains(csp, "*") {
			t.Errorf("GET %s: the content policy is loose: %s", path, csp)
		}
		if strings.HasPrefix(path, "/api") && h.Get("Cache-Control") != "no-store" {
			t.Errorf("GET %s: Cache-Control = %q, want no-store", path, h.Get("Cache-Control"))
		}
	}
}

// Every line says from which device it came, by its name while it is paired.
func TestEventsNameTheDevicesTheyCameFrom(t *testing.T) {
	b := start(t)
	add := func(name string) (header, id string) {
		d, token, err := b.s.cfg.Devices.Add(name, Lights, b.clock.now())
		if err != nil {
			t.Fatal(err)
		}
		return "Authorization: Bearer " + token, d.ID
	}
	key, keyID := add("tablet at the key")
	window, windowID := add("tablet by the window")
	for _, who := range []string{key, window} {
		if got := b.ask("POST", "/api/v1/notes", `{"client":"n","seen":0,"text":"moved the stand"}`, who); got.status != 200 {
			t.Fatalf("a note = %d %s", got.status, got.text)
		}
	}
	named := func(want map[string]string) {
		t.Helper()
		for _, e := range b.ask("GET", "/api/v1/events?after=0", "", window).json(t)["events"].([]any) {
			line := e.(map[string]any)
			by, _ := line["by"].(map[string]any)
			id, _ := by["device"].(string)
			if name, ok := want[id]; ok && line["by_name"] != name {
				t.Errorf("the line %v of device %s is by %q, want %q", line["text"], id, line["by_name"], name)
			}
			delete(want, id)
		}
		if len(want) > 0 {
			t.Errorf("no line came from %v", want)
		}
	}
	named(map[string]string{keyID: "tablet at the key", windowID: "tablet by the window"})
	if ok, err := b.s.cfg.Devices.Revoke(keyID); !ok || err != nil {
		t.Fatalf("revoking = %v, %v", ok, err)
	}
	if got := b.ask("GET", "/api/v1/events?after=0", "", key); got.status != 401 {
		t.Errorf("the log for a revoked device = %d, want 401", got.status)
	}
	named(map[string]string{keyID: "", windowID: "tablet by the window"})
}
