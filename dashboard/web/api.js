// Speaking to the daemon: every request the page makes goes through here.

import { store, change } from './store.js';
import { T } from './texts.js';

// said is a refusal's sentence in the page's language, where that knows it.
const said = (text) => T.said.sentence(text) || text;

const base = '/api/v1';
const patience = 6000; // ms until a request counts as unanswered

// Refused is an answer of the daemon that is not the one hoped for.
export class Refused extends Error {
  constructor(status, body) {
    super(said(body?.error?.text || `${status}`));
    this.status = status;
    this.code = body?.error?.code || '';
    this.body = body || {};
  }
}

export async function call(method, path, body) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), patience);
  try {
    const answer = await fetch(base + path, {
      method,
      signal: stop.signal,
      credentials: 'same-origin',
      headers: body === undefined ? {} : { 'Content-Type': 'application/json' },
      body: body === undefined ? undefined : JSON.stringify(body),
    });
    const text = await answer.text();
    let value = null;
    try { value = text ? JSON.parse(text) : null; } catch { value = { error: { text: text.trim() } }; }
    if (!answer.ok) throw new Refused(answer.status, value);
    return value;
  } finally {
    clearTimeout(timer);
  }
}

export const get = (path) => call('GET', path);

// newClient makes the id by which a repeat of the same action is recognised.
// crypto.randomUUID does not exist on plain HTTP over the LAN; this does.
export function newClient() {
  return Array.from(crypto.getRandomValues(new Uint8Array(12)), (b) => b.toString(16).padStart(2, '0')).join('');
}

// act records an action. It repeats an unanswered one under the same client id,
// so that a lost answer never records twice, and gives the receipt, or null after
// it has told the person why not. same(doc) says whether the action still means
// what it meant when the state has moved on: then it is sent again by itself.
// refused(error) may take the telling over, by returning true.
export async function act(method, path, body, same = () => false, refused = () => false) {
  const client = newClient();
  let seen = store.doc?.state || 0;
  for (let turn = 0; turn < 4; turn++) {
    try {
      const receipt = await call(method, path, { client, seen, ...body });
      change({ notice: '' });
      return receipt;
    } catch (e) {
      if (e instanceof Refused) {
        const now = e.status === 409 ? await current(e) : null;
        if (now && same(now)) {
          seen = now.state;
          continue;
        }
        if (e.status === 401) change({ pairing: true });
        if (refused(e)) return null;
        change({ notice: now ? T.failed.stale : `${T.failed.other} ${e.message}` });
        return null;
      }
      await new Promise((done) => setTimeout(done, 300 * (turn + 1)));
    }
  }
  change({ notice: T.failed.offline });
  return null;
}

// current takes the state out of a refusal, or asks for it.
async function current(refusal) {
  try {
    const doc = refusal.body.current || await get('/state');
    if (doc && doc.state !== undefined) change({ doc });
    return doc;
  } catch {
    return null;
  }
}

export const picture = (frame, edge) => `${frame.picture}&edge=${edge}`;

export const liveAddress = () =>
  `${location.protocol === 'https:' ? 'wss:' : 'ws:'}//${location.host}${base}/live`;
