// A light's sign: its group letter on an oar's blade. Each light of the plan has its
// own bands, so that two signs differ without reading and without colour.

import { html } from './vendor/htm-preact.js';

const outline = 'M1 20H13C17 11 25 6 37 6h21q4 0 4 4v24q0 4-4 4H37C25 38 17 33 13 24H1z';
const bands = [
  null,
  'M54 6.500v31',
  'M57 6.500v31M51 6.500v31',
  'M50 6.500l8 15.500-8 15.500',
  'M46 6.500v8M46 29.500v8M56 6.500v8M56 29.500v8',
];

export function Blade({ group, index = 0, quiet }) {
  return html`<svg class=${quiet ? 'blade quiet' : 'blade'} viewBox="0 0 64 44" aria-hidden="true">
    <path class="blade-body" d=${outline} />
    ${bands[index % bands.length] && html`<path class="blade-band" d=${bands[index % bands.length]} />`}
    <text x="36" y="31" text-anchor="middle">${group}</text>
  </svg>`;
}

// Turn shows which way a dial goes: a rising or falling run of steps.
export function Turn({ down }) {
  return html`<svg class="turn-way" viewBox="0 0 44 30" aria-hidden="true">
    <path d=${down ? 'M2 4h12v8h12v8h12' : 'M2 26h12v-8h12v-8h12'} />
    <path class="tip" d=${down ? 'M32 15l7 6-7 7' : 'M32 4l7 6-7 7'} />
  </svg>`;
}
