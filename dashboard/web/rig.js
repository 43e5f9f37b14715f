// The lights and reflectors with all that can be recorded of each, where they stand seen from above,
// and what each adds to each region. Whatever is changed here is a recorded adjustment.

import { html, useEffect, useState } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { may } from './store.js';
import { act, get } from './api.js';
import { useLight, saying, Stepper } from './lights.js';
import { Blade } from './blade.js';
import { Care } from './care.js';
import { Above } from './above.js';
import { shown, told, unit } from './units.js';
import { signed } from './frames.js';
import { Theirs } from './theirs.js';
import { Again } from './again.js';

export function RigScreen({ doc, stale }) {
  const list = doc?.lights || [], reflectors = doc?.reflectors || [];
  const rig = useRig(doc);
  const advised = Object.fromEntries((doc?.advice?.status === 'adjust' ? doc.advice.adjustments || [] : []).map((a) => [a.group, a.to_text]));
  return html`<section class="screen rig-screen" aria-labelledby="rig-title">
    <div class="frames-head"><h2 id="rig-title">${T.screens.lights}</h2><p class="quiet">${doc?.camera?.text || ''}</p></div>
    <${Again} doc=${doc} />
    ${list.length === 0 && html`<p class="quiet">${T.lights.none}</p>`}
    <ul class="rig-cards">${list.map((l, i) => html`<${Card} key=${l.group} light=${l} index=${i} advised=${advised[l.group]} load=${(rig?.loads || []).find((x) => x.group === l.group)} stale=${stale} />`)}
      ${reflectors.map((m) => html`<${Panel} key=${m.group} panel=${m} of=${list.find((l) => l.group === m.of)} stale=${stale} />`)}</ul>
    ${list.length > 0 && html`<div class="rig-two">
      <${Above} lights=${list} reflectors=${reflectors} backdrop=${rig?.backdrop_m || 0} stale=${stale} />
      <${Shares} rig=${rig} lights=${list} reflectors=${reflectors} />
    </div>`}
    <${Care} />
  </section>`;
}

function useRig(doc) {
  const [rig, setRig] = useState(null);
  useEffect(() => {
    let gone = false;
    get('/rig').then((r) => { if (!gone) setRig(r); }, () => {});
    return () => { gone = true; };
  }, [doc?.state]);
  return rig;
}

function Card({ light, index, advised, load, stale }) {
  const { settings, shown: place, draft, phase, fixed, press, save, here, text } = useLight(light, stale);
  const off = fixed && here >= 0;
  return html`<li class=${light.off ? 'light is-off' : 'light'}>
    <div class="light-head">
      <${Blade} group=${light.group} index=${index} quiet=${light.off} />
      <div><h3>${T.said.light(light).replace(` (${light.group})`, '')}</h3>
        <p class="light-says" aria-live="polite">${saying(light, phase, advised)}</p></div>
      <button class="switch" role="switch" aria-checked=${light.off ? 'false' : 'true'} disabled=${off}
        aria-label=${light.off ? T.lights.turnOn(T.said.light(light)) : T.lights.turnOff(T.said.light(light))} onClick=${() => save({ off: !light.off })}>${light.off ? T.lights.off : T.lights.on}</button>
    </div>
    <${Stepper} light=${light} text=${text} draft=${draft >= 0} down=${!fixed && place > 0} up=${!fixed && place < settings.length - 1} press=${press} />
    ${load && html`<p class="rig-load">${T.rig.load(load.full_flashes_per_minute.toFixed(1), load.limit_flashes_per_minute, load.left)}</p>`}
    <div class="rig-fields">
      <${Told} id=${`d-${light.group}`} label=${T.rig.distance(unit())} value=${shown(light.distance_m)} off=${off} numeric
        send=${(v) => told(v) > 0 && save({ distance_m: told(v) })} />
      <${Told} id=${`z-${light.group}`} label=${T.rig.zoom} value=${light.zoom_mm > 0 ? String(light.zoom_mm) : ''} off=${off} numeric
        send=${(v) => Number(v) > 0 && save({ zoom_mm: Number(v) })} />
      <${Told} id=${`m-${light.group}`} label=${T.rig.modifier} value=${light.modifier || ''} off=${off} wide send=${(v) => save({ modifier: v })} />
    </div>
  </li>`;
}

// Panel is a reflector: it has no dial, and is moved, turned, taken away or put in place.
function Panel({ panel: m, of, stale }) {
  const [phase, setPhase] = useState('');
  const off = stale || !may('adjust') || phase === 'saving';
  useEffect(() => {
    if (phase !== 'saved') return undefined;
    const t = setTimeout(() => setPhase(''), 2500);
    return () => clearTimeout(t);
  }, [phase]);
  const save = async (body) => {
    setPhase('saving');
    const done = await act('POST', '/adjustments', { group: m.group, ...body }, (now) => {
      const x = (now.reflectors || []).find((r) => r.group === m.group);
      return !!x && x.distance_m === m.distance_m && x.turned_deg === m.turned_deg && x.away === m.away;
    });
    setPhase(done ? 'saved' : '');
  };
  const name = T.said.light(m);
  return html`<li class=${m.away ? 'light is-off' : 'light'}>
    <div class="light-head">
      <${Blade} group=${m.group} index=${0} quiet=${m.away} />
      <div><h3>${name.replace(` (${m.group})`, '')}</h3>
        <p class="light-says" aria-live="polite">${{ saving: T.lights.saving, saved: T.lights.saved }[phase] || (m.away ? T.rig.away : of ? T.rig.reflects(T.said.light(of)) : '')}</p></div>
      <button class="switch" role="switch" aria-checked=${m.away ? 'false' : 'true'} disabled=${off}
        aria-label=${m.away ? T.rig.put(name) : T.rig.take(name)} onClick=${() => save({ off: !m.away })}>${m.away ? T.rig.gone : T.rig.there}</button>
    </div>
    <div class="rig-fields">
      <${Told} id=${`d-${m.group}`} label=${T.rig.distance(unit())} value=${shown(m.distance_m)} off=${off} numeric
        send=${(v) => told(v) > 0 && save({ distance_m: told(v) })} />
      <${Told} id=${`t-${m.group}`} label=${T.rig.turned} value=${String(m.turned_deg || 0)} off=${off} numeric
        send=${(v) => v !== '' && Number.isFinite(Number(v.replace(',', '.'))) && save({ turned_deg: Number(v.replace(',', '.')) })} />
    </div>
  </li>`;
}

// Told is a field that is recorded when it is left or Enter is pressed, if it was changed.
function Told({ id, label, value, off, numeric, wide, send }) {
  const [text, setText] = useState(null); // null: as recorded
  useEffect(() => setText(null), [value]);
  const done = () => {
    if (text !== null && text.trim() !== value) send(text.trim());
    else setText(null);
  };
  return html`<p class=${wide ? 'told wide' : 'told'}><label for=${id}>${label}</label>
    <input id=${id} value=${text === null ? value : text} disabled=${off} inputmode=${numeric ? 'decimal' : 'text'} maxlength="60" autocomplete="off"
      onInput=${(e) => setText(e.target.value)} onBlur=${done} onKeyDown=${(e) => { if (e.key === 'Enter') done(); if (e.key === 'Escape') setText(null); }} /></p>`;
}

// Shares says in hundredths what makes each region's light, and what was foretold of the newest frame.
function Shares({ rig, lights, reflectors }) {
  const regions = rig?.regions || [];
  if (!regions.length) return html`<section class="shares" aria-label=${T.rig.shares}><h3>${T.rig.shares}</h3><p class="quiet">${T.rig.noShares}</p></section>`;
  const hundredths = (v) => (v > 0 && v < 0.005 ? '<1' : String(Math.round(v * 100)));
  const judged = regions.filter((r) => r.before);
  return html`<section class="shares" aria-label=${T.rig.shares}>
    <h3>${T.rig.shares}</h3>
    <table><thead><tr><td></td>${lights.map((l, i) => html`<th scope="col" key=${l.group}><${Blade} group=${l.group} index=${i} quiet=${l.off} /><span class="unseen">${T.said.light(l)}</span></th>`)}
        ${reflectors.map((m) => html`<th scope="col" key=${m.group}><${Blade} group=${m.group} index=${0} quiet=${m.away} /><span class="unseen">${T.said.light(m)}</span></th>`)}<th scope="col">${T.rig.ambient}</th></tr></thead>
      <tbody>${regions.map((r) => html`<tr key=${r.region}><th scope="row">${T.said.region(r.name)}${r.assumed ? html` <small>${T.rig.assumed}</small>` : ''}</th>
        ${[...r.lights.map((s) => s.share), ...(r.reflectors || []).map((s) => s.share), r.ambient].map((v, i) => html`<td key=${i}><span class="share-bar" style=${{ '--share': v }}></span>${hundredths(v)} %</td>`)}</tr>`)}</tbody></table>
    <h3>${T.rig.next}</h3>
    <table><thead><tr><td></td><th scope="col">${T.rig.expected}</th><th scope="col">${T.rig.between}</th></tr></thead>
      <tbody>${regions.map(({ region, name, next: n }) => html`<tr key=${region}><th scope="row">${T.said.region(name)}</th>
        <td>${signed(n.level_stops)}</td><td>${T.rig.range(signed(n.low_stops), signed(n.high_stops))}</td></tr>`)}</tbody></table>
    ${rig.apart && html`<p class="apart"><${Theirs} text=${rig.apart.text} /></p>`}
    ${judged.length > 0 && html`<h3>${T.rig.foretold(judged[0].before.frame)}</h3>
    <table><thead><tr><td></td><th scope="col">${T.rig.expected}</th><th scope="col">${T.rig.measured}</th><th scope="col">${T.rig.apart}</th></tr></thead>
      <tbody>${judged.map(({ region, name, before: b }) => html`<tr key=${region}><th scope="row">${T.said.region(name)}</th>
        <td>${signed(b.level_stops)} ± ${b.sigma_stops.toFixed(2)}</td><td>${b.at_least ? `${T.advice.atLeast} ` : ''}${signed(b.measured_stops)}</td>
        <td>${b.at_least && b.level_stops > b.measured_stops ? T.rig.hidden : signed(b.measured_stops - b.level_stops)}</td></tr>`)}</tbody></table>`}
  </section>`;
}
