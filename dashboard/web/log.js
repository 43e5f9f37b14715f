// The shoot log as far as this page has it: short beside the lights, whole on a
// screen of its own. Notes and the next sitter are written here.

import { html, useState } from './vendor/htm-preact.js';
import { T, clock } from './texts.js';
import { may, store } from './store.js';
import { act } from './api.js';
import { Theirs } from './theirs.js';
import { Past } from './again.js';

// By names the device that a line is from, where more than this machine could have done it.
function By({ e }) {
  const by = e.by, you = store.doc?.you;
  if (!by?.device || by.device === 'local' && you?.device === 'local') return null;
  const name = by.device === you?.device ? T.log.byYou : e.by_name || (by.device === 'local' ? T.log.byMachine : T.log.byGone);
  return html` <span class="by">${T.log.by} <bdi>${name}</bdi></span>`;
}

export function Lines({ events, limit }) {
  if (!events.length) return html`<p class="quiet">${T.log.none}</p>`;
  const list = events.slice(-limit).reverse();
  return html`<ol class="lines" reversed start=${events.length}>
    ${list.map((e) => html`<li key=${e.number} data-number=${e.number} class=${`line is-${e.kind}`}>
      <time datetime=${e.at}>${clock(e.at)}</time>
      <p><${Theirs} text=${e.text} />${e.words ? html` <q dir="auto">${e.words}</q>` : ''}<${By} e=${e} /></p>
    </li>`)}
  </ol>`;
}

export function Latest({ events }) {
  return html`<section class="latest" aria-label=${T.log.label}>
    <header><h2>${T.log.label}</h2><a href="#log">${T.log.all}</a></header>
    <${Lines} events=${events} limit=${8} />
  </section>`;
}

// kinds are what the log can be narrowed to, by the kinds of its lines.
const kinds = {
  all: null,
  frames: ['frame', 'damaged', 'matched', 'baseline', 'exposure'],
  turned: ['adjusted', 'followed', 'told_late', 'woken', 'not_turned', 'not_now', 'swapped', 'recheck'],
  drift: ['drift', 'absent', 'back', 'recheck'],
  notes: ['note', 'sitter', 'meter'],
};

// exportOf is where a table of a shoot is, of this one without an id.
const exportOf = (table, shoot) => `/api/v1/export?table=${table}${shoot ? `&shoot=${encodeURIComponent(shoot)}` : ''}`;

export function LogScreen({ doc, events, stale }) {
  const [ending, setEnding] = useState(false);
  const [kind, setKind] = useState('all');
  const shown = kinds[kind] ? events.filter((e) => kinds[kind].includes(e.kind)) : events;
  return html`<section class="screen log-screen" aria-labelledby="log-title">
    <h2 id="log-title">${T.screens.log}</h2>
    ${may('sheet') && html`<p class="log-sheet"><a href=${`/api/v1/sheet?language=${document.documentElement.lang}`} target="_blank" rel="noopener">${T.log.sheet}</a> <span class="quiet">${T.log.sheetWhy}</span></p>
      <p class="log-export">${T.log.export} ${['frames', 'log', 'corrections'].filter((t) => t !== 'corrections' || doc?.baseline).map((t) => html`<a class="button small-button" key=${t} download href=${exportOf(t)}>${T.log.tables[t]}</a> `)} <span class="quiet">${T.log.exportWhy}</span></p>`}
    <div class="log-acts">
      ${may('note') && html`<${Field} id="note" label=${T.log.note} place=${T.log.notePlace} go=${T.log.addNote} stale=${stale}
        send=${(text) => act('POST', '/notes', { text }, () => true)} />`}
      ${may('note') && html`<${Field} id="meter" label=${T.log.meter} place="f/8" go=${T.log.addMeter} stale=${stale}
        send=${(aperture) => act('POST', '/meter', { aperture }, () => true)} />`}
      ${may('sitter') && html`<${Field} id="sitter" label=${T.log.sitter} place=${T.log.sitterPlace} go=${T.log.addSitter} stale=${stale}
        send=${(name) => act('POST', '/sitters', { name }, () => true)} />`}
    </div>
    <p class="field log-filter"><label for="log-kind">${T.log.show}</label>
      <select id="log-kind" value=${kind} onChange=${(e) => setKind(e.target.value)}>${Object.keys(kinds).map((k) => html`<option key=${k} value=${k}>${T.log.kinds[k]}</option>`)}</select></p>
    <${Lines} events=${shown} limit=${500} />
    <${Past} doc=${doc} stale=${stale} />
    ${may('end') && doc?.shoot?.phase !== 'ended' && html`<div class="end">
      ${ending
        ? html`<p>${T.log.endSure}</p>
          <button class="strong" disabled=${stale} onClick=${async () => { await act('POST', '/end', {}, () => true); setEnding(false); }}>${T.log.endYes}</button>
          <button onClick=${() => setEnding(false)}>${T.frame.cancel}</button>`
        : html`<button onClick=${() => setEnding(true)}>${T.log.end}</button>`}
    </div>`}
  </section>`;
}

// Field is one line of text with its button. What was typed stays until it is recorded.
function Field({ id, label, place, go, send, stale }) {
  const [text, setText] = useState('');
  const [busy, setBusy] = useState(false);
  const submit = async (e) => {
    e.preventDefault();
    if (!text.trim() || busy) return;
    setBusy(true);
    if (await send(text.trim())) setText('');
    setBusy(false);
  };
  return html`<form class="field" onSubmit=${submit}>
    <label for=${id}>${label}</label>
    <input id=${id} value=${text} maxlength="500" placeholder=${place} autocomplete="off" onInput=${(e) => setText(e.target.value)} />
    <button class="small-button" disabled=${busy || stale || !text.trim()}>${go}</button>
  </form>`;
}
