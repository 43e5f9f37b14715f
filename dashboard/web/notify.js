// A sound or a shake when there is something new to turn, for who wants it. Off until chosen.

import { remember, remembered, store, listen } from './store.js';

export const canShake = () => typeof navigator.vibrate === 'function';
export const wants = (what) => remembered(what) === 'yes';

let sounds = null;

// want keeps the choice. A browser lets a page sound only after a press: this is one.
export function want(what, on) {
  remember(what, on ? 'yes' : 'no');
  if (on) tell(what);
}

function tell(what) {
  if (what === 'shake' && canShake()) navigator.vibrate([60, 80, 60]);
  if (what === 'sound') chime();
}

// chime is two soft notes, a fourth apart, a third of a second long.
function chime() {
  try {
    sounds ||= new AudioContext();
    sounds.resume();
    [[392, 0], [523.25, 0.16]].forEach(([hertz, at]) => {
      const o = sounds.createOscillator(), g = sounds.createGain(), t = sounds.currentTime + at;
      o.frequency.value = hertz;
      g.gain.setValueAtTime(0, t);
      g.gain.linearRampToValueAtTime(0.18, t + 0.02);
      g.gain.exponentialRampToValueAtTime(0.001, t + 0.3);
      o.connect(g).connect(sounds.destination);
      o.start(t);
      o.stop(t + 0.32);
    });
  } catch { /* a browser without sound */ }
}

let last = ''; // the turns that were told of

export function startTelling() {
  listen(() => {
    const a = store.doc?.advice;
    if (!a) return;
    const turns = a.status === 'adjust' && !store.doc.advice_old ? (a.adjustments || []).map((t) => `${t.group}${t.to_text}`).join() : '';
    if (turns === last) return;
    const first = last === '' && !store.link.ever;
    last = turns;
    if (turns && !first) for (const what of ['sound', 'shake']) if (wants(what)) tell(what);
  });
}
