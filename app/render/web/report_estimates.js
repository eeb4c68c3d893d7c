// Estimates from measured curves, and diffusion from measured pulses.

// ---- estimates -------------------------------------------------------------------------------------------------------

const estimate_words = (row, value, digits = 3) => (known(value) ? `${num(value, digits)}` : NOTHING);
function interval_words(row) {
  const low =
    row.lower_open === true && row.lower !== 0 ? `< ${estimate_words(row, row.lower)}` : estimate_words(row, row.lower);
  return `${low} to ${estimate_words(row, row.upper)}${row.upper_open === true ? " or more" : ""}`;
}

/** "contact resistance / ohm.cm2" */
const quantity_words = (row) =>
  `${(text(row.label) || text(row.name)).replace(/\^2/g, "\u00b2")}${text(row.unit) ? ` /\u00a0${unbroken(row.unit)}` : ""}`;

const NARROW = 2; // estimates whose interval spans less than this factor share a chart of their own

function interval_charts(rows) {
  const ratios = rows
    .filter((row) => number(row.before) > 0 && number(row.estimate) > 0)
    .map((row) => {
      const over = (value) => number(value) / row.before;
      return {
        name: text(row.name),
        estimate: over(row.estimate),
        lower: over(row.lower),
        upper: over(row.upper),
        lower_open: row.lower_open === true,
        upper_open: row.upper_open === true,
        linear_lower: over(row.linear_lower),
        linear_upper: over(row.linear_upper),
        faint: row.told === false,
        linear: row.logarithmic === false,
        words: [
          text(row.label) || text(row.name),
          `${estimate_words(row, row.estimate)} ${printed(row.unit)}`,
          `95\u202f%: ${interval_words(row)}`,
        ],
      };
    });
  const tight = (row) => !row.lower_open && !row.upper_open && row.lower > 0 && row.upper < NARROW * row.lower;
  return [
    ["Told closely", ratios.filter(tight)],
    ["Told less closely", ratios.filter((row) => !tight(row) && !row.linear)],
    ["Told less closely, linear scale", ratios.filter((row) => !tight(row) && row.linear)],
  ]
    .filter(([, some]) => some.length)
    .map(([title, some], _, all) =>
      chart(
        all.length > 1 ? title : "",
        `${title}: ${some.map((row) => `${row.name} ${num(row.estimate)} times the sheet's value`).join("; ")}.`,
        (svg, width, live) =>
          draw_intervals(
            svg,
            width,
            live,
            some,
            some.every((row) => row.linear && !tight(row)),
          ),
      ),
    );
}

function correlation_section(correlation) {
  const names = list(correlation.names).map(text);
  const matrix = list(correlation.matrix);
  if (names.length < 2 || matrix.length !== names.length) return null;
  const strong = names.flatMap((name, i) =>
    names
      .slice(0, i)
      .map((other, j) => ({ pair: `${other} and ${name}`, value: number(list(matrix[i])[j]) }))
      .filter((one) => Math.abs(one.value) > 0.9),
  );
  const says =
    "Near +1 or \u22121, the curves tell a combination of two values and not each of them. " +
    (strong.length
      ? `So it is for ${strong.map((one) => `${one.pair} (${fixed(one.value, 2)})`).join("; ")}.`
      : "No two are tied that closely here.");
  return section(
    "Which estimates hang together",
    el("p", { class: "says" }, rich(says)),
    chart("Correlation of the estimates", says, (svg, width) => draw_correlations(svg, width, names, matrix)),
  );
}

function fitted_curves(curves) {
  return curves.map((curve) => {
    const trace = part(curve.trace);
    const charge = numbers(trace.charge_mAh);
    const one_way = charge.every((value, i) => !i || !(Math.abs(value) < Math.abs(charge[i - 1]) - 1e-9));
    const time = numbers(trace.time_h);
    const name = file_stem(curve.file);
    const shared = {
      label: name,
      title: file_name(curve.file),
      measured: numbers(trace.measured_V),
      model: numbers(trace.model_V),
      residual: numbers(trace.residual_mV),
    };
    return one_way && charge.some((value) => value !== 0)
      ? { ...shared, x: charge.map(Math.abs), x_unit: "mAh" }
      : { ...shared, x: time, x_unit: "h" };
  });
}

function potential_panels(potentials) {
  return potentials.map((one) => {
    const x = numbers(one.stoichiometry);
    const y = numbers(one.correction_mV);
    const deviation = numbers(one.standard_deviation_mV);
    const line = {
      label: "",
      x,
      y,
      kind: "plain",
      ...CALCULATED,
      words: (i) => [`${signed(y[i])} mV`, `\u00b1 ${num(2 * deviation[i], 2)} mV`, `at stoichiometry ${num(x[i])}`],
    };
    if (!drawn(line)) return null;
    const low = y.map((value, i) => value - 2 * deviation[i]);
    const high = y.map((value, i) => value + 2 * deviation[i]);
    const range = nice_range(domain([...low, ...high].filter(known), [0]));
    return chart(
      text(one.name),
      "Correction of the potential of the card against stoichiometry, with two standard deviations.",
      (svg, width, live, id) =>
        draw_panes(svg, width, live, id, {
          x: "Stoichiometry",
          key: [
            { words: "correction", kind: "plain", ...CALCULATED },
            { words: "two standard deviations", kind: "area", paint: "#dfe4e6" },
          ],
          panes: [
            {
              y: "Added to the card / mV",
              height: printing ? 170 : 230,
              lines: [line],
              areas: [{ x, low, high }],
              y_range: range,
              zero: true,
            },
          ],
        }),
    );
  });
}

function fit_sections(fit, half_cell) {
  const rows = parts(fit.parameters);
  const curves = parts(fit.curves);
  const sketched = fitted_curves(curves);
  const told = rows.filter((row) => row.told === true);
  const untold = list(fit.untold).filter(text);
  const advice = list(fit.advice).filter(text);
  const tests = parts(fit.further_tests);
  const notes = list(fit.notes).filter(text);
  const narrowed = rows.filter((row) => tests.some((test) => known(part(test.narrower)[text(row.name)])));
  const search = [
    fit.converged === false ? "The search has not settled: distrust the intervals." : "",
    known(fit.starts) && known(fit.starts_agreeing)
      ? fit.starts > 1
        ? `${fit.starts_agreeing} of ${fit.starts} starts arrive at the same minimum.`
        : "The search began from the sheet alone; more starts would tell whether there is another minimum."
      : "",
    text(fit.ended_by) ? `It ended because ${text(fit.ended_by)}.` : "",
    known(fit.independent_points) && known(fit.noise_mV)
      ? `Neighbouring points repeat each other: they count as ${num(fit.independent_points, 2)} independent ones of ` +
        `${num(fit.noise_mV, 2)} mV.`
      : "",
  ]
    .filter(Boolean)
    .join(" ");
  const groups = [
    ["mAh", "Charge passed / mAh"],
    ["h", "Time / h"],
  ];
  const says =
    told.length && told.length === rows.length
      ? "The curves tell each of these values better than by order of magnitude."
      : told.length
        ? `The curves tell ${told.length} of ${rows.length} values better than by order of magnitude; the others stand with open dots.`
        : "The curves tell none of these values better than by order of magnitude.";
  return [
    rows.length
      ? section(
          "The estimates",
          el("p", { class: "says" }, rich(says)),
          fit.converged === false ? el("p", { class: "says" }, el("strong", {}, search)) : null,
          table(
            "Estimates, with the interval that holds the value with 95 %",
            [
              { head: "Quantity", cell: quantity_words },
              { head: "Called", cell: (row) => text(row.name) },
              { head: "Sheet", numeric: true, cell: (row) => estimate_words(row, row.before) },
              { head: "Estimate", numeric: true, cell: (row) => estimate_words(row, row.estimate) },
              { head: "95 % interval", numeric: true, cell: interval_words },
              { head: "Known before", numeric: true, cell: (row) => percent(row.share_known_before, 2) },
              {
                head: "Remark",
                cell: (row) =>
                  [text(row.remark), row.at_bound === true ? "at the edge of its range" : ""]
                    .filter(Boolean)
                    .join("; "),
              },
            ],
            rows,
          ),
          el(
            "p",
            { class: "remarks" },
            "Known before: how much of what is now known the sheet's own spread brings. Diffusion times and exchange current " +
              "densities are those at 25\u202f\u00b0C and half filling.",
          ),
          notes.length ? bullets(notes, "remarks") : null,
          ...interval_charts(rows),
          el(
            "p",
            { class: "remarks" },
            "Dot: the estimate, open where the curves tell only its order of magnitude. Bar: 95\u202f% interval; an arrow where it " +
              "goes on. Thin line below: the interval if the model were linear. Upright line: the sheet.",
          ),
        )
      : null,
    sketched.some((one) => drawn({ x: one.x, y: one.measured }))
      ? section(
          "The fitted curves",
          ...groups.map(([unit, title]) => {
            const some = sketched.filter((one) => one.x_unit === unit);
            return some.length
              ? compared_chart(some, {
                  title: "",
                  says: `Measured and calculated voltage, and their difference: ${some.map((one) => one.title).join(", ")}.`,
                  x: title,
                  voltage: half_cell ? "Voltage against lithium / V" : "Voltage / V",
                })
              : null;
          }),
          table(
            "How well each curve is met: calculated minus measured",
            [
              { head: "File", cell: (row) => file_name(row.file) },
              { head: "rms /\u00a0mV", numeric: true, cell: (row) => num(row.rms_mV) },
              { head: "mean /\u00a0mV", numeric: true, cell: (row) => num(row.mean_mV, 2) },
              { head: "largest /\u00a0mV", numeric: true, cell: (row) => num(row.largest_mV) },
              { head: "Rows read", numeric: true, cell: (row) => counted(row.rows_read) },
              { head: "left out", numeric: true, cell: (row) => counted(row.rows_left_out) },
              { head: "compared", numeric: true, cell: (row) => counted(row.points) },
              {
                head: "independent",
                numeric: true,
                cell: (row) => (row.correlation_points > 0 ? num(row.points / row.correlation_points, 2) : NOTHING),
              },
              { head: "Begins", cell: (row) => text(row.start) },
            ],
            curves,
          ),
          search && fit.converged !== false ? el("p", { class: "remarks" }, rich(search)) : null,
        )
      : null,
    parts(fit.potentials).length
      ? section(
          "The corrected potential",
          el(
            "p",
            { class: "says" },
            "The shape of the potential was left free to follow the curves. Where the band holds zero, the card's own " +
              "potential would do as well.",
          ),
          ...potential_panels(parts(fit.potentials)),
        )
      : null,
    correlation_section(part(fit.correlation)),
    untold.length || advice.length || narrowed.length
      ? section(
          "What these curves do not tell, and what would",
          untold.length ? [el("h3", {}, "Not told by the curves alone"), bullets(untold)] : null,
          advice.length
            ? [
                el("h3", { class: "next" }, "What to measure next, by the sensitivities of this very model"),
                bullets(advice),
              ]
            : null,
          table(
            "How many times narrower each interval would become",
            [
              { head: "Estimate", tight: true, cell: (row) => text(row.name) },
              ...tests.map((test) => ({
                head: text(test.test),
                numeric: true,
                cell: (row) => {
                  const factor = number(part(test.narrower)[text(row.name)]);
                  return known(factor) ? num(factor, 2) : "";
                },
              })),
            ],
            narrowed,
          ),
        )
      : null,
  ].filter(Boolean);
}

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
