// The light plan: three answers to begin with, and the plan as written, with the
// same checks and messages as the file.

import { html, useEffect, useState } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { may, change } from './store.js';
import { act, call, get } from './api.js';
import { Answers } from './answers.js';
import { Faults } from './faults.js';
import { Reach } from './reach.js';

export function PlanScreen({ doc, stale }) {
  const [fresh, setFresh] = useState(false);
  const present = !!doc?.plan?.present;
  const asking = may('plan') && (fresh || !present);
  return html`<section class="screen plan-screen" aria-labelledby="plan-title">
    <h2 id="plan-title">${T.screens.plan}${present && doc.plan.name ? `: ${doc.plan.name}` : ''}</h2>
    ${asking
      ? html`<${Answers} doc=${doc} stale=${stale} done=${() => { setFresh(false); location.hash = '#now'; }} />
        ${present && html`<p><button onClick=${() => setFresh(false)}>${T.plan.back}</button></p>`}`
      : ''}
    ${!asking && html`<${Written} doc=${doc} stale=${stale} />`}
    ${asking && !present && html`<details class="by-hand"><summary>${T.plan.byHand}</summary><${Written} doc=${doc} stale=${stale} /></details>`}
    ${!asking && may('plan') && html`<p><button onClick=${() => setFresh(true)}>${T.plan.fresh}</button></p>`}
  </section>`;
}

function Written({ doc, stale }) {
  const [text, setText] = useState(null); // null: not read yet
  const [base, setBase] = useState(''); // the plan this text began from
  const [seen, setSeen] = useState(0); // the state as of which the plan in force was last shown here
  const [newer, setNewer] = useState('');
  const [file, setFile] = useState(null); // the plan file's text, where somebody edited that
  const [check, setCheck] = useState(null);
  const [busy, setBusy] = useState(false);
  const edited = text !== null && text !== base;
  useEffect(() => {
    let gone = false;
    get('/plan').then((p) => {
      if (gone) return;
      const theirs = p?.text || '';
      setSeen(p?.state || 0);
      setText((mine) => {
        if (mine !== null && mine !== base && theirs !== base && theirs !== mine) {
          setNewer(theirs);
          return mine;
        }
        setBase(theirs);
        setNewer('');
        return theirs;
      });
    }).catch((e) => change({ notice: e.message }));
    return () => { gone = true; };
  }, [doc?.plan?.name, doc?.plan?.present, doc?.state]);

  const ask = async () => {
    setBusy(true);
    let answer = null;
    try { answer = await call('POST', '/plan/check', { text }); } catch (e) { change({ notice: e.message }); }
    setCheck(answer);
    setBusy(false);
    return answer;
  };
  const use = async () => {
    const answer = await ask();
    if (!answer?.ok) return;
    setBusy(true);
    // Refused where somebody else changed the plan meanwhile: theirs is then offered above the buttons.
    const took = await act('PUT', '/plan', { text, name: doc?.plan?.name || 'shoot.plan', seen, ...(file === null ? {} : { file }) }, () => false, (e) => {
      if (e.code === 'plan_file') setFile(e.body.file);
      return e.code === 'plan_file';
    });
    if (took) {
      setBase(text);
      setFile(null);
      setCheck({ ...answer, used: true });
      if (took.file) change({ notice: T.said.sentence(took.file) || took.file });
    }
    setBusy(false);
  };
  return html`<div class="written">
    <label for="plan-text">${T.plan.text}</label>
    <textarea id="plan-text" spellcheck=${false} autocapitalize="off" rows="18" readonly=${!may('plan')} value=${text || ''} onInput=${(e) => { setText(e.target.value); setCheck(null); }}></textarea>
    ${newer && html`<p class="says" role="status">${T.plan.newer} <button onClick=${() => { setText(newer); setBase(newer); setNewer(''); }}>${T.plan.takeTheirs}</button></p>`}
    ${file !== null && html`<div class="written-file" role="status"><p class="says">${T.plan.fileNewer}</p>
      <pre tabindex="0">${file}</pre>
      <p><button onClick=${() => { setText(file); setFile(null); }}>${T.plan.takeFile}</button></p></div>`}
    ${may('plan') && html`<div class="written-acts">
      <button disabled=${busy || stale} onClick=${ask}>${T.plan.check}</button>
      <button class="strong" disabled=${busy || stale || !edited} onClick=${use}>${T.plan.use}</button>
    </div>`}
    <div role="status">${check && html`<${Faults} check=${check} />`}</div>
    ${text && html`<${Reach} text=${text} />`}
    ${may('plan') && html`<${Example} />`}
  </div>`;
}

// Example is a plan with every key explained, fetched when somebody looks for it.
function Example() {
  const [text, setText] = useState('');
  const look = (e) => {
    if (e.target.open && !text) get('/plan/example').then((a) => setText(a.text), (err) => change({ notice: err.message }));
  };
  return html`<details class="by-hand" onToggle=${look}><summary>${T.plan.example}</summary>${text && html`<pre tabindex="0">${text}</pre>`}</details>`;
}
