// The cell in cross-section: foils, coatings with some grains cut open, separator, salt in the pores, lithium in the grains.
// The frame is drawn once per run; a moment only moves and colours what is there.

const FULL = [
  [255, 250, 240],
  [222, 158, 92],
  [106, 46, 12],
]; // empty, half, full of lithium: darker in greyscale too
const SALTY = [
  [250, 252, 252],
  [150, 190, 186],
  [24, 82, 80],
]; // none, as at rest, twice that

/** A colour between three, at 0..1. */
function shade(scale, share) {
  const at = Math.min(1, Math.max(0, Number.isFinite(share) ? share : 0)) * 2;
  const k = at < 1 ? 0 : 1;
  const mix = scale[k].map((c, m) => Math.round(c + (at - k) * (scale[k + 1][m] - c)));
  return `rgb(${mix.join(",")})`;
}

const FRAME = { left: 26, right: 614, top: 88, bottom: 324 };
const SIDES = ["negative", "positive"];
const ROWS = 3;

/** What a layer is called: against lithium the electrode at work is of either kind. */
const layer_key = (side, places) =>
  places.metal && side !== "separator" ? (side === "negative" ? "picture.metal" : "picture.working") : `picture.${side}`;
const DOTS = 8;

/** Where the layers stand, in pixels: thickness to scale, the page's own cell filling two thirds. */
function layout_of(cell, reference) {
  const total = (c) => (Number.isFinite(c.thick_negative) ? c.thick_negative : 12e-6) + c.thick_separator + c.thick_positive;
  const room = FRAME.right - FRAME.left;
  const scale = Math.min(room / total(cell), (0.82 * room) / total(reference));
  const negative = scale * (Number.isFinite(cell.thick_negative) ? cell.thick_negative : 12e-6);
  const separator = scale * cell.thick_separator;
  const positive = scale * cell.thick_positive;
  const left = FRAME.left + (room - negative - separator - positive) / 2;
  return {
    left,
    negative: [left, left + negative],
    separator: [left + negative, left + negative + separator],
    positive: [left + negative + separator, left + negative + separator + positive],
    right: left + negative + separator + positive,
    metal: !Number.isFinite(cell.thick_negative),
  };
}

/** Radius of a drawn grain: enlarged, by the square root of its size, so that a tenth and ten times can be seen. */
function grain_size(cell, reference, side, width) {
  const of = (c) => c[`radius_${side}`];
  return Math.max(7, Math.min(width / 2 - 2, 36, 25 * Math.sqrt(of(cell) / of(reference))));
}

function grains_html(run, reference, places) {
  const parts = [];
  for (const side of SIDES) {
    if (side === "negative" && places.metal) continue;
    const [from, to] = places[side];
    const width = (to - from) / run.grains;
    const size = grain_size(run.cell, reference, side, width);
    for (let g = 0; g < run.grains; g += 1) {
      // the engine counts from the foil to the separator; the negative's foil is left, the positive's right
      const column = side === "negative" ? g : run.grains - 1 - g;
      for (let row = 0; row < ROWS; row += 1) {
        const cx = from + (column + 0.5) * width;
        const cy = FRAME.top + ((row + 0.5) * (FRAME.bottom - FRAME.top)) / ROWS;
        const rings = [];
        for (let k = run.radius_points - 1; k > 0; k -= 1)
          rings.push(tag("circle", { cx, cy, r: (size * k) / (run.radius_points - 1), "data-ring": `${side} ${g} ${k}` }));
        parts.push(tag("g", { class: "grain" }, rings.join("") + tag("circle", { cx, cy, r: size, class: "rim" })));
      }
    }
  }
  return tag("g", { id: "grains" }, parts.join(""));
}

function wire_html(places) {
  const [x0, x1, y] = [places.left - 8, places.right + 8, 30];
  const wire = `M${x0},${FRAME.top - 6}V${y}H${x1}V${FRAME.top - 6}`;
  const ions = `M${places.left + 12},${(FRAME.top + FRAME.bottom) / 2 + (FRAME.bottom - FRAME.top) / (2 * ROWS)}H${places.right - 12}`;
  const dots = (kind, sign) =>
    Array.from({ length: DOTS }, (_, k) =>
      tag("g", { class: kind, "data-dot": `${kind} ${k}` }, tag("circle", { r: 7 }) + words_at(0, 4, sign, { "text-anchor": "middle" })),
    ).join("");
  const middle = (x0 + x1) / 2;
  return (
    tag("path", { d: wire, class: "wire", id: "wire_path", fill: "none" }) +
    tag("path", { d: ions, class: "way", id: "ion_path", fill: "none" }) +
    dots("electron", "\u2212") +
    dots("ion", "+") +
    tag("rect", { x: middle - 118, y: 4, width: 236, height: 52, class: "meter" }) +
    words_at(middle, 25, "", { "text-anchor": "middle", id: "meter_does" }) +
    words_at(middle, 47, "", { "text-anchor": "middle", id: "meter_reads", class: "strong" })
  );
}

/** The scales of the two colours, and what the salt's one ends at. */
function show_scales() {
  const ramp = (scale) => `linear-gradient(90deg, ${[0, 0.5, 1].map((share) => shade(scale, share)).join(", ")})`;
  element("scale_full").style.background = ramp(FULL);
  element("scale_salt").style.background = ramp(SALTY);
  element("scale_salt_most").textContent = t("unit.molar", { n: num((2 * state.reference.salt) / 1000, 2) });
  element("lithium_negative").style.background = shade(FULL, 0.55);
  element("lithium_positive").style.background = shade(FULL, 0.95);
}

/** Everything that does not move. */
function draw_cell(svg, run) {
  const places = layout_of(run.cell, state.reference);
  const width = (places.right - places.left) / run.salt_places;
  const band = Array.from({ length: run.salt_places }, (_, k) =>
    tag("rect", { x: places.left + k * width, y: FRAME.top, width: width + 0.4, height: FRAME.bottom - FRAME.top, "data-salt": k }),
  );
  const foil = (x, side, name) =>
    tag("rect", { x, y: FRAME.top - 6, width: 12, height: FRAME.bottom - FRAME.top + 12, class: `foil ${side}` }) +
    words_at(side === "left" ? x + 14 : x - 2, FRAME.bottom + 21, name, { class: "small", "text-anchor": side === "left" ? "start" : "end" });
  const name = (side) =>
    words_at((places[side][0] + places[side][1]) / 2, FRAME.top - 9, t(layer_key(side, places)), { "text-anchor": "middle", class: "layer-name" });
  const edges = [places.separator[0], places.separator[1]].map((x) => tag("line", { x1: x, x2: x, y1: FRAME.top, y2: FRAME.bottom, class: "edge" }));
  const metal = places.metal
    ? tag("rect", {
        x: places.negative[0],
        y: FRAME.top,
        width: places.negative[1] - places.negative[0],
        height: FRAME.bottom - FRAME.top,
        class: "metal",
      })
    : "";
  const inner = state.view === "layers" ? layers_html(run, places) : grains_html(run, state.reference, places);
  const separator_name = places.separator[1] - places.separator[0] > 60 ? name("separator") : "";
  svg.innerHTML =
    band.join("") +
    metal +
    edges.join("") +
    inner +
    foil(places.left - 14, "left", t("picture.foil_negative")) +
    foil(places.right + 2, "right", t("picture.foil_positive")) +
    name("negative") +
    separator_name +
    name("positive") +
    wire_html(places);
  show_scales();
  drawn = {
    run,
    places,
    rings: [...svg.querySelectorAll("[data-ring]")].map((node) => ({ node, at: node.dataset.ring.split(" ") })),
    salt: [...svg.querySelectorAll("[data-salt]")],
    dots: [...svg.querySelectorAll("[data-dot]")].map((node) => ({ node, at: node.dataset.dot.split(" ") })),
    paths: { electron: svg.querySelector("#wire_path"), ion: svg.querySelector("#ion_path") },
    slots: [...svg.querySelectorAll("[data-slot]")],
  };
}
let drawn = null;

/** Electrons on the wire and ions in the pores: as many dots, moved by the charge that has passed. */
function move_dots(run, now) {
  const spacing = run.cell.one_c / 40; // one dot passes a place for so much charge
  const phase = now.charge / spacing;
  for (const { node, at } of drawn.dots) {
    const path = drawn.paths[at[0]];
    const length = path.getTotalLength();
    // charging: electrons to the negative along the wire (from right to left), ions through the pores to the negative
    const share = ((((Number(at[1]) - phase) / DOTS) % 1) + 1) % 1;
    const place = path.getPointAtLength(share * length);
    node.setAttribute("transform", `translate(${place.x.toFixed(1)},${place.y.toFixed(1)})`);
  }
}

/** All the lithium in the grains as one bar. */
function show_lithium(run, now) {
  const positive = now.mean_positive * run.cell.host_positive;
  const negative = drawn.places.metal ? 0 : now.mean_negative * run.cell.host_negative;
  const total = drawn.places.metal ? run.cell.host_positive : positive + negative;
  for (const [side, part] of [
    ["negative", negative],
    ["positive", positive],
  ]) {
    element(`lithium_${side}`).style.width = `${(100 * part) / total}%`;
    const amount = t("unit.micromole", { n: num(run.micromoles(part), 4) });
    element(`lithium_${side}_words`).textContent =
      drawn.places.metal && side === "negative" ? "" : t("picture.lithium_in", { side: t(layer_key(side, drawn.places)), n: amount });
  }
}

/** "off", "near" or "on": what the potential at the separator side of the electrode that takes lithium up says; "none" of an oxide. */
function lamp_of(now) {
  if (!PAGE.can_plate || (PAGE.full_cell && half_cell())) return "none";
  const takes_up = PAGE.full_cell ? now.current > 0 : now.current < 0;
  if (now.separator_side < 0 && takes_up) return "on";
  return now.separator_side < 0.01 && takes_up ? "near" : "off";
}

function show_lamp(now) {
  const lamp = lamp_of(now);
  element("lamp").setAttribute("class", `lamp ${lamp}`);
  element("lamp_words").textContent = t(`lamp.${lamp}`);
  element("lamp_reads").textContent =
    lamp === "none" ? "" : t(now.separator_side < 0 ? "lamp.below" : "lamp.above", { n: fixed(Math.abs(now.separator_side) * 1000, 0) });
}

/** A moment of the run, in the picture. */
function show_moment(run, now) {
  for (const { node, at } of drawn.rings) node.setAttribute("fill", shade(FULL, now[`grains_${at[0]}`][at[1]][at[2]]));
  drawn.salt.forEach((node, k) => node.setAttribute("fill", shade(SALTY, now.salt[k] / (2 * run.cell.salt))));
  if (drawn.slots.length) show_layers(now);
  move_dots(run, now);
  show_lithium(run, now);
  show_lamp(now);
  const does = Math.abs(now.current) < 1e-9 ? "rests" : now.current > 0 ? "charges" : "delivers";
  element("meter_does").textContent = t(`meter.${does}`);
  element("meter_reads").textContent = t("meter.reads", { v: fixed(now.voltage, 3), i: num(Math.abs(now.current) * run.cell.area * 1e3, 3) });
  const side = (of) =>
    of === "negative" && drawn.places.metal
      ? ""
      : t("picture.says_side", {
          side: t(layer_key(of, drawn.places)),
          mean: fixed(100 * now[`mean_${of}`], 0),
          surface: fixed(100 * now[`surface_${of}`], 0),
        });
  element("cell").setAttribute(
    "aria-label",
    t("picture.says", {
      does: t(`meter.${does}`),
      v: fixed(now.voltage, 2),
      negative: side("negative"),
      positive: side("positive"),
      low: num(now.lowest_salt / 1000, 2),
      high: num(now.highest_salt / 1000, 2),
    }),
  );
}
