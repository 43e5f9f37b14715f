// The lights with all that can be recorded of each.

import { html } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { useLight, saying, Stepper } from './lights.js';
import { Blade } from './blade.js';
import { Care } from './care.js';

export function RigScreen({ doc, stale }) {
  const list = doc?.lights || [];
  const advised = Object.fromEntries((doc?.advice?.status === 'adjust' ? doc.advice.adjustments || [] : []).map((a) => [a.group, a.to_text]));
  return html`<section class="screen rig-screen" aria-labelledby="rig-title">
    <h2 id="rig-title">${T.screens.lights}</h2>
    <p class="quiet">${doc?.camera?.text || ''}</p>
    ${list.length === 0 && html`<p class="quiet">${T.lights.none}</p>`}
    <ul class="rig-cards">${list.map((l, i) => html`<${Card} key=${l.group} light=${l} index=${i} advised=${advised[l.group]} stale=${stale} />`)}</ul>
    <${Care} />
  </section>`;
}

function Card({ light, index, advised, stale }) {
  const { settings, shown, draft, phase, fixed, press, save, here, text } = useLight(light, stale);
  return html`<li class=${light.off ? 'light is-off' : 'light'}>
    <div class="light-head">
      <${Blade} group=${light.group} index=${index} quiet=${light.off} />
      <div><h3>${light.name.replace(` (${light.group})`, '')}</h3>
        <p class="light-says" aria-live="polite">${saying(light, phase, advised)}</p></div>
      <button class="switch" role="switch" aria-checked=${light.off ? 'false' : 'true'} disabled=${fixed && here >= 0}
        aria-label=${light.off ? T.lights.turnOn(light.name) : T.lights.turnOff(light.name)} onClick=${() => save({ off: !light.off })}>${light.off ? T.lights.off : T.lights.on}</button>
    </div>
    <${Stepper} light=${light} text=${text} draft=${draft >= 0} down=${!fixed && shown > 0} up=${!fixed && shown < settings.length - 1} press=${press} />
  </li>`;
}
