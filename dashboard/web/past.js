// The screen of the shoot over time: its head, and what overtime.js draws.

import { html } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { OverTime } from './overtime.js';

export function PastScreen({ doc }) {
  return html`<section class="screen past-screen" aria-labelledby="past-title">
    <h2 id="past-title">${T.screens.past}</h2>
    <${OverTime} doc=${doc} />
  </section>`;
}
