// Looking back: the frames of the shoot in a strip, one of them large with its marks,
// or two beside each other. The baseline is chosen here.

import { html, useEffect, useState } from './vendor/htm-preact.js';
import { T, clock } from './texts.js';
import { may } from './store.js';
import { act, get, picture } from './api.js';
import { Picture } from './picture.js';
import { Spread } from './spread.js';
import { standing } from './staff.js';
import { Theirs } from './theirs.js';
import { Retakes, offFrames, spoiled } from './drift.js';

const page = 40; // frames asked for at a time

export function FramesScreen({ doc, stale }) {
  const [list, setList] = useState([]); // newest first
  const [more, setMore] = useState(false);
  const [at, setAt] = useState(0); // number of the frame that is looked at; 0 follows the newest
  const [beside, setBeside] = useState(0); // number of the one it is compared with; 0 none
  const [comparing, setComparing] = useState(false);
  const newest = doc?.frame?.number || 0;
  const load = async (before) => {
    try {
      const a = await get(`/readings?limit=${page}${before ? `&before=${before}` : ''}`);
      setList((old) => {
        const all = new Map([...old, ...(a.readings || [])].map((f) => [f.number, f]));
        return [...all.values()].sort((x, y) => y.number - x.number);
      });
      if (before || !list.length) setMore(a.more);
    } catch { /* the link says when the daemon is gone */ }
  };
  useEffect(() => { load(0); }, [newest, doc?.frame?.revision, doc?.shoot?.id]);
  const of = (n) => list.find((f) => f.number === n);
  const frame = of(at) || (doc?.frame && of(newest)) || doc?.frame;
  if (!frame) return html`<section class="screen frames-screen" aria-labelledby="frames-title"><h2 id="frames-title">${T.screens.frames}</h2><p class="quiet">${T.frame.none}</p></section>`;
  const other = comparing ? of(beside) || of(doc.baseline) || list.find((f) => f.number !== frame.number) : null;
  const choose = (n) => (comparing ? setBeside(n) : setAt(n === newest ? 0 : n));
  const seen = (f) => html`<div class="looked">
    <${Picture} doc=${f.number === newest ? doc : { ...doc, frame: f, advice: { ...doc.advice, expected: f.expected }, reference: null }} stale=${stale} past=${f.number !== newest} />
    <${Numbers} f=${f} base=${of(doc.baseline)} off=${offFrames(doc).filter((o) => f.number >= o.from && f.number <= o.to)} />
  </div>`;
  return html`<section class="screen frames-screen" aria-labelledby="frames-title">
    <div class="frames-head"><h2 id="frames-title">${T.screens.frames}</h2>
      <button aria-pressed=${comparing ? 'true' : 'false'} disabled=${list.length < 2} onClick=${() => setComparing(!comparing)}>${T.frames.compare}</button>
      ${may('baseline') && doc.baseline !== frame.number && frame.reading && html`<button disabled=${stale} onClick=${() => act('POST', '/baseline', { frame: frame.number }, () => true)}>${T.frames.baseline(frame.number)}</button>`}
    </div>
    <${Retakes} doc=${doc} choose=${choose} />
    <${Reel} doc=${doc} list=${list} at=${frame.number} beside=${other?.number} baseline=${doc.baseline} choose=${choose} more=${more} older=${() => load(list[list.length - 1].number)} />
    <div class=${other ? 'frames-two' : 'frames-one'}>${seen(frame)}${other && seen(other)}</div>
  </section>`;
}

// Reel is the strip of small pictures, the newest first.
function Reel({ doc, list, at, beside, baseline, choose, more, older }) {
  return html`<ol class="reel" aria-label=${T.frames.reel}>${list.map((f) => html`<li key=${f.number}>
    <button aria-current=${f.number === at || f.number === beside ? 'true' : undefined} aria-label=${T.frames.pick(f.number, [standing(f), f.off || spoiled(doc, f.number) ? T.drift.mark : ''].filter(Boolean).join(', '))} title=${spoiled(doc, f.number) || undefined} onClick=${() => choose(f.number)}>
      <img src=${picture(f, 256)} alt="" loading="lazy" width="64" height="64" />
      <span>${f.number}${f.number === baseline ? ` ${T.frames.base}` : ''}${standing(f) === T.frame.off ? ' ≠' : standing(f) === T.frame.unsure ? ' ?' : ''}${f.off || spoiled(doc, f.number) ? ' ↺' : ''}</span>
    </button></li>`)}
    ${more && html`<li><button onClick=${older}>${T.frames.older}</button></li>`}</ol>`;
}

// Numbers are a past frame's levels against its targets, and against the baseline.
function Numbers({ f, base, off }) {
  const other = (region) => (base && base.number !== f.number ? (base.expected || []).find((e) => e.region === region) : null);
  return html`<div class="numbers">
    <p class="quiet">${clock(f.at)}${f.file_name ? html`, <bdi>${f.file_name}</bdi>` : ''}</p>
    ${f.expected?.length > 0 && html`<table><thead><tr><th scope="col">${T.staff.label}</th><th scope="col">${T.staff.now}</th><th scope="col">${T.staff.aim}</th>${base && base.number !== f.number && html`<th scope="col">${T.frames.against(base.number)}</th>`}</tr></thead>
      <tbody>${f.expected.map((e) => html`<tr key=${e.region}><th scope="row">${T.said.region(e.name)}</th><td>${T.said.level(e.now_text)}</td><td>${T.said.level(e.target_text)}${e.in_target ? '' : e.unknown ? ' ?' : ' ≠'}</td>
        ${base && base.number !== f.number && html`<td>${other(e.region) ? signed(e.now_stops - other(e.region).now_stops) : ''}</td>`}</tr>`)}</tbody></table>`}
    ${off.map((o) => html`<p class="apart" key=${o.kind}><${Theirs} text=${o.text} /></p>`)}
    <${Spread} frame=${f} />
  </div>`;
}

export const signed = (v) => (Math.abs(v) < 0.005 ? '0.00' : `${v > 0 ? '+' : '−'}${Math.abs(v).toFixed(2)}`);
