// The lights as they stand, each with a stepper in its own clicks. Presses within
// a moment of each other become one recorded adjustment.

import { html, useEffect, useRef, useState } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { may, store } from './store.js';
import { act } from './api.js';
import { Blade } from './blade.js';

const rest = 900; // ms without another press until the adjustment is recorded

export function Lights({ doc, stale }) {
  const list = doc?.lights || [];
  const advised = Object.fromEntries((doc?.advice?.status === 'adjust' ? doc.advice.adjustments || [] : []).map((a) => [a.group, a.to_text]));
  return html`<section class="lights" aria-label=${T.lights.label}>
    <header><h2>${T.lights.label}</h2>${doc?.camera?.text && html`<p>${doc.camera.text}</p>`}</header>
    ${list.length === 0
      ? html`<p class="quiet">${T.lights.none}</p>`
      : html`<ul class=${`light-row n${Math.min(list.length, 4)}`}>
        ${list.map((l, i) => html`<${Light} key=${l.group} light=${l} index=${i} advised=${advised[l.group]} stale=${stale} />`)}
      </ul>`}
  </section>`;
}

function Light({ light, index, advised, stale }) {
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
  const switched = () => save({ off: !light.off });

  const says = { soon: T.lights.soon, saving: T.lights.saving, saved: T.lights.saved }[phase];
  const about = [light.modifier, light.distance_m > 0 && `${light.distance_m} m`].filter(Boolean).join(', ');
  return html`<li class=${light.off ? 'light is-off' : 'light'}>
    <div class="light-head">
      <${Blade} group=${light.group} index=${index} quiet=${light.off} />
      <h3>${light.name.replace(` (${light.group})`, '')}</h3>
      <button class="switch" role="switch" aria-checked=${light.off ? 'false' : 'true'} disabled=${fixed && here >= 0}
        aria-label=${light.off ? T.lights.turnOn(light.name) : T.lights.turnOff(light.name)} onClick=${switched}>${light.off ? T.lights.off : T.lights.on}</button>
    </div>
    <div class="stepper">
      <output class=${draft >= 0 ? 'draft' : ''} aria-live="polite">${shown >= 0 ? settings[shown] : light.power_text || T.lights.unknown}</output>
      <button aria-label=${T.lights.down(light.name)} disabled=${fixed || shown <= 0} onClick=${() => press(-1)}>−</button>
      <button aria-label=${T.lights.up(light.name)} disabled=${fixed || shown >= settings.length - 1} onClick=${() => press(1)}>+</button>
    </div>
    <p class="light-says" aria-live="polite">${says || (advised && advised !== light.power_text ? T.lights.advised(advised) : about)}</p>
  </li>`;
}

// lightName is how a light is called where only its group is at hand.
export const lightName = (group) => (store.doc?.lights || []).find((l) => l.group === group)?.name || group;
