// The newest frame with its regions and what clips. The patterns carry the
// meaning, not a colour: ripples where clipping is a loss, sparse dots where a
// white backdrop is over the edge as it should be.

import { html, useEffect, useMemo, useRef, useState } from './vendor/htm-preact.js';
import { T, percent } from './texts.js';
import { may } from './store.js';
import { act, get, picture } from './api.js';
import { Theirs } from './theirs.js';
import { unpack, outline, clippedRuns } from './mask.js';
import { Marking, standing } from './mark.js';
import { standing as wordOf } from './staff.js';

const edge = 960; // longest side asked for, pixels
const step = 4; // pixels along a square that is marked as clipped or not

// Picture shows the newest frame, or with past one of before, on which nothing is declared any more.
export function Picture({ doc, stale, past }) {
  const frame = doc?.frame;
  const [marking, mark] = useState(false);
  const reading = frame?.reading;
  const shown = useShown(frame, stale);
  const late = !shown || shown.key !== keyOf(frame);
  if (!frame) return html`<section class="frame" aria-label=${T.frame.label}><p class="quiet frame-none">${T.frame.none}</p></section>`;

  const meant = (doc.advice?.expected || frame.expected || []).some((e) => e.region === 'backdrop_floor');
  const w = reading?.width || 3, h = reading?.height || 2;
  const declared = doc.reference;

  return html`<section class=${w >= h ? 'frame wide' : 'frame tall'} aria-label=${T.frame.label}>
    <header>
      <h2>${T.frame.title(frame.number)}</h2>
      <p>${frame.damaged ? html`<${Theirs} text=${frame.damaged} />` : html`
        ${frame.expected?.length ? html`<span>${wordOf(frame)}</span>` : ''}
        ${reading?.kind === 'provisional' ? html` <span>${T.frame.provisional}</span>` : ''}
        ${reading?.kind === 'approximate' ? html` <span>${T.frame.approximate}</span>` : ''}`}</p>
    </header>
    <div class="frame-box">
      <div class="frame-in" style=${{ '--ratio': w / h }}>
        <div class=${late ? 'frame-shown late' : 'frame-shown'}>
          ${shown && (shown.lost
            ? html`<p class="frame-lost">${T.frame.noPicture}</p>`
            : html`<${Shown} shown=${shown} meant=${meant} />`)}
          ${shown && html`<${Regions} reading=${reading} masks=${shown.masks} declared=${declared} marks=${past ? null : doc.marks} hide=${late} w=${w} h=${h} />`}
        </div>
      </div>
    </div>
    ${marking && html`<${Marking} doc=${doc} stale=${stale} close=${() => mark(false)} />`}
    <div class="frame-side"><${Legend} doc=${doc} reading=${reading} meant=${meant} declared=${declared} />
    ${may('reference') && reading && !past && html`<div class="frame-acts">
      <button class="small-button frame-mark" disabled=${stale} onClick=${() => mark(true)}>${T.mark.open}</button>
      ${may('baseline') && frame.on_target && doc.baseline !== frame.number && html`
        <button class="small-button" disabled=${stale} onClick=${() => act('POST', '/baseline', { frame: frame.number }, () => true)}>${T.frame.baseline(frame.number)}</button>`}
      ${doc.baseline > 0 && html`<span class="quiet">${doc.baseline === frame.number ? T.frame.isBaseline : T.frame.baselineAt(doc.baseline)}</span>`}
    </div>`}</div>
  </section>`;
}

const keyOf = (frame) => (frame ? `${frame.number}.${frame.revision}` : '');

// useShown brings a frame's picture and its regions (which the state leaves out for
// their bulk), and changes both at once: until then the frame before stays, faded if it
// takes long, and never with the marks of another.
function useShown(frame, stale) {
  const [shown, setShown] = useState(null); // {key, number, src, masks, lost, blind}
  const key = keyOf(frame);
  useEffect(() => {
    if (!frame) return undefined;
    let gone = false;
    const src = picture(frame, edge);
    const image = new Image();
    image.src = src;
    const regions = !frame.reading ? Promise.resolve(null)
      : get(`/readings/${frame.number}`).then((f) => (f.revision === frame.revision ? f.reading?.regions : null), () => null);
    Promise.all([image.decode().then(() => false, () => true), regions]).then(([lost, r]) => {
      // Without its regions a frame is shown unmarked: what is clipped as meant could not be told from a loss.
      if (!gone) setShown({ key, number: frame.number, src, lost, blind: !!frame.reading && !r, masks: { backdrop: unpack(r?.backdrop?.mask), sitter: unpack(r?.sitter?.mask) } });
    });
    return () => { gone = true; };
  }, [key, !!frame?.reading, !!shown?.blind && !stale]);
  return shown;
}

// Shown is the picture with a canvas over it, on which the clipped parts are drawn.
function Shown({ shown, meant }) {
  const canvas = useRef(null), image = useRef(null);
  const draw = () => {
    const img = image.current, c = canvas.current;
    if (!img?.complete || !img.naturalWidth || !c) return;
    c.width = img.naturalWidth;
    c.height = img.naturalHeight;
    const g = c.getContext('2d', { willReadFrequently: true });
    g.drawImage(img, 0, 0);
    const k = c.width / (c.clientWidth || c.width);
    const pixels = g.getImageData(0, 0, c.width, c.height);
    g.clearRect(0, 0, c.width, c.height);
    if (shown.blind) return;
    const quiet = (x, y) => meant && !!shown.masks.backdrop?.in(x, y);
    fill(g, clippedRuns(pixels, step, quiet), dots(g, k));
    fill(g, clippedRuns(pixels, step, (x, y) => !quiet(x, y)), ripples(g, k));
  };
  useEffect(() => {
    draw();
    const sized = new ResizeObserver(draw);
    sized.observe(canvas.current);
    return () => sized.disconnect();
  }, [shown, meant]);
  return html`<img ref=${image} src=${shown.src} alt=${T.frame.alt(shown.number)} onLoad=${draw} />
    <canvas ref=${canvas} aria-hidden="true"></canvas>`;
}

function fill(g, runs, pattern) {
  g.fillStyle = pattern;
  g.beginPath();
  for (const [x, y, w] of runs) g.rect(x, y, w, step);
  g.fill();
}

// Patterns are drawn for the size at which the picture is seen: k is pixels of the
// canvas for one pixel of the page.
function tile(g, k, width, height, paint) {
  const c = document.createElement('canvas');
  c.width = Math.max(1, Math.round(width * k));
  c.height = Math.max(1, Math.round(height * k));
  const t = c.getContext('2d');
  t.scale(c.width / width, c.height / height);
  paint(t);
  return g.createPattern(c, 'repeat');
}

// Ripples are drawn twice, broad and light, then narrow and dark, so that they show
// over any skin, shirt or backdrop.
const ripples = (g, k) => tile(g, k, 16, 12, (t) => {
  for (const [wide, ink] of [[3.6, '#fbf7ea'], [1.8, '#10201d']]) {
    t.lineWidth = wide;
    t.strokeStyle = ink;
    t.lineCap = 'round';
    for (const [x, y] of [[0, 3], [16, 3], [8, 9], [8, -3], [-8, 9], [24, 9], [0, 15], [16, 15]]) {
      t.beginPath();
      t.arc(x, y + 4, 6.5, Math.PI * 1.2, Math.PI * 1.8);
      t.stroke();
    }
  }
});

const dots = (g, k) => tile(g, k, 20, 20, (t) => {
  t.fillStyle = '#53635e';
  for (const [x, y] of [[5, 5], [15, 15]]) {
    t.beginPath();
    t.arc(x, y, 1, 0, 7);
    t.fill();
  }
});

function Regions({ reading, masks, declared, marks, hide, w, h }) {
  const shown = ['face', 'backdrop', 'witness'].map((p) => marks?.[p]).filter(Boolean);
  const line = useMemo(() => (masks.backdrop ? outline(masks.backdrop) : ''), [masks]);
  const found = reading?.regions?.white_reference;
  const box = declared || found?.box;
  const b = masks.backdrop;
  const faces = marks?.face ? [] : reading?.regions?.faces || [];
  return html`<svg class="regions" viewBox=${`0 0 ${w} ${h}`} preserveAspectRatio="none" aria-hidden="true">
    ${b && html`<g transform=${`scale(${w / b.cols} ${h / b.rows})`}>
      <path class="region-under" d=${line} vector-effect="non-scaling-stroke" />
      <path class="region-line" d=${line} vector-effect="non-scaling-stroke" />
    </g>`}
    ${!hide && faces.map((f, i) => ['region-under', 'region-face'].map((c) => html`<rect class=${c} key=${c + i} x=${f.box.x0 * w} y=${f.box.y0 * h} width=${(f.box.x1 - f.box.x0) * w} height=${(f.box.y1 - f.box.y0) * h} vector-effect="non-scaling-stroke" />`))}
    ${!hide && shown.map((m, i) => ['region-under', 'region-shown'].map((c) => html`<rect class=${c} key=${c + i} x=${m.x0 * w} y=${m.y0 * h} width=${(m.x1 - m.x0) * w} height=${(m.y1 - m.y0) * h} vector-effect="non-scaling-stroke" />`))}
    ${!hide && box && ['region-under', declared ? 'region-white' : 'region-found'].map((c) => html`<rect class=${c} key=${c}
      x=${box.x0 * w} y=${box.y0 * h} width=${(box.x1 - box.x0) * w} height=${(box.y1 - box.y0) * h} vector-effect="non-scaling-stroke" />`)}
  </svg>`;
}

function Legend({ doc, reading, meant, declared }) {
  const r = reading?.regions;
  if (!r) return null;
  const lines = [];
  if (r.backdrop?.clipped_share > 0) lines.push((meant ? T.frame.clipMeant : T.frame.clipBackdrop)(percent(r.backdrop.clipped_share)));
  if (r.sitter?.clipped_share > 0) lines.push(T.frame.clipSitter(percent(r.sitter.clipped_share)));
  if (!lines.length) lines.push(T.frame.clipNone);
  if (!declared && r.white_reference) lines.push(`${T.frame.reference}: ${T.frame.found}`);
  const hand = ['face', 'backdrop', 'witness', 'empty'].filter((p) => standing(doc, p));
  if (hand.length) lines.push(T.mark.byHand(hand.map((p) => T.mark.parts[p]).join(', ')));
  // That a program saved it is said once: "edited" gives the reason as well.
  const notes = (reading.labels || []).filter((l, i, all) => !(l.code === 'progressive' && all.some((o) => o.code === 'edited')) && !all.some((o, k) => k < i && o.text === l.text));
  return html`<ul class="legend" aria-label=${T.frame.legend}>${lines.map((l) => html`<li key=${l}>${l}</li>`)}
    ${notes.map((l) => html`<li key=${l.code}><${Theirs} text=${l.text} /></li>`)}
    ${doc.frame?.notes?.length > 0 && html`<li><details class="face-notes"><summary>${T.frame.faces}</summary>
      <ul>${doc.frame.notes.map((n) => html`<li key=${n}><${Theirs} text=${n} /></li>`)}</ul></details></li>`}</ul>`;
}
