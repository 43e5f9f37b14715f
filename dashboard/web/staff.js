// Stops to clipping, read off staffs as one reads a tide: whole stops are broad
// teeth, thirds narrow ones, the edge of clipping runs across all of them.

import { html } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { Spread } from './spread.js';
import { useNarrow } from './narrow.js';

const W = 120, H = 230, top = 14, bottom = 222;

export function Staffs({ doc }) {
  const list = (doc?.advice?.expected?.length ? doc.advice.expected : doc?.frame?.expected) || [];
  const then = doc?.advice?.status === 'adjust';
  const narrow = useNarrow();
  if (!list.length) return html`<section class="staffs" aria-label=${T.staff.label}>
    <h2>${T.staff.label}</h2><${Measured} reading=${doc?.frame?.reading} /><div class="staff-row"><${Spread} frame=${doc?.frame} /></div>
  </section>`;
  const range = scale(list, then);
  if (narrow) return html`<section class="staffs lying" aria-label=${T.staff.label}>
    ${list.map((e) => html`<${Lying} key=${e.region} e=${e} range=${range} then=${then} />`)}
  </section>`;
  return html`<section class="staffs" aria-label=${T.staff.label}>
    <header><h2>${T.staff.label}</h2><p>${T.staff.edge}</p></header>
    <div class="staff-row"><${Names} then=${then} />${list.map((e) => html`<${Staff} key=${e.region} e=${e} range=${range} then=${then} />`)}<${Spread} frame=${doc?.frame} /></div>
  </section>`;
}

// scale finds the lowest and highest stop to draw, common to all staffs, so
// that heights compare. Two stops are always shown, six at most.
export function scale(list, then) {
  let low = -1.6, high = 0.7;
  for (const e of list) {
    for (const v of [e.now_stops, then ? e.then_stops : e.now_stops, e.upper_only ? e.high_stops : e.low_stops, e.high_stops]) {
      low = Math.min(low, v - 0.3);
      high = Math.max(high, v + 0.3);
    }
  }
  return { low: Math.max(low, -6), high: Math.min(high, 2.5) };
}

// Names says once what the values under the staffs are.
function Names({ then }) {
  return html`<div class="staff-names" aria-hidden="true"><span>${T.staff.now}</span>${then ? html`<span>${T.staff.then}</span>` : ''}<span>${T.staff.aim}</span></div>`;
}

// standing says in a word how a whole frame stands: '' where nothing is judged.
export function standing(frame) {
  const list = frame.expected || [];
  if (!list.length) return '';
  if (frame.on_target) return T.frame.onTarget;
  return list.some((e) => e.unknown) && list.every((e) => e.in_target || e.unknown) ? T.frame.unsure : T.frame.off;
}

// where says in a word how a region stands against its target, and whether that is as it should be.
export function where(e) {
  if (e.unknown) return { word: T.staff.unknown, state: 'unknown' };
  if (e.in_target) return { word: T.staff.inTarget, state: 'in' };
  return { word: e.now_stops > e.high_stops ? T.staff.over : T.staff.under, state: 'off' };
}

function Staff({ e, range, then }) {
  const y = (v) => top + (range.high - Math.min(range.high, Math.max(range.low, v))) / (range.high - range.low) * (bottom - top);
  const { word, state } = where(e);
  const teeth = [];
  for (let third = Math.ceil(range.low * 3); third <= Math.floor(range.high * 3); third++) {
    const whole = third % 3 === 0;
    teeth.push(html`<path class=${whole ? 'tooth whole' : 'tooth'} key=${third} d=${`M38 ${y(third / 3)}h${whole ? 22 : 11}`} />`);
    if (whole) teeth.push(html`<text class="tooth-number" x="31" y=${y(third / 3) + 5} text-anchor="end" key=${`n${third}`}>${third > 0 ? `+${third / 3}` : third === 0 ? '0' : `−${-third / 3}`}</text>`);
  }
  const low = e.upper_only ? range.low : e.low_stops;
  const now = y(e.now_stops), next = y(e.then_stops);
  return html`<figure class=${`staff is-${state}`}>
    <figcaption>${T.said.region(e.name)}</figcaption>
    <svg viewBox=${`0 0 ${W} ${H}`} role="img" aria-label=${T.staff.say(then ? e : { ...e, then_text: '' }, word)}>
      <rect class="over-edge" x="38" y=${top - 6} width="26" height=${Math.max(0, y(0) - top + 6)} />
      <rect class="plank" x="38" y=${top - 6} width="26" height=${bottom - top + 12} />
      <rect class="aim" x="68" y=${y(e.high_stops)} width="16" height=${Math.max(3, y(low) - y(e.high_stops))} />
      <path class="aim-edge" d=${e.upper_only ? `M36 ${y(e.high_stops)}H92` : `M64 ${y(e.high_stops)}H92M64 ${y(low)}H92`} />
      ${teeth}
      <path class="edge" d=${`M2 ${y(0)}H${W - 2}`} />
      ${!e.at_least && e.now_sigma_stops > 0 && html`<path class="sigma" d=${`M76 ${y(e.now_stops + e.now_sigma_stops)}V${y(e.now_stops - e.now_sigma_stops)}`} />`}
      ${then && Math.abs(next - now) > 3 && html`<path class="pt-way" d=${`M92 ${now}C114 ${now} 114 ${next} 102 ${next}`} />
        <path class="pt-then" d=${`M84 ${next}l16-8v16z`} />`}
      <path class="pt-now" d=${`M66 ${now}l24-11v22z`} />
      ${e.at_least && html`<path class="pt-more" d=${`M78 ${now - 15}v-13m-6 6l6-7 6 7`} />`}
    </svg>
    <dl>
      <div class="v-now"><dt>${T.staff.now}</dt><dd>${brief(e.now_text)}</dd></div>
      ${then ? html`<div class="v-then"><dt>${T.staff.then}</dt><dd>${brief(e.then_text)}</dd></div>` : ''}
      <div class="v-aim"><dt>${T.staff.aim}</dt><dd>${brief(e.target_text)}</dd></div>
    </dl>
    <p class="staff-where">${word}</p>
  </figure>`;
}

// brief writes a level for a narrow place: the unit stands in the heading.
const brief = (text) => T.said.level((text || '').replace(/ stops?$/, '').replace(/^at least /, '≥ ').replace(/^at most /, '≤ ').replace(/-(?=\d)/g, '−'));

// Lying is a staff on its side, the edge of clipping to the right: for a telephone held upright.
function Lying({ e, range, then }) {
  const { word, state } = where(e);
  const span = range.high - range.low;
  const x = (v) => 6 + (Math.min(range.high, Math.max(range.low, v)) - range.low) / span * 188;
  const teeth = [];
  for (let third = Math.ceil(range.low * 3); third <= Math.floor(range.high * 3); third++) {
    if (third % 3 === 0 || span < 4) teeth.push(html`<path class=${third % 3 === 0 ? 'tooth whole' : 'tooth'} key=${third} d=${`M${x(third / 3)} 20v${third % 3 === 0 ? -9 : -5}`} />`);
  }
  const low = x(e.upper_only ? range.low : e.low_stops), now = x(e.now_stops), next = x(e.then_stops);
  return html`<figure class=${`staff-lying is-${state}`}>
    <figcaption><b>${T.said.region(e.name)}</b> <span>${word}</span></figcaption>
    <svg viewBox="0 0 200 30" preserveAspectRatio="none" role="img" aria-label=${T.staff.say(then ? e : { ...e, then_text: '' }, word)}>
      <rect class="over-edge" x=${x(0)} y="11" width=${Math.max(0, 200 - x(0))} height="9" />
      <rect class="plank" x="1" y="11" width="198" height="9" />
      <rect class="aim" x=${low} y="2" width=${Math.max(3, x(e.high_stops) - low)} height="9" />
      <path class="aim-edge" d=${`${e.upper_only ? '' : `M${low} 0V20`}M${x(e.high_stops)} 0V20`} />
      ${teeth}
      <path class="edge" d=${`M${x(0)} 0V30`} />
      ${then && Math.abs(next - now) > 3 && html`<path class="pt-then" d=${`M${next} 21l-4 9h8z`} />`}
      <path class="pt-now" d=${`M${now} 19l-5 11h10z`} />
      ${(e.at_least || e.unknown) && html`<path class="pt-more" d=${`M${now + 8} 25h8m-4-4l4 4-4 4`} />`}
    </svg>
    <p><b>${brief(e.now_text)}</b>${then && e.then_text ? ` → ${brief(e.then_text)}` : ''} <span>(${brief(e.target_text)})</span></p>
  </figure>`;
}

// Measured shows what was measured where nothing is judged yet.
function Measured({ reading }) {
  const r = reading?.regions;
  if (!r) return html`<p class="quiet">${T.staff.none}</p>`;
  const lines = [];
  const say = (name, l, v) => lines.push([name, `${l.at_least ? `${T.advice.atLeast} ` : ''}${v.toFixed(2).replace('-', '−')}`]);
  if (r.backdrop) say(T.frame.backdrop, r.backdrop, r.backdrop.level_stops);
  if (r.white_reference) say(T.frame.reference, r.white_reference, r.white_reference.peak_stops);
  return html`<p class="quiet">${T.staff.measured}</p><dl class="measured">
    ${lines.map(([n, v]) => html`<div key=${n}><dt>${n}</dt><dd>${v}</dd></div>`)}
  </dl>`;
}
