// What stands in a plot beside its lines: strips of the x axis, named places, upright lines, and values of zero on a
// logarithmic axis.

const BAND_WORDS = 150;

/** Words of the strips, in lines; `top`: the room that they take above the plot. */
function band_heads(bands, width) {
  const lines = bands.map((band) => wrapped(lettered(band.words), Math.min(BAND_WORDS, width * 0.28), 400));
  return { lines, top: lines.length ? 16 * Math.max(...lines.map((some) => some.length)) + 26 : 0 };
}

/** [{from, to, never, words}] in the unit of x. */
function draw_bands(bands, heads, box, x, width, id) {
  const [low, high] = x.domain();
  const inside = (value) => Math.max(low, Math.min(high, value));
  const places = bands.map((band) => [x(inside(band.from)), x(inside(band.to))]);
  const shown = bands.map((_, i) => i).filter((i) => places[i][1] - places[i][0] >= 1);
  const grounds = shown.map((i) => {
    const [from, to] = places[i];
    const ground = { x: from, width: to - from, y: box.top - 4, height: box.floor - box.top + 4 };
    const edge = (at) => (at > box.left && at < box.right ? tag("line", { class: "edge", x1: at, x2: at, y1: box.top - 4, y2: box.floor }) : "");
    return hatch(`${id}-band-${i}`, bands[i].never) + tag("rect", { ...ground, fill: `url(#${id}-band-${i})` }) + edge(from) + edge(to);
  });
  const items = shown.map((i) => ({
    wanted: (places[i][0] + places[i][1]) / 2,
    size: Math.max(...heads.lines[i].map((line) => width_of(line))) + 14,
    lines: heads.lines[i],
  }));
  spread_out(items, 0, width);
  const words = items.map((item) => {
    const base = box.top - 22;
    const rows = item.lines.map((line, k) =>
      tag("text", { class: "note", x: item.centre, y: base - 16 * (item.lines.length - 1 - k), "text-anchor": "middle" }, escaped(line)),
    );
    return leader([[item.centre, base + 5], [item.wanted, box.top - 4]], SOFT) + rows.join("");
  });
  return [grounds.join(""), words.join("")];
}

const dot = (x, y) => tag("circle", { cx: x, cy: y, r: 5, fill: INK, stroke: "#fff", "stroke-width": 1.5 });

/** Lines of words beside a place: to its right where there is room. */
function words_beside(lines, at, y, box, bold) {
  const long = Math.max(...lines.map((line) => width_of(line, bold ? 600 : 400)));
  const right = at + 12 + long < box.right;
  const place = { x: at + (right ? 12 : -12), "text-anchor": right ? "start" : "end" };
  return lines
    .map((line, k) => tag("text", { class: bold ? "label" : "note", ...place, y: y + 16 * k, fill: INK }, escaped(line)))
    .join("");
}

/** [{x, y, words}] */
const draw_marks = (marks, box, x, y) =>
  marks.map((mark) => {
    const [at, high] = [x(mark.x), y(mark.y)];
    const path = `${box.left},${high} ${at},${high} ${at},${box.floor}`;
    const near_top = high < box.top + 40;
    return (
      tag("polyline", { class: "limit", fill: "none", points: path }) +
      dot(at, high) +
      words_beside([lettered(mark.words)], at, high + (near_top ? -5 : 4), box, true)
    );
  });

/** [{x, words: []}]; one that lies beyond the right edge has its words there, and no line. */
const draw_uprights = (uprights, box, x) =>
  uprights.map((one) => {
    const beyond = x(one.x) > box.right;
    const at = beyond ? box.right : x(one.x);
    const lines = one.words.flatMap((words) => wrapped(lettered(words), BAND_WORDS, 400));
    const line = { class: "warned", x1: at, x2: at, y1: box.top, y2: box.floor };
    return (beyond ? "" : tag("line", line)) + words_beside(beyond ? [...lines, "\u2192"] : lines, at, box.top + 34, box, false);
  });

const CROSS = ([x, y]) => `M${x - 4.5},${y - 4.5}l9,9M${x - 4.5},${y + 4.5}l9,-9`;

/** Values of zero stand at the foot of a logarithmic axis, under a name of their own. */
function draw_zeros(lines, name, box, x, foot) {
  const places = lines.flatMap((line) => line.x.filter((_, i) => line.y[i] === 0).map((at) => [[x(at), box.floor - foot / 2], line.look.stroke]));
  if (!places.length) return "";
  return (
    tag("line", { class: "edge", x1: box.left, x2: box.right, y1: box.floor - foot, y2: box.floor - foot }) +
    tag("text", { class: "axis-none", x: box.left - 7, y: box.floor - foot / 2 + 4.5, "text-anchor": "end" }, escaped(name)) +
    places.map(([place, stroke]) => tag("path", { class: "cross", d: CROSS(place), stroke })).join("")
  );
}
