// The shoot over time: stops to clipping of each judged region, and each light's
// setting, frame by frame. Fetched and drawn when somebody looks. Pinched, turned with the wheel or by
// keys it shows fewer frames; dragged it shows others.

import { html, useEffect, useRef, useState } from './vendor/htm-preact.js';
import { T, clock } from './texts.js';
import { offFrames } from './drift.js';
import { get } from './api.js';

const upper = 230, lower = 185, left = 46, right = 12, head = 16;
let W = 1000; // width of the drawing, which is drawn in the window's pixels
const fewest = 5; // frames shown at the closest
const dotsUnder = 130; // frames in view under which each is a dot

export function OverTime({ doc }) {
  const asked = useFrames(doc), frames = asked || [];
  const [view, setView] = useState(null); // {from, to} in frame numbers; null shows all
  const [at, setAt] = useState(0); // frame that is pointed at
  const last = frames.length ? frames[frames.length - 1].number : 0, first = frames.length ? frames[0].number : 0;
  const span = view || { from: first - 0.5, to: last + 0.5 };
  const [, setWide] = useState(W);
  const box = useRef(null), pointers = useRef(new Map());
  const X = (n) => left + ((n - span.from) / (span.to - span.from)) * (W - left - right);
  const N = (x) => span.from + ((x - left) / (W - left - right)) * (span.to - span.from);
  const put = (from, to) => {
    const wide = Math.max(fewest, Math.min(to - from, last - first + 1));
    let a = (from + to) / 2 - wide / 2;
    a = Math.max(first - 0.5, Math.min(a, last + 0.5 - wide));
    setView(wide >= last - first + 0.999 ? null : { from: a, to: a + wide });
  };
  const zoom = (by, about = (span.from + span.to) / 2) => put(about - (about - span.from) * by, about + (span.to - about) * by);
  const unit = (e) => { const r = box.current.getBoundingClientRect(); return ((e.clientX - r.left) / r.width) * W; };

  useEffect(() => {
    if (!box.current) return undefined;
    const sized = new ResizeObserver(() => {
      const wide = Math.max(280, Math.round(box.current?.clientWidth || W));
      if (wide !== W) setWide(W = wide);
    });
    sized.observe(box.current);
    return () => sized.disconnect();
  }, [frames.length > 0]);
  useEffect(() => { // a wheel over the drawing zooms it; elsewhere it scrolls the page
    const el = box.current;
    if (!el) return undefined;
    const wheel = (e) => { e.preventDefault(); zoom(e.deltaY > 0 ? 1.2 : 1 / 1.2, N(unit(e))); };
    el.addEventListener('wheel', wheel, { passive: false });
    return () => el.removeEventListener('wheel', wheel);
  });
  const down = (e) => {
    e.currentTarget.setPointerCapture?.(e.pointerId);
    pointers.current.set(e.pointerId, unit(e));
    point(e);
  };
  const move = (e) => {
    const held = pointers.current;
    if (!held.has(e.pointerId)) return e.pointerType === 'mouse' ? point(e) : undefined;
    const before = [...held.values()], x = unit(e);
    held.set(e.pointerId, x);
    const after = [...held.values()];
    if (before.length === 1) {
      const by = N(before[0]) - N(after[0]);
      if (view) put(span.from + by, span.to + by);
      return undefined;
    }
    // Two fingers: what lay under each stays under it.
    const [a, b] = [N(before[0]), N(before[1])], gap = after[1] - after[0];
    if (Math.abs(gap) < 12) return undefined;
    const per = (b - a) / gap;
    return put(a - (after[0] - left) * per, a + (W - right - after[0]) * per);
  };
  const up = (e) => pointers.current.delete(e.pointerId);
  const point = (e) => setAt(nearest(frames, N(unit(e))));
  const key = (e) => {
    const step = (by) => {
      const i = Math.max(0, frames.findIndex((f) => f.number === at)) + by;
      const f = frames[Math.max(0, Math.min(frames.length - 1, at ? i : frames.length - 1))];
      if (!f) return;
      setAt(f.number);
      if (f.number < span.from) put(f.number - 0.5, f.number - 0.5 + span.to - span.from);
      if (f.number > span.to) put(f.number + 0.5 - span.to + span.from, f.number + 0.5);
    };
    if (e.key === '+' || e.key === '=') zoom(1 / 1.5);
    else if (e.key === '-') zoom(1.5);
    else if (e.key === '0') setView(null);
    else if (e.key === 'ArrowLeft') step(-1);
    else if (e.key === 'ArrowRight') step(1);
    else return;
    e.preventDefault();
  };
  if (!frames.length) return html`<p class="quiet">${asked ? T.past.none : T.advice.opening}</p>`;
  const seen = frames.filter((f) => f.number >= span.from - 1 && f.number <= span.to + 1);
  const pointed = frames.find((f) => f.number === at) || frames[frames.length - 1];
  return html`<div class="over">
    <div class="over-acts">
      <button aria-label=${T.past.closer} onClick=${() => zoom(1 / 1.5)}>+</button>
      <button aria-label=${T.past.wider} onClick=${() => zoom(1.5)}>−</button>
      <button disabled=${!view} onClick=${() => setView(null)}>${T.past.all}</button>
      <${Key} frames=${frames} />
    </div>
    <svg ref=${box} class="over-plot" viewBox=${`0 0 ${W} ${upper + lower}`} tabindex="0" role="application" aria-label=${T.past.help}
      onPointerDown=${down} onPointerMove=${move} onPointerUp=${up} onPointerCancel=${up} onKeyDown=${key}>
      <${Levels} seen=${seen} all=${frames} X=${X} baseline=${doc?.baseline} />
      <${Dials} seen=${seen} all=${frames} X=${X} />
      <${Marks} seen=${seen} X=${X} drift=${offFrames(doc).filter((o) => o.kind !== 'off_target')} />
      <path class="over-at" d=${`M${X(pointed.number)} ${head}V${upper + lower - 22}`} />
    </svg>
    <${Said} f=${pointed} before=${frames[frames.indexOf(pointed) - 1]} />
  </div>`;
}

// useFrames keeps all frames of the shoot, and asks for those that came since.
function useFrames(doc) {
  const [all, setAll] = useState(null); // null: not asked yet
  const known = useRef({ shoot: '', list: [] });
  useEffect(() => {
    let gone = false;
    const ask = async () => {
      const id = doc?.shoot?.id || '';
      let list = known.current.shoot === id ? known.current.list : [];
      try {
        // The newest frames may have got a revision: they are asked for again.
        let after = list.length > 3 ? list[list.length - 4].number : 0;
        for (let more = true; more && !gone;) {
          const a = await get(`/over-time?after=${after}`);
          list = [...list.filter((f) => f.number <= after), ...(a.frames || [])];
          more = a.more && a.frames.length > 0;
          if (more) after = list[list.length - 1].number;
        }
      } catch { return; } // the link says when the daemon is gone
      if (gone) return;
      known.current = { shoot: id, list };
      setAll(list);
    };
    ask();
    return () => { gone = true; };
  }, [doc?.state, doc?.shoot?.id]);
  return all;
}

function nearest(frames, n) {
  let best = 0;
  for (const f of frames) if (!best || Math.abs(f.number - n) < Math.abs(best - n)) best = f.number;
  return best;
}

const regionsOf = (frames) => [...new Map(frames.flatMap((f) => f.levels.map((l) => [l.region, l.name])))];
const groupsOf = (frames) => [...new Set(frames.flatMap((f) => f.lights.map((l) => l.group)))];

// sign is a small shape of its own for each line, so that none is told by its colour.
function sign(i, x, y, r = 5) {
  return [`M${x - r} ${y}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0z`, `M${x - r} ${y - r}h${2 * r}v${2 * r}h${-2 * r}z`,
    `M${x} ${y - r - 1}l${r + 1} ${2 * r}h${-2 * r - 2}z`, `M${x} ${y - r - 1}l${r + 1} ${r + 1}l${-r - 1} ${r + 1}l${-r - 1} ${-r - 1}z`][i % 4];
}

function path(points) {
  return points.map(([x, y], i) => `${i ? 'L' : 'M'}${x.toFixed(1)} ${y.toFixed(1)}`).join('');
}

function Levels({ seen, all, X, baseline }) {
  const values = all.flatMap((f) => f.levels.map((l) => l.stops));
  const top = Math.max(0.6, ...values) + 0.15, low = Math.max(-7, Math.min(-1.2, ...values) - 0.2);
  const Y = (v) => head + ((top - Math.max(low, v)) / (top - low)) * (upper - head - 14);
  const lines = [];
  for (let s = Math.ceil(low); s <= Math.floor(top); s++) lines.push(s);
  const base = all.find((f) => f.number === baseline);
  return html`<g>
    ${lines.map((s) => html`<path key=${s} class=${s === 0 ? 'over-edge' : 'over-grid'} d=${`M${left} ${Y(s)}H${W - right}`} /><text key=${`t${s}`} class="over-word" x=${left - 8} y=${Y(s) + 6} text-anchor="end">${s > 0 ? `+${s}` : s === 0 ? '0' : `−${-s}`}</text>`)}
    ${base && html`<path class="over-base" d=${`M${X(base.number)} ${head}V${upper - 14}`} /><text class="over-word" x=${X(base.number) + 12} y=${head + 10}>${T.past.baseline}</text>`}
    ${regionsOf(all).map(([region], i) => {
      const points = seen.map((f) => [f, f.levels.find((l) => l.region === region)]).filter(([, l]) => l);
      return html`<g key=${region} class=${`over-line line-${i % 4}`}>
        ${points.length > 0 && !points[points.length - 1][1].upper_only && html`<rect class="over-aim" x=${left} width=${W - left - right} y=${Y(points[points.length - 1][1].high_stops)} height=${Math.max(2, Y(points[points.length - 1][1].low_stops) - Y(points[points.length - 1][1].high_stops))} />`}
        <path d=${path(points.map(([f, l]) => [X(f.number), Y(l.stops)]))} />
        ${points.length < dotsUnder && points.map(([f, l]) => html`<path key=${f.number} class=${l.in_target ? 'over-dot' : 'over-dot off'} d=${sign(i, X(f.number), Y(l.stops))} />`)}
        ${points.length < dotsUnder && points.filter(([, l]) => l.at_least).map(([f, l]) => html`<path key=${`m${f.number}`} class="over-more" d=${`M${X(f.number)} ${Y(l.stops) - 8}v-9m-4 4l4-5 4 5`} />`)}
      </g>`;
    })}
  </g>`;
}

function Dials({ seen, all, X }) {
  const values = all.flatMap((f) => f.lights.map((l) => l.power / 30));
  const low = Math.min(-3, ...values) - 0.4;
  const Y = (v) => upper + 6 + (-v / -low) * (lower - 52);
  const marks = [], ends = [];
  for (let s = 0; s >= Math.ceil(low); s -= 1) marks.push(s);
  return html`<g>
    ${marks.map((s) => html`<path key=${s} class="over-grid" d=${`M${left} ${Y(s)}H${W - right}`} />${s % 2 === 0 && html`<text key=${`t${s}`} class="over-word" x=${left - 8} y=${Y(s) + 5} text-anchor="end">1/${2 ** -s}</text>`}`)}
    ${groupsOf(all).map((group, i) => {
      const points = [];
      let text = '', labelled = false;
      for (const f of seen) {
        const l = f.lights.find((x) => x.group === group);
        if (!l || l.off) { text = ''; continue; }
        const x = X(f.number), y = Y(l.power / 30);
        points.push([text ? 'L' : 'M', x - 0, y, !labelled]);
        labelled = true;
        text = l.power_text;
      }
      let d = '', was = null;
      for (const [how, x, y] of points) {
        d += how === 'M' || was === null ? `M${x.toFixed(1)} ${y.toFixed(1)}` : `H${x.toFixed(1)}V${y.toFixed(1)}`;
        was = y;
      }
      const end = points[points.length - 1];
      // A letter that would lie over another's stands before it.
      const beside = end ? ends.filter((y) => Math.abs(y - end[2]) < 20).length : 0;
      if (end) ends.push(end[2]);
      const at = end && Math.min(W - right - 10, end[1]) - 22 * beside;
      return html`<g key=${group} class=${`over-line line-${i % 4}`}><path d=${d} />
        ${end && html`<circle class="over-tag" cx=${at} cy=${end[2]} r="10" /><text class="over-group" x=${at} y=${end[2] + 5} text-anchor="middle">${group}</text>`}</g>`;
    })}
  </g>`;
}

// Marks are what happened: lights turned between two frames, frames off target, frames that drift spoiled.
function Marks({ seen, X, drift }) {
  const turned = [];
  seen.forEach((f, i) => {
    const b = seen[i - 1];
    if (b && f.lights.some((l) => { const o = b.lights.find((x) => x.group === l.group); return o && (o.power !== l.power || o.off !== l.off); })) turned.push((X(f.number) + X(b.number)) / 2);
  });
  const y = upper + lower - 34;
  return html`<g>
    ${turned.map((x) => html`<path key=${x} class="over-turn" d=${`M${x} ${head}V${upper + lower - 44}`} />`)}
    ${seen.length < 300 && seen.filter((f) => f.judged && !f.on_target).map((f) => html`<path key=${f.number} class="over-off" d=${`M${X(f.number) - 4} ${y - 4}l8 8m0 -8l-8 8`} />`)}
    ${drift.map((o) => html`<path key=${`${o.from}-${o.kind}`} class="over-drift" d=${`M${X(o.from) - 4} ${y + 10}H${X(o.to) + 4}`} />`)}
    ${seen.length > 0 && [seen[0], seen[seen.length - 1]].map((f, i) => html`<text key=${i} class="over-word" x=${i ? W - right : left} y=${upper + lower - 3} text-anchor=${i ? 'end' : 'start'}>${T.frame.title(f.number)}, ${clock(f.at)}</text>`)}
  </g>`;
}

function Key({ frames }) {
  return html`<ul class="over-key">
    ${regionsOf(frames).map(([region, name], i) => html`<li key=${region}><svg viewBox="0 0 34 16" class=${`over-line line-${i % 4}`} aria-hidden="true"><path d="M1 8H33" /><path class="over-dot" d=${sign(i, 17, 8)} /></svg>${T.said.region(name)}</li>`)}
    <li><svg viewBox="0 0 34 16" aria-hidden="true"><path class="over-off" d="M13 4l8 8m0-8l-8 8" /></svg>${T.frame.off}</li>
    <li><svg viewBox="0 0 34 16" aria-hidden="true"><path class="over-turn" d="M17 0V16" /></svg>${T.past.turned}</li>
    <li><svg viewBox="0 0 34 16" aria-hidden="true"><path class="over-drift" d="M4 8H30" /></svg>${T.past.drift}</li></ul>`;
}

// Said is the frame that is pointed at, in words: what the drawing shows to the eye.
function Said({ f, before }) {
  const turned = f.lights.filter((l) => { const o = before?.lights.find((x) => x.group === l.group); return o && (o.power !== l.power || o.off !== l.off); });
  return html`<p class="over-said" role="status"><b>${T.frame.title(f.number)}</b>, ${clock(f.at)}${f.judged ? `, ${f.on_target ? T.frame.onTarget : T.frame.off}` : ''}:
    ${' '}${f.levels.map((l) => `${T.said.region(l.name)} ${l.at_least ? `${T.advice.atLeast} ` : ''}${l.stops.toFixed(2).replace('-', '−')}`).join(', ')}
    ${f.lights.length > 0 ? `. ${f.lights.map((l) => `${l.group} ${l.off ? T.lights.off : l.power_text}`).join(', ')}` : ''}${turned.length ? `. ${T.past.turnedSince(turned.map((l) => l.group).join(', '))}` : ''}</p>`;
}
