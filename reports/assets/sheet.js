"use strict";
// The one canvas of the strip: it spans the lanes in sight, under their marks, and is laid out anew only when they
// change. First all lines are set pixel by pixel, then what lies behind them, then marks lane by lane.
const sheet = (() => {
  const lanes = document.getElementById("lanes");
  const holder = document.getElementById("sheet");
  const canvas = holder.firstElementChild;
  const pen = canvas.getContext("2d");
  const rows = new Map();
  const state = { laid: -1, px: 0, scale: 0, top: 0, words: null, image: null, drawn: null };
  const stretched = [holder];

  const scaleNow = () => Math.min(devicePixelRatio || 1, 2);

  // Sets a canvas to a size in pixels of the page; told whether that was new.
  function fit(of, px, height, scale) {
    const [across, down] = [Math.round(px * scale), Math.round(height * scale)];
    if (of.width === across && of.height === down) return false;
    Object.assign(of, { width: across, height: down });
    Object.assign(of.style, { width: `${px}px`, height: `${height}px` });
    return true;
  }

  function lay(px, scale) {
    rows.clear();
    const origin = lanes.getBoundingClientRect().top;
    const boxes = [...stretch.inSight].filter((lane) => lane.id !== "lane-phase")
      .map((lane) => [lane, lane.getBoundingClientRect(), stretch.plots.get(lane).getBoundingClientRect()]);
    const top = Math.floor(Math.min(...boxes.map(([, box]) => box.top)) - origin);
    const bottom = Math.ceil(Math.max(...boxes.map(([, box]) => box.bottom)) - origin);
    // As drawings and canvases are: each box at a whole pixel of the screen.
    const snapped = (y) => Math.round(y * scale);
    for (const [lane, , plot] of boxes) rows.set(lane, { top: snapped(plot.top) - snapped(origin + top), height: Math.round(plot.height * scale) });
    state.top = top;
    fit(canvas, px, boxes.length ? bottom - top : 0, scale);
    state.image = canvas.width && canvas.height ? pen.createImageData(canvas.width, canvas.height) : null;
    state.words = state.image && new Uint32Array(state.image.data.buffer);
  }

  const fits = (px) => state.laid === stretch.layout() && state.px === px && state.scale === scaleNow();

  // Clean, and as wide and high as what is in sight; told whether anything is.
  function begin(seen) {
    if (!fits(seen.px)) {
      Object.assign(state, { laid: stretch.layout(), px: seen.px, scale: scaleNow() });
      lay(state.px, state.scale);
    } else state.words?.fill(0);
    state.drawn = seen;
    stretchTo(seen);
    return state.image !== null;
  }

  // What was drawn last, as if it had been drawn for this stretch; canvases are held, as moving one copies it.
  function stretchTo({ from, to, px }) {
    const x = ((state.drawn.from - from) / (to - from)) * px;
    const wide = (state.drawn.to - state.drawn.from) / (to - from);
    for (const each of stretched) each.style.transform = `translate(${x}px, ${each === holder ? state.top : 0}px) scaleX(${wide})`;
  }

  // The pixels of a lane, as rows of the canvas.
  function pixelsOf(lane) {
    const { top, height } = rows.get(lane);
    const { width } = canvas;
    return { words: state.words.subarray(top * width, (top + height) * width), width, height };
  }

  function put(behind) {
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.putImageData(state.image, 0, 0);
    pen.globalCompositeOperation = "destination-over";
    behind(pen, canvas);
    pen.globalCompositeOperation = "source-over";
  }

  // The pen, set to a lane's own pixels of the page.
  function penOf(lane) {
    pen.setTransform(state.scale, 0, 0, state.scale, 0, rows.get(lane).top);
    return pen;
  }

  return { fit, fits, begin, stretchTo, put, penOf, pixelsOf, scaleNow, takeAlong: (other) => stretched.push(other), has: (lane) => rows.has(lane) };
})();
