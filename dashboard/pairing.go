package dashboard

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"errors"
	"net/netip"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// CodeLife is how long a pairing code can be used.
const CodeLife = 2 * time.Minute

// codeLetters are letters and digits that can't be taken for one another in bad light: no
// 0 O Q, 1 I L, 2 Z, 5 S, 8 B. 8 of 24 are 1.1e11 codes; with the limits below, which let
// 60 tries through in the life of a code, one is guessed with a chance of 6e-10 (derived here).
const (
	codeLetters = "34679ACDEFGHJKMNPRTUVWXY"
	codeLength  = 8
	mostCodes   = 8 // alive at a time; the oldest goes first
)

// How often a code may be tried: from one address, and in all.
const (
	triesPerAddress = 5
	triesInAll      = 20
	addressRefill   = 12 * time.Second
	allRefill       = 3 * time.Second
	mostAddresses   = 1024
)

var (
	errWrongCode = errors.New("wrong code")
	errTooOften  = errors.New("tried too often")
)

// pairing holds the codes that were issued and not used yet.
type pairing struct {
	now func() time.Time

	mu    sync.Mutex
	codes []code
	tries map[netip.Prefix]*rate.Limiter
	all   *rate.Limiter
}

type code struct {
	sum     [sha256.Size]byte
	role    Role
	expires time.Time
}

func newPairing(now func() time.Time) *pairing {
	return &pairing{
		now:   now,
		tries: map[netip.Prefix]*rate.Limiter{},
		all:   rate.NewLimiter(rate.Every(allRefill), triesInAll),
	}
}

// issue makes a code, as it is to be shown.
func (p *pairing) issue(role Role) (string, time.Time) {
	text := randomCode()
	p.mu.Lock()
	defer p.mu.Unlock()
	now := p.now()
	p.drop(now)
	if len(p.codes) >= mostCodes {
		p.codes = slices.Delete(p.codes, 0, 1)
	}
	expires := now.Add(CodeLife)
	p.codes = append(p.codes, code{sha256.Sum256([]byte(text)), role, expires})
	return text, expires
}

func (p *pairing) drop(now time.Time) {
	p.codes = slices.DeleteFunc(p.codes, func(c code) bool { return !now.Before(c.expires) })
}

// redeem uses a code up and says which role it was for.
func (p *pairing) redeem(from netip.Addr, text string) (Role, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	now := p.now()
	if !p.allow(from, now) {
		return "", errTooOften
	}
	p.drop(now)
	sum := sha256.Sum256([]byte(plainCode(text)))
	found := -1
	for i := range p.codes { // all of them, so that the time taken tells nothing
		if subtle.ConstantTimeCompare(sum[:], p.codes[i].sum[:]) == 1 {
			found = i
		}
	}
	if found < 0 {
		return "", errWrongCode
	}
	role := p.codes[found].role
	p.codes = slices.Delete(p.codes, found, found+1)
	return role, nil
}

// allow counts a try. The address comes first, so that one alone can't use up
// what all have together.
func (p *pairing) allow(from netip.Addr, now time.Time) bool {
	bits := 32
	from = from.Unmap().WithZone("")
	if from.Is6() {
		bits = 64 // a machine has a whole /64 to call from
	}
	key, _ := from.Prefix(bits)
	l := p.tries[key]
	if l == nil {
		if len(p.tries) >= mostAddresses {
			for k, old := range p.tries {
				if old.TokensAt(now) >= triesPerAddress {
					delete(p.tries, k)
				}
			}
			if len(p.tries) >= mostAddresses {
				return false
			}
		}
		l = rate.NewLimiter(rate.Every(addressRefill), triesPerAddress)
		p.tries[key] = l
	}
	return l.AllowN(now, 1) && p.all.AllowN(now, 1)
}

// plainCode takes away what people add when they copy a code.
func plainCode(text string) string {
	return strings.ToUpper(strings.NewReplacer(" ", "", "-", "").Replace(text))
}

func randomCode() string {
	const fair = 256 - 256%len(codeLetters) // bytes from here on would favour the first letters
	var out []byte
	for len(out) < codeLength {
		var b [codeLength]byte
		rand.Read(b[:])
		for _, x := range b {
			if int(x) < fair && len(out) < codeLength {
				out = append(out, codeLetters[int(x)%len(codeLetters)])
			}
		}
	}
	return string(out)
}
