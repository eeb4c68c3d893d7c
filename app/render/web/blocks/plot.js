// A block "plot": lines over two axes, their names at their ends. Data -> SVG; nothing here touches the page.
//
// {title, says, x and y: {title, unit, digits, include: [], most, least, logarithmic, ticks: [{at, words}]},
//  series: [{label, role, order, doubtful, marked, joined, stepped, filled, x: [], y: [], low: [], high: [], at_points: [words],
//            also: [[words]], told: [[words] for each point] (in place of the numbers)}],
//  zones: [{from, to (null: to the edge), never, words}], levels: [{at, words}], stages: [{from, to, name}],
//  bands, marks, uprights: see marks.js; y.zero: name of the place for zeros where y is logarithmic;
//  equal: one unit is as long on both axes; names: "below" | "above" | "right" | "none", low, whole: {at, words}, key: [{role, words}], note}
// Numbers are in the unit shown. A missing number leaves a gap.

const points_of = (one, x, y) => one.x.map((value, i) => [x(value), y(one.y[i]), i]).filter((p) => known(p[0]) && known(p[1]));

/** The corners of a line; a stepped one holds each value until the next. */
const corners_of = (one, all) => (one.stepped ? all.flatMap((p, i) => (i && known(p[1]) ? [[p[0], all[i - 1][1]], p] : [p])) : all);

const seen = (one) => one.x.some((value, i) => known(value) && known(one.y[i]));

/** Words under the pointer at point i of a line. */
function words_at(plot, one, i) {
  if (one.told) return one.told[i].map(printed);
  const quantity = (value, axis) => [num(value, axis.digits), lettered(axis.unit)].filter(Boolean).join(" ");
  return [
    lettered(one.label),
    one.at_points ? lettered(one.at_points[i]) : "",
    plot.x.ticks
      ? quantity(one.y[i], plot.y)
      : `${quantity(one.x[i], plot.x)}, ${quantity(one.y[i], plot.y)}`,
    ...(one.also || []).map((words) => lettered(words[i])),
  ].filter(Boolean);
}

/** A line over a measured one is not named again. */
const is_named = (line) => line.role !== "calculated";

function plot_frame(plot, width, all, printing, left = 48) {
  const beside = plot.names === "right";
  const lines = all.filter(is_named);
  const bare = plot.names === "none" || !lines.some((line) => line.label);
  for (const line of lines) {
    line.words = cut(lettered(line.label), 110);
    line.rows = beside ? wrapped(lettered(line.label), width * 0.3) : [];
  }
  const long = (line) => Math.max(...(beside ? line.rows : [line.words]).map((words) => width_of(words, 600))) + 12;
  const whole = plot.whole ? 58 : 0;
  const names = beside ? Math.max(0, ...lines.map(long)) + 22 : 0;
  const right = whole + (whole ? 0 : names || 14); // before a second axis the names stand inside the plot
  const rows = Math.max(1, Math.ceil(lines.reduce((sum, line) => sum + long(line), 0) / (width - 48)));
  const band = beside || bare ? 0 : 24 + 17 * rows;
  const height = plot.low ? (bare ? 250 : 270) : Math.max(300, Math.min(printing ? 335 : 430, width * (plot.whole ? 0.5 : 0.66)));
  const heads = band_heads(plot.bands, width);
  const above = plot.key ? 22 : 0;
  const said = plot.note ? 18 : 0; // a line of its own: inside the plot it would lie on what it speaks of
  const top = above + (plot.stages.length ? 50 : 34) + heads.top + said;
  const box = { left, right: width - right, top, floor: height + heads.top + said - 48, title: above + (plot.stages.length || heads.top ? 18 : 20) };
  const foot = plot.y.zero && lines.some((line) => line.y.some((value) => value === 0)) ? 26 : 0;
  box.bottom = box.floor - (plot.names === "below" ? band : 6) - foot;
  return { box, height: height + heads.top + said, rows, band, heads, foot, x_end: whole ? box.right - names : box.right - (beside ? 0 : 6) };
}

function plot_scales(plot, lines, { box, band, x_end }) {
  const view = plot.view || {};
  const all = (key) => lines.filter((line) => !line.hidden).flatMap((line) => line[key] || []);
  const x = plot.x.logarithmic
    ? d3.scaleLog(domain(all("x")).map((value, i) => value * (i ? 1.15 : 0.8)), [box.left, x_end])
    : d3.scaleLinear(domain(all("x"), plot.x.include), [box.left, x_end]);
  const { least, most } = plot.y;
  const tops = [...all("y"), ...all("low"), ...all("high")].map((value) =>
    known(value) ? Math.max(least ?? -Infinity, Math.min(most ?? Infinity, value)) : value,
  );
  const y = plot.y.logarithmic
    ? d3.scaleLog(domain(tops.filter((value) => value > 0)).map((value, i) => value * (i ? 1.5 : 1 / 1.5)), [0, 1])
    : d3.scaleLinear(domain(tops, plot.y.include), [0, 1]);
  if (plot.y.logarithmic) y.range([box.bottom, box.top]);
  else if (plot.whole) y.domain([y.domain()[0], 1.06 * y.domain()[1]]);
  else y.nice(6);
  if (view.x) x.domain(view.x);
  if (view.y) y.domain(view.y);
  y.range([box.bottom, box.top + (plot.names === "above" ? band : 0)]);
  if (plot.equal) share_unit(x, y);
  return [x, y];
}

/** Lengthens the axis that has the longer unit, at its upper end, until one unit is as long on both. */
function share_unit(...scales) {
  const unit = (scale) => (scale.domain()[1] - scale.domain()[0]) / Math.abs(scale.range()[1] - scale.range()[0]);
  const most = Math.max(...scales.map(unit));
  for (const scale of scales) {
    const [low] = scale.domain();
    scale.domain([low, low + most * Math.abs(scale.range()[1] - scale.range()[0])]);
  }
}

function draw_zones(plot, box, y, id) {
  const [edge_low, edge_high] = [y.invert(box.floor), y.invert(box.top - 4)];
  const inside = (value, edge) => y(Math.max(edge_low, Math.min(edge_high, value ?? edge)));
  return plot.zones.map((zone, i) => {
    const [top, bottom] = [inside(zone.to, edge_high), inside(zone.from, edge_low)];
    if (bottom - top < 1) return "";
    const ground = { x: box.left, width: box.right - box.left, y: top, height: bottom - top };
    return hatch(`${id}-zone-${i}`, zone.never) + tag("rect", { ...ground, fill: `url(#${id}-zone-${i})` });
  });
}

function draw_notes(plot, box, y) {
  const level = ({ at }) => tag("line", { class: "level", x1: box.left, x2: box.right, y1: y(at), y2: y(at) });
  const words = (at, text, below) =>
    tag("text", { class: "note", x: box.left + 8, y: y(at) + (below ? 16 : -6) }, escaped(lettered(text)));
  return [
    ...plot.levels.map(level),
    ...plot.levels.map(({ at, words: text }) => (text ? words(at, text) : "")),
    plot.note ? tag("text", { class: "note", x: 2, y: box.title + 18 }, escaped(lettered(plot.note))) : "",
    ...plot.zones.map((zone) => {
      const edge = known(zone.to) ? zone.to : zone.from;
      return zone.words && known(edge) ? words(edge, zone.words, known(zone.to)) : "";
    }),
  ];
}

/** Thin lines between the stages, their names above where there is room. */
function draw_stages(stages, box, x) {
  const ticks = stages.map(({ from, to, name }) => ({ at: (x(from) + x(to)) / 2, words: name }));
  return [
    ...stages.map(({ from }) => tag("line", { class: "edge", x1: x(from), x2: x(from), y1: box.top - 6, y2: box.floor })),
    ...roomy(ticks, ({ words }) => width_of(words) + 6).map(({ at, words }) =>
      tag("text", { class: "value", x: at, y: box.top - 8, "text-anchor": "middle", fill: SOFT }, escaped(words)),
    ),
  ];
}

/** A second axis in per cent of a whole. */
function draw_whole(whole, box, y, width) {
  if (!whole) return "";
  const marks = [0, 20, 40, 60, 80, 100].map((share) => {
    const at = y((share / 100) * whole.at);
    return (
      tag("line", { x1: box.right, x2: box.right + 4, y1: at, y2: at }) +
      tag("text", { x: box.right + 8, y: at + 4.5 }, `${share}\u202f%`)
    );
  });
  const title = { class: "axis-title", x: width - 2, y: box.top - 14, "text-anchor": "end" };
  return (
    tag("g", { class: "axes" }, [...marks, tag("text", title, escaped(whole.words))]) +
    tag("line", { class: "limit", x1: box.left, x2: box.right, y1: y(whole.at), y2: y(whole.at) })
  );
}

/** Words at marks of several lines: above the upper line, below the lower one, none on another. */
function words_at_points(lines, places, box) {
  const taken = [];
  return lines.flatMap((line, k) =>
    (line.at_points || []).map((words, i) => {
      const point = places[k].find((p) => p[2] === i);
      if (!point) return "";
      const others = places.filter((_, other) => other !== k).flatMap((points) => points.filter((p) => Math.abs(p[0] - point[0]) < 1));
      const upper = others.every((p) => point[1] < p[1] || (point[1] === p[1] && k === 0));
      const above = point[1] > box.floor - 24 || (others.length > 0 ? upper : true);
      const at = [point[0], point[1] + (above ? -10 : 20)];
      if (taken.some((place) => Math.abs(place[0] - at[0]) < 44 && Math.abs(place[1] - at[1]) < 18)) return "";
      taken.push(at);
      return tag("text", { class: "value", x: at[0], y: at[1], "text-anchor": "middle", fill: line.look.stroke }, escaped(lettered(words)));
    }),
  );
}

const SHAPES = { round: (p) => `M${p[0] - 4.6},${p[1]}a4.6,4.6 0 1,0 9.2,0a4.6,4.6 0 1,0 -9.2,0`, square: (p) => `M${p[0] - 4},${p[1] - 4}h8v8h-8z` };

const draw_mark = (line, p, stroke) =>
  tag("path", {
    class: "mark",
    d: (line.role === "other" ? SHAPES.square : SHAPES.round)(p),
    fill: line.role === "other" || line.doubtful ? "#fff" : stroke,
    stroke,
  });

const line_style = (line) =>
  ["line", line.doubtful ? "faint" : "", ["measured", "calculated"].includes(line.role) ? line.role : ""].filter(Boolean).join(" ");

/** What the looks of lines mean, in one row above the plot; of points that are not joined, their mark. */
function draw_key({ key, series }, width) {
  const entries = (key || []).map((one) => ({ ...one, order: 0, like: series.find((line) => line.role === one.role) }));
  const looks = looks_of(entries);
  let at = width - entries.reduce((sum, one) => sum + width_of(lettered(one.words)) + 54, 0);
  return entries.map((one, i) => {
    const from = Math.max(0, at);
    at = from + width_of(lettered(one.words)) + 54;
    const { stroke, dash } = looks[i];
    const sample =
      one.like?.joined === false
        ? draw_mark(one, [from + 17, 10], stroke)
        : tag("line", { class: line_style(one), x1: from + 4, x2: from + 30, y1: 10, y2: 10, stroke, "stroke-dasharray": dash });
    return (
      sample +
      tag("text", { class: "note", x: from + 38, y: 14.5 }, escaped(lettered(one.words)))
    );
  });
}

/** One line: band, path, marks, end. */
function draw_series(line, points, x, y, floor, id) {
  const { stroke, dash } = line.look;
  const clipped = { "clip-path": `url(#${id})` };
  const drawn = [];
  if (line.joined === false) {
    for (const p of points) {
      const reach = line.low ? { y1: y(line.low[p[2]]), y2: y(line.high[p[2]]) } : { y1: p[1], y2: p[1] };
      drawn.push(tag("line", { class: "bar", x1: p[0], x2: p[0], ...reach, stroke, ...clipped }));
    }
  } else if (line.low && line.low.length) {
    const edge = (key) => line.x.map((value, i) => `${x(value)},${y(line[key][i])}`);
    drawn.push(tag("polygon", { class: "band", points: [...edge("low"), ...edge("high").reverse()].join(" "), ...clipped }));
  }
  const places = line.x.map((value, i) => [known(value) ? x(value) : NaN, known(line.y[i]) ? y(line.y[i]) : NaN]);
  const all = corners_of(line, places);
  if (line.filled) {
    const edge = all.filter((p) => known(p[0]) && known(p[1]));
    const ground = [[edge[0][0], floor], ...edge, [edge[edge.length - 1][0], floor]];
    drawn.push(tag("polygon", { class: "under", points: ground.join(" "), ...clipped }));
  }
  const path = d3.line().defined((p) => known(p[0]) && known(p[1]))(all);
  if (line.joined !== false) drawn.push(tag("path", { class: line_style(line), d: path, stroke, "stroke-dasharray": dash, ...clipped }));
  if (line.marked) drawn.push(...points.map((p) => draw_mark(line, p, stroke)));
  return drawn.join("");
}

/** @returns {svg, height, box, traces: [{points: [[px, py]], stroke, words(k) -> [line]}]} */
function draw_plot(plot, width, id, printing = false) {
  const looks = looks_of(plot.series);
  const lines = plot.series
    .map((one, i) => ({ ...one, look: looks[i], at: i, hidden: plot.view?.hidden?.includes(i) }))
    .filter(seen);
  let frame = plot_frame(plot, width, lines, printing);
  let [x, y] = plot_scales(plot, lines, frame);
  const left = room_for_ticks(frame.box, y, plot.y);
  if (left > frame.box.left) {
    frame = plot_frame(plot, width, lines, printing, left);
    [x, y] = plot_scales(plot, lines, frame);
  }
  const { box } = frame;
  const places = lines.map((line) => points_of(line, x, y));
  const [grounds, heads] = draw_bands(plot.bands, frame.heads, box, x, width, id);
  const out = [
    clip(`${id}-plot`, box),
    ...draw_zones(plot, box, y, id),
    grounds,
    axes(box, x, y, plot.x, plot.y),
    ...draw_key(plot, width),
    draw_whole(plot.whole, box, y, width),
    ...draw_stages(plot.stages, box, x),
  ];
  const items = [];
  const traces = [];
  lines.forEach((line, k) => {
    const points = places[k].filter((p) => p[1] > box.top - 8 && p[1] < box.floor + 8 && p[0] > box.left - 8 && p[0] < box.right + 8);
    if (line.hidden) {
      const last = points[points.length - 1] ?? [box.right, box.bottom];
      if (is_named(line) && line.label) items.push({ x: last[0], y: last[1], wanted: last[1], words: line.words, lines: line.rows, size: 15 * line.rows.length + 2, stroke: "#b6bec3", line: line.at });
      return;
    }
    out.push(draw_series(line, points, x, y, box.floor, `${id}-plot`));
    if (!points.length) return;
    const end = points[points.length - 1];
    const { stroke } = line.look;
    if (!line.marked && line.role === "in_order")
      out.push(tag("circle", { class: "end", cx: end[0], cy: end[1], r: 3, fill: line.doubtful ? "#fff" : stroke, stroke }));
    if (is_named(line) && line.label) items.push({ x: end[0], y: end[1], wanted: end[1], words: line.words, lines: line.rows, size: 15 * line.rows.length + 2, stroke, line: line.at });
    traces.push({ points, stroke, words: (i) => words_at(plot, line, points[i][2]) });
  });
  out.push(frame.foot ? draw_zeros(lines, plot.y.zero, box, x, frame.foot) : "");
  out.push(...words_at_points(lines.filter((line) => !line.hidden), places.filter((_, k) => !lines[k].hidden), box), ...draw_notes(plot, box, y));
  out.push(heads, ...draw_marks(plot.marks, box, x, y), ...draw_uprights(plot.uprights, box, x));
  if (plot.names === "right") out.push(...labels_right(items, box, frame.x_end + 20));
  else if (plot.names !== "none") out.push(...labels_in_rows(items, box, width, plot.names === "below", frame.rows, frame.band));
  return { svg: out.join(""), height: frame.height, box, traces, scales: { x, y } };
}
