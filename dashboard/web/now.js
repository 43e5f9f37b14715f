// The main screen: everything an assistant needs at the lights, in one look and, on a
// tablet, without scrolling. What takes room or care has a screen of its own.

import { html } from './vendor/htm-preact.js';
import { Picture } from './picture.js';
import { Staffs } from './staff.js';
import { Lights } from './lights.js';
import { Latest } from './log.js';

export function NowScreen({ doc, events, stale }) {
  return html`<div class="now">
    <div class="now-side"><${Picture} doc=${doc} stale=${stale} /><${Staffs} doc=${doc} /></div>
    <div class="now-rest"><${Lights} doc=${doc} stale=${stale} /><${Latest} events=${events} /></div>
  </div>`;
}
