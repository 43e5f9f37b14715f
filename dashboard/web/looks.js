// What a client or the sitter sees who was let look on: the newest frame, plain.

import { html } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { picture } from './api.js';

export function LooksScreen({ doc, head, stale }) {
  const f = doc.frame;
  return html`<div class=${`app looks${stale ? ' stale' : ''}`}>
    ${head}
    <main aria-label=${T.looks.title}>
      ${f
        ? html`<img src=${picture(f, 2048)} alt=${T.frame.alt(f.number)} />`
        : html`<p class="quiet">${T.frame.none}</p>`}
    </main>
  </div>`;
}
