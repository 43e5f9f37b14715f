// How a frame's light is spread over stops to clipping: the backdrop to the left of
// the scale, the sitter to the right of it, the edge of clipping on top, as on the staffs beside it.

import { html, useEffect, useState } from './vendor/htm-preact.js';
import { T, percent } from './texts.js';
import { get } from './api.js';

const W = 150, H = 230, top = 26, bottom = 222, mid = 75, reach = 66;
const shownStops = 6; // what lies darker is added to the lowest bin

const kept = new Map(); // "number.revision" -> histogram, a few

// useHistogram brings a frame's histogram; null while there is none.
export function useHistogram(frame) {
  const key = frame?.reading ? `${frame.number}.${frame.revision}` : '';
  const [got, setGot] = useState(null); // {key, h}
  useEffect(() => {
    if (!key) return undefined;
    if (kept.has(key)) return void setGot({ key, h: kept.get(key) });
    let gone = false;
    get(`/readings/${frame.number}/histogram`).then((h) => {
      if (kept.size > 30) kept.delete(kept.keys().next().value);
      kept.set(key, h);
      if (!gone) setGot({ key, h });
    }, () => {});
    return () => { gone = true; };
  }, [key]);
  return got?.h || null;
}

export function Spread({ frame }) {
  const h = useHistogram(frame);
  if (!h || (!h.backdrop && !h.sitter)) return null;
  const y = (stops) => top + (-stops / shownStops) * (bottom - top);
  const side = (part, way) => {
    if (!part) return '';
    const most = Math.max(...[h.backdrop, h.sitter].filter(Boolean).flatMap((p) => coarse(p)));
    let path = `M${mid + way * 14} ${y(0)}`;
    coarse(part).forEach((v, i) => {
      const x = mid + way * (14 + (most > 0 ? (v / most) ** 0.6 : 0) * (reach - 14));
      path += `L${x.toFixed(1)} ${y(-i / 4).toFixed(1)}V${y(-(i + 1) / 4).toFixed(1)}`;
    });
    return `${path}H${mid + way * 14}Z`;
  };
  const edge = (part, way) => part && part.clipped > 0 && html`<rect class="spread-clip" x=${way < 0 ? mid - 14 - (reach - 14) * Math.sqrt(part.clipped) : mid + 14} y=${top - 12} width=${(reach - 14) * Math.sqrt(part.clipped)} height="9" />`;
  const say = (part) => (part ? T.spread.say(percent(part.clipped), middle(part)) : T.spread.unseen);
  return html`<figure class="staff spread">
    <figcaption>${T.spread.label}</figcaption>
    <svg viewBox=${`0 0 ${W} ${H}`} role="img" aria-label=${`${T.frame.backdrop}: ${say(h.backdrop)}. ${T.spread.sitter}: ${say(h.sitter)}`}>
      <path class="spread-backdrop" d=${side(h.backdrop, -1)} />
      <path class="spread-sitter" d=${side(h.sitter, 1)} />
      ${edge(h.backdrop, -1)}${edge(h.sitter, 1)}
      <path class="edge" d=${`M2 ${y(0)}H${W - 2}`} />
      ${Array.from({ length: shownStops + 1 }, (_, i) => html`<text key=${i} class="tooth-number" x=${mid} y=${y(-i) + 5} text-anchor="middle">${i === 0 ? '0' : `−${i}`}</text>`)}
    </svg>
    <p class="spread-sides"><span>${T.frame.backdrop}</span><span>${T.spread.sitter}</span></p>
  </figure>`;
}

// coarse joins a histogram's bins to quarters of a stop, from the edge down.
function coarse(part) {
  const out = new Array(shownStops * 4).fill(0);
  part.shares.forEach((v, i) => {
    const under = -(part.from_stops + (i + 0.5) * part.step_stops);
    out[Math.min(out.length - 1, Math.floor(under * 4))] += v;
  });
  return out;
}

// middle is the level that half of a region's samples lie under.
function middle(part) {
  let sum = 0;
  for (let i = 0; i < part.shares.length; i++) {
    sum += part.shares[i];
    if (sum >= 0.5) return (part.from_stops + (i + 0.5) * part.step_stops).toFixed(1).replace('-', '−');
  }
  return '0';
}
