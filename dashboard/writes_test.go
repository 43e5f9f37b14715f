package dashboard

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"thirdstop/advise"
	"thirdstop/advise/shoot"
	"thirdstop/assess"
	"thirdstop/assess/exposure"
)

func TestAWriteIsAnsweredWithItsReceiptAndARepeatWithTheSame(t *testing.T) {
	b := start(t)
	lights, id := b.paired(Lights)
	seen := b.sh.Snapshot().State.Seq
	body := fmt.Sprintf(`{"client":"tap-1","seen":%d,"group":"b","to_text":"1/8+1/3"}`, seen)
	first := b.ask("POST", "/api/v1/adjustments", body, lights)
	if v := first.json(t); first.status != 200 || v["state"] != float64(seen+1) || v["repeat"] != false || v["event"] != 5.0 {
		t.Fatalf("first = %d %s, want state %d, event 5, repeat false", first.status, first.text, seen+1)
	}
	second := b.ask("POST", "/api/v1/adjustments", body, lights)
	if v := second.json(t); second.status != 200 || v["state"] != float64(seen+1) || v["repeat"] != true {
		t.Errorf("the same again = %d %s, want the first receipt with repeat true though the state has moved on", second.status, second.text)
	}
	reqs := b.sh.Requests()
	if len(reqs) != 1 {
		t.Fatalf("%d requests took effect, want 1", len(reqs))
	}
	r := reqs[0]
	want := advise.Adjusted{Group: "B", From: -2 * exposure.Stop, To: -3*exposure.Stop + exposure.Third}
	if *r.Adjusted != want || r.By != (advise.Actor{Device: id, Role: "lights"}) || r.Seen != seen {
		t.Errorf("request = %+v %+v, want %+v by %s", r, *r.Adjusted, want, id)
	}
}

// An id that stood for one action is not answered with that one's receipt when it comes with another.
func TestAReusedClientIdWithAnotherBodyIsRefused(t *testing.T) {
	b := start(t)
	who, _ := b.paired(Lights)
	if got := b.ask("POST", "/api/v1/notes", `{"client":"n","seen":0,"text":"moved the stand"}`, who); got.status != 200 {
		t.Fatalf("a note = %d %s", got.status, got.text)
	}
	for body, path := range map[string]string{
		`{"client":"n","seen":0,"text":"moved the sandbag"}`: "/api/v1/notes",
		`{"client":"n","seen":0,"group":"B","to":-80}`:       "/api/v1/adjustments",
	} {
		got := b.ask("POST", path, body, who)
		if got.status != 422 || got.code() != "client_reused" || !strings.Contains(got.text, "nothing was done") {
			t.Errorf("%s with an id that was used = %d %s, want 422 client_reused", body, got.status, got.text)
		}
	}
	// The same action, however it is written and whatever state was seen meanwhile, is a repeat.
	if got := b.ask("POST", "/api/v1/notes", `{ "text": "moved the \u0073tand", "seen": 3, "client": "n" }`, who); got.status != 200 || got.json(t)["repeat"] != true {
		t.Errorf("the same note written otherwise = %d %s, want the first receipt", got.status, got.text)
	}
	if n := len(b.sh.Requests()); n != 1 {
		t.Errorf("%d requests took effect, want the first note alone", n)
	}
	// What was refused did nothing: its id is free.
	seen := b.sh.Snapshot().State.Seq
	b.sh.AddFrame()
	if got := b.ask("POST", "/api/v1/adjustments", fmt.Sprintf(`{"client":"a","seen":%d,"group":"B","to":-80}`, seen), who); got.status != 409 {
		t.Fatalf("a stale write = %d %s", got.status, got.text)
	}
	if got := b.ask("POST", "/api/v1/adjustments", `{"client":"a","seen":0,"group":"B","to":-90}`, who); got.status != 200 || got.json(t)["repeat"] != false {
		t.Errorf("another write under the id of a refused one = %d %s, want it done", got.status, got.text)
	}
}

func TestAnotherDevicesClientIdIsAnotherAction(t *testing.T) {
	b := start(t)
	one, _ := b.paired(Lights)
	two, _ := b.paired(Lights)
	for _, who := range []string{one, two} {
		if got := b.ask("POST", "/api/v1/notes", `{"client":"same","seen":0,"text":"moved the stand"}`, who); got.json(t)["repeat"] != false {
			t.Errorf("a note with an id that another device used = %s, want it done", got.text)
		}
	}
	if n := len(b.sh.Requests()); n != 2 {
		t.Errorf("%d notes took effect, want 2", n)
	}
}

func TestAStaleWriteIsRefusedWithTheStateAsItIsNow(t *testing.T) {
	b := start(t, open)
	seen := b.sh.Snapshot().State.Seq
	b.sh.AddFrame()
	got := b.ask("POST", "/api/v1/adjustments", fmt.Sprintf(`{"client":"a","seen":%d,"group":"B","to":-80}`, seen))
	v := got.json(t)
	if got.status != 409 || got.code() != "stale" {
		t.Fatalf("a write on an old state = %d %s, want 409 stale", got.status, got.text)
	}
	current := v["current"].(map[string]any)
	if current["state"] != float64(seen+1) || current["frame"].(map[string]any)["number"] != 4.0 || current["type"] != "state" {
		t.Errorf("current = %v, want the whole state %d with frame 4", current, seen+1)
	}
	if n := len(b.sh.Requests()); n != 0 {
		t.Errorf("%d requests took effect, want none", n)
	}
	if got := b.ask("POST", "/api/v1/adjustments", `{"client":"a","seen":0,"group":"B","to":-80}`); got.status != 200 {
		t.Errorf("the same with seen 0 = %d, want 200: it waives the check", got.status)
	}
}

func TestTheShootsRefusalsKeepTheirMeaning(t *testing.T) {
	b := start(t, open)
	for _, c := range []struct {
		err    error
		status int
		code   string
	}{
		{fmt.Errorf("%w: there is no baseline yet", shoot.ErrRefused), 422, "refused"},
		{fmt.Errorf("%w: the disk is full", shoot.ErrNotRecorded), 503, "not_recorded"},
		{fmt.Errorf("frame 9: %w", shoot.ErrNoFrame), 404, "no_such_frame"},
		{errors.New("secret detail"), 500, "internal"},
	} {
		b.sh.Fail(c.err)
		got := b.ask("POST", "/api/v1/baseline", `{"client":"x","seen":0,"frame":9}`)
		if got.status != c.status || got.code() != c.code {
			t.Errorf("%v = %d %s, want %d %s", c.err, got.status, got.code(), c.status, c.code)
		}
		if said := strings.Contains(got.text, strings.TrimPrefix(c.err.Error(), "refused: ")); said == (c.status == 500) {
			t.Errorf("%v was answered with %s: refusals are told, our own faults are not", c.err, got.text)
		}
	}
	if !strings.Contains(b.log.String(), "secret detail") {
		t.Error("our own fault is not in the log")
	}
}

func TestEveryWriteReachesTheShootAsItWasMeant(t *testing.T) {
	no, metres := false, exposure.Metres(1.25)
	note, name := "umbrella sagged", "Second rower"
	for _, c := range []struct {
		path, rest string
		want       shoot.Request
	}{
		{"adjustments", `"group":"B","to":-70`, shoot.Request{Adjusted: &advise.Adjusted{Group: "B", From: -60, To: -70}}},
		{"adjustments", `"group":"A","off":false`, shoot.Request{Adjusted: &advise.Adjusted{Group: "A", From: -60, To: -60, Off: &no}}},
		{"adjustments", `"group":"A","distance_m":1.25`, shoot.Request{Adjusted: &advise.Adjusted{Group: "A", From: -60, To: -60, Distance: &metres}}},
		{"adjustments", `"group":"B","to":-80,"to_text":"1/8 + 1/3"`, shoot.Request{Adjusted: &advise.Adjusted{Group: "B", From: -60, To: -80}}},
		{"white-reference", `"frame":2,"box":{"x0":0.25,"y0":0.5,"x1":0.5,"y1":0.75}`, shoot.Request{Reference: &advise.Reference{Frame: 2, Box: &assess.Box{X0: .25, Y0: .5, X1: .5, Y1: .75}}}},
		{"white-reference", `"frame":2,"box":null`, shoot.Request{Reference: &advise.Reference{Frame: 2}}},
		{"marks", `"part":"backdrop","frame":2,"box":{"x0":0,"y0":0,"x1":1,"y1":0.5}`, shoot.Request{Marked: &advise.Marked{Frame: 2, Part: advise.BackdropPart, Box: &assess.Box{X1: 1, Y1: .5}}}},
		{"marks", `"part":"empty","frame":2`, shoot.Request{Marked: &advise.Marked{Frame: 2, Part: advise.EmptyPart}}},
		{"marks", `"part":"face","back":true`, shoot.Request{Marked: &advise.Marked{Part: advise.FacePart, Back: true}}},
		{"notes", `"text":"  umbrella sagged\n"`, shoot.Request{Note: &note}},
		{"sitters", `"name":"Second rower"`, shoot.Request{Sitter: &name}},
		{"answers", `"question":1,"yes":false`, shoot.Request{Answer: &advise.Answer{Question: 1}}},
		{"not-now", `"advice":3`, shoot.Request{NotNow: &advise.NotNow{Advice: 3}}},
		{"baseline", `"frame":3`, shoot.Request{Baseline: &advise.Baseline{Frame: 3}}},
		{"end", ``, shoot.Request{End: true}},
	} {
		b := start(t, open)
		body := `{"client":"c","seen":0,` + c.rest + `}`
		if c.rest == "" {
			body = `{"client":"c","seen":0}`
		}
		got := b.ask("POST", "/api/v1/"+c.path, body)
		reqs := b.sh.Requests()
		if got.status != 200 || len(reqs) != 1 {
			t.Errorf("POST %s %s = %d %s", c.path, body, got.status, got.text)
			continue
		}
		c.want.Client, c.want.By = "local/c", advise.Actor{Device: "local", Role: "shoots"}
		have, _ := marshal(reqs[0])
		want, _ := marshal(c.want)
		if string(have) != string(want) {
			t.Errorf("POST %s %s reached the shoot as\n%s, want\n%s", c.path, body, have, want)
		}
	}
}

func TestABodyThatIsWrongIsRefusedByName(t *testing.T) {
	b := start(t, open)
	const a = `"client":"c","seen":0`
	for _, c := range []struct {
		path, body string
		status     int
		says       string
	}{
		{"notes", `{` + a + `,"text":"x","txt":"y"}`, 400, `no field "txt"`},
		{"notes", `{` + a + `,"Text":"x"}`, 400, `no field "Text"`},
		{"notes", `{` + a + `,"text":7}`, 400, `"text" must be a text`},
		{"notes", `{` + a + `,"text":"x","text":"y"}`, 400, `"text" stands twice`},
		{"notes", `{` + a + `,"text":"x"} x`, 400, "not JSON"},
		{"notes", `{` + a + `,"text":"x"`, 400, "not JSON"},
		{"notes", `[1]`, 400, "one JSON object"},
		{"notes", `null`, 400, "one JSON object"},
		{"notes", `{` + a + `}`, 400, `"text" is missing`},
		{"notes", `{` + a + `,"text":"   "}`, 400, `"text" must have 1 to 2000`},
		{"notes", `{` + a + `,"text":"` + strings.Repeat("x", 2001) + `"}`, 400, `1 to 2000`},
		{"notes", `{` + a + `,"text":"` + strings.Repeat("x", mostBody) + `"}`, 413, "over 16 KB"},
		{"notes", `{"seen":0,"text":"x"}`, 400, `"client" is missing`},
		{"notes", `{"client":"a b","seen":0,"text":"x"}`, 400, `"client" must be 1 to 64`},
		{"notes", `{"client":"` + strings.Repeat("a", 65) + `","seen":0,"text":"x"}`, 400, `"client" must be 1 to 64`},
		{"notes", `{"client":"a","text":"x"}`, 400, `"seen" is missing`},
		{"notes", `{"client":"a","seen":-1,"text":"x"}`, 400, `"seen" must be a whole number, 0 or more`},
		{"adjustments", `{` + a + `}`, 400, `"group" is missing`},
		{"adjustments", `{` + a + `,"group":"B"}`, 400, "nothing is adjusted"},
		{"adjustments", `{` + a + `,"group":"B","to":-80.5}`, 400, `"to" must be a whole number`},
		{"adjustments", `{` + a + `,"group":"B","to":-80,"to_text":"1/4"}`, 400, "different settings"},
		{"adjustments", `{` + a + `,"group":"B","to_text":"bright"}`, 422, "1/8 + 1/3"},
		{"adjustments", `{` + a + `,"group":"B","to_text":"1/8 + 0.4"}`, 422, "between the clicks"},
		{"adjustments", `{` + a + `,"group":"B","to":-81}`, 422, "in clicks of 1/3 stop"},
		{"adjustments", `{` + a + `,"group":"B","to":10}`, 422, "from 1/128 to 1/1"},
		{"adjustments", `{` + a + `,"group":"Q","to":-80}`, 422, "the groups are A, B"},
		{"adjustments", `{` + a + `,"group":"B","distance_m":0}`, 400, "over 0"},
		{"adjustments", `{` + a + `,"group":"B","distance_m":1e999}`, 400, `"distance_m" must be a number`},
		{"marks", `{` + a + `,"frame":1}`, 400, `"part" is missing`},
		{"marks", `{` + a + `,"part":"face","frame":1}`, 400, `"box" is needed`},
		{"marks", `{` + a + `,"part":"face","box":{"x0":0,"y0":0,"x1":1,"y1":1}}`, 400, `"frame" is missing`},
		{"marks", `{` + a + `,"part":"empty","frame":1,"box":{"x0":0,"y0":0,"x1":1,"y1":1}}`, 400, `means nothing for "empty"`},
		{"marks", `{` + a + `,"part":"face","back":true,"box":{"x0":0,"y0":0,"x1":1,"y1":1}}`, 400, `makes no sense with "back"`},
		{"white-reference", `{` + a + `,"frame":1}`, 400, `"box" is missing`},
		{"white-reference", `{` + a + `,"box":null}`, 400, `"frame" is missing`},
		{"white-reference", `{` + a + `,"frame":1,"box":{"x0":0,"y0":0,"x1":1}}`, 400, "needs x0, y0, x1 and y1"},
		{"white-reference", `{` + a + `,"frame":1,"box":{"x0":0.5,"y0":0,"x1":0.5,"y1":1}}`, 400, "inside the frame"},
		{"white-reference", `{` + a + `,"frame":1,"box":{"x0":0,"y0":0,"x1":1.1,"y1":1}}`, 400, "inside the frame"},
		{"white-reference", `{` + a + `,"frame":1,"box":{"x0":0,"y0":0,"x1":1,"y1":1,"z":1}}`, 400, `no field "box.z"`},
		{"answers", `{` + a + `,"question":1}`, 400, `"yes" is missing`},
		{"answers", `{` + a + `,"question":99,"yes":true}`, 422, "does not wait any more"},
		{"plan/answers", `{` + a + `,"backdrop":"white"}`, 400, `"lights" is missing`},
		{"plan/answers", `{` + a + `,"backdrop":"white","lights":[{"pwr":"1/4"}]}`, 400, `no field "lights[0].pwr"`},
		{"plan/answers", `{` + a + `,"lights":[{"power":"1/4"}]}`, 400, `"backdrop" is missing`},
	} {
		got := b.ask("POST", "/api/v1/"+c.path, c.body)
		v := got.json(t)
		text, _ := v["error"].(map[string]any)["text"].(string)
		if got.status != c.status || !strings.Contains(text, c.says) {
			t.Errorf("POST %s %.80s = %d %q, want %d with %q", c.path, c.body, got.status, text, c.status, c.says)
		}
	}
	if n := len(b.sh.Requests()); n != 0 {
		t.Errorf("%d of these took effect, want none", n)
	}
}

func TestOnlyJSONIsRead(t *testing.T) {
	b := start(t, open)
	body := `{"client":"c","seen":0,"text":"x"}`
	for kind, want := range map[string]int{
		"application/json":                  200,
		"application/json; charset=UTF-8":   200,
		"application/json; charset=latin1":  415,
		"text/plain":                        415, // what a foreign page may send without asking first
		"application/x-www-form-urlencoded": 415,
		"multipart/form-data; boundary=x":   415,
		"":                                  415,
	} {
		if got := b.ask("POST", "/api/v1/notes", body, "Content-Type: "+kind); got.status != want {
			t.Errorf("Content-Type %q = %d, want %d", kind, got.status, want)
		}
	}
}

func TestAWrongPathOrMethodIsToldInJSON(t *testing.T) {
	b := start(t, open)
	if got := b.ask("GET", "/api/v1/nothing", ""); got.status != 404 || got.code() != "no_such_call" {
		t.Errorf("an unknown call = %d %s, want 404 no_such_call", got.status, got.code())
	}
	if got := b.ask("POST", "/api/v1/plan", `{}`); got.status != 405 || got.code() != "method" || got.header.Get("Allow") != "GET, PUT" {
		t.Errorf("POST plan = %d %s, Allow %q; want 405 method, GET, PUT", got.status, got.code(), got.header.Get("Allow"))
	}
}

func FuzzBodiesAreReadOrRefusedInASentence(f *testing.F) {
	for _, s := range []string{
		`{"client":"c","seen":0,"group":"B","to":-80}`, `{"client":"c","seen":0,"frame":2,"box":null}`,
		`{"client":"c","seen":0,"backdrop":"white","lights":[{"power":"1/4"}]}`, `{"a":{"b":[1,2,{"c":null}]}}`, `[`, `{"x":"\ud800"}`, ``,
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		for _, into := range []any{&adjustmentBody{}, &referenceBody{}, &planAnswersBody{}, &planBody{}, &noteBody{}, &pairBody{}} {
			err := parseBody(text, into)
			if err == nil {
				continue
			}
			var p *problem
			if !errors.As(err, &p) || p.status != 400 || p.Text == "" || strings.Contains(p.Text, "dashboard.") {
				t.Errorf("%T from %q: %v is no refusal for a person", into, text, err)
			}
		}
	})
}

func FuzzAdjustmentsStayOnTheDial(f *testing.F) {
	st := &startState().State
	f.Add("B", 3, "1/8", 1.0)
	f.Add("a", -81, "1/1 + 2/3", -1.0)
	f.Fuzz(func(t *testing.T, group string, to int, text string, metres float64) {
		dial := exposure.Dial(to)
		for _, b := range []adjustmentBody{{Group: &group, To: &dial}, {Group: &group, ToText: &text}, {Group: &group, Distance: &metres}} {
			a, err := adjusted(st, b)
			if err != nil {
				continue
			}
			if a.To < -7*exposure.Stop || a.To > 0 || a.To%exposure.Third != 0 || a.Distance != nil && !(*a.Distance > 0 && *a.Distance <= 200) {
				t.Errorf("adjusted(%q, %d, %q, %g) = %+v", group, to, text, metres, a)
			}
		}
	})
}
