// Geometry of a frame's marks: masks taken apart, their outline, and where the
// picture clips. Nothing here touches the page, so that it can be tested alone.

// unpack gives a mask as a test by cell. Bits come row by row, the first cell in
// the highest bit of the first byte.
export function unpack(mask) {
  if (!mask?.bits || !(mask.cols > 0) || !(mask.rows > 0)) return null;
  const raw = atob(mask.bits);
  const at = (c, r) => {
    if (c < 0 || r < 0 || c >= mask.cols || r >= mask.rows) return false;
    const i = r * mask.cols + c;
    return ((raw.charCodeAt(i >> 3) >> (7 - (i & 7))) & 1) === 1;
  };
  return { cols: mask.cols, rows: mask.rows, at, in: (x, y) => at(Math.floor(x * mask.cols), Math.floor(y * mask.rows)) };
}

// outline walks round a mask's cells and gives an SVG path in cell units. Corners
// are cut through the middles of the cells' sides, so that it reads as a line and
// not as stairs.
export function outline(m) {
  const next = new Map(); // "x,y" -> ends of the sides that begin there, inside on the right
  const side = (x0, y0, x1, y1) => {
    const k = `${x0},${y0}`;
    if (!next.has(k)) next.set(k, []);
    next.get(k).push([x1, y1]);
  };
  for (let r = 0; r < m.rows; r++) {
    for (let c = 0; c < m.cols; c++) {
      if (!m.at(c, r)) continue;
      if (!m.at(c, r - 1)) side(c, r, c + 1, r);
      if (!m.at(c + 1, r)) side(c + 1, r, c + 1, r + 1);
      if (!m.at(c, r + 1)) side(c + 1, r + 1, c, r + 1);
      if (!m.at(c - 1, r)) side(c, r + 1, c, r);
    }
  }
  let path = '';
  for (const start of [...next.keys()]) {
    while (next.get(start)?.length) {
      const points = [start.split(',').map(Number)];
      for (let k = start; next.get(k)?.length;) {
        const p = next.get(k).pop();
        points.push(p);
        k = `${p[0]},${p[1]}`;
      }
      if (points.length < 5) continue;
      const middles = [];
      for (let i = 1; i < points.length; i++) middles.push([(points[i - 1][0] + points[i][0]) / 2, (points[i - 1][1] + points[i][1]) / 2]);
      path += `M${middles.map((p) => p.join(' ')).join('L')}Z`;
    }
  }
  return path;
}

export const clipCode = 254; // a sample counts as clipped from here, as in the daemon

// clippedRuns finds where a picture clips, in squares of `step` pixels, as runs
// [x, y, width] in pixels. A square counts when half of its pixels have a clipped channel.
export function clippedRuns(pixels, step, keep) {
  const { width, height, data } = pixels;
  const runs = [];
  for (let y = 0; y < height; y += step) {
    let from = -1;
    for (let x = 0; x <= width; x += step) {
      let hit = false;
      if (x < width) {
        let n = 0, all = 0;
        for (let v = y; v < Math.min(y + step, height); v++) {
          for (let u = x; u < Math.min(x + step, width); u++) {
            const i = (v * width + u) * 4;
            all++;
            if (data[i] >= clipCode || data[i + 1] >= clipCode || data[i + 2] >= clipCode) n++;
          }
        }
        hit = n * 2 >= all && keep((x + step / 2) / width, (y + step / 2) / height);
      }
      if (hit && from < 0) from = x;
      if (!hit && from >= 0) {
        runs.push([from, y, Math.min(x, width) - from]);
        from = -1;
      }
    }
  }
  return runs;
}
