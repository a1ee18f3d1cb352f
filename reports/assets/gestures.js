// What a pointer does on the lanes: a press sets the cursor, a drag moves it or, zoomed in, slides the lanes;
// two fingers zoom and slide; the wheel with Ctrl zooms, sideways or with Shift it slides.
const gestures = ({ moveTo, onGrid }) => {
  const lanes = document.getElementById("lanes");
  const { data } = stretch;
  const fingers = new Map();
  const drag = { from: null, at: 0, moved: false };

  const setByPointer = (event) => moveTo(Math.min(Math.max(onGrid(stretch.timeAt(event.clientX)), data.from), data.to), false);

  function onDown(event) {
    if (!event.target.closest(".view") || event.button) return;
    if (event.pointerType === "touch") fingers.set(event.pointerId, event.clientX);
    if (fingers.size > 1) drag.from = null;
    else if (!event.target.closest("a") || event.pointerType === "touch") Object.assign(drag, { from: event.clientX, at: event.clientX, moved: false });
  }

  function pinch(event) {
    const before = [...fingers.values()];
    fingers.set(event.pointerId, event.clientX);
    const after = [...fingers.values()];
    const [apart, nowApart] = [before, after].map(([a, b]) => Math.max(Math.abs(a - b), 24));
    const [middle, nowMiddle] = [before, after].map(([a, b]) => (a + b) / 2);
    stretch.zoomBy(nowApart / apart, stretch.pxAt(middle));
    stretch.slidePx(middle - nowMiddle);
  }

  function onMove(event) {
    if (fingers.size === 2 && fingers.has(event.pointerId)) pinch(event);
    else if (drag.from === null) return;
    else if (event.pointerType === "mouse" && !(event.buttons & 1)) drag.from = null;
    else if (drag.moved || Math.abs(event.clientX - drag.from) > 4) dragged(event);
  }

  function dragged(event) {
    drag.moved = true;
    if (fingers.has(event.pointerId)) fingers.set(event.pointerId, event.clientX);
    if (stretch.zoomed()) stretch.slidePx(drag.at - event.clientX);
    else setByPointer(event);
    drag.at = event.clientX;
  }

  function onUp(event) {
    if (drag.from !== null && !drag.moved && !event.target.closest("a") && event.target.closest(".view")) setByPointer(event);
    forget(event);
  }

  function forget(event) {
    fingers.delete(event.pointerId);
    drag.from = null;
  }

  function onWheel(event) {
    if (!event.target.closest(".view, .scrub")) return;
    const sideways = event.shiftKey ? event.deltaX || event.deltaY : event.deltaX;
    if (event.ctrlKey) stretch.zoomBy(Math.exp(-Math.max(Math.min(event.deltaY, 100), -100) * 0.005), stretch.pxAt(event.clientX));
    else if (sideways && stretch.zoomed() && (event.shiftKey || Math.abs(sideways) > Math.abs(event.deltaY))) stretch.slidePx(sideways);
    else return;
    event.preventDefault();
  }

  // A mark that the keyboard reaches is brought into sight.
  function onFocus({ target }) {
    if (target.closest(".view") && stretch.zoomed() && target.matches(":focus-visible")) stretch.show(instantOf(target));
  }

  // By its share of its plot, which is the same whether or not the plot has been set to what is shown.
  function instantOf(mark) {
    const box = mark.getBoundingClientRect();
    const plot = mark.closest("svg.plot").getBoundingClientRect();
    return data.from + (((box.left + box.right) / 2 - plot.left) / plot.width) * (data.to - data.from);
  }

  lanes.addEventListener("pointerdown", onDown);
  addEventListener("pointermove", onMove);
  addEventListener("pointerup", onUp);
  addEventListener("pointercancel", forget);
  lanes.addEventListener("wheel", onWheel, { passive: false });
  lanes.addEventListener("focusin", onFocus);
};
