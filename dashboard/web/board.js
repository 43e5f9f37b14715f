// The board: what to do before the next frame, written so that it is read from the
// stool by the lights. It is in view on every screen, tall on the first and low on the others.

import { html, useEffect, useState } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { may } from './store.js';
import { act } from './api.js';
import { Drifts, stands, driftWarning } from './drift.js';
import { Blade, Turn } from './blade.js';
import { theirs } from './language.js';
import { Theirs, said } from './theirs.js';
import { useNarrow } from './narrow.js';

export function Board({ doc, low, echo, stale }) {
  const a = doc?.advice;
  const kind = !a ? 'opening' : a.status;
  const narrow = useNarrow();
  const warnings = a && !low ? (a.warnings || []).filter((w) => !driftWarning(w) && !told(a, w)) : [];
  // With a question and something to turn, what only explains is folded, so that the lights stay above the fold.
  // So it is on a telephone with three turns and more.
  const folds = !low && a?.adjustments?.length > 0 && (!!doc.question || narrow && a.adjustments.length > 2);
  return html`<section class=${`board ${kind}${low ? ' low' : ''}`} aria-label=${T.advice.label} id=${echo ? undefined : 'advice'} tabindex=${echo ? undefined : '-1'}>
    ${!echo && html`<p class="unseen" aria-live="polite">${a && !stale && !a.provisional ? `${T.said.headline(a.headline)}. ${said(a.reason) || ''}` : ''}</p>`}
    ${!a && html`<${Word} text=${T.advice.opening} small />`}
    ${a && a.status === 'adjust' && !a.adjustments?.length && html`<${Word} text=${T.said.headline(a.headline)} small />`}
    ${a && a.status === 'adjust' && a.adjustments?.length > 0 && html`<${Turns} doc=${doc} low=${low} stale=${stale} />`}
    ${a && a.status === 'hold' && html`<${Word} text=${T.advice.hold} water />`}
    ${a && a.status === 'waiting' && html`<${Word} text=${T.said.headline(a.headline || T.advice.waiting)} />`}
    ${a && a.status === 'aside' && html`<${Aside} a=${a} low=${low} />`}
    ${a && !known.includes(a.status) && html`<${Word} text=${T.said.headline(a.headline || a.status)} small />`}
    ${a && a.status === 'look' && html`<${Word} text=${T.said.headline(a.headline) || T.advice.look} small />`}
    ${a && a.status === 'no_plan' && html`<${Word} text=${T.said.headline(a.headline)} small />`}
    ${a && html`<${Reason} onYes=${doc.question && (a.adjustments || []).some((t) => t.group === doc.question?.group) && !doc.question.advised} a=${a} asked=${!!doc.question} newest=${doc.frame?.number} low=${low} stale=${stale} terse=${low || busy(doc) || narrow && a.adjustments?.length > 1}
      notes=${folds ? warnings.filter((w) => !w.blocks) : []} folded=${folds && narrow} />`}
    ${a && !low && a.status === 'no_plan' && may('plan') && html`<p><a class="button strong" href="#plan">${T.advice.noPlanGo}</a></p>`}
    ${a && !low && html`<${Ways} ways=${(a.ways || []).filter((w) => w.text !== a.headline)} />`}
    ${a && !low && html`<${Drifts} doc=${doc} />`}
    <${Warnings} list=${warnings.filter((w) => !folds || w.blocks)} />
    ${doc?.question && html`<${Question} q=${doc.question} stale=${stale} />`}
  </section>`;
}

// told tells that headline and reason are a warning's words already.
const told = (a, w) => a.reason && a.status === 'look' && w.text.includes(a.headline.replace(/\.$/, '')) && w.text.includes(a.reason.replace(/\.$/, ''));

// busy says that there is so much on the board that the marks of the advice are said in a word each.
const busy = (doc) => !!(doc.question || stands(doc).length || doc.advice.ways?.length || doc.advice.warnings?.length || doc.advice.adjustments?.length > 2);

function Word({ text, water, small }) {
  return html`<div class=${small ? 'word small' : 'word'}>
    <h1>${text}</h1>
    ${water && html`<svg class="water" viewBox="0 0 400 12" preserveAspectRatio="none" aria-hidden="true">
      <path d="M0 6h400" vector-effect="non-scaling-stroke" />
    </svg>`}
  </div>`;
}

// known are the statuses that the board has a face for; of another, from a newer daemon, it shows the words.
const known = ['no_plan', 'waiting', 'adjust', 'hold', 'look', 'aside'];

// Aside is advice that somebody put aside: a folded note, neither something to do nor all well.
function Aside({ a, low }) {
  return html`<div class="put-aside">
    <h1><svg viewBox="0 0 40 40" aria-hidden="true"><path d="M6 6h28v20l-8 8H6zM34 26h-8v8" /></svg> <span>${T.advice.aside}</span></h1>
    ${a.adjustments?.length > 0 && html`<ul>${a.adjustments.map((t) => html`<li key=${t.group}>${T.said.light(t.light)}: ${T.said.change(t.change_text)}, <b class="whole">${T.advice.set} ${t.to_text}</b></li>`)}</ul>`}
    ${!low && html`<p class="quiet">${T.advice.asideWhy}</p>`}
  </div>`;
}

function Turns({ doc, low, stale }) {
  const list = doc.advice.adjustments || [];
  const place = (g) => Math.max(0, (doc.lights || []).findIndex((l) => l.group === g));
  return html`<ol class=${`turns n${Math.min(list.length, 4)}`}>
    ${list.map((t) => html`<li class="turn" key=${t.group}>
      <${Blade} group=${t.group} index=${place(t.group)} />
      <p class="turn-do"><${Turn} down=${t.to < t.from} />
        <span><b>${T.said.light(t.light)}:</b> <i>${T.said.change(t.change_text)},</i></span></p>
      <p class="turn-aim"><span>${T.advice.set}</span> <b class="turn-set" style=${{ '--chars': t.to_text.length }}>${t.to_text}</b></p>
      ${!low && html`<div class="turn-side">
        ${t.from_text && html`<p class="turn-was">${T.advice.was(t.from_text)}</p>`}
        ${may('adjust') && !doc.advice.provisional && html`<${Done} turn=${t} advice=${doc.advice.number} stale=${stale} />`}
      </div>`}
    </li>`)}
  </ol>`;
}

// Done records a turn by hand. Nobody needs it: the next frame shows the turn too.
function Done({ turn, advice, stale }) {
  const [busy, setBusy] = useState(false);
  useEffect(() => setBusy(false), [advice]);
  const press = async () => {
    setBusy(true);
    await act('POST', '/adjustments', { group: turn.group, to: turn.to, to_text: turn.to_text },
      (now) => now.advice?.number === advice);
    setBusy(false);
  };
  return html`<button class="small-button" disabled=${stale || busy} onClick=${press}
    aria-label=${T.advice.doneFor(T.said.light(turn.light), turn.to_text)}>${busy ? T.advice.recording : T.advice.done}</button>`;
}

function NotNow({ a, stale }) {
  const [busy, setBusy] = useState(false);
  useEffect(() => setBusy(false), [a.number]);
  return html`<button class="small-button" disabled=${stale || busy} onClick=${async () => {
    setBusy(true);
    await act('POST', '/not-now', { advice: a.number }, (now) => now.advice?.number === a.number);
    setBusy(false);
  }}>${T.advice.notNow}</button>`;
}

// Reason says why. Notes, and where it is folded the reason too, are shown by a press.
function Reason({ a, onYes, asked, newest, low, stale, terse, notes, folded }) {
  const [open, setOpen] = useState(false);
  const marks = [];
  if (a.guess) marks.push([T.advice.guess, T.advice.guessWhy]);
  if (a.at_least) marks.push([T.advice.atLeast, T.advice.atLeastWhy]);
  if (a.provisional) marks.push([T.advice.provisional, T.advice.provisionalWhy]);
  const aside = a.status === 'adjust' && may('adjust') && !low && !a.provisional;
  if (!a.reason && !marks.length && !aside) return null;
  const short = [folded && onYes ? T.advice.onYes : '', ...marks.map((m) => m[0])].filter(Boolean).join(', ');
  const other = aside && !asked && html` <a class="reason-other" href="#lights">${T.advice.other}</a>`;
  const why = html`<p>${marks.length > 0 && terse && !folded && html`<b>${short}: </b>`}<${Theirs} text=${a.reason} />
    ${a.frame > 0 && a.frame !== newest && !low && !a.provisional && html` <span class="reason-frame">${T.advice.from(a.frame)}</span>`}
    ${(terse || folded || !marks.length) && other}</p>`;
  return html`<div class="reason-row">
    <div class="reason">
      ${folded ? html`<p class="marks"><b>${short}</b></p>` : why}
      ${!terse && marks.map(([word, why]) => html`<p class="mark" key=${word}><b>${word}</b>: ${why}</p>`)}
      ${!terse && !folded && marks.length > 0 && other}
    </div>
    ${(folded || notes.length > 0) && html`<button class="small-button" aria-expanded=${open ? 'true' : 'false'} onClick=${() => setOpen(!open)}>${folded ? T.advice.why(notes.length) : T.advice.notes(notes.length)}</button>`}
    ${aside && html`<${NotNow} a=${a} stale=${stale} />`}
  </div>
  ${open && folded && html`<div class="reason">${why}</div>`}
  ${open && html`<${Warnings} list=${notes} />`}`;
}

// Ways are folded where there is no room for them beside what else is needed.
function Ways({ ways }) {
  const narrow = useNarrow();
  if (!ways.length) return null;
  const list = html`<ol>${ways.map((w) => html`<li key=${w.text}><b>${said(w.text)}</b> <span>${w.price ? T.advice.price(said(w.price)) : ''}</span></li>`)}</ol>`;
  if (narrow) return html`<details class="ways"><summary>${T.advice.waysOf(ways.length)}</summary>${list}</details>`;
  return html`<div class="ways"><h2>${T.advice.ways}</h2>${list}</div>`;
}

export function Warnings({ list }) {
  if (!list?.length) return null;
  return html`<ul class="warnings">
    ${list.map((w) => html`<li key=${w.code + w.text}><b>${w.blocks ? T.advice.blocks : T.advice.note}</b> <${Theirs} text=${w.text} /></li>`)}
  </ul>`;
}

function Question({ q, stale }) {
  const [busy, setBusy] = useState(false);
  useEffect(() => setBusy(false), [q.number]);
  const answer = async (yes) => {
    setBusy(true);
    await act('POST', '/answers', { question: q.number, yes }, (now) => now.question?.number === q.number);
    setBusy(false);
  };
  return html`<div class="question" role="group" aria-label=${T.question.label}>
    <p><${Theirs} text=${q.text} /></p>
    <div class="question-answers">
      ${may('answer') && html`<button disabled=${stale || busy} onClick=${() => answer(true)}>${T.question.yes}</button>
        <button disabled=${stale || busy} onClick=${() => answer(false)}>${said(q.no) || T.question.no}</button>`}
      ${q.expires > 0 && html`<span>${T.question.expires(q.expires)}</span>`}
    </div>
  </div>`;
}
