// Measured curves, and the model laid over them.

// ---- names -----------------------------------------------------------------------------------------------------------

const file_name = (path) => text(path).replace(/^.*[\\/]/, "");
const file_stem = (path) => file_name(path).replace(/\.[A-Za-z]\w*$/, "");

/** C/10, 0.5C, 2C: a measured current is never exactly a rate, so the nearest common one within 1.5 %. */
function near_rate(c_rate) {
  if (!known(c_rate) || c_rate <= 0) return "";
  const near = (value) => Math.abs(value / c_rate - 1) < 0.015;
  const parts_of = Math.round(1 / c_rate);
  if (parts_of > 1 && near(1 / parts_of)) return `C/${parts_of}`;
  const two = Number(c_rate.toPrecision(2));
  return `${near(two) ? two : Number(c_rate.toPrecision(3))}C`;
}

const millivolts = (value, digits = 3) => (known(value) ? `${num(value, digits)} mV` : NOTHING);
const counted = (value) => (known(value) ? String(value) : NOTHING);
const signed = (value, digits = 3) => (known(value) && value > 0 ? `+${num(value, digits)}` : num(value, digits));
/** What is to be typed stands between backticks, and is quoted. */
const plain_words = (words) => text(words).replace(/`([^`]*)`/g, "\u201c$1\u201d");
const is_sweep = (step) => /^(charge|discharge)$/.test(text(step.kind));

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

// ---- the model over measured curves ----------------------------------------------------------------------------------

/** All steps with their names; where two share a rate, the file tells them apart. */
function overlaid_steps(overlay) {
  const runs = parts(overlay.runs);
  const steps = runs.flatMap((run) => parts(run.steps).map((step) => ({ ...step, file: text(run.file) })));
  const rate = (step) => (is_sweep(step) ? near_rate(step.c_rate) : text(step.kind));
  for (const step of steps) {
    step.rate = rate(step);
    const twins = steps.filter((other) => other.kind === step.kind && rate(other) === step.rate);
    const marks = [
      twins.some((other) => other.file !== step.file) ? file_stem(step.file) : "",
      twins.filter((other) => other.file === step.file).length > 1 ? `step ${counted(step.step)}` : "",
    ].filter(Boolean);
    step.short = [step.rate, ...marks].join(", ") + (step.trusted === false ? " (?)" : "");
    step.title = [is_sweep(step) ? `${text(step.kind)} at ${step.rate}` : step.rate, ...marks].join(", ");
  }
  return steps;
}

const trace_of = (step, key) => numbers(part(step.trace)[key]);

/** Charges and discharges worth a curve: a cycler's change of mode may leave steps of a row or two. */
function sweeps(steps) {
  const most = Math.max(
    ...steps
      .filter(is_sweep)
      .map((step) => number(step.capacity_mAh))
      .filter(known),
  );
  return steps.filter(
    (step) => is_sweep(step) && step.capacity_mAh > 0.01 * most && trace_of(step, "measured_V").length > 2,
  );
}

const CURVES_TOGETHER = 8;

function overlay_panels(steps, half_cell) {
  const voltage = half_cell ? "Voltage against lithium / V" : "Voltage / V";
  return SENSES.map(([sense, title]) => {
    const some = sweeps(steps)
      .filter((step) => text(step.kind) === sense)
      .sort(by_rate);
    if (!some.length) return null;
    const shown = some.slice(0, CURVES_TOGETHER);
    const curves = shown.map((step) => ({
      label: step.short,
      title: step.title,
      x: trace_of(step, "capacity_mAh"),
      x_unit: "mAh",
      measured: trace_of(step, "measured_V"),
      model: trace_of(step, "model_V"),
      residual: trace_of(step, "residual_mV"),
    }));
    const says = shown.map((step) => `${step.title}: ${millivolts(step.rms_mV)} rms`).join("; ");
    return [
      compared_chart(curves, {
        title: `${title}: measured and calculated`,
        says: `Voltage against capacity, and calculated minus measured. ${says}.`,
        x: "Capacity / mAh",
        voltage,
      }),
      some.length > shown.length
        ? el("p", { class: "remarks" }, `${some.length - shown.length} further steps stand in curves.csv.`)
        : null,
    ];
  });
}

const RUNS_SHOWN = 6;

/** The whole run against time, where it is more than one charge or discharge. */
function overlay_runs(overlay, half_cell) {
  const mixed = parts(overlay.runs).filter((run) => parts(run.steps).length > 1);
  return mixed.slice(0, RUNS_SHOWN).map((run) => {
    const steps = parts(run.steps);
    const joined = (key) => steps.flatMap((step, i) => (i ? [NaN] : []).concat(trace_of(step, key)));
    const time = joined("time_h");
    const hours = Math.max(...time.filter(known)) >= 1;
    const scale = (value) => (hours ? value : 60 * value);
    return compared_chart(
      [
        {
          label: "",
          title: "",
          x: time.map(scale),
          x_unit: hours ? "h" : "min",
          measured: joined("measured_V"),
          model: joined("model_V"),
          residual: joined("residual_mV"),
        },
      ],
      {
        title: `The whole record: ${file_name(run.file)}`,
        says: `Voltage against time over ${steps.length} steps: ${steps.map((step) => text(step.kind)).join(", ")}.`,
        x: hours ? "Time / h" : "Time / min",
        voltage: half_cell ? "Voltage against lithium / V" : "Voltage / V",
        edges: steps
          .map((step) => {
            const at = trace_of(step, "time_h").filter(known);
            return {
              at: scale(at[0]),
              to: scale(at[at.length - 1]),
              words: [is_sweep(step) ? near_rate(step.c_rate) : "", text(step.kind)].filter(Boolean).join(" "),
            };
          })
          .filter((edge) => known(edge.at)),
      },
    );
  });
}

/** Model, one resistance and other cells beside each other. */
function yardstick_chart(steps, overlay) {
  const rows = steps.filter(
    (step) => is_sweep(step) && known(step.model_rms_there_mV) && known(step.resistance_rms_mV),
  );
  const between = steps.some((step) => known(step.between_cells_rms_mV));
  if (!rows.length) return null;
  const resistance = part(overlay.resistance);
  const kinds = [
    { words: "the model", mark: 0 },
    { words: "the slow curve less one resistance", mark: 1 },
    ...(between ? [{ words: "other cells, same test", mark: 7 }] : []),
  ];
  const groups = rows.map((step) => ({
    name: step.short,
    bars: [
      { kind: 0, size: step.model_rms_there_mV, words: millivolts(step.model_rms_there_mV, 2) },
      {
        kind: 1,
        size: step.resistance_rms_mV,
        words: `${millivolts(step.resistance_rms_mV, 2)}${step.resistance_fitted_here ? ", fitted here" : ""}`,
      },
      ...(known(step.between_cells_rms_mV)
        ? [{ kind: 2, size: step.between_cells_rms_mV, words: millivolts(step.between_cells_rms_mV, 2) }]
        : []),
    ],
  }));
  const judged = rows.filter((step) => step.resistance_fitted_here !== true);
  const better = judged.filter((step) => step.model_rms_there_mV < step.resistance_rms_mV);
  const named = (some) => some.map((step) => step.short.replace(/ \(\?\)$/, "")).join("; ");
  const worse = judged.filter((step) => !better.includes(step));
  const says = [
    known(resistance.ohm)
      ? `The yardstick needs no model: the measured ${text(resistance.slow)}, shifted by one resistance of ` +
        `${num(resistance.ohm)} ohm that was fitted to the ${text(resistance.fitted_to)}.`
      : "The yardstick needs no model: the slow curve, shifted by one constant resistance.",
    "Both are compared from 2 to 95 % of the capacity; shorter is better.",
    better.length ? `The model knows more than one resistance at ${named(better)}.` : "",
    worse.length ? `It knows no more than one resistance at ${named(worse)}.` : "",
  ]
    .filter(Boolean)
    .join(" ");
  return section(
    "Does the model know more than one resistance?",
    el("p", { class: "says" }, rich(says)),
    chart(
      "Distance from the measured curve (rms), from 2 to 95\u202f% of the capacity",
      `${says} ${rows
        .map(
          (step) =>
            `${step.title}: model ${millivolts(step.model_rms_there_mV)}, resistance ${millivolts(step.resistance_rms_mV)}`,
        )
        .join("; ")}.`,
      (svg, width, live, id) => draw_groups(svg, width, id, "mV", kinds, groups),
    ),
  );
}

const DERIVATIVES_SHOWN = 5;

function derivative_section(steps, smoothing) {
  const some = sweeps(steps)
    .filter((step) => Object.keys(part(step.measured_derivatives)).length)
    .sort(by_rate);
  const shown = some.slice(0, DERIVATIVES_SHOWN);
  const panel = (step, name, x_key, spec) => {
    const line = (which, style, label) => {
      const d = part(part(step[`${which}_derivatives`])[name]);
      // Where rows lie wider apart than the smoothing reaches there is no value: drawn straight across.
      const rows = numbers(d.value)
        .map((value, i) => [number(list(d[x_key])[i]), value])
        .filter((row) => row.every(known));
      const [x, y] = [0, 1].map((k) => rows.map((row) => row[k]));
      return { label: "", x, y, ...style, words: (i) => [label, `${num(y[i])} ${spec.unit}`, `at ${spec.at(x[i])}`] };
    };
    const lines = [
      line("measured", { ...MEASURED, kind: "measured" }, "measured"),
      line("model", { ...CALCULATED, kind: "calculated" }, "calculated"),
    ];
    if (!lines.some(drawn)) return null;
    const range = nice_range(spec.range(lines.filter(drawn)));
    const reach = domain(values([lines.find(drawn)], "x"));
    return chart(`${sentence_case(step.title)}`, `${spec.says}, measured and calculated.`, (svg, width, live, id) =>
      draw_panes(svg, width, live, id, {
        x: spec.x,
        x_range: reach,
        key: MEASURED_KEY,
        panes: [{ y: spec.y, height: printing ? 150 : 210, lines, y_range: range }],
      }),
    );
  };
  const panels = shown.flatMap((step) => [
    panel(step, "dQ_dV", "voltage_V", {
      x: "Voltage / V",
      y: "dQ/dV / mAh/V",
      unit: "mAh/V",
      says: "dQ/dV against voltage",
      at: (value) => `${num(value, 4)} V`,
      range: (lines) => {
        const [measured, all] = [values(lines.slice(0, 1), "y"), values(lines, "y")];
        return [Math.min(0, ...measured), Math.min(1.5 * Math.max(...measured), 1.03 * Math.max(...all))];
      },
    }),
    panel(step, "dV_dQ", "capacity_mAh", {
      x: "Capacity / mAh",
      y: "dV/dQ / mV/mAh",
      unit: "mV/mAh",
      says: "dV/dQ against capacity",
      at: (value) => `${num(value, 4)} mAh`,
      // The ends rise without limit; between them lie the features that tell the electrodes apart.
      range: (lines) => {
        const { x, y } = lines[0];
        const [from, to] = d3.extent(x.filter(known));
        const middle = y.filter((_, i) => x[i] > from + 0.06 * (to - from) && x[i] < to - 0.12 * (to - from));
        const [low, high] = d3.extent(middle.filter(known));
        return [Math.min(0, low), 1.5 * high];
      },
    }),
  ]);
  if (!panels.some(Boolean)) return null;
  const mV = number(smoothing.voltage_mV);
  const share = number(smoothing.capacity_percent);
  return section(
    "Derivatives, where the stages of the electrodes show",
    el(
      "p",
      { class: "says" },
      rich(
        "A peak of dQ/dV is a plateau of the voltage; a peak of dV/dQ the step between two plateaus. Peaks at other places " +
          "than measured: the balance of the electrodes or their potentials differ. Peaks at the right place but of another " +
          `height or width: kinetics or mixed grains.${
            known(mV) && known(share)
              ? ` Both lines are smoothed alike, by a triangle of ${num(mV)} mV and of ${num(share, 2)} % of the capacity to either side.`
              : ""
          }`,
      ),
    ),
    el("div", { class: "panels two" }, panels),
    some.length > shown.length
      ? el(
          "p",
          { class: "remarks" },
          `${some.length - shown.length} faster steps are not drawn; they stand in summary.json.`,
        )
      : null,
  );
}

function overlay_sections(overlay, half_cell) {
  const steps = overlaid_steps(overlay);
  if (!steps.length) return [];
  const runs = parts(overlay.runs);
  const by_kind = steps.slice().sort((a, b) => is_sweep(b) - is_sweep(a) || by_rate(a, b));
  const mV = (head, key, digits = 3) => ({
    head,
    numeric: true,
    cell: (row) => (row.rows_compared === 0 ? NOTHING : num(row[key], digits)),
  });
  const remarks = steps.map((step) => {
    const left = step.rows - step.rows_compared;
    const said = [
      step.trusted === false ? "outside the range in which this calculation can be trusted" : "",
      text(step.note),
      text(step.model_ended_by) ? `the model ends before the measurement does (${text(step.model_ended_by)})` : "",
      left > 0 ? `${left} of ${step.rows} rows lie beyond the model and are not compared` : "",
    ].filter(Boolean);
    return said.length
      ? sentence_case(`${step.title}${step.trusted === false ? " (?)" : ""}: ${said.join("; ")}.`)
      : "";
  });
  return [
    section(
      "Measured and calculated",
      el(
        "p",
        { class: "says" },
        rich(
          `The model was driven by ${
            text(overlay.driven_by) === "measured current"
              ? "the current that was measured, moment by moment"
              : `the ${text(overlay.driven_by) || "measured current"}`
          }. Below each plot: calculated minus measured.`,
        ),
      ),
      ...overlay_panels(steps, half_cell).flat(),
      remarks.some(Boolean) ? bullets(remarks.filter(Boolean), "remarks") : null,
    ),
    text(overlay.why)
      ? section("Why the fast rate gives less", el("p", { class: "says" }, rich(plain_words(overlay.why))))
      : null,
    yardstick_chart(steps.slice().sort(by_rate), overlay),
    runs.some((run) => parts(run.steps).length > 1)
      ? section("The whole record against time", ...overlay_runs(overlay, half_cell))
      : null,
    derivative_section(steps, part(overlay.smoothing)),
    section(
      "The comparison in numbers",
      table(
        "Step by step: calculated minus measured, weighted with time",
        [
          { head: "Step", tight: true, cell: (row) => row.title + (row.trusted === false ? " (?)" : "") },
          { head: "Temperature /\u00a0degC", numeric: true, cell: (row) => num(row.temperature_degC) },
          mV("rms /\u00a0mV", "rms_mV"),
          mV("mean /\u00a0mV", "mean_mV", 2),
          mV("largest /\u00a0mV", "largest_mV"),
          {
            head: "Capacity measured /\u00a0mAh",
            numeric: true,
            cell: (row) => (is_sweep(row) ? num(row.capacity_mAh, 4) : ""),
          },
          { head: "predicted /\u00a0mAh", numeric: true, cell: (row) => num(row.model_capacity_mAh, 4) },
        ],
        by_kind,
      ),
      table(
        "From 2 to 95 % of the capacity: rms distance from the measured curve",
        [
          { head: "Step", tight: true, cell: (row) => row.title },
          { head: "The model /\u00a0mV", numeric: true, cell: (row) => num(row.model_rms_there_mV) },
          {
            head: "The slow curve less one resistance /\u00a0mV",
            numeric: true,
            cell: (row) =>
              known(row.resistance_rms_mV)
                ? `${num(row.resistance_rms_mV)}${row.resistance_fitted_here ? " (fitted)" : ""}`
                : "",
          },
          { head: "Other cells, same test /\u00a0mV", numeric: true, cell: (row) => num(row.between_cells_rms_mV) },
        ],
        by_kind.filter((row) => known(row.model_rms_there_mV) || known(row.between_cells_rms_mV)),
      ),
      table(
        "How the records were understood",
        [
          { head: "File", cell: (row) => file_name(row.file) },
          { head: "Begins", cell: (row) => text(row.start) },
          { head: "Rows read", numeric: true, cell: (row) => counted(row.rows_read) },
          { head: "left out", numeric: true, cell: (row) => counted(row.rows_left_out) },
          { head: "compared", numeric: true, cell: (row) => counted(row.rows_compared) },
          { head: "beyond the model", numeric: true, cell: (row) => counted(row.rows_beyond_the_model) },
          {
            head: "Temperature",
            cell: (row) => ({ true: "as measured", false: "as in the sheet" })[row.temperature_measured] || "",
          },
        ],
        runs,
      ),
    ),
  ].filter(Boolean);
}
