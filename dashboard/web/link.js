// Staying connected: the newest state arrives by websocket; shoot log lines
// that were missed are fetched by number. Half-open connections after sleep or lost
// Wi-Fi send no sign, so a silent connection is probed by an ordinary request.

import { store, change } from './store.js';
import { get, liveAddress, Refused } from './api.js';

const quietFor = 8000; // ms without a word until the daemon is asked; it beats every 5 s
const unpaired = 4001; // websocket close code: this device was shut out
const waits = [300, 600, 1200, 2500, 5000]; // ms between tries; the last one repeats
const keepEvents = 500;

let socket = null;
let tries = 0;
let timer = 0;
let asking = false;

export function startLink() {
  for (const [target, name] of [[window, 'online'], [window, 'pageshow'], [window, 'focus'], [document, 'visibilitychange']]) {
    target.addEventListener(name, () => { if (!document.hidden) wake(); });
  }
  window.addEventListener('offline', () => drop());
  setInterval(watch, 1000);
  connect();
}

// wake is called when there is reason to believe the network is back.
export function wake() {
  if (store.pairing) return;
  if (store.link.up) return void probe();
  tries = 0;
  clearTimeout(timer);
  connect();
}

async function connect() {
  if (asking || store.pairing) return;
  asking = true;
  change({ link: { ...store.link, trying: true } });
  try {
    take(await get('/state')); // tells 401 from a daemon that is not there; a websocket can't
  } catch (e) {
    asking = false;
    if (e instanceof Refused && e.status === 401) return shutOut();
    if (e instanceof Refused && e.status === 403) change({ barred: e.message });
    return later();
  }
  asking = false;
  change({ barred: '' });
  open();
}

function open() {
  if (socket) {
    socket.onclose = null;
    socket.close();
  }
  const mine = new WebSocket(liveAddress());
  socket = mine;
  mine.onopen = () => {
    tries = 0;
    heard({ up: true, ever: true });
    catchUp();
  };
  mine.onmessage = (m) => {
    if (mine !== socket) return;
    let said = null;
    try { said = JSON.parse(m.data); } catch { return; }
    if (said.type === 'state') take(said);
    else heard(said.code === 'paired' ? { paired: store.link.paired + 1 } : {}); // a beat, or a notice
    catchUp();
  };
  mine.onclose = (e) => {
    if (mine !== socket) return;
    socket = null;
    if (e.code === unpaired) shutOut();
    else drop();
  };
}

function drop() {
  if (socket) {
    socket.onclose = null;
    socket.close();
    socket = null;
  }
  change({ link: { ...store.link, up: false } });
  later();
}

// shutOut leaves nothing on the screen of a device that is not, or no longer, paired.
function shutOut() {
  clearTimeout(timer);
  if (socket) {
    socket.onclose = null;
    socket.close();
    socket = null;
  }
  change({ pairing: true, doc: null, events: [], link: { ...store.link, up: false, ever: false } });
}

function later() {
  clearTimeout(timer);
  const wait = waits[Math.min(tries++, waits.length - 1)];
  change({ link: { ...store.link, up: false, trying: false } });
  timer = setTimeout(connect, wait * (0.8 + 0.4 * Math.random()));
}

// take makes a document the current one, unless an older one comes late. Another
// shoot, or a daemon that begins anew, counts its states from the start.
function take(doc) {
  const old = store.doc;
  if (old && old.shoot?.id !== doc.shoot?.id) {
    change({ events: [] });
  } else if (old && doc.state < old.state) {
    return heard();
  }
  change({ doc });
  heard();
}

function heard(more = {}) {
  change({ link: { ...store.link, contact: Date.now(), ...more } });
}

let fetching = false;

// catchUp fetches the shoot log lines after the newest one known.
async function catchUp() {
  if (store.doc?.you?.role === 'looks') return;
  const last = store.doc?.last_event || 0;
  const known = store.events.length ? store.events[store.events.length - 1].number : Math.max(0, last - keepEvents);
  if (fetching || last <= known) return;
  fetching = true;
  try {
    const answer = await get(`/events?after=${known}&limit=${keepEvents}`);
    const more = (answer?.events || []).filter((e) => e.number > known);
    if (more.length) change({ events: [...store.events, ...more].slice(-keepEvents) });
    fetching = false;
    if (more.length && (store.doc?.last_event || 0) > more[more.length - 1].number) catchUp();
  } catch {
    fetching = false; // the next state brings the next try
  }
}

// watch runs each second: it moves "since 12 s" on and probes a silent daemon.
function watch() {
  if (store.pairing || document.hidden) return;
  if (!store.link.up) return change({ tick: store.tick + 1 });
  if (Date.now() - store.link.contact > quietFor) probe();
}

async function probe() {
  if (asking) return;
  asking = true;
  try {
    take(await get('/state'));
    asking = false;
    catchUp();
  } catch (e) {
    asking = false;
    if (e instanceof Refused && e.status === 401) return shutOut();
    drop();
  }
}
