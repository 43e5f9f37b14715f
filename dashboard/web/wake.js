// Keeping the screen on while the page is in front, where the browser allows it.

export const canStayAwake = () => 'wakeLock' in navigator;

let lock = null;

export function stayAwake() {
  if (!canStayAwake()) return;
  const ask = async () => {
    if (document.hidden || lock) return;
    try {
      lock = await navigator.wakeLock.request('screen');
      lock.addEventListener('release', () => { lock = null; });
    } catch { /* low battery or not allowed: the tablet's own setting stands */ }
  };
  document.addEventListener('visibilitychange', ask);
  document.addEventListener('pointerdown', ask);
  ask();
}
