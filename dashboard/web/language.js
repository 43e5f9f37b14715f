// The language of the page: the browser's, or the one that was chosen on this device.
// texts.js is English and complete; another language is laid over it before anything is drawn.

import { T } from './texts.js';
import { change, remember, remembered } from './store.js';

export const languages = { en: 'English', de: 'Deutsch' };

export function language() {
  const chosen = remembered('language');
  if (languages[chosen]) return chosen;
  return (navigator.languages || [navigator.language || '']).map((l) => l.slice(0, 2)).find((l) => languages[l]) || 'en';
}

const english = copy(T);

export async function loadLanguage() {
  const code = language();
  let texts = null;
  try {
    if (code !== 'en') {
      const other = await import(`./texts-${code}.js`);
      await other.ready;
      texts = other.texts;
    }
  } catch { /* English is better than nothing */ }
  overlay(T, english);
  if (texts) overlay(T, texts);
  document.documentElement.lang = texts ? code : 'en';
}

export async function setLanguage(code) {
  remember('language', code);
  await loadLanguage();
  change({});
}

function copy(of) {
  return Object.fromEntries(Object.entries(of).map(([k, v]) => [k, v && typeof v === 'object' && !Array.isArray(v) ? copy(v) : v]));
}

function overlay(into, from) {
  for (const [key, value] of Object.entries(from)) {
    if (value && typeof value === 'object' && !Array.isArray(value)) overlay(into[key], value);
    else into[key] = value;
  }
}

// theirs is the lang attribute of what comes from the daemon, which speaks English, and is not known in the page's language.
export const theirs = () => (document.documentElement.lang === 'en' ? undefined : 'en');
