// The camera's tone curve: through which one levels come, and the guide to learning it. What to set, and what
// came of each frame, are sentences of the daemon.

import { html, useEffect, useState } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { may } from './store.js';
import { act } from './api.js';
import { Theirs } from './theirs.js';

if (!document.querySelector('link[href$="/curve.css"]')) {
  document.head.append(Object.assign(document.createElement('link'), { rel: 'stylesheet', href: new URL('./curve.css', import.meta.url).href }));
}

export function CurveGuide({ doc, stale }) {
  const [busy, setBusy] = useState(false);
  const b = doc?.bracket;
  const under = b && !b.done;
  useEffect(() => setBusy(false), [b?.frames.length, under]);
  const say = async (what) => {
    setBusy(true);
    // It still means the same while no other frame came and nobody else began or left.
    await act('POST', '/bracket', { do: what }, (now) => Boolean(now.bracket) === Boolean(b) && now.bracket?.frames.length === b?.frames.length);
    setBusy(false);
  };
  const press = (what, text, strong) => may('adjust') && html`<button class=${strong ? 'strong' : ''} disabled=${busy || stale} onClick=${() => say(what)}>${text}</button>`;
  return html`<section class="curve-guide" aria-labelledby="curve-title">
    <h3 id="curve-title">${T.curve.title}</h3>
    ${!under && html`<${Source} doc=${doc} />`}
    ${!b && html`<p>${T.curve.why}</p><p>${T.curve.care}</p><div class="walk-acts">${press('begin', T.curve.begin)}</div>`}
    ${b?.done && html`<p class="walk-says"><${Theirs} text=${b.says} /></p><p>${T.curve.back}</p>
      <div class="walk-acts">${press('leave', T.curve.close, true)} ${press('begin', T.curve.again)}</div>`}
    ${under && html`<div aria-live="polite">
      <p class="walk-count">${b.ready ? T.curve.learning : T.curve.count(b.good, b.left)}</p>
      ${b.says && html`<p class="walk-says">${b.fault && html`<b>${T.curve.no}</b> `}<${Theirs} text=${b.says} /></p>`}
      ${b.next_text && html`<p class="curve-next">${T.curve.next} ${b.next_text}</p>`}
      <ol class="walk-do">${b.do.map((t) => html`<li key=${t}><${Theirs} text=${t} /></li>`)}</ol>
    </div>
    <p>${T.curve.aside}</p>
    <div class="walk-acts">
      ${b.enough && !b.ready && press('learn', T.curve.learn, true)}
      ${b.frames.length > 0 && !b.ready && press('begin', T.curve.again)}
      ${press('leave', T.curve.leave)}
    </div>`}
    ${b?.frames.length > 0 && html`<ol class="curve-frames" aria-label=${T.curve.frames}>
      ${b.frames.map((f) => html`<li key=${f.frame} class=${f.serves ? '' : 'is-out'}>
        <span>${T.curve.frame(f.frame)}</span><b>${f.text}</b><span>${T.curve.clips(f.clipped_share)}</span>
        <span>${f.serves ? T.curve.serves : html`<${Theirs} text=${f.says} />`}</span>
      </li>`)}
    </ol>`}
  </section>`;
}

// Source says through which curve the newest frame was read, and how sure that is.
function Source({ doc }) {
  const tone = doc?.frame?.reading?.tone;
  if (!tone) return html`<p>${T.curve.none}</p>`;
  return html`<p>${T.curve.source[tone.source] || tone.source} ${T.curve.sure(Math.abs(tone.sigma).toFixed(2))}</p>`;
}
