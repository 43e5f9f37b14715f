// Lengths as this device wants them: metres, or feet. The daemon knows metres alone.

import { remember, remembered } from './store.js';

const foot = 0.3048; // m, exactly: the international foot of 1959

export const unit = () => (remembered('unit') === 'ft' ? 'ft' : 'm');
export const setUnit = (u) => remember('unit', u);

// length writes a distance in the unit of this device.
export const length = (m) => (unit() === 'ft' ? `${trim(m / foot, 1)} ft` : `${trim(m, 2)} m`);

// shown and told are a distance as a field holds it, and what such a field says in metres.
export const shown = (m) => (m > 0 ? trim(unit() === 'ft' ? m / foot : m, 2) : '');
export const told = (text) => {
  const v = Number(String(text).replace(',', '.'));
  return Number.isFinite(v) && v > 0 ? Math.round(v * (unit() === 'ft' ? foot : 1) * 1000) / 1000 : 0;
};

const trim = (v, digits) => String(Number(v.toFixed(digits)));
