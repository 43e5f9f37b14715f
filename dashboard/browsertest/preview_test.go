package browsertest

import (
	"testing"

	"thirdstop/advise"
	"thirdstop/advise/shoot"
	"thirdstop/dashboard/browsertest/fake"
)

// What a preview tells is shown at once, says what it is, and gives way to the reading.
func TestAPreviewSaysThatItIsOne(t *testing.T) {
	t.Parallel()
	s := rigged((*fake.Shoot).Shot)
	p := open(t, 1180, 820, serve(t, s).url())
	p.until("the adjustment is on the board, to be recorded", `document.getElementById('advice').innerText.includes('I set it')`)
	a := s.Snapshot().State.Advice
	a.Frame++
	a.Adjustments = []advise.Adjustment{{Group: "B", Light: "Key (B)", From: -60, To: -70, ToText: "1/4 + 1/3", ChangeText: "power down 1/3 stop"}}
	s.Preview(&shoot.Provisional{Frame: advise.FrameState{Number: a.Frame}, Advice: a})
	p.until("the preview's advice is shown as one", `document.querySelector('.turn-set')?.innerText.includes('1/4 + 1/3') &&
		document.getElementById('advice').innerText.includes('by the preview')`)
	if text := eval[string](p, `document.getElementById('advice').innerText`); eval[bool](p, `!!document.querySelector('#advice button:not(.question button)')`) {
		t.Errorf("there is something to press on what a preview tells: %q", text)
	}
	s.Preview(nil)
	p.until("the advice that holds is back", `document.querySelector('.turn-set')?.innerText.includes('1/8 + 1/3') &&
		!document.getElementById('advice').innerText.includes('by the preview')`)
}
