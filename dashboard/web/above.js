// The lights and reflectors seen from above, to scale: the camera below, the backdrop above. A light is
// dragged, or moved with the arrow keys, to where it stands; that is recorded. So is a reflector.

import { html, useEffect, useRef, useState } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { may } from './store.js';
import { act } from './api.js';
import { length, unit } from './units.js';

const usual = { key: -45, fill: 40, hair: 155, background: 60, reflector: 60 }; // degrees, where nothing was told (common practice, no source)
const rest = 900; // ms without another key until the place is recorded
const W = 420, H = 380;

const rad = (d) => (d * Math.PI) / 180;

// standing is where a light is, in metres from the sitter: x to the camera's right, y towards the camera.
export function standing(light, back) {
  const d = light.distance_m > 0 ? light.distance_m : 1.5;
  const b = rad(light.bearing_deg ?? usual[light.role] ?? 0);
  const from = light.role === 'background' ? -back : 0; // a background light's distance is to the backdrop
  return { x: d * Math.sin(b), y: from + d * Math.cos(b), sure: light.distance_m > 0 && light.bearing_deg != null };
}

// facing is how a reflector's panel lies in the drawing, in degrees: across the way to the sitter, turned away from that.
const facing = (m, back) => {
  const p = standing(m, back);
  return (Math.atan2(p.y, p.x) * 180) / Math.PI + 90 + (m.turned_deg || 0);
};

// told is the distance and bearing of a place, as standing has them.
export function told(light, x, y, back) {
  const dy = y - (light.role === 'background' ? -back : 0);
  const deg = Math.round((Math.atan2(x, dy) * 180) / Math.PI);
  return { distance_m: Math.max(0.3, Math.round(Math.hypot(x, dy) * 20) / 20), bearing_deg: deg === -180 ? 180 : deg };
}

export function Above({ lights: lamps, reflectors, backdrop, stale }) {
  const lights = [...lamps, ...reflectors];
  const back = backdrop > 0 ? backdrop : 2;
  const [moving, setMoving] = useState(null); // {group, distance_m, bearing_deg}
  const svg = useRef(null), timer = useRef(0), held = useRef(null);
  useEffect(() => () => clearTimeout(timer.current), []);
  const free = may('adjust') && !stale;
  const now = lights.map((l) => (moving?.group === l.group ? { ...l, ...moving } : l));
  const places = lights.map((l) => standing(l, back)); // the scale does not follow what is being dragged
  const far = Math.max(2.2, ...places.map((p) => Math.abs(p.x) + 0.3));
  const low = Math.max(2.2, ...places.map((p) => p.y + 0.4)), high = Math.max(back + 0.4, ...places.map((p) => -p.y + 0.3));
  const k = Math.min(W / (2 * far), H / (low + high)); // units of the drawing for a metre
  const X = (x) => W / 2 + x * k, Y = (y) => high * k + y * k + (H - (low + high) * k) / 2;
  const at = (e) => {
    const m = svg.current.getScreenCTM().inverse();
    const p = new DOMPoint(e.clientX, e.clientY).matrixTransform(m);
    return [(p.x - W / 2) / k, (p.y - Y(0)) / k];
  };
  const save = async (group, place) => {
    const was = lights.find((l) => l.group === group);
    await act('POST', '/adjustments', { group, ...place }, (doc) => {
      const l = [...(doc.lights || []), ...(doc.reflectors || [])].find((x) => x.group === group);
      return !!l && l.distance_m === was.distance_m && l.bearing_deg === was.bearing_deg;
    });
    setMoving(null);
  };
  const down = (l) => (e) => {
    if (!free) return;
    e.target.setPointerCapture?.(e.pointerId);
    held.current = l.group;
  };
  const move = (l) => (e) => {
    if (held.current !== l.group) return;
    setMoving({ group: l.group, ...told(l, ...at(e), back) });
  };
  const up = (l) => () => {
    if (held.current !== l.group) return;
    held.current = null;
    if (moving?.group === l.group) save(l.group, { distance_m: moving.distance_m, bearing_deg: moving.bearing_deg });
  };
  const key = (l) => (e) => {
    const by = { ArrowLeft: [0, -5], ArrowRight: [0, 5], ArrowUp: [-0.05, 0], ArrowDown: [0.05, 0] }[e.key];
    if (e.key === 'Escape') { clearTimeout(timer.current); setMoving(null); }
    if (!by || !free) return;
    e.preventDefault();
    const from = moving?.group === l.group ? moving : { distance_m: l.distance_m > 0 ? l.distance_m : 1.5, bearing_deg: l.bearing_deg ?? usual[l.role] ?? 0 };
    let deg = from.bearing_deg + by[1];
    if (deg > 180) deg -= 360;
    if (deg <= -180) deg += 360;
    const place = { distance_m: Math.max(0.3, Math.round((from.distance_m + by[0]) * 100) / 100), bearing_deg: deg };
    setMoving({ group: l.group, ...place });
    clearTimeout(timer.current);
    timer.current = setTimeout(() => save(l.group, place), rest);
  };
  const step = unit() === 'ft' ? 0.3048 * 3 : 1;
  return html`<section class="above" aria-label=${T.rig.above}>
    <h3>${T.rig.above}</h3>
    <svg ref=${svg} viewBox=${`0 0 ${W} ${H}`} role="group" aria-label=${T.rig.aboveHelp}>
      ${[1, 2, 3].map((n) => html`<circle key=${n} class="above-ring" cx=${X(0)} cy=${Y(0)} r=${n * step * k} />`)}
      <text class="above-word" x=${X(0) + 4} y=${Y(step) - 4}>${length(step)}</text>
      <path class=${backdrop > 0 ? 'above-back' : 'above-back guessed'} d=${`M${X(-Math.min(1.4, far))} ${Y(-back)}H${X(Math.min(1.4, far))}`} />
      <text class="above-word" x=${X(0)} y=${Y(-back) - 7} text-anchor="middle">${T.frame.backdrop}</text>
      <path class="above-sitter" d=${`M${X(0) - 15} ${Y(0)}a15 8 0 1 0 30 0a15 8 0 1 0 -30 0M${X(0) - 6} ${Y(0)}a6 6 0 1 0 12 0a6 6 0 1 0 -12 0`} />
      <path class="above-camera" d=${`M${X(0) - 11} ${H - 24}h22v15h-22zM${X(0) - 5} ${H - 24}v-6h10v6`} />
      ${now.map((l) => {
        const p = standing(l, back), to = l.role === 'background' ? [0, -back] : [0, 0];
        const x = X(p.x), y = Y(p.y);
        return html`<g key=${l.group}><path class=${l.off || l.away ? 'above-beam dark' : 'above-beam'} d=${`M${x} ${y}L${X(to[0])} ${Y(to[1])}`} /></g>`;
      })}
      ${now.map((l) => {
        const p = standing(l, back);
        return html`<g key=${l.group} class=${`above-light${p.sure ? '' : ' guessed'}${l.off || l.away ? ' dark' : ''}`} transform=${`translate(${X(p.x)} ${Y(p.y)})`} tabindex=${free ? '0' : undefined} role="button"
          aria-label=${T.rig.stands(T.said.light(l), l.distance_m > 0 ? length(l.distance_m) : T.lights.unknown, l.bearing_deg ?? null)}
          onPointerDown=${down(l)} onPointerMove=${move(l)} onPointerUp=${up(l)} onPointerCancel=${() => { held.current = null; setMoving(null); }} onKeyDown=${key(l)}>
          <circle class="above-touch" r="24" />${l.role === 'reflector'
            ? html`<rect class="above-disc" x="-20" y="-11" width="40" height="22" transform=${`rotate(${Math.round(facing(l, back))})`} />` : html`<circle class="above-disc" r="15" />`}<text y="6" text-anchor="middle">${l.group}</text></g>`;
      })}
    </svg>
    <p class="quiet" role="status">${moving ? `${T.said.light(lights.find((l) => l.group === moving.group))}: ${length(moving.distance_m)}, ${T.rig.bearing(moving.bearing_deg)}` : T.rig.aboveHelp}</p>
  </section>`;
}
