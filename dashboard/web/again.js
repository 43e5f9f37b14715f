// The light of an earlier shoot built again: light by light how far this one is from then, and
// the list of shoots to choose from.

import { html, useState } from './vendor/htm-preact.js';
import { T, day } from './texts.js';
import { may } from './store.js';
import { Theirs } from './theirs.js';
import { act, get } from './api.js';

// Again says how far each light is from then, while an earlier light is built again.
export function Again({ doc }) {
  const r = doc?.rebuild;
  if (!r) return null;
  return html`<section class="again" aria-label=${T.again.label}>
    <h3 dir="auto">${T.again.title(r.name || r.shoot)}</h3>
    <p class="quiet">${T.again.why(r.frame)}</p>
    <ul>${r.lights.map((l) => html`<li key=${l.group} class=${l.same ? 'is-same' : 'is-apart'}>
      <p><${Theirs} text=${l.text} /></p><p class="quiet">${T.again.then(l.then)}</p>
    </li>`)}</ul>
  </section>`;
}

// Past lists recorded shoots: their sheets, and which can be built again.
export function Past({ doc, stale }) {
  const [list, setList] = useState(null);
  const [failed, setFailed] = useState(false);
  const [sure, setSure] = useState('');
  if (!may('rebuild')) return null;
  const show = async () => {
    setFailed(false);
    try { setList((await get('/shoots?limit=30')).shoots); } catch { setFailed(true); }
  };
  const again = async (id) => {
    await act('POST', '/rebuild', { shoot: id }, () => true);
    setSure('');
  };
  const open = doc?.shoot?.phase !== 'ended';
  return html`<section class="past" aria-label=${T.again.past}>
    <h3>${T.again.past}</h3>
    ${list === null && html`<button onClick=${show}>${T.again.show}</button>`}
    ${failed && html`<p class="says">${T.again.failed}</p>`}
    ${list && html`<ul>${list.map((s) => html`<li key=${s.id} data-shoot=${s.id}>
      <p><b><bdi>${s.name || s.id}</bdi></b> <span class="quiet">${day(s.began)}, ${T.again.frames(s.frames)}${s.here ? `, ${T.again.here}` : ''}</span></p>
      <a class="button small-button" href=${`/api/v1/sheet?shoot=${encodeURIComponent(s.id)}&language=${document.documentElement.lang}`} target="_blank" rel="noopener">${T.again.sheet}</a>
      ${s.baseline > 0 && !s.here && open && (sure === s.id
        ? html`<span>${T.again.sure}</span>
          <button class="strong small-button" disabled=${stale} onClick=${() => again(s.id)}>${T.again.yes}</button>
          <button class="small-button" onClick=${() => setSure('')}>${T.frame.cancel}</button>`
        : html`<button class="small-button" disabled=${stale} onClick=${() => setSure(s.id)}>${T.again.build}</button>`)}
    </li>`)}</ul>`}
  </section>`;
}
