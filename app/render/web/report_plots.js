// Fillings, and the layers of the cell.

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
