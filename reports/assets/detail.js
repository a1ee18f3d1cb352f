// The samples behind the strip: unpacked once, looked up at an instant, drawn on a canvas in the lanes in sight.
const detail = (() => {
  const byId = (id) => document.getElementById(id);
  const lanes = byId("lanes");
  const { data } = stretch;
  const tickSteps = [0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30];
  // While it zooms, what is drawn is stretched for so many times as long as it took to draw, then drawn anew.
  const sparing = 6;
  const state = { signals: new Map(), arrays: [], ticks: null, telling: 0, due: 0 };

  async function inflate(text) {
    const packed = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
    const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"));
    return new Uint8Array(await new Response(stream).arrayBuffer());
  }

  function unfold(bytes, offset, count, width, order) {
    const numbers = new Float64Array(count);
    for (let plane = 0, scale = 1; plane < width; plane += 1, scale *= 256) {
      const from = offset + plane * count;
      for (let i = 0; i < count; i += 1) numbers[i] += bytes[from + i] * scale;
    }
    for (let i = 0; i < count; i += 1) numbers[i] = numbers[i] % 2 ? -(numbers[i] + 1) / 2 : numbers[i] / 2;
    for (let pass = 0; pass < order; pass += 1) {
      for (let i = 1; i < count; i += 1) numbers[i] += numbers[i - 1];
    }
    return numbers;
  }

  function arraysOf(bytes) {
    let offset = 0;
    return data.samples.arrays.map(([count, width, order]) => {
      const numbers = unfold(bytes, offset, count, width, order);
      offset += count * width;
      return numbers;
    });
  }

  async function unpack() {
    const text = byId("samples").textContent;
    if (!text || !("DecompressionStream" in window)) return;
    const arrays = arraysOf(await inflate(text));
    const times = new Set(data.samples.signals.map((signal) => signal.times));
    for (const at of times) arrays[at] = arrays[at].map((ticks) => ticks / data.samples.ticks);
    for (const signal of data.samples.signals) {
      const scale = 10 ** signal.places;
      const ready = { ...signal, t: arrays[signal.times], v: arrays[signal.values].map((step) => step / scale) };
      state.signals.set(signal.lane, [...(state.signals.get(signal.lane) ?? []), ready]);
    }
    state.arrays = [...times].map((at) => arrays[at]);
    for (const lane of state.signals.keys()) stretch.stand(byId(`lane-${lane}`));
    lanes.dataset.samples = "ready";
    draw();
    prepare([...stretch.plots.keys()]);
  }

  // What the first zoom needs, made while nothing else is to do.
  function prepare(left) {
    requestIdleCallback((idle) => {
      while (left.length && idle.timeRemaining() > 2) marks.prepare(left.shift(), sheet.scaleNow());
      if (left.length) prepare(left);
    });
  }

  function firstAfter(times, t) {
    let low = 0;
    let high = times.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (times[middle] > t) high = middle;
      else low = middle + 1;
    }
    return low;
  }

  // The latest value at or before t of a lane's nth signal; undefined where there are no samples of it.
  function valueAt(lane, nth, t) {
    const signal = state.signals.get(lane)?.[nth];
    if (!signal) return undefined;
    const at = firstAfter(signal.t, t + 5e-5) - 1;
    if (at < 0 || (signal.kind !== "bar" && t - signal.t[at] > signal.gap)) return null;
    return signal.v[at];
  }

  // The nearest reading of any signal after t (way 1) or before it (way -1); null where there is none.
  function nextReading(t, way) {
    const found = state.arrays.map((times) => (way > 0 ? times[firstAfter(times, t + 5e-5)] : times[firstAfter(times, t - 5e-5) - 1]));
    const known = found.filter((time) => time !== undefined && time >= data.from && time <= data.to);
    return known.length ? (way > 0 ? Math.min(...known) : Math.max(...known)) : null;
  }

  // A colour of the page; asked of an element without children, so that nothing else is styled anew.
  const inks = new Map();
  const probe = byId("sheet").appendChild(document.createElement("i"));
  function ink(name) {
    if (!inks.has(name)) {
      probe.style.color = `var(--${name})`;
      inks.set(name, getComputedStyle(probe).color);
    }
    return inks.get(name);
  }

  function colourOf(name) {
    const [red, green, blue] = ink(name).match(/[\d.]+/g).map(Number);
    return (blue << 16) | (green << 8) | red;
  }

  const between = (signal, seen) => [Math.max(firstAfter(signal.t, seen.from) - 2, 0), Math.min(firstAfter(signal.t, seen.to) + 2, signal.t.length)];

  function drawLine({ words, width, height }, signal, seen) {
    const [first, last] = between(signal, seen);
    if (last <= first) return;
    const scale = width / seen.px;
    const perSecond = width / (seen.to - seen.from);
    const crowded = last - first > 2 * seen.px;
    const stepPx = signal.height / (signal.high - signal.low);
    const level = (v) => scale * (signal.top + Math.min(Math.max((signal.high - v) * stepPx, 0), signal.height));
    pixels.gather(signal, first, last, Math.max(signal.gap, crowded ? 1 / perSecond : 0), { columns: width, from: seen.from, perSecond, level });
    const dashed = signal.kind === "slow";
    const begun = Math.round((seen.from - data.from) * perSecond);
    pixels.paint({ words, width, height }, colourOf(signal.pen), (dashed ? 2 : 1.25) * scale,
      dashed ? (column) => (column + begun) % (9 * scale) >= 6 * scale : () => false);
  }

  function drawReadings(pen, signal, seen) {
    const [first, last] = between(signal, seen);
    if (signal.kind !== "line" || last - first > seen.px / 7) return;
    const perSecond = seen.px / (seen.to - seen.from);
    const stepPx = signal.height / (signal.high - signal.low);
    pen.fillStyle = ink(signal.pen);
    for (let i = first; i < last; i += 1) {
      const y = signal.top + Math.min(Math.max((signal.high - signal.v[i]) * stepPx, 0), signal.height);
      pen.fillRect((signal.t[i] - seen.from) * perSecond - 1.75, y - 1.75, 3.5, 3.5);
    }
  }

  function drawBars(pen, signal, seen) {
    const perSecond = seen.px / (seen.to - seen.from);
    const middle = signal.top + signal.height / 2;
    const last = firstAfter(signal.t, seen.to);
    pen.fillStyle = ink(signal.pen);
    for (let i = Math.max(firstAfter(signal.t, seen.from) - 1, 0); i < last; i += 1) {
      if (!signal.v[i]) continue;
      const end = i + 1 < signal.t.length ? signal.t[i + 1] : signal.end;
      const left = Math.max((signal.t[i] - seen.from) * perSecond, -2);
      const right = Math.min((end - seen.from) * perSecond, seen.px + 2);
      if (right > 0) pen.fillRect(left, middle - 7, Math.max(right - left, 1), 14);
    }
  }

  const signalsOf = (lane) => state.signals.get(lane.id.slice("lane-".length)) ?? [];

  // Everything of the lanes in sight: lines, what lies behind them, bars, readings, and marks while it zooms.
  function drawLanes(seen, whole) {
    const shown = whole ? [...stretch.inSight].filter(sheet.has) : [];
    for (const lane of shown) {
      for (const signal of signalsOf(lane)) if (signal.kind !== "bar") drawLine(sheet.pixelsOf(lane), signal, seen);
    }
    sheet.put((pen, { width, height }) => drawRuling(pen, width, height, seen));
    for (const lane of shown) {
      const pen = sheet.penOf(lane);
      for (const signal of signalsOf(lane)) (signal.kind === "bar" ? drawBars : drawReadings)(pen, signal, seen);
      if (signalsOf(lane).length) lane.classList.add("drawn");
      if (stretch.blurred(lane)) marks.draw(lane, pen, sheet.scaleNow(), seen);
    }
  }

  const tickStep = (seen) => tickSteps.find((size) => (seen.to - seen.from) / size <= seen.px / 80) ?? 60;

  // Faint lines at every tick, stronger ones where a phase begins.
  function drawRuling(pen, width, height, seen) {
    const perSecond = width / (seen.to - seen.from);
    const line = (t) => pen.fillRect(Math.round((t - seen.from) * perSecond), 0, sheet.scaleNow(), height);
    const step = tickStep(seen);
    pen.fillStyle = ink("rule");
    data.phases.forEach(line);
    pen.fillStyle = ink("grid");
    for (let n = Math.ceil(seen.from / step); n * step <= seen.to; n += 1) line(n * step);
  }

  // The time axis has a canvas of its own, as it stays in sight while the lanes pass under it.
  function axis() {
    if (!state.ticks) {
      const lane = byId("lane-phase");
      const canvas = document.createElement("canvas");
      const holder = document.createElement("div");
      holder.className = "sheet";
      holder.setAttribute("aria-hidden", "true");
      holder.append(canvas);
      stretch.plots.get(lane).before(holder);
      sheet.takeAlong(holder);
      state.ticks = { lane, canvas, pen: canvas.getContext("2d"), font: getComputedStyle(lane.querySelector("text")).font };
    }
    return state.ticks;
  }

  function drawTicks(seen) {
    const { lane, canvas, pen, font } = axis();
    const height = stretch.plots.get(lane).height.baseVal.value;
    const scale = sheet.scaleNow();
    const step = tickStep(seen);
    const perSecond = seen.px / (seen.to - seen.from);
    sheet.fit(canvas, seen.px, height, scale);
    pen.setTransform(scale, 0, 0, scale, 0, 0);
    pen.clearRect(0, 0, seen.px + 1, height + 1);
    pen.fillStyle = ink("ink");
    const words = { fill: ink("ink"), stroke: "none", thick: 0, font };
    for (let n = Math.ceil(seen.from / step); n * step <= seen.to; n += 1) {
      const x = (n * step - seen.from) * perSecond;
      pen.fillRect(x, height - 20, 1, 5);
      if (x > 18 && x < seen.px - 18) marks.stamp(pen, clock(n * step, step), words, x, height - 5, "middle", scale);
    }
    if (stretch.blurred(lane)) marks.draw(lane, pen, scale, seen);
    lane.classList.add("drawn");
  }

  function clock(seconds, step) {
    const places = step >= 1 ? 0 : step >= 0.1 ? 1 : step >= 0.01 ? 2 : 3;
    const size = Math.abs(Number(seconds.toFixed(places)));
    const minutes = Math.floor(size / 60);
    const rest = (size - 60 * minutes).toFixed(places).padStart(places ? 3 + places : 2, "0");
    return `${seconds < 0 && size ? "−" : ""}${minutes}:${rest}`;
  }

  // Which stretch is shown, in words; told ten times a second at most.
  function tell() {
    state.telling = 0;
    const seen = stretch.seen();
    byId("shown").textContent = stretch.zoomed() ? `${clock(seen.from, 0.1)} to ${clock(seen.to, 0.1)} of ${clock(data.to, 0.1)}${stretch.closeIn() ? "" : ". Drag for more."}` : "whole match";
  }

  function draw() {
    const seen = stretch.seen();
    state.telling ||= setTimeout(tell, 100);
    if (!stretch.zoomed() && !stretch.zooming()) return;
    const begun = performance.now();
    if (stretch.zooming() && begun < state.due && sheet.fits(seen.px)) {
      sheet.stretchTo(seen);
      return;
    }
    const whole = stretch.closeIn() || stretch.zooming();
    if (sheet.begin(seen)) drawLanes(seen, whole);
    if (whole) drawTicks(seen);
    state.due = begun + sparing * (performance.now() - begun);
  }

  stretch.onPlace(draw);
  for (const query of ["(prefers-color-scheme: dark)", "(forced-colors: active)"]) {
    matchMedia(query).addEventListener("change", () => { inks.clear(); marks.forget(); draw(); });
  }
  addEventListener("load", () => setTimeout(unpack, 0));
  return { valueAt, nextReading };
})();
