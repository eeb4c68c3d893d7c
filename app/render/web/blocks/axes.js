// Scales, axes, line styles and hatches that all charts share.

const INK = "#1d2328";
const SOFT = "#59636b";
const DASHES = [null, "11 4", "5 3", "11 3 2 3", "2 2.5", "14 3 3 3 3 3"];

/** Dark to light along one path of hue, so that order shows in greyscale too; dashes tell neighbours apart. */
function ramp(count, from, to) {
  const shade = d3.interpolateLab(from, to);
  return Array.from({ length: count }, (_, i) => ({
    stroke: shade(count > 1 ? i / (count - 1) : 0),
    dash: DASHES[i % DASHES.length],
  }));
}

/** The looks of the lines of a plot, by their role and order. */
function looks_of(series) {
  const many = (role) => Math.max(0, ...series.filter((one) => one.role === role).map((one) => one.order + 1));
  const in_order = ramp(many("in_order"), "#171c21", "#cd7530");
  const in_time = ramp(many("in_time"), "#74a09a", "#0e2f2d");
  const measured = ramp(many("measured"), "#a7b0b5", "#efc9a6");
  return series.map(
    (one) =>
      ({
        in_order: in_order[one.order],
        in_time: in_time[one.order],
        other: { stroke: "#b05f24", dash: "6 4" },
        measured: { stroke: measured[one.order]?.stroke, dash: null },
        calculated: { stroke: "#171c21", dash: DASHES[one.order % DASHES.length] },
      })[one.role] || { stroke: "#171c21", dash: null },
  );
}

/** The colour of a label: that of its line, dark enough to be read as text. */
const lettering = (stroke) => d3.interpolateLab(stroke, INK)(0.4);

/** From the least to the greatest of all that is known; never of no width. */
function domain(values, include = []) {
  const all = values.concat(include).filter(known);
  if (!all.length) return [0, 1];
  const [low, high] = d3.extent(all);
  if (low < high) return [low, high];
  const room = Math.abs(low) * 0.05 || 1;
  return [low - room, high + room];
}

const minus = (words) => words.replace(/(^|e|[^0-9])-/g, "$1\u2212");

/** Ticks that there is room for: the earlier ones go first. */
function roomy(ticks, size) {
  const kept = [];
  for (const tick of ticks)
    if (kept.every((other) => Math.abs(other.at - tick.at) >= (size(other) + size(tick)) / 2)) kept.push(tick);
  return kept;
}

const x_ticks = (x, axis, box) => {
  if (axis.ticks) {
    const ticks = axis.ticks.map((tick) => ({ at: x(tick.at), words: tick.words }));
    return roomy(ticks, (tick) => width_of(tick.words) + 10);
  }
  const count = Math.max(2, Math.min(8, (box.right - box.left) / 80));
  const write = x.tickFormat(count);
  return x.ticks(count).map((value) => ({ at: x(value), words: minus(write(value)) }));
};

/** How many steps a y axis of this height has. */
const step_count = (box) => Math.max(2, Math.min(6, Math.round((box.bottom - box.top) / 50)));

/** Room left of a plot for the words at its ticks, never less than usual: a long one must not lose its sign. */
const room_for_ticks = (box, y, axis) => Math.max(48, 12 + Math.max(0, ...y_ticks(y, axis, step_count(box)).map((tick) => width_of(tick.words))));

/** Ticks of a linear axis: very small or large ones as powers of ten. */
const tick_writer = (scale, count) => {
  const largest = Math.max(...scale.domain().map(Math.abs));
  if (scale.base || (largest >= 2e-3 && largest < 1e6)) return scale.tickFormat(count);
  const step = Math.abs(d3.tickStep?.(...scale.domain(), count) ?? largest / count);
  const digits = Math.max(1, Math.ceil(Math.log10(largest / step)));
  return (value) => (Math.abs(value) < 1e-9 * largest ? "0" : num(value, digits));
};

const y_ticks = (y, axis, count) => {
  const [low, high] = y.domain();
  if (axis.ticks)
    return roomy(
      axis.ticks.filter((tick) => tick.at >= low && tick.at <= high).map((tick) => ({ at: y(tick.at), words: tick.words })),
      () => 26,
    );
  const write = tick_writer(y, count);
  return y.ticks(count).map((value) => ({ at: y(value), words: minus(write(value)) }));
};

/** Grid, ticks and titles. box: {left, right, top, floor, bottom}; x and y: d3 scales; axes as in the document. */
function axes(box, x, y, x_axis, y_axis) {
  const count = step_count(box);
  const rows = y_ticks(y, y_axis, count);
  const grid = rows.map((row) => tag("line", { x1: box.left, x2: box.right, y1: row.at, y2: row.at }));
  const left = rows.map((row) =>
    tag("text", { x: box.left - 7, y: row.at + 4.5, "text-anchor": "end" }, escaped(row.words)),
  );
  const below = x_ticks(x, x_axis, box).flatMap((tick) => [
    tag("line", { x1: tick.at, x2: tick.at, y1: box.floor, y2: box.floor + 6 }),
    tag("text", { x: tick.at, y: box.floor + 20, "text-anchor": "middle" }, escaped(tick.words)),
  ]);
  return tag("g", { class: "axes" }, [
    tag("g", { class: "grid" }, grid),
    ...left,
    tag("line", { x1: box.left, x2: box.right, y1: box.floor, y2: box.floor }),
    ...below,
    tag("text", { class: "axis-title", x: 2, y: box.title ?? box.top - 14 }, escaped(lettered(y_axis.title))),
    tag("text", { class: "axis-title", x: box.right, y: box.floor + 38, "text-anchor": "end" }, escaped(lettered(x_axis.title))),
  ]);
}

/** Where not to go is crossed, where to take care is hatched one way: grounds that keep apart without colour. */
function hatch(id, never) {
  const [ground, mark] = never ? ["#f1e4d9", "M0 8L8 0M0 0L8 8"] : ["#fbf7f3", "M0 8L8 0"];
  return tag("defs", {}, [
    tag("pattern", { id, width: 8, height: 8, patternUnits: "userSpaceOnUse" }, [
      tag("rect", { width: 8, height: 8, fill: ground }),
      tag("path", { d: mark, stroke: "#8c959b", "stroke-width": 0.7, fill: "none" }),
    ]),
  ]);
}

const clip = (id, box) =>
  tag("defs", {}, [
    tag("clipPath", { id }, [
      tag("rect", { x: box.left - 2, y: box.top - 4, width: box.right - box.left + 4, height: box.floor - box.top + 4 }),
    ]),
  ]);
