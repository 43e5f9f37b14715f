// This device, and the others: who may do what, a code for another, an end to one.

import { html, useEffect, useState } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { may, change, store } from './store.js';
import { call, get } from './api.js';
import { setTheme, theme } from './theme.js';
import { canStayAwake } from './wake.js';
import { canShake, want, wants } from './notify.js';
import { keysOn, setKeys } from './keys.js';
import { setUnit, unit } from './units.js';
import { languages, language, setLanguage } from './language.js';

export function DevicesScreen({ doc, stale }) {
  const role = doc?.you?.role || 'looks';
  const [shown, setShown] = useState(theme());
  return html`<section class="screen devices-screen" aria-labelledby="devices-title">
    <h2 id="devices-title">${T.screens.devices}</h2>
    <h3>${T.devices.you}</h3>
    <p>${T.devices.role}: <b>${T.devices.roles[role]}</b> (${T.devices.rolesWhy[role]})</p>
    <fieldset class="choice"><legend>${T.devices.theme}</legend>
      ${['dim', 'light'].map((t) => html`<label key=${t}><input type="radio" name="theme" checked=${shown === t} onChange=${() => { setTheme(t); setShown(t); }} /> <span>${T.devices[t]}</span></label>`)}
    </fieldset>
    <fieldset class="choice"><legend>${T.devices.language}</legend>
      ${Object.entries(languages).map(([code, name]) => html`<label key=${code}><input type="radio" name="language" lang=${code} checked=${language() === code} onChange=${() => setLanguage(code)} /> <span lang=${code}>${name}</span></label>`)}
      <p>${T.devices.languageWhy}</p>
    </fieldset>
    <fieldset class="choice"><legend>${T.devices.unit}</legend>
      ${['m', 'ft'].map((u) => html`<label key=${u}><input type="radio" name="unit" checked=${unit() === u} onChange=${() => { setUnit(u); change({}); }} /> <span>${T.devices.units[u]}</span></label>`)}
    </fieldset>
    <fieldset class="choice"><legend>${T.devices.tell}</legend>
      <label><input type="checkbox" checked=${wants('sound')} onChange=${(e) => want('sound', e.target.checked)} /> <span>${T.devices.sound}</span></label>
      ${canShake() && html`<label><input type="checkbox" checked=${wants('shake')} onChange=${(e) => want('shake', e.target.checked)} /> <span>${T.devices.shake}</span></label>`}
    </fieldset>
    <fieldset class="choice"><legend>${T.devices.keyboard}</legend>
      <label><input type="checkbox" checked=${keysOn()} onChange=${(e) => setKeys(e.target.checked)} /> <span>${T.devices.keys}</span></label>
    </fieldset>
    <p><b>${T.devices.awake}.</b> ${canStayAwake() ? T.devices.awakeYes : T.devices.awakeNo}</p>
    ${!window.isSecureContext && html`<p><b>${T.devices.plain}.</b> ${T.devices.plainWhy}</p>`}
    ${may('devices') && (doc?.you?.device === 'local' ? html`<h3>${T.devices.add}</h3><p>${T.devices.open}</p>` : html`<${Code} stale=${stale} /><${List} stale=${stale} mine=${doc?.you?.device} />`)}
  </section>`;
}

function Code({ stale }) {
  const [role, setRole] = useState('lights');
  const [made, setMade] = useState(null); // {code, until, role, url}
  const [left, setLeft] = useState(0);
  useEffect(() => {
    if (!made) return undefined;
    const count = () => setLeft(Math.max(0, Math.round((made.until - Date.now()) / 1000)));
    count();
    const t = setInterval(count, 1000);
    return () => clearInterval(t);
  }, [made]);
  const make = async () => {
    try {
      const a = await call('POST', '/pair/codes', { role });
      setMade({ code: a.code, role, url: a.url, qr: a.qr, until: new Date(a.expires).getTime() });
    } catch (e) {
      change({ notice: e.message });
    }
  };
  return html`<h3>${T.devices.add}</h3>
    <fieldset class="choice"><legend>${T.devices.for}</legend>
      ${['lights', 'looks', 'shoots'].map((r) => html`<label key=${r}><input type="radio" name="role" checked=${role === r} onChange=${() => setRole(r)} />
        <span>${T.devices.roles[r]} <small>${T.devices.rolesWhy[r]}</small></span></label>`)}
    </fieldset>
    <button disabled=${stale} onClick=${make}>${T.devices.make}</button>
    ${made && (left > 0
      ? html`<div class="made" role="status"><output class="code">${made.code}</output> <p>${T.devices.roles[made.role]}, ${T.devices.codeLeft(left)}</p>
          <${Squares} rows=${made.qr} />
          <p>${T.devices.openAt} <code>${made.url}</code></p></div>`
      : html`<p role="status">${T.devices.codeOver}</p>`)}`;
}

function List({ stale, mine }) {
  const [list, setList] = useState(null);
  const [sure, setSure] = useState('');
  const look = async () => {
    try {
      setList((await get('/devices')).devices);
    } catch (e) {
      change({ notice: e.message });
    }
  };
  useEffect(() => {
    look();
    const t = setInterval(look, 5000);
    return () => clearInterval(t);
  }, [store.link.paired]);
  const revoke = async (id) => {
    try { await call('DELETE', `/devices/${encodeURIComponent(id)}`); } catch (e) { change({ notice: e.message }); }
    setSure('');
    look();
  };
  return html`<h3>${T.devices.list}</h3>
    ${list && list.length === 0 && html`<p class="quiet">${T.devices.nobody}</p>`}
    <ul class="device-list">${(list || []).map((d) => html`<li key=${d.id}>
      <p><b>${d.name}</b> ${T.devices.roles[d.role]}${d.id === mine ? ` (${T.devices.you})` : ''}
        <small>${T.devices.paired(d.paired)}</small></p>
      ${sure === d.id
        ? html`<span class="sure">${T.devices.revokeSure(d.name)}</span>
          <button class="strong" disabled=${stale} onClick=${() => revoke(d.id)}>${T.devices.revoke}</button>
          <button onClick=${() => setSure('')}>${T.devices.keep}</button>`
        : html`<button class="small-button" aria-label=${T.devices.revokeOf(d.name)} onClick=${() => setSure(d.id)}>${T.devices.revoke}</button>`}
    </li>`)}</ul>`;
}

// Squares draws a QR code, dark on light whatever the theme: that is what cameras read.
function Squares({ rows }) {
  if (!rows?.length) return null;
  const d = rows.flatMap((row, y) => [...row].map((c, x) => (c === '#' ? `M${x} ${y}h1v1h-1z` : ''))).join('');
  return html`<svg class="squares" viewBox=${`0 0 ${rows[0].length} ${rows.length}`} role="img" aria-label=${T.devices.squares} shape-rendering="crispEdges">
    <rect class="squares-light" width="100%" height="100%" /><path class="squares-dark" d=${d} /></svg>`;
}
