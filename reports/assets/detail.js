"use strict";
// The samples behind the strip: unpacked once, looked up at an instant, drawn on a canvas over each lane in sight.
const detail = (() => {
  const byId = (id) => document.getElementById(id);
  const strip = document.querySelector(".strip");
  const lanes = byId("lanes");
  const data = JSON.parse(byId("cursor-data").textContent);
  const span = data.to - data.from;
  const closest = Math.max(span / 0.5, 1);
  const tickSteps = [0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30];
  const state = { zoom: 1, frame: 0, signals: new Map(), arrays: [], inSight: new Set() };

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
    lanes.dataset.samples = "ready";
    draw();
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

  function window_() {
    const view = lanes.querySelector(".view").getBoundingClientRect();
    const box = strip.getBoundingClientRect();
    const left = view.left + strip.scrollLeft - box.left - strip.clientLeft;
    const shown = Math.min(strip.clientWidth - left, view.width - strip.scrollLeft);
    const from = data.from + (strip.scrollLeft / view.width) * span;
    return { left, shown, whole: view.width, from, to: from + (shown / view.width) * span };
  }

  function canvasOf(lane) {
    const view = byId(`lane-${lane}`).querySelector(".view");
    let canvas = view.querySelector("canvas");
    if (!canvas) {
      canvas = document.createElement("canvas");
      canvas.setAttribute("aria-hidden", "true");
      view.append(canvas);
    }
    return canvas;
  }

  function prepared(lane, seen) {
    const height = byId(`lane-${lane}`).querySelector("svg.plot").height.baseVal.value;
    const canvas = canvasOf(lane);
    const scale = Math.min(devicePixelRatio || 1, 2);
    const [across, down] = [Math.round(seen.shown * scale), Math.round(height * scale)];
    const pen = canvas.getContext("2d");
    if (canvas.width !== across || canvas.height !== down) {
      canvas.width = across;
      canvas.height = down;
      canvas.style.width = `${seen.shown}px`;
      canvas.style.height = `${height}px`;
    }
    pen.setTransform(scale, 0, 0, scale, 0, 0);
    pen.clearRect(0, 0, seen.shown + 1, height + 1);
    return pen;
  }

  const inks = new Map();
  function ink(name) {
    if (!inks.has(name)) {
      lanes.style.setProperty("color", `var(--${name})`);
      inks.set(name, getComputedStyle(lanes).color);
      lanes.style.removeProperty("color");
    }
    return inks.get(name);
  }

  function drawLine(pen, signal, seen) {
    const perSecond = seen.shown / (seen.to - seen.from);
    const first = Math.max(firstAfter(signal.t, seen.from) - 2, 0);
    const last = Math.min(firstAfter(signal.t, seen.to) + 2, signal.t.length);
    const height = signal.height / (signal.high - signal.low);
    const x = (i) => (signal.t[i] - seen.from) * perSecond;
    const y = (v) => signal.top + Math.min(Math.max((signal.high - v) * height, 0), signal.height);
    const crowded = (last - first) > 2 * seen.shown;
    pen.beginPath();
    for (let i = first; i < last; i += 1) {
      if (i === first || signal.t[i] - signal.t[i - 1] > Math.max(signal.gap, crowded ? 1 / perSecond : 0)) pen.moveTo(x(i), y(signal.v[i]));
      else pen.lineTo(x(i), y(signal.v[i]));
    }
    pen.stroke();
    if (signal.kind === "line" && last - first < seen.shown / 7) {
      for (let i = first; i < last; i += 1) pen.fillRect(x(i) - 1.75, y(signal.v[i]) - 1.75, 3.5, 3.5);
    }
  }

  function drawBars(pen, signal, seen) {
    const perSecond = seen.shown / (seen.to - seen.from);
    const middle = signal.top + signal.height / 2;
    const last = firstAfter(signal.t, seen.to);
    for (let i = Math.max(firstAfter(signal.t, seen.from) - 1, 0); i < last; i += 1) {
      if (!signal.v[i]) continue;
      const end = i + 1 < signal.t.length ? signal.t[i + 1] : signal.end;
      const left = Math.max((signal.t[i] - seen.from) * perSecond, -2);
      const right = Math.min((end - seen.from) * perSecond, seen.shown + 2);
      if (right > 0) pen.fillRect(left, middle - 7, Math.max(right - left, 1), 14);
    }
  }

  function drawLane(lane, signals, seen) {
    const pen = prepared(lane, seen);
    for (const signal of signals) {
      pen.strokeStyle = pen.fillStyle = ink(signal.pen);
      pen.lineWidth = signal.kind === "slow" ? 2 : 1.25;
      pen.setLineDash(signal.kind === "slow" ? [6, 3] : []);
      (signal.kind === "bar" ? drawBars : drawLine)(pen, signal, seen);
    }
    byId(`lane-${lane}`).classList.add("drawn");
  }

  function drawTicks(seen) {
    const step = tickSteps.find((size) => (seen.to - seen.from) / size <= seen.shown / 80) ?? 60;
    const pen = prepared("phase", seen);
    const height = byId("lane-phase").querySelector("svg.plot").height.baseVal.value;
    const perSecond = seen.shown / (seen.to - seen.from);
    pen.font = getComputedStyle(byId("lane-phase").querySelector("text")).font;
    pen.strokeStyle = pen.fillStyle = ink("ink");
    pen.textAlign = "center";
    for (let n = Math.ceil(seen.from / step); n * step <= seen.to; n += 1) {
      const x = (n * step - seen.from) * perSecond;
      pen.fillRect(x, height - 20, 1, 5);
      if (x > 18 && x < seen.shown - 18) pen.fillText(clock(n * step, step), x, height - 5);
    }
    byId("lane-phase").classList.add("drawn");
  }

  function clock(seconds, step) {
    const places = step >= 1 ? 0 : step >= 0.1 ? 1 : step >= 0.01 ? 2 : 3;
    const size = Math.abs(Number(seconds.toFixed(places)));
    const minutes = Math.floor(size / 60);
    const rest = (size - 60 * minutes).toFixed(places).padStart(places ? 3 + places : 2, "0");
    return `${seconds < 0 && size ? "−" : ""}${minutes}:${rest}`;
  }

  function drawNow() {
    state.frame = 0;
    lanes.classList.toggle("close-in", state.zoom > 1);
    const seen = window_();
    byId("shown").textContent = state.zoom > 1 ? `${clock(seen.from, 0.1)} to ${clock(seen.to, 0.1)}` : "whole match";
    if (state.zoom <= 1) return;
    if (state.inSight.has("phase")) drawTicks(seen);
    for (const [lane, signals] of state.signals) {
      if (state.inSight.has(lane)) drawLane(lane, signals, seen);
      else byId(`lane-${lane}`).classList.add("drawn");
    }
  }

  function draw() {
    if (!state.frame) state.frame = requestAnimationFrame(drawNow);
  }

  // Zoom by a factor; the instant that stands `px` to the right of the lanes' left edge stays there.
  function zoomBy(factor, px) {
    const before = window_();
    const at = px ?? before.shown / 2;
    const share = (strip.scrollLeft + at) / before.whole;
    state.zoom = Math.min(Math.max(state.zoom * factor, 1), closest);
    if (state.zoom < 1.01) state.zoom = 1;
    lanes.style.setProperty("--zoom", String(state.zoom));
    strip.scrollLeft = share * window_().whole - at;
    draw();
  }

  const watcher = new IntersectionObserver((entries) => {
    for (const { target, isIntersecting } of entries) {
      const lane = target.id.slice("lane-".length);
      if (isIntersecting) state.inSight.add(lane);
      else state.inSight.delete(lane);
    }
    draw();
  }, { rootMargin: "150px 100000px" });
  for (const lane of document.querySelectorAll(".lane")) watcher.observe(lane);
  strip.addEventListener("scroll", draw, { passive: true });
  addEventListener("resize", draw);
  for (const query of ["(prefers-color-scheme: dark)", "(forced-colors: active)"]) {
    matchMedia(query).addEventListener("change", () => { inks.clear(); draw(); });
  }
  addEventListener("load", () => setTimeout(unpack, 0));
  return { data, valueAt, nextReading, zoomBy, window: window_, zoomed: () => state.zoom > 1 };
})();
