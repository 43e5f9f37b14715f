// Where a telephone finds the screens that its row of names has no room for.

import { html } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { names } from './store.js';

// atHand are the screens that a telephone names in its row.
const atHand = ['now', 'frames', 'lights', 'more'];

export function MoreScreen() {
  return html`<section class="screen more-screen" aria-labelledby="more-title">
    <h2 id="more-title">${T.screens.more}</h2>
    <ul>${names.filter((s) => !atHand.includes(s)).map((s) => html`<li key=${s}><a class="button" href=${`#${s}`}>${T.screens[s]}</a></li>`)}</ul>
  </section>`;
}
