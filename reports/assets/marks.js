"use strict";
// The marks of a lane (labels, hatching, circles, blocks) drawn on the canvas while the strip zooms, as laying their
// drawing out anew in every frame takes too long. What to draw is read from the drawing itself, once a lane;
// words are drawn once each and then copied.
const marks = (() => {
  const byLane = new Map();
  const stencils = new Map();
  const stamps = new Map();
  const told = "path.l, path.bar, .f-heat";

  const shareOf = (text) => (text?.endsWith("%") ? Number.parseFloat(text) / 100 : 0);
  const pxOf = (text) => (text && !text.endsWith("%") ? Number.parseFloat(text) : 0);

  // How a class is drawn; computed once for all that look alike.
  function look(element) {
    const key = `${element.tagName} ${element.getAttribute("class")} ${element.parentNode.getAttribute("class")} ${element.closest(".lane").id}`;
    if (!stencils.has(key)) {
      const style = getComputedStyle(element);
      stencils.set(key, {
        fill: style.fill, stroke: style.stroke, thick: Number.parseFloat(style.strokeWidth), alpha: Number(style.opacity),
        inside: inkOf(style.fill), edge: inkOf(style.stroke),
        font: `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`,
        dashes: style.strokeDasharray === "none" ? [] : style.strokeDasharray.split(",").map(Number.parseFloat),
      });
    }
    return stencils.get(key);
  }

  function inkOf(colour) {
    const id = /url\("?#([\w-]+)"?\)/.exec(colour)?.[1];
    if (!id) return colour === "none" ? null : colour;
    if (!stencils.has(id)) stencils.set(id, hatching(document.getElementById(id)));
    return stencils.get(id);
  }

  // A pattern of the page as one of the canvas.
  function hatching(pattern) {
    const [line] = pattern.children;
    const style = getComputedStyle(line);
    const size = pattern.width.baseVal.value;
    const tile = new OffscreenCanvas(size * 4, size * 4);
    const brush = tile.getContext("2d");
    brush.scale(4, 4);
    brush.strokeStyle = brush.fillStyle = line.tagName === "circle" ? style.fill : style.stroke;
    brush.lineWidth = Number.parseFloat(style.strokeWidth);
    if (line.tagName === "circle") brush.fill(new Path2D("M.8 2a1.2 1.2 0 1 0 2.4 0a1.2 1.2 0 1 0-2.4 0"));
    else brush.stroke(new Path2D(line.getAttribute("d")));
    const made = brush.createPattern(tile, "repeat");
    const turned = pattern.patternTransform.baseVal.consolidate()?.matrix;
    made.setTransform((turned ? DOMMatrix.fromMatrix(turned) : new DOMMatrix()).scale(0.25));
    return made;
  }

  // One mark: shares of the whole match and pixels beside them.
  function markOf(element) {
    const get = (name) => element.getAttribute(name);
    const holder = element.closest("svg.at, svg.s");
    const at = holder?.matches(".at") ? holder : null;
    const shared = { kind: element.tagName, look: look(element), share: shareOf(get("x") ?? get("cx")) + shareOf(at?.getAttribute("x")) };
    const pad = pxOf(element.getAttribute("transform")?.match(/translate\((-?\d+)/)?.[1]);
    const x = pxOf(get("x") ?? get("cx")) + pad;
    const y = pxOf(get("y") ?? get("cy")) + pxOf(at?.getAttribute("y"));
    if (element.tagName === "text") return { ...shared, x, y, words: element.textContent, anchor: getComputedStyle(element).textAnchor };
    if (element.tagName === "circle") return { ...shared, x, y, r: pxOf(get("r")) };
    if (element.tagName === "rect") return { ...shared, x, y, wide: shareOf(get("width")), w: pxOf(get("width")), h: pxOf(get("height")), r: pxOf(get("rx")) };
    return { ...shared, x, y, line: new Path2D(get("d")), ...(at ? {} : stretchOf(holder, element)) };
  }

  // Lines that stretch with the strip: their units to shares across and pixels down.
  function stretchOf(holder, element) {
    const box = holder.viewBox.baseVal;
    const held = holder.parentNode.closest("svg:not(.plot)");
    const height = pxOf(holder.getAttribute("height")) || pxOf(held?.getAttribute("height")) || element.closest(".plot").height.baseVal.value;
    return { across: 1 / box.width, down: height / box.height, y: pxOf(holder.getAttribute("y")) + pxOf(held?.getAttribute("y")) };
  }

  function of(lane) {
    if (!byLane.has(lane)) {
      const otherwise = lane.id === "lane-phase" ? "text.n" : lane.classList.contains("drawn") ? told : ":root";
      const all = [...stretch.plots.get(lane).querySelectorAll("rect, circle, text, path")];
      byLane.set(lane, all.filter((element) => !element.matches(otherwise)).map(markOf));
    }
    return byLane.get(lane);
  }

  function paint(pen, { inside, edge, thick, alpha, dashes }, line) {
    if (alpha !== 1) pen.globalAlpha = alpha;
    if (inside) {
      pen.fillStyle = inside;
      if (line) pen.fill(line);
      else pen.fill();
    }
    if (edge && thick) {
      pen.strokeStyle = edge;
      pen.lineWidth = thick;
      if (dashes.length) pen.setLineDash(dashes);
      if (line) pen.stroke(line);
      else pen.stroke();
      if (dashes.length) pen.setLineDash([]);
    }
    if (alpha !== 1) pen.globalAlpha = 1;
  }

  // Words with the light edge that keeps them legible over lines, drawn once.
  function stampOf(words, { fill, stroke, thick, font }, scale) {
    const key = `${font}|${fill}|${scale}|${words}`;
    if (!stamps.has(key)) {
      const tile = new OffscreenCanvas(1, 1);
      let brush = tile.getContext("2d");
      brush.font = font;
      const width = brush.measureText(words).width;
      Object.assign(tile, { width: Math.ceil((width + 12) * scale), height: Math.ceil(28 * scale) });
      brush = tile.getContext("2d");
      brush.scale(scale, scale);
      Object.assign(brush, { font, lineJoin: "round", lineWidth: thick, strokeStyle: stroke === "none" ? "transparent" : stroke, fillStyle: fill });
      brush.strokeText(words, 6, 20);
      brush.fillText(words, 6, 20);
      stamps.set(key, { tile: tile.transferToImageBitmap(), width });
    }
    return stamps.get(key);
  }

  function stamp(pen, words, style, x, y, anchor, scale) {
    const { tile, width } = stampOf(words, style, scale);
    const left = x - 6 - (anchor === "middle" ? width / 2 : anchor === "end" ? width : 0);
    pen.drawImage(tile, Math.round(left * scale) / scale, Math.round((y - 20) * scale) / scale, tile.width / scale, tile.height / scale);
  }

  // All marks of a lane; `from` and `to` bound what is shown, `px` is its width.
  function draw(lane, pen, scale, { from, to, px }) {
    const whole = stretch.data.to - stretch.data.from;
    const width = (px * whole) / (to - from);
    const begun = ((from - stretch.data.from) / whole) * width;
    for (const mark of of(lane)) {
      const x = mark.share * width - begun + mark.x;
      if (mark.kind === "text") {
        if (x > -300 && x < px + 300) stamp(pen, mark.words, mark.look, x, mark.y, mark.anchor, scale);
      } else if (mark.across) drawStretched(pen, mark, width, begun);
      else {
        const w = mark.kind === "rect" ? mark.wide * width + mark.w : 40;
        if (x + w > -40 && x < px + 40) drawShape(pen, mark, x, w, px);
      }
    }
  }

  function drawShape(pen, mark, x, w, px) {
    if (mark.kind === "path") {
      pen.translate(x, mark.y);
      paint(pen, mark.look, mark.line);
      pen.translate(-x, -mark.y);
      return;
    }
    const left = Math.max(x, -40);
    pen.beginPath();
    if (mark.kind === "circle") pen.arc(x, mark.y, mark.r, 0, 7);
    else if (mark.r) pen.roundRect(x, mark.y, w, mark.h, mark.r);
    else pen.rect(left, mark.y, Math.min(x + w, px + 40) - left, mark.h);
    paint(pen, mark.look);
  }

  function drawStretched(pen, mark, width, begun) {
    const line = new Path2D();
    line.addPath(mark.line, new DOMMatrix([mark.across * width, 0, 0, mark.down, -begun, mark.y]));
    paint(pen, mark.look, line);
  }

  // What a lane needs to be drawn, made beforehand.
  function prepare(lane, scale) {
    for (const mark of of(lane)) if (mark.kind === "text") stampOf(mark.words, mark.look, scale);
  }

  function forget() {
    for (const kept of [byLane, stencils, stamps]) kept.clear();
  }

  return { draw, prepare, stamp, forget };
})();
