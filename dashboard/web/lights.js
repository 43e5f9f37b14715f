// The lights as they stand, each with a stepper in its own clicks: short on the main
// screen. Presses within a moment of each other become one recorded adjustment.

import { html, useEffect, useRef, useState } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { length } from './units.js';
import { may } from './store.js';
import { act } from './api.js';
import { Blade } from './blade.js';
import { useNarrow } from './narrow.js';

const rest = 900; // ms without another press until the adjustment is recorded

export function Lights({ doc, stale }) {
  const list = doc?.lights || [];
  const advised = Object.fromEntries((doc?.advice?.status === 'adjust' ? doc.advice.adjustments || [] : []).map((a) => [a.group, a.to_text]));
  const narrow = useNarrow();
  const [chosen, choose] = useState('');
  const at = list.findIndex((l) => l.group === chosen);
  return html`<section class="lights" aria-label=${T.lights.label}>
    <header><h2>${T.lights.label}</h2><a href="#lights">${narrow ? T.care.brief : T.care.short}</a></header>
    ${list.length === 0
      ? html`<p class="quiet">${T.lights.none}</p>`
      : html`<ul class=${`light-row n${Math.min(list.length, 4)}`}>
        ${list.map((l, i) => (narrow
          ? html`<${Cell} key=${l.group} light=${l} index=${i} open=${l.group === chosen} choose=${() => choose(l.group === chosen ? '' : l.group)} />`
          : html`<${Light} key=${l.group} light=${l} index=${i} advised=${advised[l.group]} stale=${stale} />`))}
      </ul>
      ${narrow && at >= 0 && html`<ul class="light-chosen"><${Light} key=${chosen} light=${list[at]} index=${at} advised=${advised[chosen]} stale=${stale} /></ul>`}`}
  </section>`;
}

export function useLight(light, stale) {
  const settings = light.settings || [];
  const here = settings.indexOf(light.power_text);
  const [draft, setDraft] = useState(-1); // index of a setting not recorded yet
  const [phase, setPhase] = useState(''); // '', 'soon', 'saving', 'saved'
  const timer = useRef(0);
  useEffect(() => () => clearTimeout(timer.current), []);
  useEffect(() => { // somebody or a frame moved this light: their setting stands
    clearTimeout(timer.current);
    setDraft(-1);
    setPhase((p) => (p === 'saving' || p === 'saved' ? 'saved' : ''));
  }, [light.power, light.off]);
  useEffect(() => {
    if (phase !== 'saved') return undefined;
    const t = setTimeout(() => setPhase(''), 2500);
    return () => clearTimeout(t);
  }, [phase]);

  const shown = draft >= 0 ? draft : here;
  const fixed = !may('adjust') || stale || phase === 'saving' || here < 0;
  const unchanged = (now) => {
    const l = (now.lights || []).find((x) => x.group === light.group);
    return !!l && l.power === light.power && l.off === light.off;
  };
  const save = async (body) => {
    setPhase('saving');
    const done = await act('POST', '/adjustments', { group: light.group, ...body }, unchanged);
    setDraft(-1);
    setPhase(done ? 'saved' : '');
  };
  const press = (by) => {
    const to = Math.min(settings.length - 1, Math.max(0, shown + by));
    clearTimeout(timer.current);
    setDraft(to === here ? -1 : to);
    setPhase(to === here ? '' : 'soon');
    if (to !== here) timer.current = setTimeout(() => save({ to_text: settings[to] }), rest);
  };
  return { settings, here, shown, draft, phase, fixed, press, save, text: shown >= 0 ? settings[shown] : light.power_text || T.lights.unknown };
}

// saying is what stands under a light's name: what becomes of a press, else what is advised.
export function saying(light, phase, advised) {
  const about = [light.distance_m > 0 && length(light.distance_m), light.modifier].filter(Boolean).join(', ');
  return { soon: T.lights.soon, saving: T.lights.saving, saved: T.lights.saved }[phase]
    || (light.off ? T.lights.isOff : advised && advised !== light.power_text ? T.lights.advised(advised) : about);
}

// Cell is a light where there is no room for its stepper: a press opens that.
function Cell({ light, index, open, choose }) {
  return html`<li class=${light.off ? 'light cell is-off' : 'light cell'}>
    <button aria-expanded=${open ? 'true' : 'false'} disabled=${!may('adjust')} onClick=${choose}>
      <${Blade} group=${light.group} index=${index} quiet=${light.off} />
      <span>${T.said.light(light).replace(` (${light.group})`, '')}</span>
      <output>${light.off ? T.lights.off : light.power_text || T.lights.unknown}</output>
    </button>
  </li>`;
}

function Light({ light, index, advised, stale }) {
  const { settings, shown, draft, phase, fixed, press, text } = useLight(light, stale);
  return html`<li class=${light.off ? 'light is-off' : 'light'}>
    <div class="light-head">
      <${Blade} group=${light.group} index=${index} quiet=${light.off} />
      <div><h3>${T.said.light(light).replace(` (${light.group})`, '')}</h3>
        <p class="light-says" aria-live="polite" title=${saying(light, '', advised)}>${saying(light, phase, advised)}</p></div>
    </div>
    <${Stepper} light=${light} text=${text} draft=${draft >= 0} down=${!fixed && shown > 0} up=${!fixed && shown < settings.length - 1} press=${press} />
  </li>`;
}

export function Stepper({ light, text, draft, down, up, press }) {
  return html`<div class="stepper">
    <output class=${draft ? 'draft' : ''} aria-live="polite">${text}</output>
    <button aria-label=${T.lights.down(T.said.light(light))} disabled=${!down} onClick=${() => press(-1)}>−</button>
    <button aria-label=${T.lights.up(T.said.light(light))} disabled=${!up} onClick=${() => press(1)}>+</button>
  </div>`;
}
