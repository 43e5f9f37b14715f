// The guided set-up (and the guide to the tone curve, curve.js): one step at a time, each answered by the next frame. What to
// switch and set, and what came of it, are sentences of the daemon.

import { html, useEffect, useState } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { may } from './store.js';
import { act } from './api.js';
import { Theirs, said } from './theirs.js';
import { Blade } from './blade.js';
import { Picture } from './picture.js';
import { Care } from './care.js';
import { CurveGuide } from './curve.js';

if (!document.querySelector('link[href$="/walk.css"]')) {
  document.head.append(Object.assign(document.createElement('link'), { rel: 'stylesheet', href: new URL('./walk.css', import.meta.url).href }));
}

export function WalkScreen({ doc, stale }) {
  const w = doc?.walk;
  const learning = doc?.bracket && !doc.bracket.done; // one guide at a time
  return html`<section class="screen walk-screen" aria-labelledby="walk-title">
    <h2 id="walk-title">${T.screens.walk}</h2>
    ${learning ? '' : !doc?.plan?.present
      ? html`<p>${T.walk.noPlan}</p>${may('plan') && html`<p><a class="button strong" href="#plan">${T.advice.noPlanGo}</a></p>`}`
      : !w || w.done ? html`<${Gate} doc=${doc} walk=${w} stale=${stale} />` : html`<${Under} doc=${doc} walk=${w} stale=${stale} />`}
    ${w && html`<${Past} walk=${w} stale=${stale} />`}
    ${(!w || w.done) && html`<${CurveGuide} doc=${doc} stale=${stale} />`}
  </section>`;
}

// say asks something of the walk; it still means the same while the same step waits.
function useSay(walk) {
  const [busy, setBusy] = useState(false);
  const here = walk && !walk.done ? walk.steps[walk.at].id : '';
  useEffect(() => setBusy(false), [here, walk?.frames]);
  const say = async (body) => {
    setBusy(true);
    await act('POST', '/walk', body, (now) => {
      const there = now.walk && !now.walk.done ? now.walk.steps[now.walk.at].id : '';
      return there === here;
    });
    setBusy(false);
  };
  return [busy, say];
}

// Gate is before the first step and behind the last.
function Gate({ doc, walk, stale }) {
  const [busy, say] = useSay(walk);
  return html`<div class="walk-gate">
    ${walk?.done && walk.steps[0].kind === 'card' ? html`<p class="walk-done">${said(walk.steps[0].says) || T.walk.skipped}</p>` : walk?.done
      ? html`<p class="walk-done">${doc.baseline > 0 ? T.walk.doneWith(doc.baseline) : T.walk.doneWithout}</p>`
      : html`<p>${T.walk.why}</p>`}
    <${Care} />
    <p>${T.walk.care}</p>
    ${may('adjust') && html`<p><button class=${walk?.done ? '' : 'strong'} disabled=${busy || stale} onClick=${() => say({ do: 'begin' })}>${walk?.done ? T.walk.again : T.walk.begin}</button></p>`}
    ${may('adjust') && html`<p class="walk-check"><button disabled=${busy || stale} onClick=${() => say({ do: 'check' })}>${T.walk.check}</button> <span>${T.walk.checkWhy}</span></p>`}
    <${Swaps} doc=${doc} stale=${stale} />
  </div>`;
}

// Swaps tells of what was swapped while the pictures shall come out as before.
function Swaps({ doc, stale }) {
  const [busy, setBusy] = useState(false);
  const [aperture, setAperture] = useState('');
  const [iso, setISO] = useState('');
  const tell = async (body) => {
    setBusy(true);
    if (await act('POST', '/swaps', body, (now) => now.frame?.number === doc.frame?.number)) { setAperture(''); setISO(''); }
    setBusy(false);
  };
  return html`<div class="walk-swaps">
    <h3>${T.walk.swaps}</h3>
    <p>${T.walk.swapsWhy} <a href="#lights">${T.screens.lights}</a></p>
    ${doc.match && html`<p class="walk-says"><b><${Theirs} text=${doc.match.changes.join(' ')} /></b> <${Theirs} text=${doc.match.text} /></p>`}
    ${may('adjust') && html`<div class="walk-acts">
      <button disabled=${busy || stale} onClick=${() => tell({ what: 'lens' })}>${T.walk.lens}</button>
      <button disabled=${busy || stale} onClick=${() => tell({ what: 'backdrop' })}>${T.walk.backdrop}</button>
      <span class="told-pair"><label>${T.walk.aperture} f/<input class="dial" inputmode="decimal" maxlength="5" value=${aperture} onInput=${(e) => setAperture(e.target.value)} /></label>
      <button aria-label=${T.walk.tellAperture} disabled=${busy || stale || !(Number(aperture) > 0)} onClick=${() => tell({ what: 'aperture', f_number: Number(aperture) })}>${T.walk.tell}</button></span>
      <span class="told-pair"><label>${T.walk.iso} <input class="dial" inputmode="numeric" maxlength="6" value=${iso} onInput=${(e) => setISO(e.target.value)} /></label>
      <button aria-label=${T.walk.tellISO} disabled=${busy || stale || !(Number(iso) > 0)} onClick=${() => tell({ what: 'iso', iso: Number(iso) })}>${T.walk.tell}</button></span>
    </div>`}
  </div>`;
}

// Under is the step that waits for its frame.
function Under({ doc, walk, stale }) {
  const [busy, say] = useSay(walk);
  const step = walk.steps[walk.at];
  const place = (g) => Math.max(0, (doc.lights || []).findIndex((l) => l.group === g));
  return html`<div class="walk-step" aria-live="polite">
    <p class="walk-count">${T.walk.count(walk.at + 1, walk.steps.length)}</p>
    <h3><${Theirs} text=${step.name} /></h3>
    ${step.says && html`<p class=${`walk-says ${step.verdict}`}><b>${T.walk.verdicts[step.verdict] || ''}</b> ${T.walk.from(step.frame)}: <${Theirs} text=${step.says} /></p>`}
    <ul class="walk-asks" aria-label=${T.walk.asks}>
      ${step.asks.map((a) => html`<li key=${a.group} class=${a.off ? 'is-off' : ''}>
        <${Blade} group=${a.group} index=${place(a.group)} quiet=${a.off} />
        <span class="walk-light">${T.said.light(a.light).replace(` (${a.group})`, '')}</span>
        <span class="walk-state">${a.off ? T.walk.off : T.walk.on}</span>
        <span class="walk-power">${a.off ? '' : a.power_text}</span>
        <span class="walk-changed">${a.switch || a.turn ? T.walk.changed : ''}</span>
      </li>`)}
    </ul>
    <ol class="walk-do">${step.do.map((t) => html`<li key=${t}><${Theirs} text=${t} /></li>`)}</ol>
    ${step.care && html`<p class="walk-care"><${Theirs} text=${step.care} /></p>`}
    ${may('adjust') && html`<div class="walk-acts">
      <button disabled=${busy || stale} onClick=${() => say({ do: 'skip', step: step.id })}>${T.walk.skip}</button>
      <button disabled=${busy || stale} onClick=${() => say({ do: 'leave' })}>${T.walk.leave}</button>
    </div>`}
    <${Care} />
    <div class="now walk-frame">
      <${Picture} doc=${doc} stale=${stale} />
    </div>
  </div>`;
}

// Past lists every step with what came of it; those that were passed can be redone.
function Past({ walk, stale }) {
  const [busy, say] = useSay(walk);
  return html`<ol class="walk-list" aria-label=${T.walk.all}>
    ${walk.steps.map((s, i) => html`<li key=${s.id} aria-current=${!walk.done && i === walk.at ? 'step' : undefined}>
      <b><${Theirs} text=${s.name} /></b>
      <span>${s.skipped ? T.walk.skipped : i === walk.at && !walk.done ? T.walk.waits : i > walk.at && !s.says ? T.walk.later : said(s.says)}</span>
      ${may('adjust') && i < walk.at && html`<button class="small-button" aria-label=${T.walk.redoOf(said(s.name))} disabled=${busy || stale} onClick=${() => say({ do: 'redo', step: s.id })}>${T.walk.redo}</button>`}
    </li>`)}
  </ol>`;
}
