// The laptop's keyboard: digits choose a screen. It can be switched off, for who speaks to
// the machine (WCAG 2.2, success criterion 2.1.4).

import { remember, remembered, names } from './store.js';

export const keysOn = () => remembered('keys') !== 'no';
export const setKeys = (on) => remember('keys', on ? 'yes' : 'no');

export function startKeys() {
  document.addEventListener('keydown', (e) => {
    if (!keysOn() || e.ctrlKey || e.altKey || e.metaKey || e.target.closest?.('input, select, textarea, [role="application"]')) return;
    const name = names.filter((n) => n !== 'more')[Number(e.key) - 1];
    if (name && /^[1-9]$/.test(e.key)) location.hash = name;
  });
}
