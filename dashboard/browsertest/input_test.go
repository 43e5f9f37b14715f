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

// finger draws with a finger from one point to another; on one and the same it taps.
func (p *tab) finger(x0, y0, x1, y1 float64) {
	p.t.Helper()
	p.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		say := func(kind input.DispatchTouchEventType, at ...*input.TouchPoint) error {
			_, err := cdp.Call(ctx, t, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: kind, TouchPoints: append([]*input.TouchPoint{}, at...)})
			return err
		}
		if err := say(input.DispatchTouchEventTypeTouchStart, &input.TouchPoint{X: x0, Y: y0}); err != nil {
			return err
		}
		if x0 != x1 || y0 != y1 {
			for _, k := range []float64{0.5, 1} {
				if err := say(input.DispatchTouchEventTypeTouchMove, &input.TouchPoint{X: x0 + k*(x1-x0), Y: y0 + k*(y1-y0)}); err != nil {
					return err
				}
			}
		}
		return say(input.DispatchTouchEventTypeTouchEnd)
	}))
}

// drag draws with a mouse or a finger ("touch") from one point to another.
func (p *den) drag(kind string, x0, y0, x1, y1 float64) {
	p.t.Helper()
	at := func(x, y float64) map[string]any {
		return map[string]any{"type": "pointerMove", "x": int(x), "y": int(y)}
	}
	p.f.call("input.performActions", map[string]any{"context": p.context, "actions": []any{map[string]any{"type": "pointer", "id": kind, "parameters": map[string]any{"pointerType": kind},
		"actions": []any{at(x0, y0), map[string]any{"type": "pointerDown", "button": 0}, at((x0+x1)/2, (y0+y1)/2), at(x1, y1), map[string]any{"type": "pointerUp", "button": 0}}}}}, nil)
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
