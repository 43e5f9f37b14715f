// Drift: what changed though nobody recorded it, with what to do about it, and the
// frames that it spoiled, to be taken again while the sitter is there.

import { html } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { Theirs, said } from './theirs.js';
import { useNarrow } from './narrow.js';

// first are the kinds whose remedy is to leave every dial alone for the moment.
const first = ['odd_frame', 'fired_early', 'all_lights'];

// stands is the drift that the board says: what the advice warns of, for what the advice itself says is no warning beside it. Beside a question about the same frame the odd frame is not said a second
// time, and beside an adjustment nothing says that none is to be made: what was seen stays, the advice says what to do.
export function stands(doc) {
  const turning = doc?.advice?.status === 'adjust' && doc.advice.adjustments?.length > 0;
  const warned = (doc?.advice?.warnings || []).map((w) => w.code);
  return (doc?.drift?.stands || []).filter((d) => warned.includes(`drift_${d.kind}`) && !(d.kind === 'odd_frame' && doc.question?.frame === d.frame))
    .map((d) => (turning && (first.includes(d.kind) || d.may === 'card_check') ? { ...d, remedy: '' } : d));
}

// Drifts are said beside the advice. Of each the newest word, the usual care folded away.
export function Drifts({ doc }) {
  const list = stands(doc), narrow = useNarrow();
  if (!list.length) return null;
  const folds = narrow && doc.advice.adjustments?.length > 0; // the lights stay in view: what to do about it is a press away
  return html`<ul class="drifts" aria-label=${T.drift.label}>${list.map((d) => html`<li key=${`${d.id}`}>
    ${(d.caution || folds && d.remedy) && html`<details><summary>${folds ? T.drift.todo : T.drift.care}</summary>${folds && html`<p><${Theirs} text=${d.remedy} /></p>`}<p><${Theirs} text=${d.caution} /></p></details>`}
    <p><b><${Theirs} text=${d.text} /></b> ${!folds && html`<${Theirs} text=${d.remedy} />`}</p>
  </li>`)}</ul>`;
}

// driftWarning tells a warning that Drifts says already.
export const driftWarning = (w) => w.code.startsWith('drift_');

// offFrames are the frames that were off. The newest may stand among them as off target from before it was judged to its end;
// what is said of it beside its picture counts.
export const offFrames = (doc) => (doc?.drift?.off_frames || []).filter((o) => !(o.kind === 'off_target' && o.from === doc.frame?.number && doc.frame.on_target));

// Retakes lists the frames that were off: those of this sitter first, for they can be taken again.
export function Retakes({ doc, choose }) {
  const all = offFrames(doc);
  if (!all.length) return null;
  const here = all.filter((o) => o.this_sitter);
  const before = all.filter((o) => !o.this_sitter);
  const part = (title, list) => list.length > 0 && html`<h4>${title}</h4><ul>${list.map((o) => html`<li key=${`${o.from}-${o.kind}`}>
    <button class="small-button" onClick=${() => choose(o.from)}><${Theirs} text=${o.text} /></button></li>`)}</ul>`;
  return html`<section class="retakes" aria-labelledby="retakes-title"><h3 id="retakes-title">${T.drift.retakes}</h3>
    ${part(T.drift.here, here)}${part(T.drift.before, before)}</section>`;
}

// spoiled is why a frame was off, as the strip of frames tells it; '' if it was not.
export const spoiled = (doc, number) => said(offFrames(doc).find((o) => number >= o.from && number <= o.to)?.text || '');
