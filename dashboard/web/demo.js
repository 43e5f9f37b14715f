// The virtual studio of the demo: the visitor turns its lights as an assistant
// would turn real ones. The daemon is told nothing of it; it sees the next frame. Its bar
// lies above the screens' names, folded, so that it pushes nothing away.

import { html, useEffect, useState } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { change } from './store.js';
import { Blade } from './blade.js';

async function studio(method, path, body) {
  const answer = await fetch(`/demo${path}`, {
    method,
    headers: body === undefined ? {} : { 'Content-Type': 'application/json' },
    body: body === undefined ? undefined : JSON.stringify(body),
  });
  const text = await answer.text();
  let value = null;
  try { value = text ? JSON.parse(text) : null; } catch { /* a sentence */ }
  if (!answer.ok) throw new Error(value?.error?.text || value?.error || text);
  return value;
}

export function Demo({ doc, stale }) {
  const [now, setNow] = useState(null);
  const [busy, setBusy] = useState(false);
  const [open, setOpen] = useState(false);
  const look = async () => {
    try { setNow(await studio('GET', '/studio')); } catch { /* the link says when the daemon is gone */ }
  };
  useEffect(() => { look(); }, [doc?.frame?.number]);
  const say = async (path, body) => {
    setBusy(true);
    try {
      await studio('POST', path, body);
      await look();
    } catch (e) {
      change({ notice: e.message });
    }
    setBusy(false);
  };
  if (!now?.lights) return null;
  const turns = walkedTurns(doc?.walk, now.lights) || advisedTurns(doc?.advice, now.lights);
  const follow = async () => {
    for (const t of turns) await say('/light', t);
  };
  return html`<section class="demo" aria-label=${T.demo.label}>
    ${open && html`<div class="demo-open" id="demo-open">
      <p>${T.demo.why}</p>
      <ul>${now.lights.map((l, i) => html`<li key=${l.group}>
        <${Blade} group=${l.group} index=${i} quiet=${!l.on} />
        <b>${T.said.light(l).replace(` (${l.group})`, '')}</b>
        <label><input type="checkbox" checked=${l.on} disabled=${busy} onChange=${(e) => say('/light', { group: l.group, on: e.target.checked })} /> ${T.demo.on}</label>
        <select aria-label=${T.demo.power(T.said.light(l))} disabled=${busy} value=${String(l.index)} onChange=${(e) => say('/light', { group: l.group, index: Number(e.target.value) })}>
          ${(l.settings || []).map((s, k) => html`<option key=${k} value=${String(k)} selected=${k === l.index}>${s}</option>`)}
        </select>
        <label class="metres"><input type="number" inputmode="decimal" min="0.3" max="8" step="0.05" aria-label=${T.demo.distance(T.said.light(l))} disabled=${busy}
          value=${l.distance_m} onChange=${(e) => Number(e.target.value) > 0 && say('/light', { group: l.group, distance_m: Number(e.target.value) })} /> ${T.demo.metres}</label>
      </li>`)}</ul>
      <label class="demo-auto-in"><input type="checkbox" checked=${!!now.auto} disabled=${busy} onChange=${(e) => say('/auto', { on: e.target.checked })} /> <span>${T.demo.auto}</span></label>
      <label><input type="checkbox" id="demo-tire" checked=${!!now.tired} disabled=${busy} onChange=${(e) => say('/tire', { on: e.target.checked })} /> <span>${T.demo.tire}</span></label>
    </div>`}
    <div class="demo-bar">
      <h2>${T.demo.label}</h2>
      <button class=${turns.length ? 'strong' : ''} disabled=${busy || stale || !turns.length} onClick=${follow}>${T.demo.follow}</button>
      <button class=${turns.length ? '' : 'strong'} disabled=${busy || stale} onClick=${() => say('/frame', {})}>${T.demo.shoot}</button>
      <label class="demo-auto"><input type="checkbox" checked=${!!now.auto} disabled=${busy} onChange=${(e) => say('/auto', { on: e.target.checked })} /> <span>${T.demo.auto}</span></label>
      <button class="demo-fold" aria-expanded=${open ? 'true' : 'false'} aria-controls="demo-open" onClick=${() => setOpen(!open)}>${open ? T.demo.close : T.demo.open}</button>
    </div>
  </section>`;
}

// walkedTurns is what the virtual lights lack of what the set-up's step asks for; null without one.
function walkedTurns(walk, lights) {
  if (!walk || walk.done) return null;
  return walk.steps[walk.at].asks.flatMap((a) => {
    const l = lights.find((x) => x.group === a.group);
    if (!l) return [];
    const turn = { group: a.group };
    if (l.on === a.off) turn.on = !a.off;
    const index = l.settings.indexOf(a.power_text);
    if (!a.off && index >= 0 && index !== l.index) turn.index = index;
    return Object.keys(turn).length > 1 ? [turn] : [];
  });
}

// advisedTurns is what the virtual dials lack of the advice, as the studio wants it said.
function advisedTurns(advice, lights) {
  if (advice?.status !== 'adjust') return [];
  return (advice.adjustments || []).flatMap((a) => {
    const l = lights.find((x) => x.group === a.group);
    const index = l ? l.settings.indexOf(a.to_text) : -1;
    return index >= 0 && index !== l.index ? [{ group: a.group, index }] : [];
  });
}
