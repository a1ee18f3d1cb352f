"use strict";
// Which stretch of the match the lanes show. Whatever moves it only notes it down; once a frame the lanes in
// sight are set to it, and whoever draws is told. Widths are told by an observer, so that nothing is measured.
const stretch = (() => {
  const byId = (id) => document.getElementById(id);
  const data = JSON.parse(byId("cursor-data").textContent);
  const lanes = byId("lanes");
  const whole = data.to - data.from;
  const narrowestPx = 600;
  const shortestS = 0.5;
  const plots = new Map([...lanes.querySelectorAll(".lane")].map((lane) => [lane, lane.querySelector("svg.plot")]));
  const state = { from: data.from, zoom: 1, width: 0, frame: 0, cursor: data.start, layout: 0 };
  const placed = { from: data.from, zoom: 1 };
  const inSight = new Set();
  const still = new Set();
  const blurred = new Set();
  const told = [];

  // Something that begins at the first touch and ends once it has not been touched for a while.
  function lasting(ms, begin, end) {
    let due = 0;
    let timer = 0;
    const look = () => {
      const left = due - performance.now();
      timer = left > 1 ? setTimeout(look, left) : 0;
      if (!timer) end();
    };
    return {
      on: () => timer > 0,
      touch: () => {
        due = performance.now() + ms;
        if (timer) return;
        timer = setTimeout(look, ms);
        begin();
      },
    };
  }

  // While the strip moves, only what is in sight is kept up.
  const main = document.querySelector("main");
  const moving = lasting(1000, () => main.classList.add("busy"), () => main.classList.remove("busy"));
  const hurry = () => document.readyState === "complete" && moving.touch();
  addEventListener("load", () => document.documentElement.classList.remove("early"));

  // While it zooms, the canvas tells all; the lanes' drawings are laid out again once it rests. One that holds the
  // focus follows at once.
  const zooming = lasting(150, () => {
    lanes.classList.add("zooming");
    for (const lane of plots.keys()) if (!still.has(lane) && !lane.contains(document.activeElement)) blurred.add(lane);
    for (const lane of blurred) lane.classList.add("blurred");
  }, () => {
    lanes.classList.remove("zooming");
    for (const lane of blurred) lane.classList.remove("blurred");
    blurred.clear();
    place();
  });

  const least = () => Math.max(1, narrowestPx / (state.width || narrowestPx));
  const shownS = () => whole / state.zoom;
  const perPx = () => shownS() / state.width;

  function settle() {
    state.zoom = Math.min(Math.max(state.zoom, least()), Math.max(whole / shortestS, least()));
    if (state.zoom < least() * 1.01) state.zoom = least();
    state.from = Math.min(Math.max(state.from, data.from), Math.max(data.to - shownS(), data.from));
    if (!state.frame) state.frame = requestAnimationFrame(place);
  }

  function placePlot(lane) {
    const plot = plots.get(lane);
    if (placed.zoom <= 1 || (still.has(lane) && closeIn())) {
      plot.style.removeProperty("width");
      plot.style.removeProperty("transform");
      return;
    }
    const px = placed.zoom * state.width;
    plot.style.width = `${px}px`;
    plot.style.transform = `translateX(${((data.from - placed.from) / whole) * px}px)`;
  }

  function place() {
    state.frame = 0;
    Object.assign(placed, { from: state.from, zoom: state.zoom });
    lanes.classList.toggle("zoomed", placed.zoom > 1 || zooming.on());
    lanes.classList.toggle("close-in", closeIn() || zooming.on());
    for (const lane of inSight) if (!blurred.has(lane)) placePlot(lane);
    byId("extent").style.transform = `translateX(${((placed.from - data.from) / whole) * 100}%) scaleX(${1 / placed.zoom})`;
    point(state.cursor);
    for (const tell of told) tell();
  }

  // Where the cursor's line stands.
  function point(t) {
    state.cursor = t;
    byId("needle").style.setProperty("--at", String(((t - placed.from) / whole) * placed.zoom));
  }

  const closeIn = () => placed.zoom > least() * 1.001;
  const seen = () => ({ from: placed.from, to: placed.from + whole / placed.zoom, px: state.width });
  const left = () => lanes.querySelector(".view").getBoundingClientRect().left;

  // Zoom by a factor, 0 for the whole match; the instant `px` to the right of the lanes' left edge stays there.
  function zoomBy(factor, px = state.width / 2) {
    const at = state.from + px * perPx();
    hurry();
    if (lanes.dataset.samples === "ready") zooming.touch();
    state.zoom = Math.min(Math.max(state.zoom * factor, least()), whole / shortestS);
    state.from = at - px * perPx();
    settle();
  }

  function slideBy(seconds) {
    hurry();
    state.from += seconds;
    settle();
  }

  // Slides only where t is out of sight or about to leave it.
  function show(t) {
    if (t >= state.from && t <= state.from + 0.97 * shownS()) return;
    if (state.zoom <= 1) return;
    state.from = t - shownS() / 3;
    settle();
  }

  // A lane whose drawing is all samples and levels: the canvas tells the rest, so that its drawing may stand still.
  function stand(lane) {
    if (!plots.get(lane).querySelector("rect, circle, a, .at")) still.add(lane);
  }

  const watcher = new IntersectionObserver((entries) => {
    for (const { target, isIntersecting } of entries) {
      if (isIntersecting) inSight.add(target);
      else inSight.delete(target);
    }
    state.layout += 1;
    settle();
  }, { rootMargin: "24px 0px" });
  for (const lane of plots.keys()) watcher.observe(lane);

  new ResizeObserver(([entry]) => {
    lanes.style.setProperty("--bar", `${entry.borderBoxSize[0].blockSize - 1}px`);
  }).observe(byId("controls"));

  new ResizeObserver(() => {
    state.layout += 1;
    settle();
  }).observe(lanes);

  new ResizeObserver(([entry]) => {
    state.width = entry.contentRect.width;
    settle();
  }).observe(lanes.querySelector(".view"));

  return {
    data, inSight, plots, stand, point, hurry, seen, closeIn, zoomBy, slideBy, show, shownS,
    zoomed: () => state.zoom > 1,
    blurred: (lane) => blurred.has(lane),
    zooming: zooming.on,
    layout: () => state.layout,
    has: (t) => t >= state.from && t <= state.from + shownS(),
    pxOf: (t) => (t - state.from) / perPx(),
    pxAt: (clientX) => Math.min(Math.max(clientX - left(), 0), state.width),
    timeAt: (clientX) => placed.from + (clientX - left()) * perPx(),
    slidePx: (px) => slideBy(px * perPx()),
    onPlace: (tell) => { told.push(tell); },
  };
})();
