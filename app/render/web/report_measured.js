// Measured curves, and the model laid over them.

// ---- names -----------------------------------------------------------------------------------------------------------

const file_name = (path) => text(path).replace(/^.*[\\/]/, "");
const file_stem = (path) => file_name(path).replace(/\.[A-Za-z]\w*$/, "");

const counted = (value) => (known(value) ? String(value) : NOTHING);
const signed = (value, digits = 3) => (known(value) && value > 0 ? `+${num(value, digits)}` : num(value, digits));

/** Where values are cut off at the edge of a pane, how far they go. */
function beyond_note(lines, [low, high], unit) {
  const all = values(lines.filter(drawn), "y");
  const [least, most] = d3.extent(all);
  const said = [];
  if (least < low) said.push(`down to ${num(least, 2)}`);
  if (most > high) said.push(`up to ${num(most, 2)}`);
  return said.length ? `beyond this scale: ${said.join(", ")} ${unit}` : "";
}

const nice_range = (range) => d3.scaleLinear(range, [0, 1]).nice(5).domain();
/** Without the ends, where the voltage is steep and a small shift in charge makes a large residual. */
function without_ends(line) {
  const [from, to] = d3.extent(values([line], "x"));
  return line.y.filter(
    (value, i) => known(value) && line.x[i] > from + 0.02 * (to - from) && line.x[i] < to - 0.1 * (to - from),
  );
}
const residual_pane = (lines, height) => {
  const core = lines.filter(drawn).flatMap(without_ends);
  const range = nice_range(robust_range(core.length ? core : values(lines.filter(drawn), "y"), [0], 0.95, 1.15));
  return {
    y: "Calculated \u2212 measured / mV",
    height,
    lines,
    y_range: range,
    zero: true,
    note: beyond_note(lines, range, "mV"),
  };
};

const MEASURED_KEY = [
  { words: "measured", kind: "measured", ...MEASURED },
  { words: "calculated", kind: "calculated", ...CALCULATED },
];

/** The measured and the calculated line of one curve, and their difference. */
function compared_lines(one, light, dash) {
  const words = (i) =>
    [
      one.title,
      `measured ${num(one.measured[i], 4)} V, calculated ${num(one.model[i], 4)} V`,
      `difference ${signed(one.residual[i])} mV`,
      `at ${num(one.x[i], 4)} ${one.x_unit}`,
    ].filter(Boolean);
  return {
    voltage: [
      { label: one.label, x: one.x, y: one.measured, stroke: light, ink: INK, kind: "measured", words },
      { label: "", x: one.x, y: one.model, stroke: "#171c21", dash, kind: "calculated", words },
    ],
    residual: { label: one.label, x: one.x, y: one.residual, stroke: INK, dash, kind: "plain thin", words },
  };
}

/** Voltage and residuals of several curves over one axis. spec: {title, says, x, voltage, edges}. */
function compared_chart(curves, spec) {
  const lights = measured_styles(curves.length);
  const lines = curves.map((one, i) => compared_lines(one, lights[i].stroke, lights[i].dash));
  const voltage = lines.flatMap((pair) => pair.voltage);
  const residual = lines.map((pair) => pair.residual);
  if (!voltage.some(drawn)) return null;
  // As far as was measured: a calculated line that falls on below the cut-off would flatten all the rest.
  const [least, most] = domain(
    values(
      voltage.filter((line) => line.kind === "measured" && drawn(line)),
      "y",
    ),
  );
  const range = [least - 0.06 * (most - least), most + 0.06 * (most - least)];
  return chart(spec.title, spec.says, (svg, width, live, id) => {
    const tall = Math.max(230, Math.min(printing ? 250 : 360, width * 0.5));
    return draw_panes(svg, width, live, id, {
      x: spec.x,
      x_range: domain(values(voltage.filter(drawn), "x"), [0]),
      key: MEASURED_KEY,
      edges: spec.edges,
      panes: [
        { y: spec.voltage || "Voltage / V", height: tall, lines: voltage, y_range: range },
        ...(residual.some(drawn) ? [residual_pane(residual, Math.round(tall * 0.48))] : []),
      ],
    });
  });
}
