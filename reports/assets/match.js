"use strict";
(() => {
  const byId = (id) => document.getElementById(id);
  const data = JSON.parse(byId("cursor-data").textContent);
  const range = byId("cursor");
  const lanes = byId("lanes");
  const strip = document.querySelector(".strip");
  const calm = matchMedia("(prefers-reduced-motion: reduce)");
  const paces = [0.25, 0.5, 1, 2, 5, 10];
  const zooms = [1, 2, 4, 8];
  const second = Math.max(1, Math.round(1 / data.step));
  const state = { at: 0, pace: 2, zoom: 0, finding: -1, playing: 0, rest: 0 };

  function unpackNumbers(lane) {
    let value = 0;
    return lane.steps.map((step) => (step === null ? null : (value += step)));
  }

  function readNumber(lane, at) {
    lane.values ??= unpackNumbers(lane);
    const value = lane.values[at];
    if (value === null || value === undefined) return `${lane.before}no value`;
    const figure = (value / 10 ** lane.places).toFixed(lane.places).replace("-", "−");
    return `${lane.before}${figure} ${lane.unit}`.trim();
  }

  function readWords(lane, at) {
    let low = 0;
    let high = lane.runs.length / 2 - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (lane.runs[2 * middle] <= at) low = middle;
      else high = middle - 1;
    }
    return lane.words[lane.runs[2 * low + 1]];
  }

  const read = (key, at) => data.lanes[key]
    .map((lane) => (lane.steps ? readNumber(lane, at) : readWords(lane, at))).join(" · ");

  function clock(seconds) {
    const tenths = Math.round(seconds * 10);
    const size = Math.abs(tenths);
    const rest = String(Math.floor((size % 600) / 10)).padStart(2, "0");
    return `${tenths < 0 ? "−" : ""}${Math.floor(size / 600)}:${rest}.${size % 10}`;
  }

  const timeAt = (at) => data.start + at * data.step;
  const indexOf = (seconds) => Math.round((seconds - data.start) / data.step);
  const indexFrom = (seconds) => Math.ceil((seconds - data.start) / data.step - 1e-6);
  const slots = [...document.querySelectorAll(".reading[data-lane]")].filter((slot) => data.lanes[slot.dataset.lane]);
  const seen = new Set();
  const watcher = new IntersectionObserver((entries) => {
    for (const { target, isIntersecting } of entries) {
      if (isIntersecting) seen.add(target);
      else seen.delete(target);
      showReading(target);
    }
  }, { rootMargin: "200px" });

  function showReading(slot) {
    const text = read(slot.dataset.lane, state.at) || "–";
    if (slot.textContent !== text) slot.textContent = text;
  }

  function moveTo(at, follow = true) {
    state.at = Math.min(Math.max(at, 0), data.count - 1);
    const seconds = timeAt(state.at);
    byId("needle").style.setProperty("--at", String((seconds - data.from) / (data.to - data.from)));
    byId("now").textContent = clock(seconds);
    range.value = String(state.at);
    range.setAttribute("aria-valuetext", `${clock(seconds)}, ${read("phase", state.at)}`);
    for (const slot of seen) showReading(slot);
    clearTimeout(state.rest);
    state.rest = setTimeout(() => slots.forEach(showReading), 120);
    if (follow) keepInView();
  }

  function keepInView() {
    const track = byId("track");
    const left = track.offsetLeft + track.offsetWidth * Number(byId("needle").style.getPropertyValue("--at"));
    const name = document.querySelector(".lane .name");
    const covered = getComputedStyle(name.parentElement).display === "grid" ? name.offsetWidth : 0;
    if (left < strip.scrollLeft + covered || left > strip.scrollLeft + strip.clientWidth - 20) {
      strip.scrollLeft = left - covered - (strip.clientWidth - covered) / 3;
    }
  }

  function play(on) {
    cancelAnimationFrame(state.playing);
    state.playing = 0;
    const button = document.querySelector("[data-do=play]");
    button.textContent = on ? "Pause" : "Play";
    button.setAttribute("aria-pressed", String(on));
    if (!on) return;
    if (state.at >= data.count - 1) moveTo(0);
    let seconds = timeAt(state.at);
    let before = null;
    const frame = (now) => {
      const due = before === null ? 0 : ((now - before) / 1000) * paces[state.pace];
      if (before === null || !calm.matches || due >= paces[state.pace] / 2) {
        seconds += due;
        before = now;
        moveTo(indexOf(seconds));
      }
      if (state.at >= data.count - 1) play(false);
      else state.playing = requestAnimationFrame(frame);
    };
    state.playing = requestAnimationFrame(frame);
  }

  function setPace(change) {
    state.pace = Math.min(Math.max(state.pace + change, 0), paces.length - 1);
    byId("pace").textContent = `×${paces[state.pace]}`;
  }

  function setZoom(change) {
    state.zoom = Math.min(Math.max(state.zoom + change, 0), zooms.length - 1);
    lanes.style.setProperty("--zoom", String(zooms[state.zoom]));
    keepInView();
  }

  const inView = (element) => {
    const box = element.getBoundingClientRect();
    return box.bottom > 80 && box.top < innerHeight - 80;
  };

  function goToFinding(change) {
    const count = data.findings.length;
    if (!count) return;
    const from = state.finding < 0 && change < 0 ? 0 : state.finding;
    state.finding = (from + change + count) % count;
    const [at, title] = data.findings[state.finding];
    moveTo(at);
    const link = document.createElement("a");
    link.href = `#finding-${state.finding + 1}`;
    link.textContent = title;
    byId("told").replaceChildren(link);
    if (!inView(strip)) showFinding(byId(`finding-${state.finding + 1}`));
  }

  function showFinding(article) {
    if (article.hidden) filter("all");
    article.scrollIntoView();
    article.focus({ preventScroll: true });
  }

  const filters = [...document.querySelectorAll("#filter button")];

  function filter(level) {
    for (const button of filters) button.setAttribute("aria-pressed", String(button.dataset.show === level));
    for (const article of document.querySelectorAll(".finding")) {
      article.hidden = level !== "all" && article.dataset.level !== level;
    }
  }

  function nextFilter() {
    const now = filters.findIndex((button) => button.getAttribute("aria-pressed") === "true");
    if (filters.length) filter(filters[(now + 1) % filters.length].dataset.show);
  }

  const toggleHelp = () => (byId("help").open ? byId("help").close() : byId("help").showModal());
  const actions = {
    back: () => moveTo(state.at - 1), on: () => moveTo(state.at + 1), play: () => play(!state.playing),
    slower: () => setPace(-1), faster: () => setPace(1), previous: () => goToFinding(-1), next: () => goToFinding(1),
    wider: () => setZoom(1), narrower: () => setZoom(-1), help: toggleHelp,
  };
  const keys = {
    n: actions.next, p: actions.previous, k: actions.play, s: actions.slower, f: actions.faster, v: nextFilter,
    "+": actions.wider, "=": actions.wider, "-": actions.narrower, "?": toggleHelp,
  };

  function jumpToSection(digit) {
    const section = document.querySelectorAll("main > section")[digit - 1];
    if (!section) return;
    section.tabIndex = -1;
    section.scrollIntoView();
    section.focus({ preventScroll: true });
  }

  function typing(target) {
    const quiet = ["range", "checkbox"];
    return target.matches("textarea, select, [contenteditable]") || (target.matches("input") && !quiet.includes(target.type));
  }

  function cursorKey(event) {
    const step = event.shiftKey ? second : 1;
    const near = event.target === range || strip.contains(event.target) || byId("controls").contains(event.target);
    if (event.target.closest(".wide")) return false;
    if (event.key === "ArrowLeft") moveTo(state.at - step);
    else if (event.key === "ArrowRight") moveTo(state.at + step);
    else if (event.key === "Home" && near) moveTo(0);
    else if (event.key === "End" && near) moveTo(data.count - 1);
    else return false;
    return true;
  }

  function onKey(event) {
    if (event.ctrlKey || event.altKey || event.metaKey || typing(event.target)) return;
    if (byId("help").open && event.key !== "?") return;
    const digit = /^[1-8]$/.test(event.key);
    if (digit) jumpToSection(Number(event.key));
    else if (Object.hasOwn(keys, event.key)) keys[event.key]();
    else if (!cursorKey(event)) return;
    event.preventDefault();
  }

  function onPointer(event) {
    const plot = event.target.closest(".lanes .plot");
    if (!plot || event.target.closest("a")) return;
    const box = plot.getBoundingClientRect();
    moveTo(indexOf(data.from + ((event.clientX - box.left) / box.width) * (data.to - data.from)), false);
  }

  function onClick(event) {
    const moment = event.target.closest("a.moment");
    if (moment) moveTo(indexFrom(Number(moment.dataset.at)));
    const mark = event.target.closest("a[href^='#finding-']");
    if (mark) {
      const number = Number(mark.getAttribute("href").slice("#finding-".length));
      state.finding = number - 1;
      moveTo(data.findings[number - 1][0]);
      const article = byId(`finding-${number}`);
      if (article.hidden) filter("all");
    }
    const button = event.target.closest("button");
    if (button && Object.hasOwn(actions, button.dataset.do ?? "")) actions[button.dataset.do]();
    if (button?.dataset.show) filter(button.dataset.show);
  }

  range.max = String(data.count - 1);
  range.addEventListener("input", () => moveTo(Number(range.value)));
  lanes.addEventListener("pointerdown", onPointer);
  lanes.addEventListener("pointermove", (event) => {
    if (event.pointerType === "mouse" && event.buttons & 1) onPointer(event);
  });
  document.addEventListener("click", onClick);
  document.addEventListener("keydown", onKey);
  addEventListener("beforeprint", () => {
    for (const details of document.querySelectorAll("details")) details.open = true;
  });
  for (const slot of slots) watcher.observe(slot);
  moveTo(data.findings.length ? data.findings[0][0] : indexOf(0), false);
})();
