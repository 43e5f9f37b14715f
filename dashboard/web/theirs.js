// Theirs is a sentence of the daemon, in the page's language where that knows it.

import { html } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { theirs } from './language.js';

export function Theirs({ text }) {
  const own = text && T.said.sentence(text);
  return html`<span lang=${own ? undefined : theirs()}>${own || text}</span>`;
}

// said is the same as bare text, for a label or a sentence among others.
export const said = (text) => (text && T.said.sentence(text)) || text;
