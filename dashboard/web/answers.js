// Three answers, enough to begin advising: the backdrop, the lights and their
// parts, and what each dial says.

import { html, useEffect, useState } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { act, get } from './api.js';
import { Faults } from './faults.js';

const roles = ['background', 'key', 'fill', 'hair'];
const letters = ['A', 'B', 'C', 'D', 'E', 'F'];

// counts says whether a dial counts in numbers instead of fractions of full power.
const counts = (power) => /^\s*\d{1,2}[.,]\d\s*$/.test(power) || /^\s*([2-9]|1\d)\s*$/.test(power);

export function Answers({ doc, stale, done }) {
  const [backdrop, setBackdrop] = useState('white');
  const [lights, setLights] = useState(() => (doc?.lights?.length
    ? doc.lights.map((l) => ({ role: l.role, group: l.group, power: l.power_text }))
    : roles.slice(0, 2).map((role, i) => ({ role, group: letters[i], power: '' }))));
  const [told, setTold] = useState(!!doc?.lights?.length); // the roles were chosen by a person
  const [clicks, setClicks] = useState('');
  const [busy, setBusy] = useState(false);
  const [check, setCheck] = useState(null);
  const count = (n) => setLights((old) => Array.from({ length: n }, (_, i) => old[i] || { role: roles[i] || 'fill', group: letters.find((g) => !old.slice(0, i).some((l) => l.group === g) && letters.indexOf(g) >= i) || letters[i], power: '' }));
  const set = (i, patch) => setLights((old) => old.map((l, k) => (k === i ? { ...l, ...patch } : l)));
  useEffect(() => { // what so many lights usually do with such a backdrop
    if (told) return undefined;
    let gone = false;
    get(`/plan/roles?backdrop=${backdrop}&lights=${lights.length}`).then((a) => {
      if (!gone && a.roles?.length) setLights((old) => old.map((l, i) => ({ ...l, role: a.roles[i] || l.role })));
    }, () => {});
    return () => { gone = true; };
  }, [backdrop, lights.length, told]);
  const ready = lights.every((l) => l.power.trim() && (!counts(l.power) || l.top?.trim()));
  const submit = async (e) => {
    e.preventDefault();
    setBusy(true);
    const body = { backdrop, lights: lights.map((l) => ({ ...l, power: l.power.trim(), clicks, top: counts(l.power) ? (l.top || '').trim() : '' })) };
    const receipt = await act('POST', '/plan/answers', body, undefined, // another plan that came meanwhile is not replaced unseen
      (e) => { setCheck(e.body.faults ? e.body : null); return !!e.body.faults; });
    setBusy(false);
    if (receipt) done();
  };
  return html`<form class="answers" onSubmit=${submit}>
    <h3>${T.plan.begin}</h3>
    <p>${T.plan.beginWhy}</p>
    <fieldset class="choice"><legend>${T.plan.q1}</legend>
      ${['white', 'grey', 'black', 'coloured'].map((b) => html`<label key=${b}><input type="radio" name="backdrop" value=${b} checked=${backdrop === b} onChange=${() => setBackdrop(b)} /> <span>${T.plan[b]}</span></label>`)}
    </fieldset>
    <fieldset class="choice"><legend>${T.plan.q2}</legend>
      ${[1, 2, 3, 4].map((n) => html`<label key=${n}><input type="radio" name="count" value=${n} checked=${lights.length === n} onChange=${() => count(n)} /> <span>${T.plan.count(n)}</span></label>`)}
      <ul class="answer-lights">${lights.map((l, i) => html`<li key=${i}>
        <label>${T.plan.group} <select value=${l.group} onChange=${(e) => set(i, { group: e.target.value })}>${letters.map((g) => html`<option key=${g} value=${g} selected=${g === l.group} disabled=${lights.some((o, k) => k !== i && o.group === g)}>${g}</option>`)}</select></label>
        <label>${T.plan.role} <select value=${l.role} onChange=${(e) => { setTold(true); set(i, { role: e.target.value }); }}>${roles.map((r) => html`<option key=${r} value=${r} selected=${r === l.role}>${T.plan.roles[r]}</option>`)}</select></label>
      </li>`)}</ul>
    </fieldset>
    <fieldset class="choice"><legend>${T.plan.q3}</legend>
      <p>${T.plan.dialHelp}</p>
      <ul class="answer-lights">${lights.map((l, i) => html`<li key=${i}>
        <label>${T.plan.roles[l.role]} (${l.group}) <input class="dial" aria-label=${T.plan.dialOf(`${T.plan.roles[l.role]} (${l.group})`)} value=${l.power} placeholder="1/8" maxlength="16" autocomplete="off" required onInput=${(e) => set(i, { power: e.target.value })} /></label>
        ${counts(l.power) && html`<label>${T.plan.top} <input class="dial" value=${l.top || ''} placeholder="10.0" maxlength="6" inputmode="decimal" autocomplete="off" required onInput=${(e) => set(i, { top: e.target.value })} /></label>`}
      </li>`)}</ul>
      <p>${T.plan.clicks}:</p>
      ${['', 'thirds', 'tenths'].map((v) => html`<label key=${v}><input type="radio" name="clicks" checked=${clicks === v} onChange=${() => setClicks(v)} /> <span>${T.plan.clickOf[v]}</span></label>`)}
    </fieldset>
    <div role="status">${check && html`<${Faults} check=${check} />`}</div>
    <button class="strong" disabled=${busy || stale || !ready}>${T.plan.go}</button>
  </form>`;
}
