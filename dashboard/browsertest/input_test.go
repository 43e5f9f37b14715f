package browsertest

import (
	"context"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
)

type chromedpVoid = chromedp.Void

// tap presses and lets go at one point, in pixels of the window.
func (p *tab) tap(x, y float64) {
	p.t.Helper()
	p.do(chromedp.MouseClickXY(x, y))
}

// drag draws from one point to another.
func (p *tab) drag(x0, y0, x1, y1 float64) {
	p.t.Helper()
	left := func(m *input.DispatchMouseEventParams) { m.Button = input.MouseButtonLeft }
	p.do(chromedp.MouseEvent(chromedp.MousePressed, x0, y0, left),
		chromedp.MouseEvent(chromedp.MouseMoved, (x0+x1)/2, (y0+y1)/2, left),
		chromedp.MouseEvent(chromedp.MouseMoved, x1, y1, left),
		chromedp.MouseEvent(chromedp.MouseReleased, x1, y1, left))
}

// offline takes the network away from a tab, or gives it back.
func (p *tab) offline(gone bool) {
	p.t.Helper()
	p.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, network.OverrideNetworkState, network.OverrideNetworkStateParams{Offline: gone, DownloadThroughput: -1, UploadThroughput: -1})
		if err != nil {
			return err
		}
		_, err = cdp.Call(ctx, t, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{MatchedNetworkConditions: []*network.Conditions{{Offline: gone, DownloadThroughput: -1, UploadThroughput: -1}}})
		return err
	}))
}
