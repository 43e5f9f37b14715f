// Whether the page is as narrow as a telephone held upright: what is drawn there in another way.

import { useEffect, useState } from './vendor/htm-preact.js';

const query = window.matchMedia('(max-width: 43.99rem)');

export function useNarrow() {
  const [narrow, set] = useState(query.matches);
  useEffect(() => {
    const look = () => set(query.matches);
    query.addEventListener('change', look);
    return () => query.removeEventListener('change', look);
  }, []);
  return narrow;
}
