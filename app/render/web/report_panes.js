// Charts for measured data: panes that share one x axis, grouped bars, intervals, a grid of correlations.

// Measured lines lie broad and light under thin dark ones, so that both show where they agree, in greyscale too.
const measured_styles = (count) => styles(count, "#a7b0b5", "#efc9a6");
const MEASURED = { stroke: "#b3bbbf", dash: null };
const CALCULATED = { stroke: "#171c21", dash: null };

/** The y range that shows nearly all of `all` and `include`: a few values far off must not flatten the rest. */
function robust_range(all, include = [], share = 0.95, stretch = 1.6) {
  const seen = all.filter(known).sort((a, b) => a - b);
  if (!seen.length) return domain([], include);
  const at = (p) => seen[Math.round(p * (seen.length - 1))];
  const [low, high] = d3.extent([at((1 - share) / 2), at((1 + share) / 2), ...include]);
  const room = (stretch - 1) * (high - low || Math.abs(high) || 1);
  // What lies only a little further off is shown as well: a cut costs more than the room.
  const within = (value, end) => (Math.abs(value - end) < 0.5 * room ? value : end);
  return [
    Math.min(within(seen[0], Math.max(seen[0], low - room)), ...include),
    Math.max(within(seen[seen.length - 1], Math.min(seen[seen.length - 1], high + room)), ...include),
  ];
}

/** 1, 2, 5 of each decade where there is room, else whole decades. */
function log_ticks(scale, room) {
  const [low, high] = scale.domain();
  const of = (steps, every = 1) => {
    const ticks = [];
    for (let power = Math.floor(Math.log10(low)); power <= Math.ceil(Math.log10(high)); ++power)
      for (const step of steps) {
        const value = Number(`${step}e${power}`);
        if (power % every === 0 && value >= low * 0.999 && value <= high * 1.001) ticks.push(value);
      }
    return ticks;
  };
  const choices = [of([1, 2, 5]), of([1, 3]), of([1]), of([1], 2), of([1], 3)];
  const ticks = choices.find((some) => some.length <= room) || choices[choices.length - 1];
  const words = (value) => {
    const [step, power] = value.toExponential(0).split("e");
    if (Math.abs(Number(power)) <= 3) return `${Number(value.toPrecision(1))}`;
    return `${step === "1" ? "" : `${step}\u202f\u00d7\u202f`}10${superscript(String(Number(power)))}`;
  };
  return ticks.map((value) => ({ value, words: words(value) }));
}

/** What the marks of a chart mean, in one row from the right; entries: [{words, kind, stroke, dash, paint}]. */
function draw_key(svg, width, y, entries) {
  const long = (entry) => width_of(entry.words) + 48;
  let at = width - 2 - entries.reduce((sum, entry) => sum + long(entry), 0);
  at = Math.max(0, at);
  for (const entry of entries) {
    if (entry.kind === "points")
      for (const dx of [7, 19])
        put(svg, "path", {
          class: "dot",
          d: d3.symbol(entry.square ? d3.symbolSquare : d3.symbolCircle, 30)(),
          transform: `translate(${at + dx},${y - 4.5})`,
          fill: entry.filled ? entry.stroke : "#fff",
          stroke: entry.stroke,
        });
    else if (entry.kind === "area")
      put(svg, "rect", { class: "slab", x: at, y: y - 10, width: 26, height: 11, fill: entry.paint });
    else
      put(svg, "line", {
        class: `line ${entry.kind}`,
        x1: at,
        x2: at + 26,
        y1: y - 4.5,
        y2: y - 4.5,
        stroke: entry.stroke,
        "stroke-dasharray": entry.dash,
      });
    put(svg, "text", { class: "inside", x: at + 31, y }, entry.words);
    at += long(entry);
  }
}

/** Labels of lines that end together stand in the order of the lines themselves. */
function ordered_ends(items) {
  items.sort((a, b) => a.wanted - b.wanted);
  for (let from = 0, to; from < items.length; from = to) {
    for (to = from + 1; to < items.length && items[to].wanted - items[to - 1].wanted < 12; ++to);
    const group = items.slice(from, to);
    const middle = group.reduce((sum, item) => sum + item.wanted, 0) / group.length;
    group.sort((a, b) => a.mean - b.mean).forEach((item, k) => (item.wanted = middle + 0.01 * k));
  }
  return items;
}

const key_width = (entries) => entries.reduce((sum, entry) => sum + width_of(entry.words) + 48, 0);

/** Circles no nearer to each other than `apart` pixels, the first and the last among them. */
function sparse(points, apart) {
  const kept = [];
  for (const p of points) {
    const before = kept[kept.length - 1];
    if (!before || Math.hypot(p[0] - before[0], p[1] - before[1]) >= apart) kept.push(p);
  }
  return kept;
}

/**
 * Panes one above the other over one x axis.
 * spec: {x (title), x_range, key: [see draw_key], edges: [{at, words}] (through all panes), spans: [{from, to, words}],
 *        panes: [{y (title), height, y_range, log, zero, level: {value, words}, note, spans: false (leave them out),
 *                 areas: [{x, low, high}],
 *                 lines: [{label ("": not named), x, y, stroke, dash, kind: "measured" | "calculated" | "plain" | "faint" | "points",
 *                          low, high (ends of a bar at each point), words(i)}]}],
 *        below: {height, draw(svg, box, x)} (drawn between the last pane and the axis title)}
 */
function draw_panes(svg, width, live, id, spec) {
  const panes = spec.panes.map((pane) => ({ ...pane, lines: pane.lines.filter(drawn) }));
  const key = spec.key || [];
  const named = panes.flatMap((pane) => pane.lines.filter((line) => line.label));
  const most = Math.max(90, width * 0.22);
  const of_label = (line) => balanced(line.label, most);
  const margin = named.length ? Math.max(...named.flatMap(of_label).map((line) => width_of(line, 600))) + 34 : 14;
  const left = panes.some((pane) => pane.log) ? 76 : 54;
  const right = width - margin;
  const apart = key.length > 0 && width_of(panes[0].y) + key_width(key) + 30 > width;
  const scale_x = d3.scaleLinear(spec.x_range || domain(panes.flatMap((pane) => values(pane.lines, "x"))), [
    left,
    right - (named.length ? 0 : 6),
  ]);
  const backdrop = put(svg, "g");
  const traces = [];
  const clips = put(svg, "defs");
  let top = 34 + (apart ? 20 : 0) + (spec.edges && spec.edges.some((edge) => edge.words) ? 18 : 0);
  const first_top = top;
  let last_floor = top;
  if (key.length) draw_key(svg, width, apart ? 14 : 16, key);
  const floors = [];

  panes.forEach((pane, n) => {
    const last = n === panes.length - 1;
    const box = { left, right, top, floor: top + pane.height, bottom: top + pane.height };
    const all = values(pane.lines, "y").concat(
      pane.lines.flatMap((line) => [...(line.low || []), ...(line.high || [])].filter(known)),
    );
    const range = pane.y_range || domain(all, pane.zero ? [0] : []);
    const y = pane.log ? d3.scaleLog(range, [box.floor - 2, box.top]) : d3.scaleLinear(range, [box.floor - 2, box.top]);
    if (!pane.y_range) y.nice(5);
    const ground = put(backdrop, "g");
    if (pane.spans !== false)
      for (const span of spec.spans || []) {
        put(ground, "rect", {
          class: "under",
          x: scale_x(span.from),
          width: Math.max(0, scale_x(span.to) - scale_x(span.from)),
          y: box.top - 4,
          height: box.floor - box.top + 4,
        });
      }
    const bare = d3.axisBottom(scale_x).tickValues([]).tickSizeOuter(0);
    axes(svg, box, scale_x, y, {
      x: last && !spec.below ? spec.x : "",
      y: pane.y,
      y_ticks: pane.log ? log_ticks(y, Math.max(3, pane.height / 34)) : undefined,
      x_axis: last && !spec.below ? undefined : bare,
    });
    put(put(clips, "clipPath", { id: `${id}-pane-${n}` }), "rect", {
      x: left - 1,
      y: box.top - 6,
      width: right - left + 6,
      height: box.floor - box.top + 10,
    });
    const inside = put(svg, "g", { "clip-path": `url(#${id}-pane-${n})` });
    for (const area of pane.areas || []) {
      const shape = d3
        .area()
        .defined((i) => known(area.x[i]) && known(area.low[i]) && known(area.high[i]))
        .x((i) => scale_x(area.x[i]))
        .y0((i) => y(area.low[i]))
        .y1((i) => y(area.high[i]));
      put(inside, "path", { class: "band", d: shape(area.x.map((_, i) => i)) });
    }
    if (pane.zero) put(inside, "line", { class: "level", x1: left, x2: right, y1: y(0), y2: y(0) });
    const items = [];
    const order = { measured: 0, faint: 1, plain: 2, calculated: 3, points: 4 };
    const sorted = pane.lines.slice().sort((a, b) => (order[a.kind] ?? 2) - (order[b.kind] ?? 2));
    for (const line of sorted) {
      const whole = line.x.map((value, i) => [scale_x(value), pane.log && !(line.y[i] > 0) ? NaN : y(line.y[i]), i]);
      const points = line.kind === "points" ? whole : thinned(whole);
      const seen = points.filter(
        (p) => known(p[0]) && known(p[1]) && p[1] > box.top - 6 && p[1] < box.floor + 4 && p[0] < right + 4,
      );
      if (line.kind === "points") {
        for (const p of line.low ? seen : sparse(seen, line.apart || 9)) {
          const [low, high] = [line.low, line.high].map((some) => (some ? y(some[p[2]]) : NaN));
          if (known(low) && known(high))
            put(inside, "path", {
              class: "bar",
              d: `M${p[0]},${low}V${high}M${p[0] - 4},${low}h8M${p[0] - 4},${high}h8`,
              stroke: line.stroke,
            });
          put(inside, "path", {
            class: "dot",
            d: d3.symbol(line.square ? d3.symbolSquare : d3.symbolCircle, line.low ? 60 : 26)(),
            transform: `translate(${p[0]},${p[1]})`,
            fill: line.filled ? line.stroke : "#fff",
            stroke: line.stroke,
          });
        }
      } else
        put(inside, "path", {
          class: `line ${line.kind || "plain"}`,
          d: d3.line().defined((p) => known(p[0]) && known(p[1]))(points),
          stroke: line.stroke,
          "stroke-dasharray": line.dash,
        });
      if (!seen.length) continue;
      if (line.words) traces.push({ points: seen, stroke: line.stroke, words: (k) => line.words(seen[k][2]) });
      if (!line.label) continue;
      const end = known(line.label_at)
        ? seen.reduce((best, p) => {
            const far = (q) => Math.abs(q[0] - scale_x(line.label_at));
            return far(p) < far(best) ? p : best;
          }, seen[0])
        : seen.reduce((best, p) => (p[0] >= best[0] ? p : best), seen[0]);
      const lines = of_label(line);
      items.push({
        x: end[0],
        at: end[1],
        wanted: end[1],
        mean: seen.reduce((sum, p) => sum + p[1], 0) / seen.length,
        size: 15 * lines.length + 2,
        lines,
        stroke: line.ink || line.stroke,
      });
    }
    labels_right(svg, ordered_ends(items), box, right + 26);
    if (pane.level) {
      const at = y(pane.level.value);
      put(inside, "line", { class: "level", x1: left, x2: right, y1: at, y2: at, "stroke-dasharray": "6 3" });
      put(svg, "text", { class: "note", x: left + 6, y: at - 6 }, pane.level.words);
    }
    if (pane.note) {
      const above = width_of(pane.y) + width_of(pane.note) + 20 < right;
      const at = above ? box.top - 14 : box.floor - 8;
      put(svg, "text", { class: "note", x: right, y: at, "text-anchor": "end" }, pane.note);
    }
    last_floor = box.floor;
    floors.push(box);
    top = box.floor + (last ? 0 : 40);
  });

  let height = last_floor + 48;
  if (spec.below) {
    const box = { left, right, top: last_floor + 14, floor: last_floor + 14 + spec.below.height };
    spec.below.draw(svg, box, scale_x);
    const g = put(svg, "g", { class: "axes" });
    put(g, "g", { transform: `translate(0,${box.floor})` }).call(
      d3
        .axisBottom(scale_x)
        .ticks(Math.max(2, Math.min(8, (right - left) / 80)))
        .tickSizeOuter(0)
        .tickPadding(6),
    );
    put(g, "text", { class: "axis-title", x: right, y: box.floor + 38, "text-anchor": "end" }, spec.x);
    g.selectAll(".tick text").each(function () {
      this.textContent = this.textContent.replace("-", "\u2212");
    });
    last_floor = box.floor;
    height = box.floor + 48;
  }
  for (const span of spec.spans || []) {
    const middle = (scale_x(span.from) + scale_x(span.to)) / 2;
    for (const at of [span.from, span.to])
      put(backdrop, "line", { class: "limit", x1: scale_x(at), x2: scale_x(at), y1: first_top - 4, y2: last_floor });
    if (span.words)
      put(svg, "text", { class: "note", x: middle, y: first_top + 10, "text-anchor": "middle" }, span.words);
  }
  const said = [];
  const edges = (spec.edges || []).map((edge) => {
    const at = scale_x(edge.at);
    if (at > left + 2) put(backdrop, "line", { class: "edge", x1: at, x2: at, y1: first_top - 6, y2: last_floor });
    const wide = known(edge.to) ? scale_x(edge.to) - at : 0;
    return { words: edge.words, wide, middle: at + wide / 2, half: edge.words ? width_of(edge.words) / 2 + 3 : 0 };
  });
  // The longest first: what has no room of its own is left out.
  for (const edge of edges.sort((a, b) => b.wide - a.wide)) {
    if (!edge.words || said.some((other) => Math.abs(other.middle - edge.middle) < other.half + edge.half)) continue;
    said.push(edge);
    put(
      svg,
      "text",
      { class: "value", x: edge.middle, y: first_top - 9, "text-anchor": "middle", fill: SOFT },
      edge.words,
    );
  }
  if (spec.edges && spec.edges.some((edge) => edge.words)) svg.select(".axis-title").attr("y", first_top - 30);
  readout(svg, { left, right, top: first_top, floor: last_floor }, traces, live);
  return height;
}
