// Before the day: which power each light of a plan will need, and what would bring
// those into reach that are out of it.

import { html, useState } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { change } from './store.js';
import { call } from './api.js';
import { Theirs } from './theirs.js';
import { Blade } from './blade.js';

export function Reach({ text }) {
  const [found, setFound] = useState(null);
  const [of, setOf] = useState('');
  const ask = async () => {
    try {
      setFound(await call('POST', '/plan/reach', { text }));
      setOf(text);
    } catch (e) {
      change({ notice: e.message });
    }
  };
  return html`<div class="reach">
    <button onClick=${ask}>${T.plan.reach}</button>
    <div role="status">${found && of === text && html`
      ${found.camera && html`<p class="quiet">${T.plan.reachAt(found.camera)}</p>`}
      <ul>${found.lights.map((n, i) => html`<li key=${n.group}>
        <${Blade} group=${n.group} index=${i} quiet=${n.verdict === 'unknown'} />
        <div><p><${Theirs} text=${n.text} />${n.learned ? ` ${T.plan.reachLearned}` : ''}</p>
        ${n.mends.length > 0 && html`<p>${T.plan.reachMends}</p><ul class="reach-mends">${n.mends.map((m) => html`<li key=${m}><${Theirs} text=${m} /></li>`)}</ul>`}</div>
      </li>`)}</ul>
      ${found.all && html`<p><b><${Theirs} text=${found.all} /></b></p>`}
      <p class="quiet">${T.plan.reachCare}</p>`}</div>
  </div>`;
}
