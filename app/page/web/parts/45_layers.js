// One grain of each side opened as a stack: layers of the host, and places between them which lithium enters and leaves. From its surface,
// at the separator, to its centre, each place filled as the profile says.

const STACK = { floors: 6, columns: 9 };

function stack_html(side, left, right) {
  const parts = [];
  const top = FRAME.top + 22;
  const height = FRAME.bottom - FRAME.top - 44;
  const floor = height / STACK.floors;
  const column = (right - left) / STACK.columns;
  for (let k = 0; k <= STACK.floors; k += 1)
    parts.push(tag("rect", { x: left, y: top + k * floor - 5, width: right - left, height: 10, class: `sheet ${side}` }));
  for (let c = 0; c < STACK.columns; c += 1)
    for (let k = 0; k < STACK.floors; k += 1) {
      const from_surface = side === "negative" ? STACK.columns - 1 - c : c;
      parts.push(
        tag("circle", {
          cx: left + (c + 0.5) * column,
          cy: top + (k + 0.5) * floor,
          r: Math.min(9, column * 0.4, floor * 0.3),
          "data-slot": `${side} ${from_surface} ${k}`,
        }),
      );
    }
  const words = side === "negative" ? ["picture.centre", "picture.surface"] : ["picture.surface", "picture.centre"];
  parts.push(words_at(left, top - 12, t(words[0]), { class: "small" }));
  parts.push(words_at(right, top - 12, t(words[1]), { class: "small", "text-anchor": "end" }));
  return tag(
    "g",
    { class: "stack" },
    tag("rect", { x: left - 6, y: top - 26, width: right - left + 12, height: height + 36, class: "paper" }) + parts.join(""),
  );
}

function layers_html(run, places) {
  return SIDES.filter((side) => !(side === "negative" && places.metal))
    .map((side) => {
      const [from, to] = places[side];
      const room = Math.min(230, to - from - 16);
      const middle = (from + to) / 2;
      return stack_html(side, middle - room / 2, middle + room / 2);
    })
    .join("");
}

/** How many places of each column are taken: their sum follows the filling to half a place. */
function taken_places(profile) {
  const points = profile.length - 1;
  let carried = 0;
  return Array.from({ length: STACK.columns }, (_, c) => {
    const r = points * (1 - c / (STACK.columns - 1));
    const k = Math.min(points - 1, Math.floor(r));
    const wanted = STACK.floors * (profile[k] + (r - k) * (profile[k + 1] - profile[k])) + carried;
    const taken = Math.min(STACK.floors, Math.max(0, Math.round(wanted)));
    carried = Math.max(-0.5, Math.min(0.5, wanted - taken));
    return taken;
  });
}

function show_layers(now) {
  const taken = Object.fromEntries(SIDES.map((side) => [side, taken_places(now[`grains_${side}`][GRAINS - 1])]));
  for (const node of drawn.slots) {
    const [side, column, floor] = node.dataset.slot.split(" ");
    // a place fills in an order of its own, so that a column does not look like a glass of water
    const order = (Number(floor) * 5 + Number(column) * 2) % STACK.floors;
    node.setAttribute("class", order < taken[side][Number(column)] ? "held" : "free");
  }
}
