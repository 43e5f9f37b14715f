// Two themes: dim, for a room lit by modelling lamps, and light.

import { remember, remembered } from './store.js';

export const theme = () => document.documentElement.dataset.theme;

export function setTheme(name) {
  document.documentElement.dataset.theme = name;
  document.querySelector('meta[name="theme-color"]')?.setAttribute('content', name === 'dim' ? '#0f1615' : '#efece1');
  remember('theme', name);
}

export function loadTheme() {
  setTheme(remembered('theme') === 'light' ? 'light' : 'dim');
}
