package dashboard

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"net/netip"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	goqr "github.com/piglig/go-qr"

	"thirdstop/dashboard/dashtest"
)

func pairBodyText(code, name string) string {
	text, _ := json.Marshal(map[string]string{"code": code, "name": name})
	return string(text)
}

func TestACodePairsOneDeviceOnce(t *testing.T) {
	b := start(t)
	if got := b.ask("GET", "/api/v1/state", ""); got.status != 401 || got.code() != "unpaired" {
		t.Fatalf("state before pairing = %d %s, want 401 unpaired, from this machine, too", got.status, got.code())
	}
	code, expires, url := b.s.NewCode(Lights)
	if want := "http://" + b.addr + "/#pair=" + strings.ReplaceAll(code, "-", ""); url != want {
		t.Errorf("url = %q, want %q", url, want)
	}
	if want := b.clock.now().Add(2 * time.Minute); !expires.Equal(want) {
		t.Errorf("the code expires %v, want %v", expires, want)
	}
	got := b.ask("POST", "/api/v1/pair", pairBodyText(strings.ToLower(code[:4]+" "+code[5:]), "tablet at the key"))
	if got.status != 200 {
		t.Fatalf("pairing with the code as a person may type it = %d %s, want 200", got.status, got.text)
	}
	answer := got.json(t)
	device := answer["device"].(map[string]any)
	if device["role"] != "lights" || device["name"] != "tablet at the key" {
		t.Errorf("device = %v, want the code's role and the name given", device)
	}
	cookie := got.header.Get("Set-Cookie")
	_, port, _ := strings.Cut(b.addr, ":")
	for _, part := range []string{"thirdstop_" + port + "=", "; HttpOnly", "; SameSite=Strict", "; Path=/", "; Max-Age=34560000"} {
		if !strings.Contains(cookie, part) {
			t.Errorf("the cookie %q lacks %q", cookie, part)
		}
	}
	value, _, _ := strings.Cut(cookie, ";")
	if got := b.ask("GET", "/api/v1/state", "", "Cookie: "+value); got.status != 200 {
		t.Errorf("state with the cookie = %d, want 200", got.status)
	} else if you := got.json(t)["you"].(map[string]any); you["device"] != device["id"] || you["role"] != "lights" {
		t.Errorf("you = %v, want the device that was paired", you)
	}
	if got := b.ask("GET", "/api/v1/state", "", "Authorization: Bearer "+answer["token"].(string)); got.status != 200 {
		t.Errorf("state with the token, as a script sends it = %d, want 200", got.status)
	}
	if got := b.ask("POST", "/api/v1/pair", pairBodyText(code, "another")); got.status != 403 || got.code() != "code" {
		t.Errorf("the same code again = %d %s, want 403 code", got.status, got.code())
	}
	secret := strings.ReplaceAll(code, "-", "")
	for _, s := range []string{secret, code, answer["token"].(string), "tablet at the key"} {
		if strings.Contains(b.log.String(), s) {
			t.Errorf("the log holds %q: %s", s, b.log)
		}
	}
}

func TestACodeLivesTwoMinutes(t *testing.T) {
	b := start(t)
	code, _, _ := b.s.NewCode(Shoots)
	b.clock.pass(2*time.Minute - time.Second)
	late, _, _ := b.s.NewCode(Shoots)
	b.clock.pass(time.Second)
	if got := b.ask("POST", "/api/v1/pair", pairBodyText(code, "x")); got.status != 403 {
		t.Errorf("a code two minutes old = %d, want 403", got.status)
	}
	if got := b.ask("POST", "/api/v1/pair", pairBodyText(late, "x")); got.status != 200 {
		t.Errorf("a code one second old = %d, want 200", got.status)
	}
	code, _, _ = b.s.NewCode(Shoots)
	b.clock.pass(2*time.Minute - time.Millisecond)
	if got := b.ask("POST", "/api/v1/pair", pairBodyText(code, "x")); got.status != 200 {
		t.Errorf("a code a millisecond under two minutes old = %d, want 200", got.status)
	}
}

func TestTwoWhoUseACodeAtOnceGetOneTokenBetweenThem(t *testing.T) {
	p := newPairing(func() time.Time { return dashtest.Began })
	code, _ := p.issue(Lights)
	var mu sync.Mutex
	won := 0
	var wg sync.WaitGroup
	for i := range 16 {
		wg.Go(func() {
			if _, err := p.redeem(netip.AddrFrom4([4]byte{10, 0, 0, byte(i)}), code); err == nil {
				mu.Lock()
				won++
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	if won != 1 {
		t.Errorf("%d of 16 got in with one code, want 1", won)
	}
}

func TestGuessingIsSlowedPerAddressAndInAll(t *testing.T) {
	c := &clock{t: dashtest.Began}
	p := newPairing(c.now)
	code, _ := p.issue(Lights)
	one := netip.MustParseAddr("192.0.2.1")
	tries := func(from netip.Addr) (n int) {
		for ; n < 100; n++ {
			if _, err := p.redeem(from, "WRONG"); err == errTooOften {
				return n
			}
		}
		return n
	}
	if n := tries(one); n != triesPerAddress {
		t.Errorf("%d tries from one address, want %d", n, triesPerAddress)
	}
	if _, err := p.redeem(one, code); err != errTooOften {
		t.Errorf("the right code after too many wrong ones = %v, want to be told to wait", err)
	}
	if n := tries(netip.MustParseAddr("::ffff:192.0.2.1")); n != 0 {
		t.Errorf("%d tries from the same address written as IPv6, want 0", n)
	}
	if n := tries(netip.MustParseAddr("2001:db8::1")); n != triesPerAddress {
		t.Errorf("%d tries from another address, want %d", n, triesPerAddress)
	}
	if n := tries(netip.MustParseAddr("2001:db8::2")); n != 0 {
		t.Errorf("%d tries from the same IPv6 network, want 0", n)
	}
	all := 2 * triesPerAddress
	for i := range 50 {
		all += tries(netip.AddrFrom4([4]byte{10, 0, 0, byte(i)}))
	}
	if all != triesInAll {
		t.Errorf("%d tries in all, want %d", all, triesInAll)
	}
	c.pass(addressRefill)
	if _, err := p.redeem(one, code); err != nil {
		t.Errorf("the right code after %v = %v, want it let in", addressRefill, err)
	}
}

func TestTooManyTriesAreAnsweredWithWhenToComeBack(t *testing.T) {
	b := start(t)
	var got reply
	for range triesPerAddress + 1 {
		got = b.ask("POST", "/api/v1/pair", pairBodyText("WRONG", "x"))
	}
	if got.status != 429 || got.code() != "too_often" || got.header.Get("Retry-After") != "12" {
		t.Errorf("the try after %d wrong ones = %d %s, Retry-After %q; want 429 too_often, 12", triesPerAddress, got.status, got.code(), got.header.Get("Retry-After"))
	}
}

func TestTheListOfAddressesThatTriedIsBounded(t *testing.T) {
	c := &clock{t: dashtest.Began}
	p := newPairing(c.now)
	for i := range 3 * mostAddresses {
		_, _ = p.redeem(netip.AddrFrom4([4]byte{10, byte(i >> 16), byte(i >> 8), byte(i)}), "WRONG")
		if i%100 == 99 {
			c.pass(time.Minute)
		}
	}
	if len(p.tries) > mostAddresses {
		t.Errorf("%d addresses are kept, want at most %d", len(p.tries), mostAddresses)
	}
	code, _ := p.issue(Looks)
	c.pass(time.Minute)
	if _, err := p.redeem(netip.MustParseAddr("192.0.2.1"), code); err != nil {
		t.Errorf("a new address after a flood = %v, want it let in", err)
	}
}

func TestCodesAreRandomAndWithoutLookAlikes(t *testing.T) {
	count := map[rune]int{}
	seen := map[string]bool{}
	const n = 3000
	for range n {
		c := randomCode()
		if len(c) != codeLength || seen[c] {
			t.Fatalf("code %q: wrong length or seen before", c)
		}
		seen[c] = true
		for _, r := range c {
			count[r]++
		}
	}
	for _, r := range "01258BILOQSZ" {
		if count[r] > 0 {
			t.Errorf("codes hold %q, which looks like another", r)
		}
	}
	mean := float64(n*codeLength) / float64(len(codeLetters)) // 1000; sd 31 (binomial, derived here)
	for r, k := range count {
		if float64(k) < mean-200 || float64(k) > mean+200 {
			t.Errorf("%q comes %d times, want about %.0f", r, k, mean)
		}
	}
	if len(count) != len(codeLetters) {
		t.Errorf("%d letters came, want %d", len(count), len(codeLetters))
	}
}

func TestOnlyEightCodesWait(t *testing.T) {
	p := newPairing(func() time.Time { return dashtest.Began })
	first, _ := p.issue(Shoots)
	for range mostCodes {
		p.issue(Lights)
	}
	if _, err := p.redeem(netip.MustParseAddr("192.0.2.1"), first); err != errWrongCode {
		t.Errorf("the oldest of nine codes = %v, want it gone", err)
	}
}

func TestAPhotographerMakesCodesOnThePage(t *testing.T) {
	b := start(t)
	shoots, _ := b.paired(Shoots)
	got := b.ask("POST", "/api/v1/pair/codes", `{"role":"looks"}`, shoots)
	v := got.json(t)
	if got.status != 200 || v["expires"] != timestamp(b.clock.now().Add(CodeLife)) {
		t.Fatalf("making a code = %d %s", got.status, got.text)
	}
	if in := b.ask("POST", "/api/v1/pair", pairBodyText(v["code"].(string), "x")); in.json(t)["device"].(map[string]any)["role"] != "looks" {
		t.Errorf("pairing with it = %s, want role looks", in.text)
	}
	if got := b.ask("POST", "/api/v1/pair/codes", `{"role":"king"}`, shoots); got.status != 400 {
		t.Errorf("a code for a role there is not = %d, want 400", got.status)
	}
}

// drawn reads a terminal's picture of a QR code back, eight pixels to a module.
func drawn(text string) image.Image {
	lines := strings.Split(strings.TrimSuffix(text, "\n"), "\n")
	strip := strings.NewReplacer("\x1b[38;5;16;48;5;231m", "", "\x1b[0m", "")
	width := len([]rune(strip.Replace(lines[0])))
	img := image.NewGray(image.Rect(0, 0, 8*width, 16*len(lines)))
	for y, line := range lines {
		for x, r := range []rune(strip.Replace(line)) {
			for i := range 128 {
				dark := r == '█' || r == '▀' && i < 64 || r == '▄' && i >= 64
				c := color.Gray{Y: 255}
				if dark {
					c.Y = 0
				}
				img.SetGray(8*x+i%8, 16*y+i/8, c)
			}
		}
	}
	return img
}

func TestTheTerminalsQRCodeReadsBack(t *testing.T) {
	const url = "http://192.168.1.20:7373/#pair=ACDE3467"
	text, err := QR(url)
	if err != nil {
		t.Fatal(err)
	}
	// The decoder belongs to the library that drew the modules; what it checks is our drawing of them.
	if got, err := goqr.Decode(drawn(text)); err != nil || got != url {
		t.Errorf("the drawn code reads %q (%v), want %q", got, err, url)
	}
	for i, line := range strings.Split(strings.TrimSuffix(text, "\n"), "\n") {
		if !strings.HasPrefix(line, "\x1b[38;5;16;48;5;231m    ") || !strings.HasSuffix(line, "    \x1b[0m") {
			t.Errorf("line %d lacks its colours or the four quiet modules at its sides (ISO/IEC 18004): %q", i, line)
		}
		if i < 2 && strings.ContainsAny(line, "█▀▄") {
			t.Errorf("line %d must be quiet: %q", i, line)
		}
	}
	rows, err := qrRows(url)
	if err != nil || len(rows) != len(rows[0]) || !strings.HasPrefix(rows[4], "....#######") {
		t.Errorf("rows for the page are not square or lack the corner pattern at (4,4): %v", rows)
	}
}

func TestOfATokenOnlyItsHashIsStored(t *testing.T) {
	path := filepath.Join(t.TempDir(), "devices.json")
	d, err := OpenDevices(path)
	if err != nil {
		t.Fatal(err)
	}
	dev, token, err := d.Add("tablet", Lights, dashtest.Began)
	if err != nil {
		t.Fatal(err)
	}
	if len(token) != 43 { // 256 bits in base64 without padding (RFC 4648)
		t.Errorf("the token has %d characters, want 43", len(token))
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Contains(text, []byte(token)) {
		t.Error("the file holds the token")
	}
	if info, _ := os.Stat(path); runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 {
		t.Errorf("the file's mode is %v, want 0600", info.Mode().Perm())
	}
	again, err := OpenDevices(path)
	if err != nil {
		t.Fatal(err)
	}
	if got, ok, err := again.byToken(token); err != nil || !ok || got != dev {
		t.Errorf("after a restart the token opens %v, %v, %v; want %v", got, ok, err, dev)
	}
	if _, ok, _ := again.byToken(sumOf(token)); ok {
		t.Error("the stored hash opens the door")
	}
	if left, _ := filepath.Glob(filepath.Join(filepath.Dir(path), ".devices-*")); len(left) > 0 {
		t.Errorf("temporary files are left: %v", left)
	}
}

func TestWhatAnotherProcessRevokesIsShutOut(t *testing.T) {
	path := filepath.Join(t.TempDir(), "devices.json")
	daemon, err := OpenDevices(path)
	if err != nil {
		t.Fatal(err)
	}
	a, tokenA, _ := daemon.Add("a", Lights, dashtest.Began)
	_, tokenB, _ := daemon.Add("b", Shoots, dashtest.Began)
	terminal, err := OpenDevices(path)
	if err != nil {
		t.Fatal(err)
	}
	if ok, err := terminal.Revoke(a.ID); !ok || err != nil {
		t.Fatalf("Revoke = %v, %v", ok, err)
	}
	if _, ok, _ := daemon.byToken(tokenA); ok {
		t.Error("the revoked token still opens the daemon")
	}
	if _, ok, _ := daemon.byToken(tokenB); !ok {
		t.Error("the other token no longer opens the daemon")
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	if _, ok, _ := daemon.byToken(tokenB); ok {
		t.Error("a token opens the daemon though the list was deleted")
	}
	if ok, err := daemon.Revoke("d-none"); ok || err != nil {
		t.Errorf("Revoke of nobody = %v, %v; want false, nil", ok, err)
	}
}

func TestADamagedListLetsNobodyIn(t *testing.T) {
	path := filepath.Join(t.TempDir(), "devices.json")
	d, _ := OpenDevices(path)
	_, token, err := d.Add("a", Shoots, dashtest.Began)
	if err != nil {
		t.Fatal(err)
	}
	whole, _ := os.ReadFile(path)
	for name, text := range map[string]string{
		"cut short":     string(whole[:len(whole)/2]),
		"empty":         "",
		"later version": `{"version":2,"devices":[]}`,
		"unknown role":  strings.Replace(string(whole), `"shoots"`, `"king"`, 1),
		"short hash":    strings.Replace(string(whole), `"token_sha256": "`, `"token_sha256": "zz`, 1),
		"unknown field": strings.Replace(string(whole), `"version"`, `"x":1,"version"`, 1),
		"reserved id":   strings.Replace(string(whole), `"id": "d-`, `"id": "local","name":"d-`, 1),
	} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := OpenDevices(path); err == nil || !strings.Contains(err.Error(), path) {
			t.Errorf("%s: OpenDevices = %v, want an error that names the file", name, err)
		}
		if _, ok, err := d.byToken(token); ok || err == nil {
			t.Errorf("%s: byToken = %v, %v; want nobody let in, and an error", name, ok, err)
		}
		if _, _, err := d.Add("b", Looks, dashtest.Began); err == nil {
			t.Errorf("%s: Add wrote over the damaged list", name)
		}
	}
}

func TestThereIsAnEndToDevices(t *testing.T) {
	d, _ := OpenDevices("")
	for i := range MostDevices {
		if _, _, err := d.Add(fmt.Sprint(i), Looks, dashtest.Began); err != nil {
			t.Fatal(err)
		}
	}
	if _, _, err := d.Add("one more", Looks, dashtest.Began); err != ErrTooManyDevices {
		t.Errorf("Add = %v, want ErrTooManyDevices", err)
	}
}

func FuzzParseDevices(f *testing.F) {
	f.Add([]byte(`{"version":1,"devices":[{"id":"d-1","name":"a","role":"looks","paired":"2026-11-25T09:00:00Z","token_sha256":"` + sumOf("x") + `"}]}`))
	f.Add([]byte(`{}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		list, err := parseDevices(text)
		if err != nil {
			return
		}
		// What is read can be written and reads the same.
		d := &Devices{path: filepath.Join(t.TempDir(), "d")}
		if err := d.save(list); err != nil {
			t.Fatalf("a list that was read can't be written: %v", err)
		}
		again, err := OpenDevices(d.path)
		if err != nil {
			t.Fatalf("a list that was written can't be read: %v", err)
		}
		if len(again.list) != len(list) {
			t.Fatalf("%d devices became %d", len(list), len(again.list))
		}
	})
}
