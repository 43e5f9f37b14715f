// Where the page begins: the frame round the screens, and what is true on all
// of them: the advice, the connection, troubles. A new screen is a module here beside
// now.js, a line in `screens`, and its name in store.js and texts.js.

import { html, render, useEffect, useState } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { store, listen, change, screenOf, stale as isStale } from './store.js';
import { startLink, wake } from './link.js';
import { loadTheme } from './theme.js';
import { stayAwake } from './wake.js';
import { startTelling } from './notify.js';
import { startKeys } from './keys.js';
import { loadLanguage } from './language.js';
import { Board } from './board.js';
import { Pair, codeInAddress } from './pair.js';
import { NowScreen } from './now.js';
import { LogScreen } from './log.js';
import { PlanScreen } from './plan.js';
import { DevicesScreen } from './devices.js';
import { LooksScreen } from './looks.js';
import { MoreScreen } from './more.js';
import { Demo } from './demo.js';
import { Theirs } from './theirs.js';

// later is a screen that is fetched when somebody goes there, so that the first load stays light.
const later = (fetch) => function Later(props) {
  const [Screen, setScreen] = useState(null);
  useEffect(() => { fetch().then((s) => setScreen(() => s), () => change({ notice: T.failed.page })); }, []);
  return Screen && html`<${Screen} ...${props} />`;
};
const PastScreen = later(() => import('./past.js').then((m) => m.PastScreen));
const FramesScreen = later(() => import('./frames.js').then((m) => m.FramesScreen));
const RigScreen = later(() => import('./rig.js').then((m) => m.RigScreen));
const WalkScreen = later(() => import('./walk.js').then((m) => m.WalkScreen));

const screens = { now: NowScreen, frames: FramesScreen, lights: RigScreen, past: PastScreen, log: LogScreen, plan: PlanScreen, walk: WalkScreen, devices: DevicesScreen };

// first are the screens that a telephone names as well; the others are behind "more" there.
const first = ['now', 'frames', 'lights'];

let given = '';

function App() {
  const [, redraw] = useState(0);
  useEffect(() => {
    redraw((n) => n + 1); // for what changed before this listened
    return listen(() => redraw((n) => n + 1));
  }, []);
  const { events, link, screen, pairing } = store;
  const doc = withProvisional(withoutOldAdvice(store.doc));
  if (pairing) return html`<${Pair} code=${given} forget=${() => { given = ''; }} />`;
  const stale = isStale();
  if (store.barred && !doc) return html`<main class="pair"><div class="barred"><h1>${T.looks.barred}</h1><p><${Theirs} text=${store.barred} /></p></div></main>`;
  if (doc?.you?.role === 'looks') return html`<${LooksScreen} doc=${doc} head=${html`<${Head} doc=${doc} link=${link} stale=${stale} />`} stale=${stale} />`;
  const Screen = screens[screen] || MoreScreen;
  return html`<div class=${`app on-${screen}${stale ? ' stale' : ''}`}>
    <a class="skip" href="#advice" onClick=${(e) => { e.preventDefault(); document.getElementById('advice')?.focus(); }}>${T.skip}</a>
    <${Head} doc=${doc} link=${link} stale=${stale} />
    <main>
      <${Board} doc=${doc} low=${screen !== 'now'} stale=${stale} />
      <${Screen} doc=${doc} events=${events} stale=${stale} />
    </main>
    ${screen === 'now' && html`<${Strip} doc=${doc} stale=${stale} />`}
    <footer class="foot">
      ${doc?.demo && html`<${Demo} doc=${doc} stale=${stale} />`}
      <nav aria-label=${T.nav}>${[...Object.keys(screens), 'more'].map((s) => html`<a key=${s} href=${`#${s}`} class=${s === 'more' ? 'nav-more' : first.includes(s) ? '' : 'nav-rest'}
        aria-current=${s === screen || s === 'more' && !first.includes(screen) ? 'page' : undefined}>${T.screens[s]}</a>`)}</nav>
    </footer>
  </div>`;
}

// Advice that newer frames have overtaken is shown nowhere as if it still held.
function withoutOldAdvice(doc) {
  if (!doc?.advice_old) return doc;
  return { ...doc, advice: { ...doc.advice, status: 'look', headline: T.advice.old, reason: doc.advice_old, frame: 0,
    guess: false, at_least: false, adjustments: [], expected: [], ways: [], warnings: [] } };
}

// What the preview of the newest file tells is shown in place of the advice before, and says
// that it is no more than that. There is nothing to press: it is gone in a moment.
function withProvisional(doc) {
  if (!doc?.provisional || doc.advice_old) return doc;
  return { ...doc, advice: { ...doc.provisional.advice, provisional: true } };
}

// Strip keeps the advice in view when the board was scrolled away. It says nothing
// that the board does not, so assistive technology is spared it.
function Strip({ doc, stale }) {
  const [away, setAway] = useState(false);
  useEffect(() => {
    const look = () => setAway((document.getElementById('advice')?.getBoundingClientRect().top ?? 0) < -60);
    window.addEventListener('scroll', look, { passive: true });
    return () => window.removeEventListener('scroll', look);
  }, []);
  if (!away || !doc?.advice) return null;
  return html`<div class="low-strip" aria-hidden="true"><${Board} doc=${{ ...doc, question: null }} low echo stale=${stale} /></div>`;
}

function Head({ doc, link, stale }) {
  const since = link.contact ? (Date.now() - link.contact) / 1000 : 0;
  const troubles = [...(doc?.recording ? [{ code: 'recording', text: doc.recording }] : []), ...(doc?.troubles || [])];
  return html`<header class="head">
    <p class="mast">${T.name}</p>
    <p class="head-plan"><bdi>${doc?.plan?.name || ''}</bdi>${doc?.plan?.name && doc?.camera?.text ? ' · ' : ''}${doc?.camera?.text || ''}</p>
    <p class="head-link">${!doc || !link.ever ? T.link.opening : stale ? T.link.aged(since)
      : doc.measuring > 0 ? T.link.measuring(doc.measuring) : doc.latency_ms > 0 ? T.link.latency(Math.round(doc.latency_ms)) : T.link.up}</p>
    ${stale && html`<p class="unseen" role="alert">${T.link.lost}</p><div class="stale-bar"><span>${T.link.stale(since)}</span> <button onClick=${wake}>${T.link.retry}</button></div>`}
    ${troubles.map((t) => html`<p class="trouble" key=${t.code + t.text}><${Theirs} text=${t.text} /></p>`)}
    ${store.notice && html`<div class="notice" role="alert"><span>${store.notice}</span> <button onClick=${() => change({ notice: '' })}>${T.failed.dismiss}</button></div>`}
  </header>`;
}

loadTheme();
given = codeInAddress();
window.addEventListener('hashchange', () => {
  const code = codeInAddress();
  if (code) given = code;
  change({ screen: screenOf(location.hash) });
});
if (given) change({ pairing: true });
// The language is there before the first word is drawn.
loadLanguage().then(() => {
  render(html`<${App} />`, document.getElementById('page'));
  startLink();
  stayAwake();
  startTelling();
  startKeys();
});
