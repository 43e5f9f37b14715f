// Drawing the box that shows a part of the frame: a tap places one of usual size, a drag draws one; the box itself is
// dragged to another place and by its corners to another size. Keys move and size it.

import { html, useEffect, useRef } from './vendor/htm-preact.js';
import { T } from './texts.js';

const usual = 0.09; // of the frame's shorter side, for a tap
const least = 0.012; // of the frame, in each direction: smaller drags are taps
const nudge = 0.01;

const half = (w, h) => ({ x: (usual * Math.min(w, h)) / w / 2, y: (usual * Math.min(w, h)) / h / 2 });
const around = (x, y, hx, hy) => inside({ x0: x - hx, y0: y - hy, x1: x + hx, y1: y + hy });

// firstBox is where the box begins when nothing is known.
export function firstBox(w, h) {
  const d = half(w, h);
  return around(0.5, 0.6, d.x, d.y);
}

const grip = 26; // px about a corner in which it is taken hold of
const corners = [['x0', 'y0'], ['x1', 'y0'], ['x0', 'y1'], ['x1', 'y1']];

export function Marker({ box, draw, w, h, busy, use, cancel, label, taps }) {
  const held = useRef(null), field = useRef(null); // held: {from, box, corner or 'move' or 'new', moved}
  useEffect(() => field.current?.focus(), []);

  const at = (e) => {
    const r = field.current.getBoundingClientRect();
    return [clamp((e.clientX - r.left) / r.width), clamp((e.clientY - r.top) / r.height), r.width, r.height];
  };
  // what is meant by a press at a place: a corner of the box, the box, or a new one.
  const meant = (x, y, width, height) => {
    const u = (x - box.x0) / (box.x1 - box.x0), v = (y - box.y0) / (box.y1 - box.y0);
    if (u > 0.3 && u < 0.7 && v > 0.3 && v < 0.7) return 'move';
    const far = corners.map(([a, b]) => Math.hypot((x - box[a]) * width, (y - box[b]) * height));
    const near = far.indexOf(Math.min(...far));
    if (far[near] < grip) return corners[near];
    return u > 0 && u < 1 && v > 0 && v < 1 ? 'move' : 'new';
  };
  const place = (x, y) => {
    const d = half(w, h);
    draw(around(x, y, d.x, d.y));
  };
  const down = (e) => {
    if (e.button > 0 || held.current) return; // another button, or a second finger
    field.current.setPointerCapture?.(e.pointerId);
    const [x, y, width, height] = at(e), how = meant(x, y, width, height);
    held.current = { id: e.pointerId, from: [x, y], box, how, moved: false };
    if (how === 'new') place(x, y);
  };
  const move = (e) => {
    const k = held.current;
    if (!k || k.id !== e.pointerId) return;
    const [x, y] = at(e), [u, v] = k.from, b = k.box;
    k.moved ||= Math.abs(x - u) > least || Math.abs(y - v) > least;
    if (!k.moved) return;
    if (k.how === 'move') return draw(inside({ x0: b.x0 + x - u, y0: b.y0 + y - v, x1: b.x1 + x - u, y1: b.y1 + y - v }));
    const [p, q] = k.how === 'new' ? [u, v] : [b[k.how[0] === 'x0' ? 'x1' : 'x0'], b[k.how[1] === 'y0' ? 'y1' : 'y0']]; // the corner that stays
    const drawn = { x0: Math.min(x, p), y0: Math.min(y, q), x1: Math.max(x, p), y1: Math.max(y, q) };
    if (drawn.x1 - drawn.x0 > least && drawn.y1 - drawn.y0 > least) draw(inside(drawn));
  };
  const up = (e) => {
    const k = held.current;
    if (!k || k.id !== e.pointerId) return;
    held.current = null;
    if (e.type === 'pointerup' && taps && !k.moved && k.how !== 'new') place(...k.from); // a tap inside the box shows the white anew
  };
  const key = (e) => {
    if (e.key === 'Escape') { e.preventDefault(); cancel(); return; }
    if (e.shiftKey && e.key.startsWith('Arrow')) { // another shape
      const [dx, dy] = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[e.key];
      e.preventDefault();
      draw(inside({ ...box, x1: Math.max(box.x0 + least, box.x1 + dx * nudge), y1: Math.max(box.y0 + least, box.y1 + dy * nudge) }));
      return;
    }
    const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[e.key];
    const cx = (box.x0 + box.x1) / 2, cy = (box.y0 + box.y1) / 2, hx = (box.x1 - box.x0) / 2, hy = (box.y1 - box.y0) / 2;
    if (by) draw(around(cx + by[0] * nudge, cy + by[1] * nudge, hx, hy));
    else if (e.key === '+' || e.key === '=') draw(around(cx, cy, Math.min(hx * 1.15, 0.4), Math.min(hy * 1.15, 0.4)));
    else if (e.key === '-') draw(around(cx, cy, Math.max(hx / 1.15, least), Math.max(hy / 1.15, least)));
    else if (e.key === 'Enter' && !busy) use();
    else return;
    e.preventDefault();
  };
  return html`<div class="marker-field" ref=${field} tabindex="0" role="application" aria-label=${`${label}. ${T.mark.keys}`}
    onPointerDown=${down} onPointerMove=${move} onPointerUp=${up} onPointerCancel=${up} onKeyDown=${key}>
    <svg class="regions" viewBox="0 0 1 1" preserveAspectRatio="none" aria-hidden="true">
      ${['region-under', 'region-white'].map((c) => html`<rect class=${c} key=${c} x=${box.x0} y=${box.y0}
        width=${box.x1 - box.x0} height=${box.y1 - box.y0} vector-effect="non-scaling-stroke" />`)}
    </svg>
    ${corners.map(([a, b]) => html`<i key=${a + b} class="marker-grip" aria-hidden="true" style=${{ left: `${box[a] * 100}%`, top: `${box[b] * 100}%` }}></i>`)}
  </div>`;
}

const clamp = (v) => Math.min(1, Math.max(0, v));

// inside moves a box into the frame and keeps its size.
export function inside(b) {
  const dx = Math.max(0, -b.x0) - Math.max(0, b.x1 - 1), dy = Math.max(0, -b.y0) - Math.max(0, b.y1 - 1);
  const r = (v) => Math.round(clamp(v) * 1e4) / 1e4;
  return { x0: r(b.x0 + dx), y0: r(b.y0 + dy), x1: r(b.x1 + dx), y1: r(b.y1 + dy) };
}
