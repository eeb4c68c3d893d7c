// A block "intervals": bars in rows over one axis. Data -> SVG.
//
// {title, says, axis: as of a plot, levels: [{at, words}], look: "interval" | "stretch",
//  rows: [{name, words, value, low, high (null: goes on), doubtful, part: [from, to]}]}

/** Ticks of a logarithmic axis: 1, 2, 5 in each decade where they are few, powers of ten where they are many. */
function interval_ticks(x, axis, room) {
  const most = Math.max(2, Math.floor(room / 70));
  const [low, high] = x.domain();
  const linear = () => d3.scaleLinear([low, high], [0, 1]).ticks(Math.min(7, most));
  let values = linear();
  if (axis.logarithmic && high / low >= 5) {
    const first = Math.floor(Math.log10(low));
    const decades = Array.from({ length: Math.ceil(Math.log10(high)) - first + 1 }, (_, i) => first + i);
    const inside = (steps, every) =>
      decades
        .filter((power) => power % every === 0)
        .flatMap((power) => steps.map((step) => Number(`${step}e${power}`)))
        .filter((value) => value >= low && value <= high);
    values = [inside([1, 2, 5], 1), inside([1, 3], 1), ...[1, 2, 3, 5].map((every) => inside([1], every))].find(
      (some) => some.length <= most,
    ) || inside([1], 10);
  }
  return values.map((value) => ({ at: x(value), words: num(value, 12).replace(/(\.\d*?)0+$/, "$1").replace(/\.$/, "") }));
}

function interval_scale(block, box) {
  const all = block.rows.flatMap((row) => [row.value, row.low, row.high, ...(row.part || [])]);
  const [low, high] = domain(all.concat(block.levels.map((level) => level.at)), block.axis.include);
  if (!block.axis.logarithmic) {
    const room = 0.05 * (high - low);
    return d3.scaleLinear([low - room, high + room], [box.left, box.right]);
  }
  const room = Math.max(1.005, (high / low) ** 0.05);
  return d3.scaleLog([low / room, high * room], [box.left, box.right]);
}

/** Where an end is drawn; `open` at the edge of the drawing, where the bar goes on. */
function interval_end(value, x, box, side) {
  const edge = side < 0 ? box.left : box.right;
  return { at: known(value) ? Math.max(box.left, Math.min(box.right, x(value))) : edge, open: !known(value) };
}

function draw_interval(row, middle, ends, part) {
  const tip = ({ at, open }, side) =>
    tag("path", {
      class: "bar",
      fill: "none",
      stroke: INK,
      d: open ? `M${at - 7 * side},${middle - 5}L${at},${middle}L${at - 7 * side},${middle + 5}` : `M${at},${middle - 5}V${middle + 5}`,
    });
  return [
    part ? tag("line", { class: "leader", x1: part[0].at, x2: part[1].at, y1: middle + 7, y2: middle + 7, stroke: SOFT }) : "",
    tag("line", { class: "interval", x1: ends[0].at, x2: ends[1].at, y1: middle, y2: middle }),
    tip(ends[0], -1),
    tip(ends[1], 1),
  ].join("");
}

function draw_stretch(row, middle, ends, part, id) {
  const slab = (from, to, fill) =>
    tag("rect", { class: "slab", x: from.at, width: Math.max(0, to.at - from.at), y: middle - 8, height: 16, fill });
  const tip = ({ at, open }, side) =>
    open ? tag("path", { class: "bar", fill: "#fff", stroke: INK, d: `M${at - 8 * side},${middle - 6}L${at},${middle}L${at - 8 * side},${middle + 6}Z` }) : "";
  return [slab(...ends, `url(#${id})`), part ? slab(...part, "#39434b") : "", tip(ends[0], -1), tip(ends[1], 1)].join("");
}

/** @returns as draw_plot */
function draw_intervals(block, width, id) {
  const stretch = block.look === "stretch";
  const beside = width > 520 && !stretch;
  const name = (row) => lettered(stretch ? `${row.name}: ${row.words}` : row.name);
  const rows = block.rows.map((row) => ({ ...row, lines: beside ? [] : wrapped(name(row), width - 8, stretch ? 400 : 600) }));
  const names = beside ? Math.min(width * 0.4, Math.max(...rows.map((row) => width_of(name(row), 600))) + 8) : 0;
  const size = (row) => (beside ? 34 : 16 * row.lines.length + 36);
  const box = { left: beside ? names + 20 : 12, right: width - 24, top: 34 };
  box.floor = box.top + 6 + rows.reduce((sum, row) => sum + size(row), 0);
  const x = interval_scale(block, box);
  const ticks = interval_ticks(x, block.axis, box.right - box.left);
  const upright = (at, style) => tag("line", { class: style, x1: at, x2: at, y1: box.top, y2: box.floor });
  const out = [
    stretch ? hatch(id, false) : "",
    tag("g", { class: "axes" }, [
      tag("g", { class: "grid" }, ticks.map(({ at }) => upright(at))),
      tag("line", { x1: box.left, x2: box.right, y1: box.floor, y2: box.floor }),
      ...ticks.map(({ at, words }) => tag("text", { x: at, y: box.floor + 20, "text-anchor": "middle" }, escaped(words))),
      tag("text", { class: "axis-title", x: box.right, y: box.floor + 38, "text-anchor": "end" }, escaped(lettered(block.axis.title))),
    ]),
    ...block.levels.map(({ at }) => upright(x(at), "level")),
  ];
  const heads = block.levels.map(({ at, words }) => ({ wanted: x(at), size: width_of(lettered(words)) + 10, words }));
  for (const head of spread_out(heads, 0, width))
    out.push(tag("text", { class: "note", x: head.centre, y: box.top - 8, "text-anchor": "middle" }, escaped(lettered(head.words))));
  const traces = [];
  let top = box.top + 3;
  for (const row of rows) {
    const middle = beside ? top + 17 : top + 16 * row.lines.length + 16;
    if (beside) out.push(tag("text", { class: "label", x: names, y: middle + 4.5, "text-anchor": "end", fill: INK }, escaped(cut(name(row), names))));
    row.lines.forEach((line, i) =>
      out.push(tag("text", { class: stretch ? "note" : "label", x: 2, y: top + 14 + 16 * i, fill: INK }, escaped(line))),
    );
    const ends = [interval_end(row.low, x, box, -1), interval_end(row.high, x, box, 1)];
    const part = row.part && [interval_end(row.part[0], x, box, -1), interval_end(row.part[1], x, box, 1)];
    out.push((stretch ? draw_stretch : draw_interval)(row, middle, ends, part, id));
    if (known(row.value)) {
      const at = x(row.value);
      out.push(tag("circle", { class: "mark", cx: at, cy: middle, r: 4.5, fill: row.doubtful ? "#fff" : INK, stroke: INK }));
      traces.push({ points: [[at, middle]], stroke: INK, words: () => [lettered(row.name), lettered(row.words)].filter(Boolean) });
    }
    top += size(row);
  }
  return { svg: out.join(""), height: box.floor + 48, box, traces };
}
