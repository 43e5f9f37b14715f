// The main screen: everything an assistant needs at the lights, in one look.

import { html } from './vendor/htm-preact.js';
import { Picture } from './picture.js';
import { Staffs } from './staff.js';
import { Lights } from './lights.js';
import { Latest } from './log.js';
import { Demo } from './demo.js';
import { Care } from './care.js';

export function NowScreen({ doc, events, stale }) {
  return html`<div class="now">
    <div class="now-side"><${Picture} doc=${doc} stale=${stale} /><${Staffs} doc=${doc} /></div>
    <div class="now-rest">
      ${doc?.demo && html`<${Demo} frame=${doc?.frame?.number || 0} />`}
      <div><${Lights} doc=${doc} stale=${stale} /><${Care} /></div>
      <${Latest} events=${events} stale=${stale} />
    </div>
  </div>`;
}
