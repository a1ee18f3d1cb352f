(() => {
  const byId = (id) => document.getElementById(id);
  const { data } = stretch;
  const range = byId("cursor");
  const strip = document.querySelector(".strip");
  const calm = matchMedia("(prefers-reduced-motion: reduce)");
  const paces = [0.25, 0.5, 1, 2, 4, 8];
  const last = data.start + (data.count - 1) * data.step;
  const state = { t: 0, pace: 2, finding: -1, playing: 0, rest: 0 };

  function unpackNumbers(lane) {
    let value = 0;
    return lane.steps.map((step) => (step === null ? null : (value += step)));
  }

  function fromGrid(lane, t) {
    lane.values ??= unpackNumbers(lane);
    const value = lane.values[Math.floor((t - data.start) / data.step + 1e-6)];
    return value === null || value === undefined ? null : value / 10 ** lane.places;
  }

  function readNumber(lane, t, sample) {
    const value = sample === undefined ? fromGrid(lane, t) : sample;
    if (value === null) return `${lane.before}no value`;
    return `${lane.before}${value.toFixed(lane.places).replace("-", "−")} ${lane.unit}`.trim();
  }

  function readWords(lane, t, sample) {
    if (sample === 0 || sample === 1) return lane.words[sample];
    const ms = (t - data.start) * 1000 + 0.6;
    let low = 0;
    let high = lane.runs.length / 2 - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (lane.runs[2 * middle] <= ms) low = middle;
      else high = middle - 1;
    }
    return lane.words[lane.runs[2 * low + 1]];
  }

  const read = (key, t) => data.lanes[key]
    .map((lane, nth) => (lane.steps ? readNumber : readWords)(lane, t, detail.valueAt(key, nth, t))).join(" · ");

  // m:ss.s, or m:ss.sss between two tenths.
  function clock(seconds) {
    const ms = Math.round(Math.abs(seconds) * 1000);
    const rest = ((ms % 60000) / 1000).toFixed(ms % 100 ? 3 : 1);
    return `${seconds < 0 && ms ? "−" : ""}${Math.floor(ms / 60000)}:${rest.padStart(ms % 100 ? 6 : 4, "0")}`;
  }

  const indexOf = (t) => Math.round((t - data.start) / data.step);
  const onGrid = (t) => data.start + indexOf(t) * data.step;
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
    const text = read(slot.dataset.lane, state.t) || "–";
    if (slot.textContent !== text) slot.textContent = text;
  }

  function moveTo(t, follow = true, byVideo = false) {
    state.t = Math.min(Math.max(Math.round(t * 1e4) / 1e4, data.start), last);
    stretch.hurry();
    stretch.point(state.t);
    byId("now").textContent = clock(state.t);
    range.value = String(indexOf(state.t));
    range.setAttribute("aria-valuetext", `${clock(state.t)}, ${read("phase", state.t)}`);
    if (!byVideo) film.follow(state.t);
    for (const slot of seen) showReading(slot);
    clearTimeout(state.rest);
    state.rest = setTimeout(() => slots.forEach(showReading), 120);
    if (follow) stretch.show(state.t);
  }

  function play(on) {
    cancelAnimationFrame(state.playing);
    state.playing = 0;
    const button = document.querySelector("[data-do=play]");
    button.textContent = on ? "Pause" : "Play";
    button.setAttribute("aria-pressed", String(on));
    film.run(on, paces[state.pace]);
    if (!on) return;
    if (state.t >= last) moveTo(data.start);
    let seconds = state.t;
    let before = null;
    const frame = (now) => {
      const due = before === null ? 0 : ((now - before) / 1000) * paces[state.pace];
      if (before === null || !calm.matches || due >= paces[state.pace] / 2) {
        seconds += due;
        before = now;
        seconds = film.instant() ?? seconds;
        moveTo(seconds, true, film.instant() !== null);
      }
      if (state.t >= last) play(false);
      else state.playing = requestAnimationFrame(frame);
    };
    state.playing = requestAnimationFrame(frame);
  }

  function setPace(change) {
    state.pace = Math.min(Math.max(state.pace + change, 0), paces.length - 1);
    byId("pace").textContent = `×${paces[state.pace]}`;
    film.run(Boolean(state.playing), paces[state.pace]);
  }

  // Zoom about the cursor where it is in sight, else about the middle.
  const zoom = (factor) => stretch.zoomBy(factor, stretch.has(state.t) ? stretch.pxOf(state.t) : undefined);
  const slide = (way) => stretch.slideBy(way * 0.5 * stretch.shownS());

  function goToEvent(way) {
    const ahead = data.events.filter(([t]) => (t - state.t) * way > 5e-5);
    const nearest = way > 0 ? ahead[0] : ahead.at(-1);
    if (!nearest) return;
    const words = ahead.filter(([t]) => t === nearest[0]).map(([, text]) => text);
    moveTo(nearest[0]);
    byId("told").textContent = words.join("; ");
  }

  function goToReading(way) {
    moveTo(detail.nextReading(state.t, way) ?? onGrid(state.t) + way * data.step);
  }

  const step = (way) => ({ event: goToEvent, reading: goToReading }[byId("stride").value] ?? stepTenth)(way);
  const stepTenth = (way) => moveTo(way > 0
    ? data.start + Math.floor((state.t - data.start) / data.step + 1 + 1e-6) * data.step
    : data.start + Math.ceil((state.t - data.start) / data.step - 1 - 1e-6) * data.step);

  const inView = (element) => {
    const box = element.getBoundingClientRect();
    return box.bottom > 80 && box.top < innerHeight - 80;
  };

  // From the finding that the cursor stands at the next in order, else the nearest before or after the cursor.
  function findingBeside(change) {
    const { findings } = data;
    const { length } = findings;
    if (state.finding >= 0 && Math.abs(findings[state.finding][0] - state.t) < 1e-3) return (state.finding + change + length) % length;
    const beside = (t) => (t - state.t) * change > (state.finding < 0 ? -1e-3 : 1e-3);
    const at = change > 0 ? findings.findIndex(([t]) => beside(t)) : findings.findLastIndex(([t]) => beside(t));
    return at >= 0 ? at : change > 0 ? 0 : length - 1;
  }

  function goToFinding(change) {
    if (!data.findings.length) return;
    state.finding = findingBeside(change);
    const [t, title] = data.findings[state.finding];
    moveTo(t);
    const link = document.createElement("a");
    link.href = `#finding-${state.finding + 1}`;
    link.textContent = title;
    byId("told").replaceChildren(link);
    if (!inView(strip)) showFinding(byId(`finding-${state.finding + 1}`));
  }

  // Shown by the filter, and open where it is one of many alike.
  function bring(article) {
    if (article.hidden) filter("all");
    article.querySelector(":scope > details")?.setAttribute("open", "");
  }

  function showFinding(article) {
    bring(article);
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
    back: () => step(-1), on: () => step(1), play: () => play(!state.playing),
    slower: () => setPace(-1), faster: () => setPace(1), previous: () => goToFinding(-1), next: () => goToFinding(1),
    wider: () => zoom(2), narrower: () => zoom(0.5), whole: () => zoom(0), left: () => slide(-1), right: () => slide(1),
    help: toggleHelp,
  };
  const keys = {
    n: actions.next, p: actions.previous, g: actions.play, s: actions.slower, f: actions.faster, v: nextFilter,
    e: () => goToEvent(1), E: () => goToEvent(-1), r: () => goToReading(1), R: () => goToReading(-1),
    "+": actions.wider, "=": actions.wider, "-": actions.narrower, 0: actions.whole, "[": actions.left, "]": actions.right,
    "?": toggleHelp,
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
    const near = event.target === range || strip.contains(event.target) || byId("controls").contains(event.target);
    if (event.target.closest(".wide")) return false;
    const way = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (way && event.shiftKey) moveTo(state.t + way);
    else if (way) step(way);
    else if (event.key === " " && inView(strip) && !event.target.closest("a, button, summary, .wide, input[type=checkbox]")) play(!state.playing);
    else if (event.key === "Home" && near) moveTo(data.start);
    else if (event.key === "End" && near) moveTo(last);
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

  function onClick(event) {
    const moment = event.target.closest("a.moment");
    if (moment) moveTo(Number(moment.dataset.at));
    const mark = event.target.closest("a[href^='#finding-']");
    if (mark) {
      const number = Number(mark.getAttribute("href").slice("#finding-".length));
      state.finding = number - 1;
      moveTo(data.findings[number - 1][0]);
      bring(byId(`finding-${number}`));
    }
    const button = event.target.closest("button");
    if (button && Object.hasOwn(actions, button.dataset.do ?? "")) actions[button.dataset.do]();
    if (button?.dataset.show) filter(button.dataset.show);
  }

  range.max = String(data.count - 1);
  range.addEventListener("input", () => moveTo(data.start + Number(range.value) * data.step));
  gestures({ moveTo, onGrid });
  document.addEventListener("click", onClick);
  document.addEventListener("keydown", onKey);
  addEventListener("beforeprint", () => {
    for (const details of document.querySelectorAll("details")) details.open = true;
  });
  for (const slot of slots) watcher.observe(slot);
  film.listen((t, playing) => {
    if (playing !== undefined && playing !== Boolean(state.playing)) play(playing);
    else if (!state.playing) moveTo(t, true, true);
  });
  moveTo(data.findings.length ? data.findings[0][0] : onGrid(0), false);
})();
