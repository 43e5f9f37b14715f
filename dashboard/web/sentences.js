// Reading the daemon's sentences in another language: a table like said-de.txt, which says how it is written.
// dashboard/language reads the same tables in Go, for the sheet; a test holds the two against each other.

const named = /<([A-Za-z]+)(\d*)>/g;
const kept = 4000; // texts remembered; they have numbers in them and don't come again for ever

const plain = (text) => text.replace(/[.*+?^${}()|[\]\\/]/g, '\\$&');

// reader gives a function from a text to its words in the table's language, '' where any of it is not known.
export function reader(table) {
  const kinds = { said: { form: '.+?', words: [] } };
  const exact = new Map(), rules = [], said = new Map();
  let kind = null, from = '';
  for (const l of table.split('\n')) {
    if (!l.trim() || l.startsWith('#')) continue;
    if (l.startsWith('@')) {
      const at = l.indexOf(' ');
      kind = kinds[l.slice(1, at)] = { form: l.slice(at + 1), words: [] };
    } else if (!l.startsWith('\t')) {
      kind = null;
      from = l;
    } else if (kind) {
      const at = l.indexOf(' = ');
      kind.words.push([new RegExp(l.slice(1, at), 'g'), l.slice(at + 3)]);
    } else {
      add(from, l.slice(1));
    }
  }

  function add(en, to) {
    const found = [...en.matchAll(named)];
    if (!found.length) return void exact.set(en, to);
    let form = '^', end = 0;
    for (const m of found) {
      form += `${plain(en.slice(end, m.index))}(${kinds[m[1]].form})`;
      end = m.index + m[0].length;
    }
    rules.push({ first: en.slice(0, found[0].index), source: `${form}${plain(en.slice(end))}$`, names: found.map((m) => [m[1], m[0]]), to });
  }

  function say(text) {
    if (said.has(text)) return said.get(text);
    said.set(text, ''); // for what would come back to itself
    let s = one(text) || several(text);
    if (!s && /^[a-z]/.test(text)) s = say(text[0].toUpperCase() + text.slice(1)); // a sentence that the daemon set behind a colon
    said.set(text, s);
    return s;
  }

  function one(text) {
    if (exact.has(text)) return exact.get(text);
    for (const r of rules) {
      if (!text.startsWith(r.first)) continue;
      const m = (r.form ||= new RegExp(r.source)).exec(text);
      const s = m && filled(r, m.slice(1));
      if (s) return s;
    }
    return '';
  }

  function filled(r, parts) {
    let out = r.to;
    for (const [i, [name, mark]] of r.names.entries()) {
      let s = parts[i];
      if (name === 'said' && !(s = say(s))) return '';
      for (const [a, b] of kinds[name].words) s = s.replace(a, b);
      out = out.split(mark).join(s);
    }
    return out;
  }

  // several is a text of several sentences, each of which is known; of the ways to part it, that with the longest first.
  function several(text) {
    for (let i = text.length - 2; i > 0; i--) {
      if (text[i] !== ' ' || !'.?!'.includes(text[i - 1]) || !/[A-Z0-9]/.test(text[i + 1])) continue;
      const a = one(text.slice(0, i)), b = a && say(text.slice(i + 1));
      if (b) return `${a} ${b}`;
    }
    return '';
  }

  return (text) => {
    if (said.size > kept) said.clear();
    return say(text);
  };
}

// opened fetches a table; where it can't be had, the daemon's own words remain.
export const opened = (address) => fetch(address).then((a) => (a.ok ? a.text() : Promise.reject(a))).then(reader);
