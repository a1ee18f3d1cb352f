// Lines drawn column by column into the pixels of a lane: in each column from the least to the greatest that the
// line takes there, softened at both ends. Exact at any zoom, and many times faster than the stroke of a path.
const pixels = (() => {
  let least = new Float32Array(0);
  let greatest = new Float32Array(0);

  function begin(columns) {
    if (least.length < columns) [least, greatest] = [new Float32Array(columns), new Float32Array(columns)];
    least.fill(Infinity, 0, columns);
    greatest.fill(-Infinity, 0, columns);
  }

  function touch(column, a, b) {
    if (a < least[column]) least[column] = a;
    if (b < least[column]) least[column] = b;
    if (a > greatest[column]) greatest[column] = a;
    if (b > greatest[column]) greatest[column] = b;
  }

  function piece(x0, y0, x1, y1, columns) {
    const first = Math.max(Math.floor(x0), 0);
    const last = Math.min(Math.floor(x1), columns - 1);
    const slope = x1 > x0 ? (y1 - y0) / (x1 - x0) : 0;
    if (first === last && x0 >= first) touch(first, y0, x1 < first + 1 ? y1 : y0 + (first + 1 - x0) * slope);
    else for (let column = first; column <= last; column += 1) touch(column, y0 + (Math.max(x0, column) - x0) * slope, y0 + (Math.min(x1, column + 1) - x0) * slope);
  }

  // Where a line goes: readings first to last, broken where two are further apart than `gap` seconds.
  function gather({ t, v }, first, last, gap, { columns, from, perSecond, level }) {
    begin(columns);
    let x0 = (t[first] - from) * perSecond;
    let y0 = level(v[first]);
    piece(x0, y0, x0, y0, columns);
    for (let i = first + 1; i < last; i += 1) {
      const x1 = (t[i] - from) * perSecond;
      const y1 = level(v[i]);
      if (t[i] - t[i - 1] > gap) piece(x1, y1, x1, y1, columns);
      else piece(x0, y0, x1, y1, columns);
      x0 = x1;
      y0 = y1;
    }
  }

  // What was gathered, in one colour (0xBBGGRR) and thickness; `gaps` tells which columns to leave out.
  function paint({ words, width, height }, colour, thickness, gaps) {
    for (let column = 0; column < width; column += 1) {
      if (least[column] > greatest[column] || gaps(column)) continue;
      const top = Math.max(least[column] - thickness / 2, 0);
      const bottom = Math.min(greatest[column] + thickness / 2, height);
      for (let row = Math.floor(top); row < bottom; row += 1) {
        const cover = Math.round((Math.min(row + 1, bottom) - Math.max(row, top)) * 255);
        const at = row * width + column;
        if (cover > words[at] >>> 24) words[at] = ((cover << 24) | colour) >>> 0;
      }
    }
  }

  return { gather, paint };
})();
