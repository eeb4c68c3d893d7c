// The sections of the report, and the page. Charts are drawn again when the width changes and before printing.

// ---- the highest charge rate -----------------------------------------------------------------------------------------

const sentence_case = (words) => words.charAt(0).toUpperCase() + words.slice(1);
const is_rate = (rate) => known(rate) && rate >= 0;

/** What is to be measured next, the largest gain first. */
const ranked = (ceiling) =>
  parts(ceiling.unknowns)
    .filter((one) => text(one.text) || text(one.path))
    .map((one) => ({
      text: text(one.text) || text(one.path),
      value: text(one.value),
      rate: number(one.c_rate_if_known),
      gain: number(one.gain_percent),
    }))
    .filter((one) => known(one.gain))
    .sort((a, b) => b.gain - a.gain);

const window_words = (ceiling) => {
  const [from, to] = numbers(ceiling.soc);
  return known(from) && known(to) ? `from ${soc_words(from)} to ${soc_words(to)} state of charge` : "";
};

function confidence_words(ceiling) {
  const said = [];
  if (known(ceiling.confidence) && ceiling.c_rate > 0)
    said.push(
      ceiling.samples > 0
        ? `${share_words(ceiling.confidence)} of ${ceiling.samples} plausible cells keep every limit at this rate.`
        : `${share_words(ceiling.confidence)} of the plausible cells keep every limit at this rate.`,
    );
  if (text(ceiling.statement)) said.push(text(ceiling.statement));
  if (ceiling.unsolved > 0)
    said.push(`${ceiling.unsolved} of ${known(ceiling.samples) ? ceiling.samples : "them"} could not be calculated.`);
  return said.join(" ");
}

function comparison_words(ceiling) {
  const said = [];
  if (is_rate(ceiling.nominal_c_rate))
    said.push(`${c_words(ceiling.nominal_c_rate)} for the cell as it stands in the sheet`);
  if (is_rate(ceiling.median_c_rate))
    said.push(`${c_words(ceiling.median_c_rate)} for the middle one of the plausible cells`);
  if (is_rate(ceiling.even_c_rate))
    said.push(`${c_words(ceiling.even_c_rate)} if the reaction were spread evenly over the layer`);
  if (is_rate(ceiling.plain_c_rate))
    said.push(`${c_words(ceiling.plain_c_rate)} by the plain model, which leaves out salt and layer`);
  return said.length ? `${said.join("; ")}.` : "";
}

/** The number, and what it rests on. */
function answer_section(ceiling, headline) {
  const own = text(ceiling.headline) && text(ceiling.headline) !== headline ? text(ceiling.headline) : "";
  const rate = number(ceiling.c_rate);
  const next = ranked(ceiling).find((one) => one.gain > 0);
  const facts = [
    ["How sure", confidence_words(ceiling)],
    ["What limits it", sentence_case([text(ceiling.limited_by), text(ceiling.where)].filter(Boolean).join(", "))],
    [
      "What to measure next",
      next
        ? `${sentence_case(next.text)}${next.value ? `, now ${next.value}` : ""}. Known exactly, it would allow ` +
          `${known(next.rate) ? c_words(next.rate) : "more"} (+${num(next.gain, 2)}\u202f%).`
        : "",
    ],
    ["For comparison", comparison_words(ceiling)],
  ].filter(([, words]) => words);
  const figure = is_rate(rate)
    ? el(
        "div",
        { class: "figure" },
        el("strong", {}, rate > 0 ? c_words(rate) : "none"),
        rate > 0 && known(ceiling.current_mA) ? el("span", {}, `${num(ceiling.current_mA)} mA`) : null,
        rate > 0 && known(ceiling.minutes)
          ? el(
              "span",
              {},
              `${minutes_words(ceiling.minutes)}${window_words(ceiling) ? `, ${window_words(ceiling)}` : ""}`,
            )
          : null,
      )
    : null;
  if (!own && !figure && !facts.length) return null;
  return section(
    "Highest sensible charge rate",
    own ? el("p", { class: "headline" }, rich(own)) : null,
    figure || facts.length
      ? el(
          "div",
          { class: "answer" },
          figure,
          facts.length
            ? el(
                "dl",
                {},
                facts.map(([what, words]) => el("div", {}, el("dt", {}, what), el("dd", {}, rich(words)))),
              )
            : null,
        )
      : null,
  );
}

function path_section(path, ceiling, half_cell) {
  const soc = numbers(path.soc).map((value) => 100 * value);
  const voltage = numbers(path.voltage_V);
  const electrode = half_cell ? "electrode" : "negative";
  const line = (label, key, style) => {
    const y = numbers(path[key]);
    return {
      label,
      x: soc,
      y,
      ...style,
      words: (i) => [label, `${num(1000 * y[i])} mV at ${num(soc[i], 2)}\u202f%`, `cell ${num(voltage[i], 4)} V`],
    };
  };
  const lines = [
    line("at the separator side", "separator_side_V", { stroke: "#171c21", dash: null }),
    line("if the reaction were even", "even_separator_side_V", { stroke: "#b05f24", dash: "6 4" }),
  ];
  const margin = number(path.margin_V);
  const upper = number(path.upper_voltage_V);
  const rate = known(path.c_rate) ? path.c_rate : number(ceiling.c_rate);
  const panels = [];
  let says = "";
  if (drawn(lines[0])) {
    const at = lines[0].y.reduce((best, value, i, all) => (!(all[best] <= value) && known(value) ? i : best), 0);
    const lowest = lines[0].y[at];
    says =
      `Below 0 V against lithium, metal can deposit on the ${electrode}, first at the side that faces the separator. ` +
      `Lowest there${rate > 0 ? ` at ${c_words(rate)}` : ""}: ${num(1000 * lowest, 2)} mV, at ${num(soc[at], 2)}\u202f% ` +
      `state of charge${known(margin) ? `; ${num(1000 * margin, 2)} mV are to be kept` : ""}.`;
    const height = Math.min(values(lines, "y").length ? Math.max(...values(lines, "y")) : 0.2, 0.25);
    panels.push(
      chart(`The ${electrode} against lithium`, says, (svg, width, live, id) =>
        draw_lines(svg, width, live, id, {
          lines,
          x: "State of charge / %",
          y: "Potential at the separator side / V",
          names: "right",
          x_from: 0,
          y_include: [Math.min(-0.05, 1.2 * Math.min(...values(lines.filter(drawn), "y"))), height],
          y_most: height,
          height: printing ? 270 : 340,
          zones: [
            { from: -Infinity, to: 0, kind: "never" },
            ...(margin > 0 ? [{ from: 0, to: margin, kind: "reduce" }] : []),
          ],
          levels: [
            { value: 0, words: "below 0 V: lithium metal can plate", below: true },
            ...(margin > 0 ? [{ value: margin, words: `margin ${num(1000 * margin, 2)} mV`, dash: "6 3" }] : []),
          ],
        }),
      ),
    );
  }
  const terminal = { label: "", x: soc, y: voltage, stroke: "#171c21", dash: null };
  if (drawn(terminal)) {
    terminal.words = (i) => [`${num(voltage[i], 4)} V`, `at ${num(soc[i], 2)}\u202f%`];
    const [low, high] = d3.extent(voltage.filter(known));
    panels.push(
      chart(
        half_cell ? "Voltage against lithium" : "Voltage of the cell",
        `Voltage against state of charge: ${num(low)} V to ${num(high)} V.`,
        (svg, width, live, id) =>
          draw_lines(svg, width, live, id, {
            lines: [terminal],
            x: "State of charge / %",
            y: "Voltage / V",
            names: "none",
            x_from: 0,
            y_include: known(upper) ? [half_cell ? Math.min(low, upper - 0.05) : low, upper + 0.08] : undefined,
            height: printing ? 270 : 340,
            zones: known(upper) ? [{ from: upper, to: Infinity, kind: "never" }] : [],
            levels: known(upper) ? [{ value: upper, words: `cut-off ${num(upper)} V`, below: true }] : [],
          }),
      ),
    );
  }
  return section(
    rate > 0 ? `While it charges at ${c_words(rate)}` : "While it charges",
    says ? el("p", { class: "says" }, rich(says)) : null,
    panels.length ? el("div", { class: panels.length > 1 ? "panels pair" : "panels wide" }, panels) : null,
  );
}

const unbroken = (value) => printed(value).replace(/ /g, "\u00a0");

function margin_section(margins) {
  const broken = margins.filter((one) => one.kept === false).map((one) => text(one.limit));
  return section(
    "What is left of each limit",
    broken.length ? el("p", { class: "says" }, rich(`Not kept: ${broken.join(", ")}.`)) : null,
    table(
      "The worst moment of the charge, limit by limit",
      [
        { head: "Limit", cell: (row) => text(row.limit) },
        { head: "Of what", cell: (row) => text(row.quantity) },
        { head: "Worst", tight: true, cell: (row) => unbroken(row.worst) },
        { head: "Allowed", tight: true, cell: (row) => unbroken(row.allowed) },
        { head: "Left", tight: true, cell: (row) => unbroken(row.left) },
        { head: "At state of charge", numeric: true, cell: (row) => soc_words(row.at_soc) },
        { head: "Kept", tight: true, cell: (row) => ({ true: "yes", false: "NO" })[row.kept] || "" },
      ],
      margins,
    ),
  );
}

function survival_section(ceiling) {
  const rates = numbers(part(ceiling.distribution).c_rate)
    .filter((rate) => known(rate) && rate >= 0)
    .sort((a, b) => a - b);
  if (rates.length < 2 || !(rates[rates.length - 1] > 0)) return null;
  const plain = number(ceiling.plain_c_rate);
  const says = [
    "Each plausible cell has its own highest rate. The line shows how many of them still keep every limit at a rate.",
    known(plain)
      ? `At the rate that the plain model would have called safe, ${c_words(plain)}, ${share_words(share_kept(rates, plain))} of them do.`
      : "",
  ]
    .filter(Boolean)
    .join(" ");
  return section(
    "How sure this is",
    el("p", { class: "says" }, says),
    chart("", says, (svg, width, live) =>
      draw_survival(svg, width, live, {
        rates,
        c_rate: number(ceiling.c_rate),
        confidence: number(ceiling.confidence),
        median: number(ceiling.median_c_rate),
        plain,
      }),
    ),
  );
}

const degrees = (at) => `${String(Number(at.toPrecision(3))).replace("-", "\u2212")}\u202f\u00b0C`;

const UNKNOWNS_SHOWN = 10;
function unknown_section(ceiling) {
  const rows = ranked(ceiling);
  if (!rows.length) return null;
  const shown = rows.slice(0, UNKNOWNS_SHOWN);
  const from = is_rate(ceiling.c_rate) ? ` from ${c_words(ceiling.c_rate)}` : "";
  const says = `How far the rate could rise${from}, at the same confidence, if one quantity were known exactly.`;
  return section(
    "What to measure next",
    el("p", { class: "says" }, says),
    chart("", `${says} ${shown.map((row) => `${row.text}: ${num(row.gain, 2)} %`).join("; ")}.`, (svg, width, live, id) =>
      draw_ranked(
        svg,
        width,
        id,
        shown.map((row) => ({
          text: row.text,
          small: row.value ? `now ${row.value}` : "",
          size: Math.max(0, row.gain),
          words:
            row.gain > 0
              ? `+${num(row.gain, 2)}\u202f%${known(row.rate) ? `, to ${c_words(row.rate)}` : ""}`
              : "gains nothing",
        })),
      ),
    ),
    rows.length > shown.length
      ? el(
          "p",
          { class: "remarks" },
          `${rows.length - shown.length} further quantities gain less; they stand in summary.json.`,
        )
      : null,
  );
}

function temperature_section(ceiling) {
  const rows = parts(ceiling.temperatures)
    .filter((row) => known(row.temperature_degC) && (is_rate(row.c_rate) || is_rate(row.c_rate_confident)))
    .map((row) => ({
      at: row.temperature_degC,
      rate: number(row.c_rate),
      confident: number(row.c_rate_confident),
      limited_by: text(row.limited_by),
    }))
    .sort((a, b) => a.at - b.at);
  if (!rows.length) return null;
  const zones = parts(ceiling.zones)
    .filter((zone) => zone.from_degC < zone.to_degC && text(zone.text))
    .map((zone) => ({ from: zone.from_degC, to: zone.to_degC, text: text(zone.text), kind: text(zone.kind) }));
  const visible = rows.length > 1 && rows.some((row) => row.rate > 0 || row.confident > 0);
  const words = (rate) => (rate === 0 ? "none" : c_words(rate));
  return section(
    "Against temperature",
    zones.length
      ? el(
          "p",
          { class: "says" },
          "What is calculated inside a hatched band gives no leave to charge there: the band's own rule goes first.",
        )
      : null,
    visible
      ? chart(
          "",
          `Highest charge rate against temperature. ${zones.map((zone) => zone.text).join("; ")}.`,
          (svg, width, live, id) => draw_against_temperature(svg, width, live, id, rows, zones),
        )
      : null,
    table(
      "Highest rate at each temperature",
      [
        { head: "Temperature", numeric: true, cell: (row) => degrees(row.at) },
        { head: "With confidence", numeric: true, cell: (row) => words(row.confident) },
        { head: "As in the sheet", numeric: true, cell: (row) => words(row.rate) },
        { head: "Limited by", cell: (row) => row.limited_by },
      ],
      rows,
    ),
  );
}

function staircase_section(staircase, ceiling) {
  const steps = parts(staircase.steps).filter(
    (step) => step.c_rate > 0 && known(step.c_rate) && step.from_soc < step.to_soc,
  );
  const ideal = part(staircase.ideal);
  const minutes = number(staircase.minutes);
  const steady = number(staircase.constant_current_minutes);
  const held = number(staircase.constant_current_voltage_minutes);
  const others = [
    known(steady) ? `${minutes_words(steady)} at constant current` : "",
    known(held) ? `${minutes_words(held)} at constant current and then constant voltage` : "",
  ].filter(Boolean);
  const saved = steady - minutes;
  const says = [
    "Much is possible while the cell is empty and little when it is full; steps use that.",
    known(minutes) && steps.length
      ? `These ${steps.length} steps take ${minutes_words(minutes)}${window_words(ceiling) ? ` ${window_words(ceiling)}` : ""}` +
        `${others.length ? `, against ${others.join(", and ")}` : ""}.`
      : "",
    saved > 0 ? `They save ${minutes_words(saved)} on the constant current.` : "",
    text(staircase.protocol)
      ? `Protocol file: ${text(staircase.protocol)}${text(staircase.note) ? ` (${text(staircase.note)})` : ""}.`
      : text(staircase.note),
  ]
    .filter(Boolean)
    .join(" ");
  if (!steps.length) return null;
  return section(
    "Charging in steps",
    el("p", { class: "says" }, rich(says)),
    chart("", says, (svg, width, live, id) =>
      draw_staircase(svg, width, live, id, {
        steps,
        ideal: { soc: numbers(ideal.soc), c_rate: numbers(ideal.c_rate) },
        c_rate: number(ceiling.c_rate),
      }),
    ),
    table(
      "Steps, numbered as in the chart",
      [
        { head: "Step", cell: (row) => `${steps.indexOf(row) + 1}` },
        { head: "Rate", numeric: true, cell: (row) => c_words(row.c_rate) },
        { head: "Current /\u00a0mA", numeric: true, cell: (row) => num(row.current_mA) },
        { head: "From", numeric: true, cell: (row) => soc_words(row.from_soc) },
        { head: "To", numeric: true, cell: (row) => soc_words(row.to_soc) },
        { head: "Takes", numeric: true, cell: (row) => minutes_words(row.minutes) },
        { head: "Limited by", cell: (row) => text(row.limited_by) },
      ],
      steps,
    ),
  );
}

// ---- where capacity and energy go at a rate --------------------------------------------------------------------------

/** With `decimals`, a real sign, and no minus before what rounds to zero. */
const fixed = (value, decimals) => {
  const words = Math.abs(value).toFixed(decimals);
  return value < 0 && Number(words) > 0 ? `\u2212${words}` : words;
};
/** To a thousandth of `whole` or finer: all parts of one whole end at the same place. */
const as_part = (value, whole) => {
  if (!known(value) || !(whole > 0)) return num(value);
  return fixed(value, Math.max(0, Math.min(9, 3 - Math.floor(Math.log10(whole)))));
};
const hundredths = (fraction) => (known(fraction) ? `${fixed(100 * fraction, 1)}\u202f%` : NOTHING);
const points_words = (fraction) => {
  if (!known(fraction)) return NOTHING;
  const words = fixed(100 * fraction, 1);
  return fraction > 0 && Number(words) > 0 ? `+${words}` : words;
};
const units_unbroken = (words) => printed(words).replace(/(\d) (?=(?:\u00b5m|nm|mm|K)(?!\w))/g, "$1\u00a0");
const TENTH = 5e-4; // a gain below this rounds to no tenth of a point

function losses_sections(losses) {
  const charge = text(losses.direction) === "charge";
  const rate =
    (typeof losses.rate === "string" && printed(losses.rate)) ||
    (losses.c_rate > 0 ? rate_words(losses.c_rate) : "this rate");
  const given = number(losses.capacity_mAh);
  const ideal = number(losses.ideal_capacity_mAh);
  const ideal_energy = number(losses.ideal_energy_mWh);
  const missing = known(losses.missing_capacity_mAh) ? losses.missing_capacity_mAh : ideal - given;
  const rows = parts(losses.parts)
    .map((one, mark) => ({
      text: text(one.loss),
      size: number(one.capacity_mAh),
      share: number(one.share_of_missing),
      energy: number(one.energy_mWh),
      mark,
    }))
    .filter((one) => one.text && known(one.size))
    .sort((a, b) => b.size - a.size);
  const levers = parts(losses.levers)
    .filter((one) => text(one.change))
    .map((one) => ({
      text: units_unbroken(one.change),
      side_effect: text(one.side_effect),
      possible: one.possible !== false && known(one.gained_fraction),
      held: number(one.capacity_fraction),
      gain: number(one.gained_fraction),
      areal_capacity: number(one.areal_capacity_mAh_cm2),
      areal_energy: number(one.areal_energy_mWh_cm2),
    }))
    .sort((a, b) => b.possible - a.possible || (a.possible ? b.gain - a.gain : 0));
  const whole = known(given) && given >= 0 && ideal > 0 && known(missing);
  // Of next to nothing, shares are noise.
  const much = whole && missing > 1e-3 * ideal;

  const says = [];
  if (whole)
    says.push(
      `With no loss at all, the cell would ${charge ? "take up" : "give"} ${num(ideal)} mAh at ${rate}. ` +
        `It ${charge ? "takes up" : "gives"} ${num(given)} mAh, ${hundredths(given / ideal)} of that; ` +
        (much ? `${num(missing)} mAh are missing.` : "next to nothing is missing."),
    );
  if (known(losses.energy_mWh) && known(ideal_energy))
    says.push(
      `In energy it ${charge ? "takes up" : "gives"} ${num(losses.energy_mWh)} mWh; with no loss it would be ` +
        `${num(ideal_energy)} mWh.`,
    );
  if (much && rows.length > 1)
    says.push(
      "The losses act on each other. What is put down to each here is the average over all orders in which they could " +
        "be switched off, so that the parts add up to what is missing.",
    );
  const doubt =
    losses.trusted === false
      ? el(
          "p",
          { class: "says" },
          el("strong", {}, `${rate} lies outside the range in which this calculation can be trusted: `),
          "take the order of the losses as a hint, and do not rely on their sizes.",
        )
      : null;
  const share = (row) => (known(row.share) ? `, ${hundredths(row.share)} of what is missing` : "");
  const ranked_losses = rows.map((row) => ({ ...row, words: `${as_part(row.size, ideal)} mAh${share(row)}` }));
  const spoken = ranked_losses.map((row) => `${row.text}: ${row.words}`).join("; ");

  const able = levers.filter((one) => one.possible);
  const now = able.length ? able[0].held - able[0].gain : NaN;
  const best = able.find((one) => one.gain >= TENTH);
  const lever_says = [
    `Each change is calculated alone, at the same C-rate. Its bar: how many points more of what that cell holds it ` +
      `then ${charge ? "takes up" : "gives"}${known(now) ? `; now ${hundredths(now)}` : ""}.`,
    able.length && !best ? "None of them gains anything at this rate." : "",
    able.some((one) => known(one.areal_capacity))
      ? "A changed cell may hold less to begin with: the table has its capacity per area."
      : "",
  ]
    .filter(Boolean)
    .join(" ");
  const ranked_levers = levers.map((one) => ({
    text: one.text,
    small: one.side_effect,
    size: one.possible && Math.abs(one.gain) >= TENTH ? one.gain : 0,
    words: !one.possible
      ? "not possible here"
      : Math.abs(one.gain) >= TENTH
        ? `${points_words(one.gain)} points${known(one.held) ? `, to ${hundredths(one.held)}` : ""}`
        : "gains nothing",
  }));

  return [
    section(
      charge ? `What ${rate} leaves uncharged, and why` : `What is missing at ${rate}, and why`,
      doubt,
      says.length ? el("p", { class: "says" }, rich(says.join(" "))) : null,
      much && rows.length
        ? [
            chart(
              charge ? "What is taken up, and what each loss takes from it" : "What is given, and what each loss takes",
              `${says[0]} ${spoken}.`,
              (svg, width, live, id) =>
                draw_budget(svg, width, id, {
                  given,
                  ideal,
                  given_words: `${charge ? "taken up" : "given"} ${num(given)} mAh`,
                  ideal_words: `with no loss at all ${num(ideal)} mAh`,
                  missing_words: `missing ${num(missing)} mAh, ${hundredths(missing / ideal)}`,
                  rows: rows.map((row) => ({ ...row, text: `${row.text}, ${as_part(row.size, ideal)} mAh` })),
                }),
            ),
            chart("The losses, the largest first", `${spoken}.`, (svg, width, live, id) =>
              draw_ranked(svg, width, id, ranked_losses),
            ),
          ]
        : null,
    ),
    levers.length
      ? section(
          "What would win capacity back",
          el("p", { class: "says" }, rich(lever_says)),
          chart(
            "",
            ranked_levers
              .map((row) => `${row.text}: ${row.words}${row.small ? ` (${row.small})` : ""}`)
              .join("; "),
            (svg, width, live, id) => draw_ranked(svg, width, id, ranked_levers),
          ),
        )
      : null,
    section(
      "Losses and changes in numbers",
      table(
        `What is missing at ${rate}`,
        [
          { head: "Goes to", cell: (row) => row.text },
          { head: "Capacity /\u00a0mAh", numeric: true, cell: (row) => as_part(row.size, ideal) },
          { head: "Of what is missing", numeric: true, cell: (row) => (much ? hundredths(row.share) : "") },
          { head: "Energy /\u00a0mWh", numeric: true, cell: (row) => as_part(row.energy, ideal_energy) },
        ],
        rows.length && known(missing)
          ? [...rows, { text: "all together", size: missing, share: 1, energy: number(losses.missing_energy_mWh) }]
          : rows,
      ),
      charge && rows.some((row) => known(row.energy))
        ? el(
            "p",
            { class: "remarks" },
            "Energy: what a charge with no loss takes up, less what this one takes up. Below zero, the loss has to be paid " +
              "for with more energy.",
          )
        : null,
      table(
        `What each change does at ${rate}`,
        [
          { head: "Change", cell: (row) => row.text },
          {
            head: charge ? "Takes up, of what it holds" : "Gives, of what it holds",
            numeric: true,
            cell: (row) => hundredths(row.held),
          },
          { head: "Gain in points", numeric: true, cell: (row) => points_words(row.gain) },
          { head: "Capacity /\u00a0mAh/cm2", numeric: true, cell: (row) => num(row.areal_capacity) },
          { head: "Energy /\u00a0mWh/cm2", numeric: true, cell: (row) => num(row.areal_energy) },
        ],
        able,
      ),
    ),
  ].filter(Boolean);
}

// ---- voltage against capacity ----------------------------------------------------------------------------------------

const rate_name = (point) => text(point.label) || rate_words(point.c_rate);
function rate_words(c_rate) {
  if (!known(c_rate) || c_rate <= 0) return "?";
  const parts_of = 1 / c_rate;
  if (c_rate < 1 && Math.abs(parts_of - Math.round(parts_of)) < 1e-6 * parts_of) return `C/${Math.round(parts_of)}`;
  return `${Number(c_rate.toPrecision(3))}C`;
}
const by_rate = (a, b) => (number(a.c_rate) || 0) - (number(b.c_rate) || 0);
const fraction_of = (point, rated) =>
  known(point.capacity_fraction) ? point.capacity_fraction : number(point.capacity_mAh) / number(rated);
const SENSES = [
  ["discharge", "Discharge"],
  ["charge", "Charge"],
];

function curve_lines(curves, style, quantity) {
  return curves.map((curve) => {
    const trace = part(curve.trace);
    const x = numbers(trace.capacity_mAh);
    const time = numbers(trace.time_s);
    const voltage = numbers(trace.voltage_V);
    const negative = numbers(trace.separator_side_V);
    return {
      label: printed(rate_name(curve)) + (curve.trusted === false ? " (?)" : ""),
      x,
      y: numbers(trace[quantity]),
      faint: curve.trusted === false,
      ...style.get(rate_name(curve)),
      words: (i) =>
        [
          `${printed(rate_name(curve))} ${text(curve.direction)}`,
          `${num(x[i])} mAh, ${num(voltage[i], 4)} V`,
          known(time[i]) ? `after ${duration(time[i] / 3600)}` : "",
          known(negative[i]) ? `negative: ${num(negative[i], 3)} V against lithium` : "",
        ].filter(Boolean),
    };
  });
}

function capacity_sentence(sense, points, rated) {
  const good = points.filter((point) => known(point.capacity_mAh)).sort(by_rate);
  if (!good.length) return "";
  const tell = (point) => `${num(point.capacity_mAh)} mAh at ${printed(rate_name(point))}`;
  const last = good[good.length - 1];
  if (good.length === 1) return `${sense}: ${tell(last)}.`;
  const share = fraction_of(last, rated);
  return `${sense}: ${tell(good[0])}, ${tell(last)}${known(share) ? ` (${percent(share)} of the rated capacity)` : ""}.`;
}

function curve_section(curves, rated, half_cell) {
  if (!curves.length) return null;
  const rates = curves
    .slice()
    .sort(by_rate)
    .map(rate_name)
    .filter((name, i, all) => all.indexOf(name) === i);
  const ramp = styles(rates.length);
  const style = new Map(rates.map((name, i) => [name, ramp[i]]));
  const voltages = curves.flatMap((curve) => numbers(part(curve.trace).voltage_V)).filter(known);
  const panels = [];
  for (const [sense, title] of SENSES) {
    const some = curves.filter((curve) => (text(curve.direction) || "discharge") === sense).sort(by_rate);
    const lines = curve_lines(some, style, "voltage_V");
    if (!lines.some(drawn)) continue;
    panels.push(
      chart(title, `Voltage against capacity. ${capacity_sentence(title, some, rated)}`, (svg, width, live, id) =>
        draw_lines(svg, width, live, id, {
          lines,
          x: "Capacity / mAh",
          y: half_cell ? "Voltage against lithium / V" : "Voltage / V",
          names: sense === "charge" ? "above" : "below",
          x_from: 0,
          y_include: d3.extent(voltages),
        }),
      ),
    );
  }
  const charging = curves.filter((curve) => text(curve.direction) === "charge").sort(by_rate);
  const plating = curve_lines(charging, style, "separator_side_V");
  if (plating.some(drawn)) {
    const lowest = Math.min(...values(plating.filter(drawn), "y"));
    const words =
      `Potential of the negative against lithium at its separator side while charging; lowest ${num(1000 * lowest)} mV. ` +
      "Below 0 V lithium metal can deposit on it.";
    panels.push(
      chart("The negative while charging", words, (svg, width, live, id) =>
        draw_lines(svg, width, live, id, {
          lines: plating,
          x: "Capacity / mAh",
          y: "Negative against lithium, at the separator / V",
          names: "below",
          x_from: 0,
          y_include: [Math.min(-0.05, lowest), 0.1],
          y_most: 0.3,
          limit: { value: 0, words: "below 0 V lithium can plate" },
        }),
      ),
    );
  }
  const name = (curve) => `${printed(rate_name(curve))} ${text(curve.direction)}`;
  const remarks = [];
  for (const curve of curves) {
    if (!drawn({ x: numbers(part(curve.trace).capacity_mAh), y: numbers(part(curve.trace).voltage_V) }))
      remarks.push(
        `${name(curve)}: no curve to draw${text(curve.ended_by) ? `; ended by ${text(curve.ended_by)}` : ""}.`,
      );
    if (curve.trusted === false)
      remarks.push(`${name(curve)} (?): outside the range in which this calculation can be trusted; drawn thin.`);
    if (text(curve.note)) remarks.push(`${name(curve)}: ${text(curve.note)}`);
  }
  const sentence = SENSES.map(([sense, title]) =>
    capacity_sentence(
      title,
      curves.filter((curve) => (text(curve.direction) || "discharge") === sense),
      rated,
    ),
  )
    .filter(Boolean)
    .join(" ");
  return section(
    "Voltage against capacity",
    el("p", { class: "says" }, rich(sentence)),
    panels.length ? el("div", { class: "panels wide" }, panels) : null,
    remarks.length ? bullets(remarks, "remarks") : null,
  );
}

// ---- rate capability -------------------------------------------------------------------------------------------------

function capability_section(points, rated) {
  if (!points.length) return null;
  const series = SENSES.map(([sense]) => ({
    title: sense,
    points: points
      .filter(
        (point) =>
          (text(point.direction) || "discharge") === sense &&
          point.c_rate > 0 &&
          known(point.c_rate) &&
          known(point.capacity_mAh),
      )
      .sort(by_rate),
  })).filter((one) => one.points.length);
  const plotted = series.reduce((sum, one) => sum + one.points.length, 0);
  const words = SENSES.map(([sense, title]) => {
    const some = points
      .filter((point) => (text(point.direction) || "discharge") === sense && known(fraction_of(point, rated)))
      .sort(by_rate);
    const held = some.filter((point) => fraction_of(point, rated) >= 0.8).pop();
    if (!held || some.length < 2) return "";
    return held === some[some.length - 1]
      ? `${title}: at least 80\u202f% of the rated capacity at every rate up to ${printed(rate_name(held))}.`
      : `${title}: at least 80\u202f% of the rated capacity up to ${printed(rate_name(held))}.`;
  })
    .filter(Boolean)
    .join(" ");
  const column = (head, key, digits) => ({ head, numeric: true, cell: (row) => num(row[key], digits) });
  return section(
    "Rate capability",
    words ? el("p", { class: "says" }, rich(words)) : null,
    plotted > 1
      ? chart("", `Capacity against C-rate. ${words}`, (svg, width, live) =>
          draw_capability(svg, width, live, series, number(rated)),
        )
      : null,
    table(
      "What each rate gives",
      [
        { head: "Rate", tight: true, cell: (row) => `${rate_name(row)}${row.trusted === false ? " (?)" : ""}` },
        { head: "Direction", cell: (row) => text(row.direction) },
        column("Current /\u00a0mA", "current_mA"),
        column("Capacity /\u00a0mAh", "capacity_mAh"),
        { head: "Of rated", numeric: true, cell: (row) => percent(fraction_of(row, rated)) },
        column("Mean voltage /\u00a0V", "mean_voltage_V", 4),
        column("Energy /\u00a0mWh", "energy_mWh"),
        { head: "Ended by", tight: true, cell: (row) => text(row.ended_by) },
      ],
      points,
    ),
  );
}

// ---- inside the grains -----------------------------------------------------------------------------------------------

function profile_section(profiles) {
  const usable = profiles
    .map((profile) => ({
      electrode: text(profile.electrode),
      rate: text(profile.rate),
      lines: parts(profile.moments).map((moment) => ({
        label: printed(moment.label),
        x: numbers(moment.radius),
        y: numbers(moment.stoichiometry),
      })),
    }))
    .filter((profile) => profile.lines.some(drawn));
  if (!usable.length) return null;
  const panels = usable.map((profile) => {
    const same = usable
      .filter((other) => other.electrode === profile.electrode)
      .flatMap((other) => other.lines.filter(drawn));
    const shades = styles(profile.lines.length, "#74a09a", "#0e2f2d");
    const lines = profile.lines.map((line, i) => ({
      ...line,
      ...shades[i],
      marker: false,
      words: (k) => [line.label, `radius ${num(line.x[k], 2)}, stoichiometry ${num(line.y[k])}`],
    }));
    const title = [profile.electrode ? `${profile.electrode} grains` : "grains", profile.rate]
      .filter(Boolean)
      .join(", ");
    const seen = lines.filter(drawn);
    const spans = seen.map(
      (line) =>
        `${line.label}: ${num(line.y.find(known))} at the centre, ${num(line.y.slice().reverse().find(known))} at the surface`,
    );
    return chart(
      title[0].toUpperCase() + title.slice(1),
      `Stoichiometry from the centre to the surface of the ${title}. ${spans.join("; ")}.`,
      (svg, width, live, id) =>
        draw_lines(svg, width, live, id, {
          lines,
          x: "Centre 0 to surface 1: r / R",
          y: "Stoichiometry",
          names: "right",
          x_from: 0,
          y_include: d3.extent(values(same, "y")),
          height: 270,
        }),
    );
  });
  return section(
    "Inside the grains",
    el(
      "p",
      { class: "says" },
      "How full the lithium sites are from the centre of a grain to its surface. A flat line: lithium had time to spread. " +
        "A steep one: the surface runs ahead of the centre, and the cut-off comes before the grain is used up.",
    ),
    el("div", { class: "panels" }, panels),
  );
}

// ---- where the voltage goes ------------------------------------------------------------------------------------------

function parts_section(entries) {
  const usable = entries
    .map((entry) => {
      const x = numbers(entry.capacity_mAh);
      const some = parts(entry.parts)
        .map((one) => ({ name: printed(one.name), values: numbers(one.values_mV) }))
        .filter((one) => one.values.some(known));
      const rows = x
        .map((value, i) => ({ x: value, values: some.map((one) => number(one.values[i])) }))
        .filter((row) => known(row.x) && row.values.every(known));
      for (const row of rows) row.total = row.values.reduce((sum, value) => sum + value, 0);
      return { label: text(entry.label), parts: some, rows };
    })
    .filter((entry) => entry.rows.length > 1 && entry.parts.length);
  if (!usable.length) return null;
  const order = [...new Set(usable.flatMap((entry) => entry.parts.map((one) => one.name)))];
  const half_way = (entry) => entry.rows[Math.floor(entry.rows.length / 2)];
  const largest = (entry) =>
    entry.parts[half_way(entry).values.reduce((best, value, i, all) => (value > all[best] ? i : best), 0)].name;
  const says = usable
    .map((entry) => `${printed(entry.label)}: half way ${num(half_way(entry).total)} mV, most of it ${largest(entry)}.`)
    .join(" ");
  return section(
    "Where the voltage goes",
    el(
      "p",
      { class: "says" },
      rich(`The voltage that each step costs against equilibrium, one on top of the other. ${says}`),
    ),
    el(
      "div",
      { class: "panels wide" },
      usable.map((entry) =>
        chart(entry.label, `Overpotential parts against capacity, stacked. ${says}`, (svg, width, live, id) =>
          draw_parts(svg, width, live, id, entry, order),
        ),
      ),
    ),
  );
}

// ---- the cell --------------------------------------------------------------------------------------------------------

function cell_section(cell, rest) {
  const layers = parts(cell.layers).filter((layer) => layer.thickness_um > 0 && known(layer.thickness_um));
  const words = layers
    .map((layer) => `${text(layer.name) || text(layer.kind)} ${Number(layer.thickness_um.toPrecision(3))} \u00b5m`)
    .join(", ");
  const drawing = layers.length
    ? chart(
        "Layers, thickness to scale; height: share of the volume",
        `From one side to the other: ${words}.`,
        (svg, width, live, id) => draw_layers(svg, width, id, layers),
      )
    : null;
  const inputs = parts(cell.inputs)
    .filter((group) => parts(group.rows).length)
    .map((group) =>
      table(
        text(group.group) || "Inputs",
        [
          { head: "Quantity", cell: (row) => text(row.label) },
          { head: "Value", tight: true, cell: (row) => text(row.value) },
          { head: "Spread (95\u00a0%)", tight: true, cell: (row) => text(row.spread) },
          { head: "Source", cell: (row) => text(row.source) },
        ],
        parts(group.rows),
      ),
    );
  return [
    section(
      "What came out",
      table(
        "Results",
        [
          { head: "Quantity", cell: (row) => text(row.label) },
          {
            head: "Value",
            tight: true,
            cell: (row) => [text(row.value), text(row.plus_minus)].filter(Boolean).join(" "),
          },
          { head: "Remark", cell: (row) => text(row.note) },
        ],
        rest,
      ),
    ),
    section("What went in", drawing, inputs),
  ];
}

// ---- the page --------------------------------------------------------------------------------------------------------

const MARK = "M12 1a11 11 0 1 0 .01 0ZM12 5a7 7 0 1 1-.01 0ZM12 8.6a3.4 3.4 0 1 0 .01 0Z";

function page(report) {
  const cell = part(report.cell);
  const program = part(report.program);
  const capability = part(report.rate_capability);
  const curves = parts(report.curves);
  const points = parts(capability.points).length ? parts(capability.points) : curves;
  const results = parts(cell.results).filter((one) => text(one.label) || text(one.value));
  const key = results.some((one) => one.key === true) ? results.filter((one) => one.key === true) : results.slice(0, 6);
  const arrangement = { full_cell: "full cell", half_cell: "half cell against lithium" }[text(cell.arrangement)] || "";
  const warnings = list(cell.warnings).filter(text);
  const cautions = list(report.cautions).filter(text);
  const cautioned = cautions.length
    ? el(
        "section",
        { class: "cautions", "aria-labelledby": "cautions" },
        el("h2", { id: "cautions" }, "Before you charge a cell"),
        bullets(cautions),
      )
    : null;
  const numbers_at_hand = key.length
    ? el(
        "dl",
        { class: "key" },
        key.map((one) =>
          el(
            "div",
            {},
            el("dt", {}, rich(one.label)),
            el(
              "dd",
              {},
              el("strong", {}, rich(one.value)),
              text(one.plus_minus) ? el("span", {}, rich(one.plus_minus)) : null,
              text(one.note) ? el("small", {}, rich(one.note)) : null,
            ),
          ),
        ),
      )
    : null;
  const ceiling = part(report.ceiling);
  const half_cell = text(cell.arrangement) === "half_cell";
  const answer = answer_section(ceiling, text(report.headline));
  const lost = losses_sections(part(report.losses));
  const measured = [
    balance_section(part(report.balance), half_cell),
    ...fit_sections(part(report.fit), half_cell),
  ].filter(Boolean);
  const opened = answer || lost.length > 0 || measured.length > 0;

  const mark = blank_svg().attr("viewBox", "0 0 24 24").attr("class", "grain").attr("aria-hidden", "true");
  put(mark, "path", { d: MARK, "fill-rule": "evenodd" });
  const [came_out, went_in] = cell_section(
    cell,
    results.filter((one) => !key.includes(one)),
  );
  const calculated = curves.length > 0;
  const kicker = [text(program.name) || "onegrain", text(report.verb), arrangement].filter(Boolean).join(" \u00b7 ");

  return [
    el(
      "header",
      {},
      el("p", { class: "kicker" }, mark.node(), kicker),
      el("h1", {}, rich(text(cell.name) || "Report")),
      cell.invented === true
        ? el("p", { class: "invented" }, "Invented example: the numbers of this cell were made up to show the program.")
        : null,
      text(report.headline) ? el("p", { class: "headline" }, rich(report.headline)) : null,
    ),
    answer,
    answer ? cautioned : null,
    warnings.length
      ? el(
          "section",
          { class: "warnings", "aria-labelledby": "warnings" },
          el(
            "h2",
            { id: "warnings" },
            warnings.length > 1 ? `${warnings.length} things to check first` : "One thing to check first",
          ),
          bullets(warnings),
        )
      : null,
    lost,
    measured,
    opened ? null : numbers_at_hand,
    path_section(part(ceiling.path), ceiling, half_cell),
    margin_section(parts(ceiling.margins)),
    survival_section(ceiling),
    unknown_section(ceiling),
    temperature_section(ceiling),
    staircase_section(part(ceiling.staircase), ceiling),
    opened ? section("The cell in numbers", numbers_at_hand) : null,
    curve_section(curves, capability.rated_capacity_mAh, half_cell),
    capability_section(points, capability.rated_capacity_mAh),
    calculated ? null : came_out,
    section(
      "Currents for this cell",
      table(
        "Which current is which rate",
        [
          { head: "Rate", tight: true, cell: (row) => text(row.label) },
          { head: "Current /\u00a0mA", numeric: true, cell: (row) => num(row.current_mA) },
          { head: "per plate area /\u00a0mA/cm2", numeric: true, cell: (row) => num(row.current_mA_cm2) },
          { head: "per active mass /\u00a0mA/g", numeric: true, cell: (row) => num(row.current_mA_g) },
          { head: "Full charge or discharge takes", numeric: true, cell: (row) => duration(row.hours) },
        ],
        parts(cell.rate_table),
      ),
    ),
    answer ? null : cautioned,
    profile_section(parts(report.profiles)),
    parts_section(parts(report.overpotentials)),
    calculated ? came_out : null,
    went_in,
    section(
      "What was assumed",
      list(cell.assumptions).some(text) ? bullets(list(cell.assumptions).filter(text)) : null,
    ),
    list(report.provenance).length
      ? el(
          "footer",
          {},
          el("h2", {}, "Where this page comes from"),
          el(
            "dl",
            {},
            list(report.provenance).map((pair) =>
              el("div", {}, el("dt", {}, text(list(pair)[0])), el("dd", {}, text(list(pair)[1]))),
            ),
          ),
        )
      : null,
  ]
    .flat()
    .filter(Boolean);
}

document.getElementById("report").append(...page(part(JSON.parse(document.getElementById("document").textContent))));

const PAPER = 680; // pixels between the margins of A4; Letter is a little wider
/** As in the rules for paper of report.css. */
function paper_width(frame) {
  const around = frame.parentNode.className;
  if (around === "panels" || around === "panels two") return PAPER / 2 - 12;
  if (around === "panels pair") return Math.round(PAPER * (frame.previousElementSibling ? 0.4 : 0.58));
  return PAPER;
}
const redraw = () => charts.forEach((one) => one.redraw());
let waiting = 0;
let drawn_width = 0;
const resized = () => {
  const width = document.documentElement.clientWidth;
  if (width === drawn_width) return;
  drawn_width = width;
  cancelAnimationFrame(waiting);
  waiting = requestAnimationFrame(redraw);
};
redraw();
drawn_width = document.documentElement.clientWidth;
addEventListener("resize", resized);
addEventListener("beforeprint", () => {
  printing = true;
  charts.forEach((one) => one.redraw(paper_width(one.frame)));
});
addEventListener("afterprint", () => {
  printing = false;
  redraw();
});
