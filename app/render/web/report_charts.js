// What all charts share: frame, axes, line styles, labels that do not collide, the readout; and the chart of lines.

/** A new SVG element in `parent`; an attribute that is null or undefined is left out. */
function put(parent, tag, attributes = {}, words) {
  const node = parent.append(tag);
  for (const [name, value] of Object.entries(attributes))
    if (value !== null && value !== undefined) node.attr(name, value);
  return words === undefined ? node : node.text(words);
}

const INK = "#1d2328";
const SOFT = "#59636b";
const DASHES = [null, "11 4", "5 3", "11 3 2 3", "2 2.5", "14 3 3 3 3 3"];

/** Dark to light along one path of hue, so that order shows in greyscale too; dashes tell neighbours apart. */
function styles(count, from = "#171c21", to = "#cd7530") {
  const shade = d3.interpolateLab(from, to);
  return Array.from({ length: count }, (_, i) => ({
    stroke: shade(count > 1 ? i / (count - 1) : 0),
    dash: DASHES[i % DASHES.length],
  }));
}

/** The colour of a label: that of its line, dark enough to be read as text. */
const lettering = (stroke) => d3.interpolateLab(stroke, INK)(0.4);

const ruler = document.createElement("canvas").getContext("2d");
function width_of(words, weight = 400) {
  ruler.font = `${weight} 13px ${getComputedStyle(document.body).fontFamily}`;
  return ruler.measureText(words).width;
}

function wrapped(words, width, weight = 600) {
  const lines = [];
  for (const word of words.split(/ +/)) {
    const longer = lines.length ? `${lines[lines.length - 1]} ${word}` : word;
    if (lines.length && width_of(longer, weight) <= width) lines[lines.length - 1] = longer;
    else lines.push(word);
  }
  return lines.map((line) => cut(line, width, weight));
}

/** In as few lines as `wrapped`, about equally long. */
function balanced(words, width, weight = 600) {
  const lines = wrapped(words, width, weight);
  for (let narrower = width; narrower > 40; narrower -= 4) {
    const tried = wrapped(words, narrower, weight);
    if (tried.length > lines.length || tried.some((line) => line.endsWith("\u2026")))
      return wrapped(words, narrower + 4, weight);
  }
  return lines;
}

function cut(words, width, weight = 600) {
  if (width_of(words, weight) <= width) return words;
  let shorter = words;
  while (shorter.length > 1 && width_of(`${shorter}\u2026`, weight) > width) shorter = shorter.slice(0, -1);
  return `${shorter}\u2026`;
}

/** Centres as near as possible to those wanted, in order, no two items overlapping, all between low and high. */
function spread_out(items, low, high) {
  const groups = [];
  for (const item of items.slice().sort((a, b) => a.wanted - b.wanted)) {
    let group = { items: [item], size: item.size, sum: item.wanted - item.size / 2 };
    const place = (one) => Math.max(low, Math.min(one.sum / one.items.length, high - one.size));
    group.start = place(group);
    while (groups.length && groups[groups.length - 1].start + groups[groups.length - 1].size > group.start) {
      const before = groups.pop();
      group = {
        items: before.items.concat(group.items),
        size: before.size + group.size,
        sum: before.sum + group.sum - group.items.length * before.size,
      };
      group.start = place(group);
    }
    groups.push(group);
  }
  for (const group of groups) {
    let at = group.start;
    for (const item of group.items) {
      item.centre = at + item.size / 2;
      at += item.size;
    }
  }
  return items;
}

const blank_svg = () => d3.select(document.createElementNS("http://www.w3.org/2000/svg", "svg"));
const charts = [];
let count = 0;
let printing = false;

/** A chart with its words for those who do not see it. draw(svg, width) returns the height it took. */
function chart(title, description, draw) {
  const id = `chart-${++count}`;
  const heading = el("h3", { id: `${id}-title` }, rich(title));
  // Named by a label, not by a title element: browsers show that as a tooltip on top of the readout.
  const svg = blank_svg()
    .attr("role", "img")
    .attr("aria-label", [printed(title), description].filter(Boolean).join(". "));
  const live = el("p", { class: "unseen", "aria-live": "polite" });
  const frame = el("div", { class: "chart" }, title ? heading : null, svg.node(), live);
  const redraw = (forced) => {
    const width = Math.round(forced || frame.clientWidth) || 640;
    svg.selectAll("*").remove();
    put(svg, "desc", {}, description);
    const height = draw(svg, width, live, id);
    svg.attr("viewBox", `0 0 ${width} ${height}`);
  };
  charts.push({ frame, redraw });
  return frame;
}

function axes(svg, box, x, y, names) {
  const g = put(svg, "g", { class: "axes" });
  const ticks = Math.max(2, Math.min(6, Math.round((box.bottom - box.top) / 50)));
  const y_ticks = names.y_ticks ? names.y_ticks.map((tick) => tick.value) : y.ticks(ticks);
  put(g, "g", { class: "grid" })
    .selectAll("line")
    .data(y_ticks)
    .join("line")
    .attr("x1", box.left)
    .attr("x2", box.right)
    .attr("y1", y)
    .attr("y2", y);
  put(g, "g", { transform: `translate(${box.left},0)` })
    .call(
      d3
        .axisLeft(y)
        .tickValues(y_ticks)
        .tickFormat(names.y_ticks ? (_, i) => names.y_ticks[i].words : null)
        .tickSize(0)
        .tickPadding(7),
    )
    .call((a) => a.select(".domain").remove());
  put(g, "g", { transform: `translate(0,${box.floor})` }).call(
    names.x_axis ||
      d3
        .axisBottom(x)
        .ticks(Math.max(2, Math.min(8, (box.right - box.left) / 80)))
        .tickSizeOuter(0)
        .tickPadding(6),
  );
  put(g, "text", { class: "axis-title", x: 2, y: box.top - 14 }, names.y);
  put(g, "text", { class: "axis-title", x: box.right, y: box.floor + 38, "text-anchor": "end" }, names.x);
  g.selectAll(".tick text").each(function () {
    this.textContent = this.textContent.replace("-", "\u2212");
  });
  return g;
}

// Grounds that keep apart without colour: where not to go is crossed, where to take care is hatched one way.
const HATCHES = {
  never: ["#f1e4d9", "M0 8L8 0M0 0L8 8"],
  reduce: ["#fbf7f3", "M0 8L8 0"],
};

function hatch(svg, id, kind) {
  const [ground, mark] = HATCHES[kind] || HATCHES.reduce;
  const pattern = put(put(svg, "defs"), "pattern", {
    id: `${id}-${kind}`,
    width: 8,
    height: 8,
    patternUnits: "userSpaceOnUse",
  });
  put(pattern, "rect", { width: 8, height: 8, fill: ground });
  put(pattern, "path", { d: mark, stroke: "#8c959b", "stroke-width": 0.7, fill: "none" });
  return `url(#${id}-${kind})`;
}

const leader = (g, points) =>
  put(g, "polyline", { class: "leader" }).attr("points", points.map((p) => p.join(",")).join(" "));

/** Labels right of the plot, each at the height of its line's end, moved apart where they would collide. */
function labels_right(g, items, box, x_label) {
  spread_out(items, box.top - 8, box.floor);
  for (const item of items) {
    leader(g, [
      [item.x + 3, item.at ?? item.wanted],
      [x_label - 10, item.centre],
      [x_label - 4, item.centre],
    ]).attr("stroke", item.stroke);
    const words = put(g, "text", { class: "label", fill: lettering(item.stroke) });
    item.lines.forEach((line, i) =>
      put(words, "tspan", { x: x_label, y: item.centre + 4.5 + 15 * (i - (item.lines.length - 1) / 2) }, line),
    );
  }
}

/** What lies under the pointer, in words. traces: [{points: [[px, py]], stroke, words(i) -> [line]}]. */
function readout(svg, box, traces, live) {
  const g = put(svg, "g", { class: "readout", visibility: "hidden" });
  const across = put(g, "line");
  const down = put(g, "line");
  const dot = put(g, "circle", { r: 4.5 });
  const card = put(g, "rect", { rx: 2 });
  const words = put(g, "text");
  let at = null;

  const show = (trace, i) => {
    at = { trace, i };
    const [px, py] = traces[trace].points[i];
    const lines = traces[trace].words(i);
    const width = Math.max(...lines.map((line, k) => width_of(line, k ? 400 : 700))) + 18;
    const height = 18 * lines.length + 10;
    const left = px + 14 + width > box.right ? Math.max(0, px - 14 - width) : px + 14;
    const top = Math.max(box.top, Math.min(py - height - 12, box.floor - height));
    across.attr("x1", box.left).attr("x2", px).attr("y1", py).attr("y2", py);
    down.attr("x1", px).attr("x2", px).attr("y1", py).attr("y2", box.floor);
    dot.attr("cx", px).attr("cy", py).attr("fill", traces[trace].stroke);
    card.attr("x", left).attr("y", top).attr("width", width).attr("height", height);
    words
      .selectAll("tspan")
      .data(lines)
      .join("tspan")
      .attr("class", (_, k) => (k ? null : "first"))
      .attr("x", left + 9)
      .attr("y", (_, k) => top + 20 + 18 * k)
      .text((line) => line);
    g.attr("visibility", "visible");
    return lines.join(", ");
  };
  const hide = () => {
    at = null;
    g.attr("visibility", "hidden");
  };

  svg
    .on("pointermove.readout pointerdown.readout", (event) => {
      const [mx, my] = d3.pointer(event, svg.node());
      let best = null;
      traces.forEach((trace, t) =>
        trace.points.forEach(([px, py], i) => {
          const far = (px - mx) ** 2 + (py - my) ** 2;
          if (!best || far < best.far) best = { t, i, far };
        }),
      );
      if (best && mx >= box.left - 10 && my >= box.top - 20 && my <= box.floor + 20) show(best.t, best.i);
      else hide();
    })
    .on("pointerleave.readout blur.readout", hide);
  if (traces.length) svg.attr("tabindex", 0);
  svg.on("keydown.readout", (event) => {
    const step = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] }[event.key];
    if (event.key === "Escape") hide();
    if (!step || !traces.length) return;
    event.preventDefault();
    const t = at ? (at.trace + step[0] + traces.length) % traces.length : 0;
    const last = traces[t].points.length - 1;
    const stride = Math.max(1, Math.round(last / 40));
    const share = at ? at.i / Math.max(1, traces[at.trace].points.length - 1) : 0.5;
    live.textContent = show(t, Math.max(0, Math.min(last, Math.round(share * last) + step[1] * stride)));
  });
}

/** At most about four points for each column of pixels: the first, the lowest, the highest and the last. */
function thinned(points) {
  if (points.length < 3000) return points;
  const kept = [];
  let column = [];
  const flush = () => {
    if (!column.length) return;
    const by_height = column.slice().sort((a, b) => a[1] - b[1]);
    kept.push(
      ...[...new Set([column[0], by_height[0], by_height[by_height.length - 1], column[column.length - 1]])].sort(
        (a, b) => a[2] - b[2],
      ),
    );
    column = [];
  };
  for (const point of points) {
    if (!known(point[1]) || (column.length && Math.floor(point[0]) !== Math.floor(column[0][0]))) flush();
    if (known(point[1])) column.push(point);
    else kept.push(point);
  }
  flush();
  return kept;
}

const drawn = (line) => line.x.some((x, i) => known(x) && known(line.y[i]));
const values = (lines, key) =>
  lines.flatMap((line) => line[key].filter((_, i) => known(line.x[i]) && known(line.y[i])));

function domain(all, include = []) {
  const [low, high] = d3.extent(all.concat(include));
  if (low < high) return [low, high];
  const room = Math.abs(low) * 0.05 || 1;
  return [low - room, high + room];
}

/**
 * Lines with their names at their ends.
 * spec: {lines: [{label, x, y, stroke, dash, faint, words(i)}], x, y (axis titles), names: "below" | "above" | "right" | "none",
 *        x_from, y_include, y_most, limit: {value, words}, height,
 *        zones: [{from, to (+-Infinity: to the edge), kind (of HATCHES), words}], levels: [{value, words}]}
 */
function draw_lines(svg, width, live, id, spec) {
  const lines = spec.lines.filter(drawn);
  const beside = spec.names === "right";
  const bare = spec.names === "none";
  const named = lines.map((line) => ({
    line,
    words: cut(line.label, 110),
    lines: beside ? balanced(line.label, width * 0.3) : [],
  }));
  const size = (item) => Math.max(...(beside ? item.lines : [item.words]).map((words) => width_of(words, 600))) + 12;
  const right = beside ? Math.max(...named.map(size)) + 22 : 14;
  const box = { left: 48, right: width - right, top: 34 };
  const rows = Math.max(1, Math.ceil(named.reduce((sum, item) => sum + size(item), 0) / (width - 48)));
  const band = beside || bare ? 0 : 24 + 17 * rows;
  const height = spec.height || Math.max(300, Math.min(printing ? 335 : 430, width * 0.66));
  box.floor = height - 48;
  const x = d3.scaleLinear(domain(values(lines, "x"), known(spec.x_from) ? [spec.x_from] : []), [
    box.left,
    box.right - (beside ? 0 : 6),
  ]);
  const tops = values(lines, "y").map((value) => (known(spec.y_most) ? Math.min(value, spec.y_most) : value));
  const y = d3.scaleLinear(domain(tops, spec.y_include), [0, 1]).nice(6);
  box.bottom = box.floor - (spec.names === "below" ? band : 6);
  y.range([box.bottom, box.top + (spec.names === "above" ? band : 0)]);
  const [edge_low, edge_high] = [y.invert(box.floor), y.invert(box.top - 4)];
  const inside = (value) => y(Math.max(edge_low, Math.min(edge_high, value)));
  for (const zone of spec.zones || []) {
    const [top, bottom] = [zone.to, zone.from].map(inside);
    if (bottom - top < 1) continue;
    put(svg, "rect", {
      x: box.left,
      width: box.right - box.left,
      y: top,
      height: bottom - top,
      fill: hatch(svg, `${id}-zone`, zone.kind),
    });
  }
  axes(svg, box, x, y, spec);

  if (spec.limit) {
    const at = y(spec.limit.value);
    put(svg, "rect", {
      class: "beyond",
      x: box.left,
      width: box.right - box.left,
      y: at,
      height: Math.max(0, box.bottom - at),
    });
    put(svg, "line", { class: "limit", x1: box.left, x2: box.right, y1: at, y2: at });
    put(svg, "text", { class: "note", x: box.left + 6, y: box.bottom - 7 }, spec.limit.words);
  }

  const path = d3.line().defined((p) => known(p[0]) && known(p[1]));
  put(put(put(svg, "defs"), "clipPath", { id: `${id}-plot` }), "rect", {
    x: box.left - 2,
    y: box.top - 4,
    width: box.right - box.left + 4,
    height: box.floor - box.top + 4,
  });
  const traces = [];
  const items = [];
  for (const { line, words, lines: rows_of_words } of named) {
    const points = thinned(line.x.map((value, i) => [x(value), y(line.y[i]), i]));
    put(svg, "path", {
      class: line.faint ? "line faint" : "line",
      d: path(points),
      stroke: line.stroke,
      "stroke-dasharray": line.dash,
      "clip-path": `url(#${id}-plot)`,
    });
    const seen = points.filter((p) => known(p[0]) && known(p[1]) && p[1] > box.top - 8);
    const end = seen[seen.length - 1];
    if (!end) continue;
    if (line.marker !== false)
      put(svg, "circle", {
        class: "end",
        cx: end[0],
        cy: end[1],
        r: 3,
        fill: line.faint ? "#fff" : line.stroke,
        stroke: line.stroke,
      });
    traces.push({ points: seen, stroke: line.stroke, words: (k) => line.words(seen[k][2]) });
    items.push({ x: end[0], y: end[1], words, lines: rows_of_words, stroke: line.stroke });
  }

  for (const level of spec.levels || []) {
    const at = y(level.value);
    put(svg, "line", { class: "level", x1: box.left, x2: box.right, y1: at, y2: at, "stroke-dasharray": level.dash });
  }
  for (const { value, words, below } of [...(spec.levels || []), ...(spec.zones || [])])
    if (known(value) && words)
      put(svg, "text", { class: "note", x: box.left + 8, y: y(value) + (below ? 16 : -6) }, words);

  if (beside) {
    labels_right(
      svg,
      items.map((item) => ({ ...item, wanted: item.y, size: 15 * item.lines.length + 2 })),
      box,
      box.right + 20,
    );
  } else if (!bare) {
    items.sort((a, b) => a.x - b.x);
    for (let row = 0; row < rows; ++row) {
      const here = items.filter((_, i) => i % rows === row);
      spread_out(
        here.map((item) => Object.assign(item, { wanted: item.x, size: size(item) })),
        box.left,
        width,
      );
      const base = spec.names === "below" ? box.bottom + 30 + 17 * row : box.top + band - 19 - 17 * row;
      const edge = spec.names === "below" ? base - 13 : base + 5;
      for (const item of here) {
        const away = spec.names === "below" ? 5 : -5;
        leader(svg, [
          [item.x, item.y + away],
          [
            item.x,
            spec.names === "below" ? Math.max(item.y + 5, box.bottom + 4) : Math.min(item.y - 5, box.top + band - 4),
          ],
          [item.centre, edge],
        ]).attr("stroke", item.stroke);
        Object.assign(item, { base });
      }
    }
    for (const item of items) {
      put(
        svg,
        "text",
        { class: "label", x: item.centre, y: item.base, "text-anchor": "middle", fill: lettering(item.stroke) },
        item.words,
      );
    }
  }
  readout(svg, box, traces, live);
  return height;
}
