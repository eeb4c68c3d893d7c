// How wide words are, and where labels go so that none lies on another.

/** Width of words in the type of the charts. The page puts a real ruler in; this one is near enough to lay out with. */
let measured_width = (words, weight) => words.length * (weight > 400 ? 7.4 : 6.9);
const width_of = (words, weight = 400) => measured_width(words, weight);
const use_ruler = (ruler) => (measured_width = ruler);

function cut(words, width, weight = 600) {
  if (width_of(words, weight) <= width) return words;
  let shorter = words;
  while (shorter.length > 1 && width_of(`${shorter}\u2026`, weight) > width) shorter = shorter.slice(0, -1);
  return `${shorter}\u2026`;
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

const leader = (points, stroke) => tag("polyline", { class: "leader", points: points.join(" "), stroke });

/** Labels right of the plot, each at the height of its line's end. items: [{x, wanted, size, lines, stroke}] */
function labels_right(items, box, x_label) {
  spread_out(items, box.top - 8, box.floor);
  return items.map((item) => {
    const rows = item.lines.map((line, i) =>
      tag("tspan", { x: x_label, y: item.centre + 4.5 + 15 * (i - (item.lines.length - 1) / 2) }, escaped(line)),
    );
    return (
      leader([[item.x + 3, item.wanted], [x_label - 10, item.centre], [x_label - 4, item.centre]], item.stroke) +
      tag("text", { class: "label", fill: lettering(item.stroke), "data-line": item.line }, rows)
    );
  });
}

/** Names of lines in rows above or below the plot, led to the ends of the lines. items: [{x, y, words, stroke}] */
function labels_in_rows(items, box, width, below, rows, band) {
  const drawn = [];
  const size = (item) => width_of(item.words, 600) + 12;
  items.sort((a, b) => a.x - b.x);
  for (let row = 0; row < rows; ++row) {
    const here = items.filter((_, i) => i % rows === row);
    spread_out(
      here.map((item) => Object.assign(item, { wanted: item.x, size: size(item) })),
      box.left,
      width,
    );
    const base = below ? box.bottom + 30 + 17 * row : box.top + band - 19 - 17 * row;
    for (const item of here) {
      const turn = below ? Math.max(item.y + 5, box.bottom + 4) : Math.min(item.y - 5, box.top + band - 4);
      drawn.push(
        leader([[item.x, item.y + (below ? 5 : -5)], [item.x, turn], [item.centre, below ? base - 13 : base + 5]], item.stroke),
      );
      item.base = base;
    }
  }
  for (const item of items)
    drawn.push(
      tag(
        "text",
        { class: "label", x: item.centre, y: item.base, "text-anchor": "middle", fill: lettering(item.stroke), "data-line": item.line },
        escaped(item.words),
      ),
    );
  return drawn;
}
