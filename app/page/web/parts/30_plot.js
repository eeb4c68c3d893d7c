// Lines against axes. A drawing is made of text once per run; where the run has got to is moved in it.

const INK = "#1d2328";
const SOFT = "#59636b";

/** Round steps between two ends: 1, 2 or 5 times a power of ten. */
function ticks_of(low, high, most) {
  const rough = (high - low) / Math.max(1, most);
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((k) => k * power).find((size) => size >= rough * (1 - 1e-9));
  const places = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  const all = [];
  for (let value = Math.ceil(low / step - 1e-9) * step; value <= high + 1e-9 * step; value += step)
    all.push({ value, words: fixed(Math.abs(value) < step * 1e-6 ? 0 : value, places) });
  return all;
}

/**
 * Axes in an SVG element. `plot`: {title, x: {title, low, high}, y: {title, low, high}, height, zone: {below, words}}.
 * Returns the places of values, and groups to draw into.
 */
function draw_axes(svg, plot) {
  const width = Math.max(280, Math.round(svg.getBoundingClientRect().width) || 420);
  const box = { left: 52, right: width - 12, top: 26, bottom: plot.height - 36 };
  const x = (value) => box.left + ((value - plot.x.low) / (plot.x.high - plot.x.low)) * (box.right - box.left);
  const y = (value) => box.bottom - ((value - plot.y.low) / (plot.y.high - plot.y.low)) * (box.bottom - box.top);
  const parts = [words_at(4, 14, plot.title, { class: "plot-title" })];
  if (plot.zone && plot.zone.below > plot.y.low) {
    const top = y(Math.min(plot.zone.below, plot.y.high));
    parts.push(tag("rect", { x: box.left, y: top, width: box.right - box.left, height: box.bottom - top, class: "never" }));
    parts.push(words_at(box.right - 4, box.bottom - 5, plot.zone.words, { "text-anchor": "end", class: "note" }));
  }
  for (const tick of ticks_of(plot.y.low, plot.y.high, (box.bottom - box.top) / 34)) {
    parts.push(tag("line", { x1: box.left, x2: box.right, y1: y(tick.value), y2: y(tick.value), class: "grid" }));
    parts.push(words_at(box.left - 6, y(tick.value) + 4, tick.words, { "text-anchor": "end", class: "tick" }));
  }
  for (const tick of ticks_of(plot.x.low, plot.x.high, (box.right - box.left) / 70)) {
    parts.push(tag("line", { x1: x(tick.value), x2: x(tick.value), y1: box.bottom, y2: box.bottom + 4, class: "axis" }));
    parts.push(words_at(x(tick.value), box.bottom + 17, tick.words, { "text-anchor": "middle", class: "tick" }));
  }
  parts.push(tag("path", { d: `M${box.left},${box.top}V${box.bottom}H${box.right}`, class: "axis", fill: "none" }));
  parts.push(words_at(box.right, plot.height - 4, plot.x.title, { "text-anchor": "end", class: "tick" }));
  parts.push(tag("g", { class: "lines" }));
  svg.setAttribute("viewBox", `0 0 ${width} ${plot.height}`);
  svg.setAttribute("height", plot.height);
  svg.innerHTML = parts.join("");
  return { svg, box, x, y, plot };
}

/** The path of points; jumps to a new start where a gap is asked for. */
function path_of(points, x, y) {
  let d = "";
  for (const point of points) d += point ? `${d === "" || d.endsWith(" ") ? "M" : "L"}${x(point[0]).toFixed(1)},${y(point[1]).toFixed(1)}` : " ";
  return d.trim();
}

/**
 * Lines of runs: the part up to a time dark, of a run that is laid under the rest light.
 * `lines`: [{run, value, kept, label}], `along`: what stands on x for a moment index.
 */
function draw_lines(axes, lines, time) {
  const { x, y, box, plot } = axes;
  const inside = ([a, b]) => [a, Math.min(plot.y.high, Math.max(plot.y.low, b))];
  const parts = [];
  for (const line of lines) {
    const points = line.points.filter(([, , when]) => when <= time || line.kept).map(inside);
    if (!line.kept) {
      const now = line.at(time);
      if (now) points.push(inside(now));
    }
    parts.push(tag("path", { d: path_of(points, x, y), class: line.kept ? "kept" : "run" }));
    const end = points[points.length - 1];
    if (!line.kept && end) parts.push(tag("circle", { cx: x(end[0]), cy: y(end[1]), r: 4.5, class: "now" }));
    if (line.label && points.length > 2) {
      const place = points[Math.floor(points.length * (line.kept ? 0.45 : 0.8))];
      const right = x(place[0]) > (box.left + box.right) / 2;
      parts.push(
        words_at(x(place[0]) + (right ? -6 : 6), y(place[1]) + (line.kept ? 18 : -8), line.label, {
          class: "label",
          "text-anchor": right ? "end" : "start",
        }),
      );
    }
  }
  axes.svg.querySelector(".lines").innerHTML = parts.join("");
}

/** Room around the least and the greatest of all values. */
function range_of(values, include = []) {
  const all = values.concat(include).filter(Number.isFinite);
  const low = Math.min(...all);
  const high = Math.max(...all);
  const room = (high - low || Math.abs(high) || 1) * 0.06;
  return { low: low - room, high: high + room };
}

/** Drawing a guess into axes with a finger or a mouse: [[x, y], ...] in the units of the plot, going to the right alone. */
function guess_by_hand(svg, axes_of, changed) {
  let line = null;
  const place = (event) => {
    const axes = axes_of();
    const frame = svg.getBoundingClientRect();
    const scale = svg.viewBox.baseVal.width / frame.width;
    const px = (event.clientX - frame.left) * scale;
    const py = (event.clientY - frame.top) * scale;
    const { box, plot } = axes;
    const share = (at, from, to) => (at - from) / (to - from);
    const keep = (value, low, high) => Math.min(high, Math.max(low, value));
    return [
      plot.x.low + keep(share(px, box.left, box.right), 0, 1) * (plot.x.high - plot.x.low),
      plot.y.low + keep(share(py, box.bottom, box.top), 0, 1) * (plot.y.high - plot.y.low),
    ];
  };
  svg.addEventListener("pointerdown", (event) => {
    if (!axes_of() || !svg.classList.contains("open")) return;
    svg.setPointerCapture?.(event.pointerId);
    line = [place(event)];
    event.preventDefault();
  });
  svg.addEventListener("pointermove", (event) => {
    if (!line) return;
    const at = place(event);
    while (line.length && line[line.length - 1][0] >= at[0]) line.pop();
    line.push(at);
    changed(line);
  });
  const done = () => (line = null);
  svg.addEventListener("pointerup", done);
  svg.addEventListener("pointercancel", done);
}
