// The charts that are not plain lines.

// ---- rate capability -------------------------------------------------------------------------------------------------

/** C/20, C/10, C/5, ... within the domain: whole decades first, the others where there is room. */
function rate_ticks(x) {
  const [low, high] = x.domain();
  const ticks = [];
  for (const step of [1, 2, 5])
    for (let power = -6; power <= 6; ++power) {
      const value = power < 0 ? 10 ** (power + 1) / step : step * 10 ** power;
      const words = rate_words(Number(value.toPrecision(3)));
      const tick = { value, words, at: x(value), half: width_of(words) / 2 + 5 };
      if (
        value >= low &&
        value <= high &&
        ticks.every((other) => Math.abs(other.at - tick.at) >= other.half + tick.half)
      )
        ticks.push(tick);
    }
  return ticks;
}

function draw_capability(svg, width, live, series, rated) {
  const height = Math.max(280, Math.min(printing ? 300 : 400, width * 0.5));
  const box = {
    left: 48,
    right: width - (known(rated) ? 58 : 14),
    top: 34,
    floor: height - 48,
    bottom: height - 48,
  };
  const room = Math.max(...series.map((one) => width_of(one.title, 600))) + 26;
  const all = series.flatMap((one) => one.points);
  const [slow, fast] = d3.extent(all, (point) => point.c_rate);
  const x = d3.scaleLog([slow / 1.25, fast * 1.15], [box.left, box.right - room]);
  const most = Math.max(...all.map((point) => point.capacity_mAh), number(rated) || 0);
  const y = d3.scaleLinear([0, most * 1.06 || 1], [box.floor, box.top]);
  const ticks = rate_ticks(x);
  axes(svg, box, x, y, {
    x: "C-rate, logarithmic",
    y: "Capacity / mAh",
    x_axis: d3
      .axisBottom(x)
      .tickValues(ticks.map((tick) => tick.value))
      .tickFormat((_, i) => ticks[i].words)
      .tickSizeOuter(0)
      .tickPadding(6),
  });
  if (known(rated) && rated > 0) {
    const share = d3.scaleLinear(
      y.domain().map((value) => (100 * value) / rated),
      y.range(),
    );
    put(svg, "g", { class: "axes", transform: `translate(${box.right},0)` })
      .call(
        d3
          .axisRight(share)
          .ticks(5)
          .tickFormat((value) => `${value}\u202f%`)
          .tickSize(4)
          .tickPadding(4),
      )
      .call((a) => a.select(".domain").remove());
    put(
      svg,
      "text",
      { class: "axis-title", x: width - 2, y: box.top - 14, "text-anchor": "end" },
      "of the rated capacity",
    );
    put(svg, "line", { class: "limit", x1: box.left, x2: box.right, y1: y(rated), y2: y(rated) });
  }
  const height_at = (points, at) => {
    // of another series at this place, on its drawn line
    const after = points.findIndex((p) => p[0] >= at);
    if (after < 0 || points[0][0] > at) return NaN;
    const [b, a] = [points[after], points[Math.max(0, after - 1)]];
    return b[0] > a[0] ? a[1] + ((b[1] - a[1]) * (at - a[0])) / (b[0] - a[0]) : b[1];
  };
  const places = series.map((one) => one.points.map((point) => [x(point.c_rate), y(point.capacity_mAh)]));
  const traces = [];
  const items = [];
  const labelled = [];
  series.forEach((one, i) => {
    const { stroke, dash } = [
      { stroke: "#171c21", dash: null },
      { stroke: "#b05f24", dash: "6 4" },
    ][i % 2];
    const points = places[i];
    put(svg, "path", { class: "line", d: d3.line()(points), stroke, "stroke-dasharray": dash });
    const mark = d3.symbol(i % 2 ? d3.symbolSquare : d3.symbolCircle, i % 2 ? 60 : 66);
    put(svg, "g")
      .selectAll("path")
      .data(points)
      .join("path")
      .attr("class", "mark")
      .attr("d", mark())
      .attr("transform", (p) => `translate(${p[0]},${p[1]})`)
      .attr("fill", (_, k) => (i % 2 || one.points[k].trusted === false ? "#fff" : stroke))
      .attr("stroke", stroke);
    points.forEach((p, k) => {
      const share = fraction_of(one.points[k], rated);
      if (!known(share)) return;
      const other = series.length > 1 ? height_at(places[1 - i], p[0]) : NaN;
      const above = p[1] > box.floor - 24 || (known(other) && (p[1] < other || (p[1] === other && i === 0)));
      const at = [p[0], p[1] + (above ? -10 : 20)];
      if (labelled.some((place) => Math.abs(place[0] - at[0]) < 44 && Math.abs(place[1] - at[1]) < 15)) return;
      labelled.push(at);
      put(
        svg,
        "text",
        { class: "value", x: at[0], y: at[1], "text-anchor": "middle", fill: stroke },
        `${(100 * share).toFixed(0)}\u202f%`,
      );
    });
    const end = points[points.length - 1];
    items.push({ x: end[0] + 5, wanted: end[1], size: 17, lines: [one.title], stroke });
    traces.push({
      points,
      stroke,
      words: (k) =>
        [
          `${printed(rate_name(one.points[k]))} ${one.title}`,
          `${num(one.points[k].capacity_mAh)} mAh, ${percent(fraction_of(one.points[k], rated))}`,
          known(one.points[k].mean_voltage_V) ? `mean voltage ${num(one.points[k].mean_voltage_V, 4)} V` : "",
        ].filter(Boolean),
    });
  });
  labels_right(svg, items, box, box.right - room + 24);
  readout(svg, box, traces, live);
  return height;
}

// ---- stacked parts ---------------------------------------------------------------------------------------------------

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

function fill(svg, id, i) {
  const [ground, mark] = FILLS[i % FILLS.length];
  if (!mark) return ground;
  const pattern = put(put(svg, "defs"), "pattern", {
    id: `${id}-fill-${i}`,
    width: 7,
    height: 7,
    patternUnits: "userSpaceOnUse",
  });
  put(pattern, "rect", { width: 7, height: 7, fill: ground });
  put(pattern, "path", { d: mark, stroke: INK, "stroke-width": 0.8, fill: "none", opacity: 0.7 });
  return `url(#${id}-fill-${i})`;
}

function draw_parts(svg, width, live, id, spec, order) {
  const height = Math.max(300, Math.min(printing ? 310 : 380, width * 0.6));
  const margin = Math.min(190, width * 0.36);
  const box = { left: 48, right: width - margin, top: 34, floor: height - 48, bottom: height - 48 };
  const layers = d3
    .stack()
    .keys(spec.parts.map((_, i) => i))
    .value((row, i) => row.values[i])
    .offset(d3.stackOffsetDiverging)(spec.rows);
  // Near the cut-off the losses shoot up; a scale for that would flatten all the rest.
  const late = spec.rows.filter((row) => row.x <= 0.9 * spec.rows[spec.rows.length - 1].x).map((row) => row.total);
  const peak = Math.max(...spec.rows.map((row) => row.total));
  const most = late.length && peak > 2 * Math.max(...late) ? 1.5 * Math.max(...late) : Infinity;
  const x = d3.scaleLinear(
    domain(
      spec.rows.map((row) => row.x),
      [0],
    ),
    [box.left, box.right],
  );
  const y = d3
    .scaleLinear(
      domain(
        layers.flat(2).map((value) => Math.min(value, most)),
        [0],
      ),
      [box.floor, box.top],
    )
    .nice(5);
  const anchor = Math.max(
    0,
    spec.rows.reduce((best, row, i) => (row.total <= y.domain()[1] ? i : best), 0),
  );
  put(put(put(svg, "defs"), "clipPath", { id: `${id}-plot` }), "rect", {
    x: box.left,
    y: box.top,
    width: box.right - box.left,
    height: box.floor - box.top,
  });
  axes(svg, box, x, y, { x: "Capacity / mAh", y: "Voltage lost / mV" });
  const shape = d3
    .area()
    .x((d) => x(d.data.x))
    .y0((d) => y(d[0]))
    .y1((d) => y(d[1]));
  const items = [];
  const traces = [];
  layers.forEach((layer, i) => {
    put(svg, "path", {
      class: "layer",
      d: shape(layer),
      fill: fill(svg, id, order.indexOf(spec.parts[i].name)),
      "clip-path": `url(#${id}-plot)`,
    });
    const end = layer[anchor];
    const lines = wrapped(spec.parts[i].name, margin - 30);
    items.push({
      x: x(spec.rows[anchor].x) - 3,
      wanted: y((end[0] + end[1]) / 2),
      size: 15 * lines.length + 6,
      lines,
      stroke: INK,
    });
    traces.push({
      points: layer.map((d) => [x(d.data.x), Math.max(box.top, y(d[1]))]),
      stroke: INK,
      words: (k) => [
        spec.parts[i].name,
        `${num(spec.rows[k].values[i])} mV at ${num(spec.rows[k].x)} mAh`,
        `all together ${num(spec.rows[k].total)} mV`,
      ],
    });
  });
  labels_right(svg, items, box, box.right + 26);
  if (known(most))
    put(
      svg,
      "text",
      { class: "note", x: box.right - 8, y: box.top + 14, "text-anchor": "end" },
      `\u2191 up to ${num(peak)} mV at the end`,
    );
  readout(svg, box, traces, live);
  return height;
}

// ---- a protocol against time -----------------------------------------------------------------------------------------

function draw_protocol(svg, width, live, trace, steps) {
  const height = 470;
  const upper = { left: 56, right: width - 14, top: 50, bottom: 250, floor: 250 };
  const lower = { left: 56, right: width - 14, top: 300, bottom: height - 48, floor: height - 48 };
  const x = d3.scaleLinear(domain(trace.time.filter(known), [0]), [upper.left, upper.right]);
  const edges = put(svg, "g");
  const bare = d3.axisBottom(x).tickValues([]).tickSizeOuter(0);
  const traces = [];
  const words = (i) => [`${num(trace.time[i], 4)} h`, `${num(trace.voltage[i], 4)} V, ${num(trace.current[i])} mA`];
  for (const [box, series, names] of [
    [upper, trace.voltage, { x: "", y: "Voltage / V", x_axis: bare }],
    [lower, trace.current, { x: "Time / h", y: "Current / mA (positive charges the cell)" }],
  ]) {
    const line = { x: trace.time, y: series };
    if (!drawn(line)) continue;
    const y = d3.scaleLinear(domain(values([line], "y"), box === lower ? [0] : []), [box.floor, box.top]).nice(4);
    axes(svg, box, x, y, names);
    const points = thinned(trace.time.map((value, i) => [x(value), y(series[i]), i]));
    put(svg, "path", { class: "line", stroke: box === upper ? "#171c21" : "#b05f24" }).attr(
      "d",
      d3.line().defined((p) => known(p[0]) && known(p[1]))(points),
    );
    const seen = points.filter((p) => known(p[0]) && known(p[1]));
    traces.push({ points: seen, stroke: INK, words: (k) => words(seen[k][2]) });
  }
  let last = -Infinity;
  steps.forEach((step, i) => {
    const from = x(number(step.start_h));
    const to = x(number(step.end_h));
    if (!known(from)) return;
    put(edges, "line", { class: "edge", x1: from, x2: from, y1: upper.top - 6, y2: lower.floor });
    const name = `${i + 1}`;
    const middle = known(to) ? (from + to) / 2 : from;
    if (middle - width_of(name) / 2 > last + 4) {
      last = middle + width_of(name) / 2;
      put(svg, "text", { class: "value", x: middle, y: upper.top - 8, "text-anchor": "middle", fill: SOFT }, name);
    }
  });
  svg.select(".axis-title").attr("y", 18);
  readout(svg, { ...lower, top: upper.top }, traces, live);
  return height;
}

// ---- the layers of the cell ------------------------------------------------------------------------------------------

const KINDS = { positive: 0, negative: 6, separator: 5, lithium: 3, foil: 0 };

/** Each layer as wide as it is thick, its height shared between solid, the rest and pores. */
function draw_layers(svg, width, id, layers) {
  const lines = layers.map((layer) => [
    ...wrapped(printed(layer.name) || text(layer.kind), 130),
    `${Number(layer.thickness_um.toPrecision(3))} \u00b5m`,
  ]);
  const tallest = Math.max(...lines.map((some) => some.length));
  const top = 16 * tallest + 22;
  const box = { left: 2, right: width - 2, top, floor: top + 130 };
  const total = layers.reduce((sum, layer) => sum + layer.thickness_um, 0);
  let at = box.left;
  const items = [];
  layers.forEach((layer, i) => {
    const wide = (layer.thickness_um / total) * (box.right - box.left);
    const pores = number(layer.pore_fraction);
    const solid = number(layer.solid_fraction);
    const high = box.floor - box.top;
    const bar = (from, share, paint) =>
      put(svg, "rect", {
        class: "slab",
        x: at,
        width: wide,
        y: box.top + from * high,
        height: share * high,
        fill: paint,
      });
    const say = (from, share, words) => {
      const long = width_of(words) + 12;
      if (share * high < 20 || long > wide - 6) return;
      const middle = box.top + (from + share / 2) * high;
      put(svg, "rect", { x: at + (wide - long) / 2, y: middle - 9, width: long, height: 18, fill: "#fff" });
      put(svg, "text", { class: "inside", x: at + wide / 2, y: middle + 4.5, "text-anchor": "middle" }, words);
    };
    const paint = fill(svg, `${id}-${i}`, KINDS[text(layer.kind)] ?? 5);
    if (known(pores) || known(solid)) {
      const open = known(pores) ? pores : 0;
      const firm = known(solid) ? solid : 1 - open;
      bar(0, open, "#fff");
      bar(open, Math.max(0, 1 - open - firm), "#cfd5d8");
      bar(1 - firm, firm, paint);
      say(0, open, `pores ${percent(open, 2)}`);
      say(open, 1 - open - firm, `carbon and binder ${percent(1 - open - firm, 2)}`);
      say(
        1 - firm,
        firm,
        `${known(solid) && /positive|negative/.test(text(layer.kind)) ? "grains" : "solid"} ${percent(firm, 2)}`,
      );
    } else bar(0, 1, paint);
    items.push({
      wanted: at + wide / 2,
      size: Math.max(...lines[i].map((line) => width_of(line))) + 14,
      lines: lines[i],
    });
    at += wide;
  });
  spread_out(items, 0, width);
  for (const item of items) {
    leader(svg, [
      [item.centre, box.top - 14],
      [item.wanted, box.top - 3],
    ]).attr("stroke", SOFT);
    item.lines.forEach((line, i) =>
      put(
        svg,
        "text",
        {
          class: "label",
          fill: INK,
          "text-anchor": "middle",
          x: item.centre,
          y: box.top - 19 - 16 * (item.lines.length - 1 - i),
        },
        line,
      ),
    );
  }
  return box.floor + 4;
}
