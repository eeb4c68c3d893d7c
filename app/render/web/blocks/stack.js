// Blocks "stack" (parts on top of each other) and "layers" (the cell to scale). Data -> SVG.

const FILLS = [
  ["#39434b", null],
  ["#e9b98f", "M0 7L7 0"],
  ["#6f9d98", "M0 3.5H7"],
  ["#f3e9df", "M3.5 3.5h1.4"],
  ["#b3672f", "M3.5 0V7"],
  ["#dfe5e6", "M0 7L7 0M0 0L7 7"],
  ["#8c959b", "M0 0L7 7"],
  ["#ffffff", "M0 3.5H7M3.5 0V7"],
];

/** A ground with its pattern, so that parts keep apart in greyscale: [definition, paint]. */
function filling(id, look) {
  const [ground, mark] = FILLS[look % FILLS.length];
  if (!mark) return ["", ground];
  const name = `${id}-fill-${look}`;
  const inside = [
    tag("rect", { width: 7, height: 7, fill: ground }),
    tag("path", { d: mark, stroke: INK, "stroke-width": 0.8, fill: "none", opacity: 0.7 }),
  ];
  return [
    tag("defs", {}, tag("pattern", { id: name, width: 7, height: 7, patternUnits: "userSpaceOnUse" }, inside)),
    `url(#${name})`,
  ];
}

/** {title, says, x, y (as of a plot), positions: [], parts: [{name, look, values: []}], total, note} */
function draw_stack(stack, width, id, printing = false) {
  const said = stack.note ? 18 : 0;
  const height = Math.max(300, Math.min(printing ? 310 : 380, width * 0.6)) + said;
  const margin = Math.min(190, width * 0.36);
  const box = { left: 48, right: width - margin, top: 34 + said, title: 20, floor: height - 48, bottom: height - 48 };
  const rows = stack.positions
    .map((at, i) => ({ at, values: stack.parts.map((part) => part.values[i]) }))
    .filter((row) => known(row.at) && row.values.every(known));
  for (const row of rows) row.total = row.values.reduce((sum, value) => sum + value, 0);
  const layers = d3
    .stack()
    .keys(stack.parts.map((_, i) => i))
    .value((row, i) => row.values[i])
    .offset(d3.stackOffsetDiverging)(rows);
  const most = stack.y.most ?? Infinity;
  const x = d3.scaleLinear(domain(rows.map((row) => row.at), stack.x.include), [box.left, box.right]);
  const tops = layers.flat(2).map((value) => Math.min(value, most));
  const [low, high] = domain(tops, stack.y.include);
  // what lies barely below zero would take a whole step of the axis
  const y = d3.scaleLinear([low < 0 && low > -0.04 * high ? 0 : low, high], [box.floor, box.top]).nice(5);
  const anchor = rows.reduce((best, row, i) => (row.total <= y.domain()[1] ? i : best), 0);
  const shape = d3.area().x((d) => x(d.data.at)).y0((d) => y(d[0])).y1((d) => y(d[1]));
  const unit = (value, axis) => `${num(value, axis.digits)} ${lettered(axis.unit)}`;
  const out = [clip(`${id}-plot`, box), axes(box, x, y, stack.x, stack.y)];
  const items = [];
  const traces = [];
  layers.forEach((layer, i) => {
    const part = stack.parts[i];
    const [definition, paint] = filling(id, part.look);
    out.push(definition, tag("path", { class: "layer", d: shape(layer), fill: paint, "clip-path": `url(#${id}-plot)` }));
    const lines = wrapped(part.name, margin - 30);
    const [from, to] = layer[anchor];
    items.push({ x: x(rows[anchor].at) - 3, wanted: y((from + to) / 2), size: 15 * lines.length + 6, lines, stroke: INK });
    traces.push({
      points: layer.map((d) => [x(d.data.at), Math.max(box.top, y(d[1]))]),
      stroke: INK,
      words: (k) => [
        part.name,
        unit(rows[k].values[i], stack.y),
        unit(rows[k].at, stack.x),
        `${lettered(stack.total)} ${unit(rows[k].total, stack.y)}`,
      ],
    });
  });
  out.push(...labels_right(items, box, box.right + 26));
  if (stack.note)
    out.push(tag("text", { class: "note", x: box.right, y: box.top - 6, "text-anchor": "end" }, `\u2191 ${escaped(lettered(stack.note))}`));
  return { svg: out.join(""), height, box, traces };
}

const LOOKS = { positive: 0, negative: 6, separator: 5, lithium: 3 };

/** {title, says, layers: [{name, look, size, words, shares: [{words, share, fill: "empty" | "binder" | "own"}]}]} */
function draw_layers(drawing, width, id) {
  const { layers } = drawing;
  const lines = layers.map((layer) => [...wrapped(lettered(layer.name), 130), lettered(layer.words)]);
  const top = 16 * Math.max(...lines.map((some) => some.length)) + 22;
  const box = { left: 2, right: width - 2, top, floor: top + 130 };
  const high = box.floor - box.top;
  const total = layers.reduce((sum, layer) => sum + layer.size, 0);
  const out = [];
  const items = [];
  let at = box.left;
  layers.forEach((layer, i) => {
    const wide = (layer.size / total) * (box.right - box.left);
    const [definition, own] = filling(`${id}-${i}`, LOOKS[layer.look] ?? 5);
    out.push(definition);
    let from = 0;
    for (const { words, share, fill } of layer.shares) {
      const y = box.top + from * high;
      const paint = { empty: "#fff", binder: "#cfd5d8", own }[fill];
      out.push(tag("rect", { class: "slab", x: at, width: wide, y, height: share * high, fill: paint }));
      const long = width_of(lettered(words)) + 12;
      if (share * high >= 20 && long <= wide - 6) {
        const middle = y + (share * high) / 2;
        out.push(tag("rect", { x: at + (wide - long) / 2, y: middle - 9, width: long, height: 18, fill: "#fff" }));
        out.push(tag("text", { class: "inside", x: at + wide / 2, y: middle + 4.5, "text-anchor": "middle" }, escaped(lettered(words))));
      }
      from += share;
    }
    items.push({ wanted: at + wide / 2, size: Math.max(...lines[i].map((line) => width_of(line))) + 14, lines: lines[i] });
    at += wide;
  });
  spread_out(items, 0, width);
  for (const item of items) {
    out.push(leader([[item.centre, box.top - 14], [item.wanted, box.top - 3]], SOFT));
    item.lines.forEach((line, i) => {
      const y = box.top - 19 - 16 * (item.lines.length - 1 - i);
      out.push(tag("text", { class: "label", fill: INK, "text-anchor": "middle", x: item.centre, y }, escaped(line)));
    });
  }
  return { svg: out.join(""), height: box.floor + 4, box, traces: [] };
}
