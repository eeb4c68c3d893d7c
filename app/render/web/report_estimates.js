// Diffusion from measured pulses.

// ---- pulses ----------------------------------------------------------------------------------------------------------

const PULSES_LISTED = 60;

function pulse_diffusion_chart(pulses) {
  const series = [
    ["diffusion in a sphere", "diffusivity_fit", { stroke: "#171c21", filled: true, square: false }],
    ["square-root formula", "diffusivity_square_root", { stroke: "#b05f24", filled: false, square: true }],
  ].map(([label, key, style]) => {
    const some = pulses.filter((one) => part(one[key]).m2_s > 1e-40 && known(one.stoichiometry));
    const y = some.map((one) => number(one[key].m2_s));
    const factor = some.map((one) => Math.max(1, number(one[key].m2_s_within_factor) || 1));
    return {
      label: "",
      name: label,
      x: some.map((one) => one.stoichiometry),
      y,
      low: y.map((value, i) => value / factor[i]),
      high: y.map((value, i) => value * factor[i]),
      kind: "points",
      ...style,
      words: (i) => [
        `pulse ${counted(some[i].number)}: ${label}`,
        `D = ${num(y[i])} m\u00b2/s, within a factor ${num(factor[i], 2)}`,
        `stoichiometry ${num(some[i].stoichiometry)} \u00b1 ${num(some[i].stoichiometry_plus_minus, 2)}`,
      ],
    };
  });
  if (!series.some(drawn)) return null;
  const seen = series.flatMap((one) => [...one.low, ...one.high]).filter((value) => value > 1e-40 && value < 1e10);
  if (!seen.length) return null;
  const range = [Math.min(...seen) / 1.3, Math.max(...seen) * 1.3];
  const x = series.flatMap((one) => one.x);
  const [low, high] = d3.extent(x.concat(pulses.map((one) => one.stoichiometry).filter(known)));
  const room = Math.max(0.02, 0.06 * (high - low));
  // Both methods stand at the same stoichiometry: moved apart by a little, so that their bars do not hide each other.
  const step = 0.006 * (high - low + 2 * room);
  series.forEach((one, i) => (one.x = one.x.map((value) => value + (i ? step : -step))));
  const refused = pulses.filter((one) => one.trusted === false && known(one.stoichiometry));
  const says = `Diffusion coefficient against stoichiometry: ${series
    .filter(drawn)
    .map((one) => `${one.name}, ${one.x.length} pulses`)
    .join("; ")}.`;
  return chart("Diffusion coefficient in the grains", says, (svg, width, live, id) =>
    draw_panes(svg, width, live, id, {
      x: "Stoichiometry",
      x_range: [low - room, high + room],
      key: series.filter(drawn).map((one) => ({ ...one, words: one.name })),
      panes: [
        { y: "D / m\u00b2/s, logarithmic", height: printing ? 220 : 290, lines: series, y_range: range, log: true },
      ],
      below: refused.length
        ? {
            height: 30,
            draw: (g, box, scale) => {
              put(
                g,
                "text",
                { class: "axis-none", x: box.right, y: box.top + 17, "text-anchor": "end" },
                "no D told, see the table",
              );
              for (const one of refused)
                put(g, "path", {
                  class: "cross",
                  d: "M-4.5-4.5L4.5 4.5M-4.5 4.5L4.5-4.5",
                  transform: `translate(${scale(one.stoichiometry)},${box.top + 12})`,
                  stroke: "#8b4a1c",
                });
            },
          }
        : undefined,
    }),
  );
}

function pulse_example_chart(example) {
  const time = numbers(example.time_s);
  const voltage = numbers(example.voltage_V);
  const fitted = numbers(example.fitted_V);
  const from = number(example.fit_from_s);
  const end = number(example.duration_s);
  const long = Math.max(...time.filter(known), 0) > 600;
  const scale = (value) => (long ? value / 60 : value);
  const x = time.map(scale);
  const unit = long ? "min" : "s";
  const words = (i) =>
    [
      `measured ${num(voltage[i], 5)} V`,
      known(fitted[i]) ? `fitted ${num(fitted[i], 5)} V` : "",
      `after ${num(x[i])} ${unit}`,
    ].filter(Boolean);
  // A switch of the current is a jump, which no line should lean across.
  const jumps = time
    .map((_, i) => i)
    .filter((i) => i && time[i - 1] <= end && time[i] >= end)
    .sort((a, b) => Math.abs(voltage[b] - voltage[b - 1]) - Math.abs(voltage[a] - voltage[a - 1]));
  const cut_at_switch = (y, from_there) => {
    const [line_x, line_y] = [[], []];
    x.forEach((value, i) => {
      if (i === jumps[0]) {
        line_x.push(scale(end));
        line_y.push(NaN);
      }
      line_x.push(value);
      line_y.push(from_there && time[i] < from ? NaN : y[i]);
    });
    return [line_x, line_y];
  };
  const [fit_x, fit_y] = cut_at_switch(fitted, true);
  const lines = [
    { label: "", x, y: voltage, kind: "points", stroke: "#8b4a1c", words },
    { label: "", x: fit_x, y: fit_y, kind: "calculated", ...CALCULATED },
  ];
  if (!drawn(lines[0])) return null;
  return chart(
    `One pulse and its fit: number ${counted(example.number)} of ${file_name(example.file)}`,
    "Measured potential over the pulse and the rest after it, with the fit of diffusion in a sphere.",
    (svg, width, live, id) =>
      draw_panes(svg, width, live, id, {
        x: `Time since the pulse began / ${unit}`,
        x_range: [0, Math.max(...x.filter(known))],
        key: [
          { words: "measured", kind: "points", stroke: "#8b4a1c" },
          { words: "diffusion in a sphere", kind: "calculated", ...CALCULATED },
        ],
        edges: [
          ...(known(from) ? [{ at: scale(from), words: "fit from here" }] : []),
          ...(known(end) ? [{ at: scale(end), words: "current off" }] : []),
        ],
        panes: [{ y: "Voltage / V", height: printing ? 200 : 270, lines }],
      }),
  );
}

function pulses_section(pulses, headline) {
  const all = parts(pulses.pulses);
  const method = list(pulses.method).filter(text);
  const shown = all.slice(0, PULSES_LISTED);
  const within = (one) =>
    one.m2_s > 0
      ? `${num(one.m2_s, 2)}${one.m2_s_within_factor > 1 ? ` (\u00d7\u00f7 ${num(one.m2_s_within_factor, 2)})` : ""}`
      : "";
  const at_once = (row) => {
    const jumps = ["on", "off"]
      .map((key) => ({ ohm: number(row[`jump_${key}_ohm_cm2`]), within: number(row[`jump_${key}_within_s`]) }))
      .filter((jump) => known(jump.ohm) && known(jump.within))
      .sort((a, b) => a.within - b.within);
    return jumps.length
      ? `${num(jumps[0].ohm)}${jumps[0].within >= 1e-4 ? ` (in ${seconds_words(jumps[0].within)})` : ""}`
      : "";
  };
  const many = new Set(all.map((one) => one.file)).size > 1;
  const name = (row) => `${many ? `${file_stem(row.file)}, ` : ""}${counted(row.number)}`;
  const remarks = new Map();
  for (const one of all)
    for (const [what, words] of [
      ...list(one.reasons).map((words) => ["no D", words]),
      ...list(one.notes).map((words) => ["", words]),
    ])
      if (text(words)) {
        const line = [what, text(words)].filter(Boolean).join(", ");
        remarks.set(line, [...(remarks.get(line) || []), name(one)]);
      }
  if (!all.length && !text(pulses.headline)) return null;
  return section(
    "Measured pulses",
    text(pulses.headline) && text(pulses.headline) !== headline
      ? el("p", { class: "says" }, rich(pulses.headline))
      : null,
    pulse_diffusion_chart(all),
    pulse_example_chart(part(pulses.example)),
    table(
      "Pulse by pulse",
      [
        { head: "Pulse", tight: true, cell: name },
        {
          head: "Kind",
          cell: (row) =>
            [text(row.direction), row.kind === "interruption" ? "interruption" : ""].filter(Boolean).join(", "),
        },
        { head: "Lasts", numeric: true, cell: (row) => seconds_words(row.duration_s) },
        { head: "Current /\u00a0mA", numeric: true, cell: (row) => num(row.current_mA) },
        {
          head: "Rest before, after /\u00a0V",
          numeric: true,
          cell: (row) => `${num(row.rest_before_V, 4)}, ${num(row.rest_after_V, 4)}`,
        },
        {
          head: "Stoichiometry",
          numeric: true,
          cell: (row) =>
            known(row.stoichiometry)
              ? `${num(row.stoichiometry)}${known(row.stoichiometry_plus_minus) ? ` \u00b1\u00a0${num(row.stoichiometry_plus_minus, 1)}` : ""}`
              : "",
        },
        { head: "D by the sphere /\u00a0m2/s", numeric: true, cell: (row) => within(part(row.diffusivity_fit)) },
        {
          head: "by the square root /\u00a0m2/s",
          numeric: true,
          cell: (row) => within(part(row.diffusivity_square_root)),
        },
        { head: "At once /\u00a0ohm.cm2", numeric: true, cell: at_once },
        { head: "By the fit /\u00a0ohm.cm2", numeric: true, cell: (row) => num(row.fitted_resistance_ohm_cm2) },
      ],
      shown,
    ),
    all.length > shown.length
      ? el("p", { class: "remarks" }, `${all.length - shown.length} further pulses stand in pulses.csv.`)
      : null,
    all.some((one) => part(one.diffusivity_fit).m2_s > 0)
      ? el(
          "p",
          { class: "remarks" },
          "In brackets after D: the factor either way that holds it with 95\u202f%; after a resistance: the time between the two " +
            "rows around the switch of the current.",
        )
      : null,
    remarks.size
      ? bullets(
          [...remarks].map(([line, some]) => `Pulse${some.length > 1 ? "s" : ""} ${some.join(", ")}: ${line}`),
          "remarks",
        )
      : null,
    method.length ? [el("h3", { class: "next" }, "How this was obtained"), bullets(method, "remarks")] : null,
  );
}

/** A time that may be milliseconds or hours. */
function seconds_words(seconds) {
  if (!known(seconds)) return NOTHING;
  if (Math.abs(seconds) < 1) return `${num(1000 * seconds, 2)} ms`;
  if (Math.abs(seconds) < 120) return `${num(seconds, 2)} s`;
  return duration(seconds / 3600);
}
