// The charts that are not plain lines.

// ---- rate capability -------------------------------------------------------------------------------------------------

/** C/20, C/10, C/5, ... within the domain: whole decades first, the others where there is room. */
function rate_ticks(x, half = (words) => width_of(words) / 2 + 5) {
  const [low, high] = x.domain();
  const ticks = [];
  for (const step of [1, 2, 5])
    for (let power = -6; power <= 6; ++power) {
      const value = power < 0 ? 10 ** (power + 1) / step : step * 10 ** power;
      const words = rate_words(Number(value.toPrecision(3)));
      const tick = { value, words, at: x(value), half: half(words) };
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

// ---- the highest charge rate: how sure, against temperature, in steps, and what to measure ----------------------------

const c_words = (c_rate) => (known(c_rate) ? `${Number(c_rate.toPrecision(3))}C` : NOTHING);
const soc_words = (soc) => (known(soc) ? `${Math.round(100 * soc)}\u202f%` : NOTHING);
function minutes_words(minutes) {
  if (!known(minutes)) return NOTHING;
  if (minutes >= 180) return `${num(minutes / 60)} h`;
  return minutes >= 10 ? `${Math.round(minutes)} min` : `${num(minutes, 2)} min`;
}

/** Lines of text, the first at y and bold, with a white rim where they may lie on lines. */
function note(svg, lines, x, y, { anchor = "start", first = "label", rim = true } = {}) {
  const words = put(svg, "text", { class: rim ? "note" : "inside", "text-anchor": anchor });
  lines.forEach((line, i) => put(words, "tspan", { x, y: y + 16 * i, class: i ? null : first }, line));
}

/** Share of the cells whose own highest rate is at least this one: where `rates` are in order, (n - i) / n at rates[i]. */
const share_kept = (rates, rate) => rates.filter((one) => one >= rate).length / rates.length;

/** spec: {rates (in order), c_rate, confidence, median, plain}. */
function draw_survival(svg, width, live, spec) {
  const { rates } = spec;
  const height = Math.max(300, Math.min(printing ? 290 : 380, width * 0.5));
  const box = { left: 48, right: width - 14, top: 36, floor: height - 48, bottom: height - 48 };
  // An answer far beyond all cells would squeeze the curve; it is then named at the edge.
  const last = rates[rates.length - 1];
  const reach = 2.2 * last;
  const beyond = spec.plain > reach;
  const most = Math.max(beyond ? 1.5 * last : last, number(spec.c_rate) || 0, beyond ? 0 : number(spec.plain) || 0);
  const x = d3.scaleLinear([0, most * 1.06 || 1], [box.left, box.right]);
  const y = d3.scaleLinear([0, 1], [box.floor, box.top + 8]);
  const shares = [0, 0.25, 0.5, 0.75, 1];
  const steps = [[x(0), y(1)]];
  rates.forEach((rate, i) => {
    steps.push([x(rate), steps[steps.length - 1][1]], [x(rate), y((rates.length - i - 1) / rates.length)]);
  });
  put(svg, "path", {
    d: `${d3.line()(steps)}L${x(rates[rates.length - 1])},${y(0)}L${x(0)},${y(0)}Z`,
    class: "under",
  });
  axes(svg, box, x, y, {
    x: "Charge rate / C",
    y: "Share of the plausible cells that keep every limit",
    y_ticks: shares.map((value) => ({ value, words: `${100 * value}\u202f%` })),
  });
  put(svg, "path", { class: "line", d: d3.line()(steps), stroke: INK });

  const mark = (rate, share, lines) => {
    if (!(rate > 0) || !known(share)) return;
    put(svg, "polyline", { class: "limit", fill: "none" }).attr(
      "points",
      [
        [box.left, y(share)],
        [x(rate), y(share)],
        [x(rate), box.floor],
      ].join(" "),
    );
    put(svg, "circle", { cx: x(rate), cy: y(share), r: 5, fill: INK, stroke: "#fff", "stroke-width": 1.5 });
    const long = Math.max(...lines.map((line, i) => width_of(line, i ? 400 : 600)));
    const right = x(rate) + 12 + long < box.right;
    note(svg, lines, x(rate) + (right ? 12 : -12), y(share) + (share > 0.85 ? -5 : 4), {
      anchor: right ? "start" : "end",
    });
  };
  const { plain } = spec;
  if (known(plain)) {
    const at = beyond ? box.right : x(plain);
    if (!beyond) put(svg, "line", { class: "warned", x1: at, x2: at, y1: box.top + 8, y2: box.floor });
    const lines = balanced("what the plain model would have said:", 150, 400).concat(
      beyond ? `${c_words(plain)}, beyond this edge \u2192` : c_words(plain),
      balanced(`kept by ${share_words(share_kept(rates, plain))} of the cells`, 150, 400),
    );
    const long = Math.max(...lines.map((line) => width_of(line)));
    const right = at + 10 + long < box.right;
    // Beside the curve where there is room, else on the other side of the line.
    note(svg, lines, at + (right ? 10 : -10), y(0.9), { anchor: right ? "start" : "end", first: null });
  }
  if (known(spec.confidence))
    mark(spec.c_rate, spec.confidence, [`${c_words(spec.c_rate)}: kept by ${share_words(spec.confidence)}`]);
  mark(spec.median, 0.5, [`${c_words(spec.median)}: half of them`]);

  readout(
    svg,
    box,
    [
      {
        points: rates.map((rate, i) => [x(rate), y((rates.length - i) / rates.length)]),
        stroke: INK,
        words: (i) => [c_words(rates[i]), `kept by ${share_words((rates.length - i) / rates.length)} of the cells`],
      },
    ],
    live,
  );
  return height;
}

function share_words(share) {
  const hundredths = 100 * share;
  if (hundredths > 0 && hundredths < 1) return "less than 1\u202f%";
  if (share === 0) return "none";
  return `${Number(hundredths.toPrecision(hundredths >= 99 && hundredths < 100 ? 3 : 2))}\u202f%`;
}

/** Ranked bars from a common foot. rows: [{text, small, size, words, mark (of FILLS)}] in order; a negative size goes left. */
function draw_ranked(svg, width, id, rows) {
  const beside = width > 560;
  const longest = Math.max(
    ...rows.flatMap((row, i) => [width_of(`${i + 1}. ${printed(row.text)}`, 600), width_of(printed(row.small))]),
  );
  const names = beside ? Math.min(width * 0.46, 460, longest + 2) : width - 8;
  const left = beside ? names + 18 : 4;
  const sizes = rows.map((row) => number(row.size) || 0);
  const [low, high] = d3.extent([0, ...sizes]);
  const room = Math.max(...rows.map((row) => width_of(row.words, 600))) + 16;
  const x = d3.scaleLinear([low, high > low ? high : low + 1], [left, Math.max(left + 40, width - room)]);
  const foot = x(0);
  let at = 6;
  rows.forEach((row, i) => {
    const lines = wrapped(`${i + 1}. ${printed(row.text)}`, names).slice(0, 3);
    const small = row.small ? wrapped(printed(row.small), names, 400) : [];
    lines.forEach((line, k) => put(svg, "text", { class: "label", x: 4, y: at + 13 + 16 * k, fill: INK }, line));
    small.forEach((line, k) => put(svg, "text", { x: 4, y: at + 13 + 16 * (lines.length + k), fill: SOFT }, line));
    const tall = 16 * (lines.length + small.length);
    const middle = beside ? at + tall / 2 + 1 : at + tall + 14;
    const end = x(sizes[i]);
    if (sizes[i])
      put(svg, "rect", {
        class: "slab",
        x: sizes[i] > 0 ? foot : Math.min(end, foot - 1.5),
        width: Math.max(1.5, Math.abs(end - foot)),
        y: middle - 8,
        height: 16,
        fill: known(row.mark) ? fill(svg, id, row.mark) : "#8fa09e",
      });
    put(svg, "text", { class: "label", x: Math.max(foot, end) + 8, y: middle + 5, fill: INK }, row.words);
    if (!beside) put(svg, "line", { class: "bar-foot", x1: foot, x2: foot, y1: middle - 12, y2: middle + 12 });
    at += tall + (beside ? 12 : 36);
  });
  if (beside) put(svg, "line", { class: "bar-foot", x1: foot, x2: foot, y1: 2, y2: at - 6 });
  return at;
}

/** rows: [{at, rate, confident, limited_by}] in order of temperature; zones: [{from, to, text, kind}], any order. */
function draw_against_temperature(svg, width, live, id, rows, zones) {
  const [coldest, warmest] = d3.extent(rows, (row) => row.at);
  const low = coldest - 4;
  const high = warmest + 4;
  const bands = zones
    .map((zone) => ({ ...zone, from: Math.max(low, zone.from), to: Math.min(high, zone.to) }))
    .filter((zone) => zone.to > zone.from);
  const series = [
    { name: "the cell as it stands in the sheet", key: "rate", stroke: "#8b4a1c", dash: "6 4", open: true },
    { name: "kept with confidence", key: "confident", stroke: "#171c21", dash: null, open: false },
  ].filter((one) => rows.some((row) => row[one.key] > 0));
  const label_width = Math.min(150, width * 0.24);
  const right = label_width + 30;
  const band_lines = bands.map((zone) => balanced(printed(zone.text), Math.min(150, width * 0.28), 400));
  const tallest = Math.max(0, ...band_lines.map((lines) => lines.length));
  const top = tallest ? 16 * tallest + 54 : 36;
  const height = top + Math.max(250, Math.min(printing ? 240 : 320, width * 0.42)) + 48;
  const box = { left: 56, right: width - right, top, floor: height - 48, bottom: height - 48 };
  const x = d3.scaleLinear([low, high], [box.left, box.right]);
  const all = rows.flatMap((row) => [row.rate, row.confident]).filter((rate) => rate > 0);
  const none = rows.some((row) => row.rate === 0 || row.confident === 0);
  const foot = none ? 26 : 0;
  const y = d3.scaleLog([Math.min(...all) / 1.5, Math.max(...all) * 1.5], [box.floor - 6 - foot, box.top + 4]);
  for (const zone of bands)
    put(svg, "rect", {
      x: x(zone.from),
      width: x(zone.to) - x(zone.from),
      y: box.top - 4,
      height: box.floor - box.top + 4,
      fill: hatch(svg, `${id}-zone`, zone.kind),
    });
  axes(svg, box, x, y, {
    x: "Temperature / \u00b0C",
    y: "Highest charge rate, logarithmic",
    y_ticks: rate_ticks(y, () => 13),
  });
  svg.select(".axis-title").attr("y", 16);
  const edges = [...new Set(bands.flatMap((zone) => [zone.from, zone.to]))].filter((at) => at > low && at < high);
  for (const at of edges) put(svg, "line", { class: "edge", x1: x(at), x2: x(at), y1: box.top - 4, y2: box.floor });

  const heads = bands.map((zone, i) => ({
    wanted: x((zone.from + zone.to) / 2),
    size: Math.max(...band_lines[i].map((line) => width_of(line))) + 14,
    lines: band_lines[i],
  }));
  spread_out(heads, 0, width);
  for (const head of heads) {
    const base = box.top - 22;
    leader(svg, [
      [head.centre, base + 5],
      [head.wanted, box.top - 4],
    ]).attr("stroke", SOFT);
    head.lines.forEach((line, i) =>
      put(
        svg,
        "text",
        { class: "note", x: head.centre, y: base - 16 * (head.lines.length - 1 - i), "text-anchor": "middle" },
        line,
      ),
    );
  }

  const traces = [];
  const items = [];
  const sit = box.floor - 13; // where "no rate" is drawn
  for (const one of series) {
    const points = rows.map((row) => [x(row.at), row[one.key] > 0 ? y(row[one.key]) : NaN]);
    put(svg, "path", {
      class: "line",
      d: d3.line().defined((p) => known(p[1]))(points),
      stroke: one.stroke,
      "stroke-dasharray": one.dash,
    });
    rows.forEach((row, i) => {
      if (known(points[i][1]))
        put(svg, "circle", {
          class: "mark",
          cx: points[i][0],
          cy: points[i][1],
          r: 4,
          fill: one.open ? "#fff" : one.stroke,
          stroke: one.stroke,
        });
    });
    const seen = rows.map((row, i) => ({ row, p: points[i] })).filter(({ p }) => known(p[1]));
    const end = seen[seen.length - 1].p;
    items.push({
      x: end[0] + 4,
      wanted: end[1],
      lines: wrapped(one.name, label_width),
      stroke: one.stroke,
    });
    items[items.length - 1].size = 15 * items[items.length - 1].lines.length + 8;
    traces.push({
      points: seen.map(({ p }) => p),
      stroke: one.stroke,
      words: (i) =>
        [
          `${num(seen[i].row.at, 2)} \u00b0C: ${c_words(seen[i].row[one.key])}`,
          one.name,
          seen[i].row.limited_by ? `limited by ${seen[i].row.limited_by}` : "",
        ].filter(Boolean),
    });
  }
  if (none) {
    put(svg, "line", { class: "edge", x1: box.left, x2: box.right, y1: box.floor - foot, y2: box.floor - foot });
    put(svg, "text", { class: "axis-none", x: box.left - 7, y: sit + 4.5, "text-anchor": "end" }, "none");
    for (const row of rows)
      for (const one of series)
        if (row[one.key] === 0)
          put(svg, "path", {
            class: "cross",
            d: "M-4.5-4.5L4.5 4.5M-4.5 4.5L4.5-4.5",
            transform: `translate(${x(row.at)},${sit})`,
            stroke: one.stroke,
          });
  }
  labels_right(svg, items, box, box.right + 26);
  readout(svg, box, traces, live);
  return height;
}

/** spec: {steps: [{c_rate, current_mA, from_soc, to_soc, minutes, limited_by}], ideal: {soc, c_rate}, c_rate}. */
function draw_staircase(svg, width, live, id, spec) {
  const { steps } = spec;
  const margin = Math.min(170, width * 0.28);
  const height = Math.max(310, Math.min(printing ? 310 : 400, width * 0.5));
  const box = { left: 48, right: width - margin, top: 36, floor: height - 48, bottom: height - 48 };
  const ideal = spec.ideal.soc.map((soc, i) => [soc, spec.ideal.c_rate[i]]).filter((p) => p.every(known));
  const [from, to] = d3.extent(steps.flatMap((step) => [step.from_soc, step.to_soc]).concat(ideal.map((p) => p[0])));
  // An ideal that starts very high would flatten the steps.
  const highest = Math.max(...steps.map((step) => step.c_rate));
  const most = Math.max(highest * 1.05, Math.min(Math.max(0, ...ideal.map((p) => p[1])), highest * 1.3));
  const x = d3.scaleLinear([100 * from, 100 * to], [box.left, box.right]);
  const y = d3.scaleLinear([0, most * 1.04], [box.floor, box.top]);
  const sx = (soc) => x(100 * soc);
  const treads = steps.flatMap((step) => [
    [sx(step.from_soc), y(step.c_rate)],
    [sx(step.to_soc), y(step.c_rate)],
  ]);
  put(svg, "path", {
    d: `M${sx(steps[0].from_soc)},${y(0)}${treads.map((p) => `L${p}`).join("")}L${sx(steps[steps.length - 1].to_soc)},${y(0)}Z`,
    class: "under",
  });
  axes(svg, box, x, y, { x: "State of charge / %", y: "Charge rate / C" });
  put(put(put(svg, "defs"), "clipPath", { id: `${id}-plot` }), "rect", {
    x: box.left,
    y: box.top - 4,
    width: box.right - box.left + 2,
    height: box.floor - box.top + 4,
  });
  const items = [];
  if (ideal.length > 1) {
    const points = ideal.map((p) => [sx(p[0]), y(p[1])]);
    put(svg, "path", {
      class: "line",
      d: d3.line()(points),
      stroke: "#b05f24",
      "stroke-dasharray": "6 4",
      "clip-path": `url(#${id}-plot)`,
    });
    const end = points[points.length - 1];
    items.push({ x: end[0], wanted: end[1], words: "highest rate at each moment", stroke: "#b05f24" });
  }
  put(svg, "path", { class: "line steps", d: d3.line()(treads), stroke: "#171c21" });
  const last = treads[treads.length - 1];
  items.push({ x: last[0], wanted: last[1], words: "the steps", stroke: "#171c21" });
  if (known(spec.c_rate)) {
    const at = y(spec.c_rate);
    put(svg, "line", { class: "level", x1: box.left, x2: box.right, y1: at, y2: at, "stroke-dasharray": "2 3" });
    items.push({
      x: box.right,
      wanted: at,
      words: `constant current, ${c_words(spec.c_rate)}`,
      stroke: SOFT,
    });
  }
  // Numbers as in the table; rate, current and time under each tread that is wide enough, as many as all have room for.
  const treads_words = steps.map((step) => {
    const lines = [
      c_words(step.c_rate),
      known(step.current_mA) ? `${num(step.current_mA)} mA` : "",
      known(step.minutes) ? minutes_words(step.minutes) : "",
    ].filter(Boolean);
    const wide = sx(step.to_soc) - sx(step.from_soc);
    const fits = lines.every((words, k) => width_of(words, k ? 400 : 600) <= wide - 6);
    const room = Math.floor((box.floor - y(step.c_rate) - 30) / 16);
    return { lines, fits, room, middle: sx(step.from_soc) + wide / 2, top: y(step.c_rate) };
  });
  const lowest = Math.min(3, ...treads_words.filter((tread) => tread.fits).map((tread) => tread.room));
  let last_number = -Infinity;
  treads_words.forEach((tread, i) => {
    if (tread.fits && lowest > 0) {
      const lines = tread.lines.slice(0, lowest);
      const wide = Math.max(...lines.map((words, k) => width_of(words, k ? 400 : 600)));
      put(svg, "rect", {
        class: "under",
        x: tread.middle - wide / 2 - 3,
        width: wide + 6,
        y: tread.top + 5,
        height: 16 * lines.length + 3,
      });
      note(svg, lines, tread.middle, tread.top + 19, { anchor: "middle", rim: false });
    }
    const half = width_of(`${i + 1}`) / 2;
    if (tread.middle - half < last_number + 4) return;
    last_number = tread.middle + half;
    note(svg, [`${i + 1}`], tread.middle, box.floor - 7, { anchor: "middle", first: null, rim: false });
  });
  for (const item of items) {
    item.lines = wrapped(item.words, margin - 32);
    item.size = 15 * item.lines.length + 8;
  }
  labels_right(svg, items, box, box.right + 26);
  readout(
    svg,
    box,
    [
      {
        points: treads,
        stroke: INK,
        words: (i) => {
          const step = steps[Math.floor(i / 2)];
          return [
            `Step ${Math.floor(i / 2) + 1}: ${c_words(step.c_rate)}, ${num(step.current_mA)} mA`,
            `from ${soc_words(step.from_soc)} to ${soc_words(step.to_soc)}, ${minutes_words(step.minutes)}`,
            text(step.limited_by) ? `limited by ${text(step.limited_by)}` : "",
          ].filter(Boolean);
        },
      },
    ],
    live,
  );
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

// ---- what is given and what is missing -------------------------------------------------------------------------------

/**
 * One bar, from nothing to what there would be with no loss: what is given, then each loss, named below it on steps.
 * A loss with a negative share leads back, in a lane under the bar.
 * spec: {given, ideal, given_words, ideal_words, missing_words, rows: [{text, size, mark (of FILLS)}] in order}.
 */
function draw_budget(svg, width, id, spec) {
  const bar = { left: 2, right: width - 2, top: 64, high: 46 };
  const floor = bar.top + bar.high;
  const rows = spec.rows.filter((row) => row.size !== 0);
  const reach = rows.reduce((sum, row) => sum + Math.max(0, row.size), spec.given);
  const x = d3.scaleLinear([0, Math.max(reach, spec.ideal)], [bar.left, bar.right]);
  const span = (from, to, at) =>
    put(svg, "path", { class: "span", d: `M${from},${at - 5}V${at + 5}M${to},${at - 5}V${at + 5}M${from},${at}H${to}` });
  const say = (words, at, y, anchor) =>
    put(svg, "text", { class: "label", x: at, y, "text-anchor": anchor, fill: INK }, words);

  span(x(0), x(spec.ideal), 26);
  say(spec.ideal_words, x(0), 17, "start");
  span(x(spec.given), x(spec.ideal), 54);
  say(spec.missing_words, x(spec.ideal), 46, "end");

  const slabs = [];
  let from = spec.given;
  for (const row of rows.filter((one) => one.size > 0)) {
    slabs.push({ row, from, to: from + row.size, y: bar.top, height: bar.high });
    from += row.size;
  }
  for (const row of rows.filter((one) => one.size < 0)) {
    slabs.push({ row, from: from + row.size, to: from, y: floor + 3, height: 11 });
    from += row.size;
  }

  // The names stand on steps that fall to the right, each left of its leader: so none is crossed, however thin a part is.
  const most = width - 14 * slabs.length - 12;
  const items = slabs.map((slab) => ({
    slab,
    wanted: x((slab.from + slab.to) / 2),
    size: 14,
    lines: balanced(printed(slab.row.text), most),
  }));
  const longest = Math.max(0, ...items.flatMap((item) => item.lines.map((line) => width_of(line, 600))));
  spread_out(items, longest + 6, width);
  items.sort((a, b) => a.centre - b.centre);
  let at = floor + 38;
  for (const item of items) {
    leader(svg, [
      [item.wanted, item.slab.y + item.slab.height],
      [item.wanted, floor + 16],
      [item.centre, floor + 28],
      [item.centre, at - 4.5],
      [item.centre - 7, at - 4.5],
    ]).attr("stroke", SOFT);
    item.lines.forEach((line, i) => say(line, item.centre - 11, at + 15 * i, "end"));
    at += 15 * item.lines.length + 5;
  }

  const given_wide = x(spec.given) - x(0);
  put(svg, "rect", { class: "slab given", x: x(0), width: given_wide, y: bar.top, height: bar.high });
  const inside = width_of(spec.given_words, 600) + 14 <= given_wide;
  if (inside) say(spec.given_words, x(0) + given_wide / 2, bar.top + bar.high / 2 + 4.5, "middle");
  else say(spec.given_words, x(0), 46, "start");
  for (const { row, from: start, to, y, height } of slabs)
    put(svg, "rect", {
      class: "slab",
      x: x(start),
      width: Math.max(1, x(to) - x(start)),
      y,
      height,
      fill: fill(svg, id, row.mark),
    });
  return Math.max(at - 8, floor + 6);
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
