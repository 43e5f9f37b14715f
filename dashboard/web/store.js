// What the page knows at this moment, and who wants to hear of a change. Only
// link.js writes what came from the daemon; screens write what is theirs.

const listeners = new Set();

// names are the screens, as the address has them after its #.
export const names = ['now', 'frames', 'lights', 'past', 'log', 'plan', 'walk', 'devices', 'more'];

export const store = {
  doc: null, // newest state document
  events: [], // shoot log lines, oldest first
  link: { up: false, ever: false, contact: 0, trying: true, paired: 0 }, // contact: when the daemon was last heard, ms; paired: devices that came since
  barred: '', // why this device may not look now
  pairing: false, // the daemon wants this device to pair
  screen: screenOf(location.hash),
  notice: '', // the sentence of a write that failed
  tick: 0, // counts seconds while something on the page depends on the time
};

export function change(patch) {
  Object.assign(store, patch);
  for (const f of listeners) f();
}

export function listen(f) {
  listeners.add(f);
  return () => listeners.delete(f);
}

export function screenOf(hash) {
  const name = hash.replace(/^#/, '').split('=')[0];
  return names.includes(name) ? name : 'now';
}

// may says whether this device's role allows an action.
export function may(what) {
  const role = store.doc?.you?.role || 'looks';
  if (role === 'shoots') return true;
  if (role === 'lights') return ['adjust', 'note', 'answer', 'reference'].includes(what);
  return false;
}

// stale says whether what is shown may be old.
export const stale = () => store.link.ever && !store.link.up;

// remember keeps a preference on this device; a browser that keeps nothing is no fault.
export function remember(key, value) {
  try { localStorage.setItem(`thirdstop.${key}`, value); } catch { /* private window */ }
}

export function remembered(key) {
  try { return localStorage.getItem(`thirdstop.${key}`); } catch { return null; }
}
