// Cautions, where the hand is: one line, and all of them behind it.

import { html } from './vendor/htm-preact.js';
import { T } from './texts.js';

export function Care() {
  return html`<details class="care">
    <summary>${T.care.short}</summary>
    <ul>${T.care.more.map((l) => html`<li key=${l}>${l}</li>`)}</ul>
  </details>`;
}
