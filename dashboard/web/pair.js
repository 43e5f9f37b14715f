// Pairing this device: the code that whoever runs the shoot has made.

import { html, useEffect, useRef, useState } from './vendor/htm-preact.js';
import { T } from './texts.js';
import { change, remember, remembered } from './store.js';
import { call } from './api.js';
import { wake } from './link.js';

// codeInAddress takes a code out of #pair=CODE, and out of the address bar.
export function codeInAddress() {
  const m = /^#pair=([A-Za-z0-9-]+)$/.exec(location.hash);
  if (!m) return '';
  history.replaceState(null, '', location.pathname);
  return m[1];
}

export function Pair({ code: given, forget }) {
  const [code, setCode] = useState(given || '');
  const [name, setName] = useState(remembered('name') || '');
  const [says, setSays] = useState('');
  const [busy, setBusy] = useState(false);
  const field = useRef(null);
  useEffect(() => field.current?.focus(), []);
  const submit = async (e) => {
    e.preventDefault();
    setBusy(true);
    setSays('');
    try {
      await call('POST', '/pair', { code: code.trim(), name: name.trim() || T.pair.namePlace });
      remember('name', name.trim());
      forget();
      change({ pairing: false });
      wake();
    } catch (err) {
      if (err.code === 'open') { // nothing to pair with: this machine is let in as it is
        forget();
        change({ pairing: false });
        wake();
        return;
      }
      setSays(err.message);
    }
    setBusy(false);
  };
  return html`<main class="pair">
    <form onSubmit=${submit}>
      <h1>${T.pair.title}</h1>
      <p>${T.pair.why}</p>
      <label for="pair-code">${T.pair.code}</label>
      <input id="pair-code" ref=${given ? null : field} class="code" value=${code} autocomplete="one-time-code" autocapitalize="characters" spellcheck=${false} maxlength="16" required onInput=${(e) => setCode(e.target.value)} />
      <label for="pair-name">${T.pair.name}</label>
      <input id="pair-name" ref=${given ? field : null} value=${name} maxlength="40" autocomplete="off" placeholder=${T.pair.namePlace} onInput=${(e) => setName(e.target.value)} />
      <button class="strong" disabled=${busy || !code.trim()}>${busy ? T.pair.asking : T.pair.go}</button>
      <p class="says" role="alert">${says}</p>
    </form>
  </main>`;
}
