// What is wrong with a plan, or merely unusual, by its lines.

import { html } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { Theirs } from './theirs.js';

// Faults lists what is wrong with a plan by its lines, then what is merely unusual.
export function Faults({ check }) {
  const say = (f) => html`${f.line > 0 ? html`<b>${T.plan.line(f.line)}</b> ` : ''}${f.pointer ? html`<code>${f.pointer}</code> ` : ''}<${Theirs} text=${f.text} />`;
  const faults = check.faults || [], unusual = check.unusual || [];
  return html`<div class="faults">
    <p><b>${check.used ? T.plan.used : faults.length ? T.plan.faults(faults.length) : T.plan.fine}</b></p>
    ${faults.length > 0 && html`<ol>${faults.map((f, i) => html`<li key=${i}>${say(f)}</li>`)}</ol>`}
    ${unusual.length > 0 && html`<p>${T.plan.unusual}</p><ul>${unusual.map((f, i) => html`<li key=${i}>${say(f)}</li>`)}</ul>`}
  </div>`;
}
