// Showing a part of the frame by hand: a white card or shirt, or what was found wrongly
// (backdrop, face), a grey strip at the edge, or that the frame shows the backdrop alone. The
// frame lies large over the page meanwhile, so that a thumb can draw on it.

import { html, useEffect, useRef, useState } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { act, picture } from './api.js';
import { Marker, firstBox, inside } from './marker.js';

const parts = ['white', 'face', 'backdrop', 'witness', 'empty'];

// standing is the box of a part that a person has shown, null where nobody has.
export const standing = (doc, part) => (part === 'white' ? doc.reference : part === 'empty' ? doc.marks?.empty : doc.marks?.[part]) || null;

// start is where a part's box begins: where it was shown or found, else where such a part usually is.
function start(doc, part, w, h) {
  const r = doc.frame.reading?.regions;
  if (part === 'white') return doc.reference || r?.white_reference?.box || firstBox(w, h);
  if (standing(doc, part)) return standing(doc, part);
  if (part === 'backdrop') return r?.backdrop?.box || { x0: 0, y0: 0, x1: 1, y1: 0.5 };
  if (part === 'witness') return inside({ x0: 0.94, y0: 0.4, x1: 1, y1: 0.6 });
  const s = r?.sitter?.box;
  return s ? inside({ x0: (s.x0 + s.x1) / 2 - 0.17, y0: s.y0 + 0.08 * (s.y1 - s.y0), x1: (s.x0 + s.x1) / 2 + 0.17, y1: s.y0 + 0.42 * (s.y1 - s.y0) }) : inside({ x0: 0.37, y0: 0.2, x1: 0.63, y1: 0.45 });
}

export function Marking({ doc, stale, close }) {
  const frame = useRef(doc.frame).current; // a newer one must not slip under the hand
  const w = frame.reading?.width || 3, h = frame.reading?.height || 2;
  const [part, setPart] = useState('white');
  const [box, setBox] = useState(() => start(doc, 'white', w, h));
  const [busy, setBusy] = useState(false);
  const sheet = useRef(null);
  useEffect(() => {
    const before = document.activeElement;
    const leave = (e) => { if (e.key === 'Escape') close(); };
    document.addEventListener('keydown', leave);
    return () => {
      document.removeEventListener('keydown', leave);
      before?.focus?.();
    };
  }, []);
  const choose = (p) => {
    setPart(p);
    if (p !== 'empty') setBox(start(doc, p, w, h));
  };
  const send = async (back) => {
    setBusy(true);
    const done = part === 'white' ? await act('POST', '/white-reference', { frame: frame.number, box: back ? null : box })
      : back ? await act('POST', '/marks', { part, back: true })
        : await act('POST', '/marks', { part, frame: frame.number, ...(part === 'empty' ? {} : { box }) });
    setBusy(false);
    if (done) close();
  };
  // The focus stays inside while the sheet lies over the page.
  const keys = (e) => {
    if (e.key !== 'Tab') return;
    const all = [...sheet.current.querySelectorAll('input:checked, button:not(:disabled), [tabindex="0"]')];
    const first = all[0], last = all[all.length - 1];
    if (e.shiftKey && document.activeElement === first) { e.preventDefault(); last.focus(); }
    if (!e.shiftKey && document.activeElement === last) { e.preventDefault(); first.focus(); }
  };
  return html`<div class="marking" role="dialog" aria-modal="true" aria-label=${T.mark.title(frame.number)} ref=${sheet} onKeyDown=${keys}>
    <div class="marking-frame"><div class="frame-in" style=${{ '--ratio': w / h }}>
      <img src=${picture(frame, 1024)} alt=${T.frame.alt(frame.number)} />
      ${part !== 'empty' && html`<${Marker} key=${part} box=${box} draw=${setBox} busy=${busy || stale} w=${w} h=${h} label=${T.mark.parts[part]} taps=${part === 'white'} use=${() => send(false)} cancel=${close} />`}
    </div></div>
    <div class="marking-side">
      <fieldset class="marking-parts"><legend>${T.mark.title(frame.number)}</legend>
        ${parts.map((p) => html`<label key=${p}><input type="radio" name="part" value=${p} checked=${p === part} onChange=${() => choose(p)} /> <span>${T.mark.parts[p]}${standing(doc, p) ? ` (${T.mark.stands})` : ''}</span></label>`)}
      </fieldset>
      <p>${T.mark.help[part]}${part === 'empty' ? '' : ` ${T.mark.grips}`}</p>
      <div class="marking-acts">
        <button class="strong" disabled=${busy || stale} onClick=${() => send(false)}>${part === 'empty' ? T.mark.isEmpty(frame.number) : T.frame.use}</button>
        ${standing(doc, part) && html`<button disabled=${busy || stale} onClick=${() => send(true)}>${T.frame.clear}</button>`}
        <button onClick=${close}>${T.frame.cancel}</button>
      </div>
    </div>
  </div>`;
}
