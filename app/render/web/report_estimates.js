// Estimates from measured curves.

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
