// The balance of the two electrodes, read from one slow curve.

/** The charge, given since the cell was full, between which an electrode holds no more and no less lithium. */
function reach_of(electrode, is_positive) {
  const capacity = number(part(electrode.capacity_mAh).value);
  const full = number(part(electrode.full).value);
  return is_positive ? [-full * capacity, (1 - full) * capacity] : [-(1 - full) * capacity, full * capacity];
}

/** Each electrode as a bar as long as its capacity: what the cell uses of it dark, the rest hatched. */
function draw_reaches(svg, id, box, x, rows, window) {
  rows.forEach((row, i) => {
    const y = box.top + 20 + 46 * i;
    const [low, high] = x.domain();
    const bar = (from, to, paint) => {
      const [a, b] = [Math.max(low, from), Math.min(high, to)];
      if (b > a) put(svg, "rect", { class: "slab", x: x(a), width: x(b) - x(a), y, height: 16, fill: paint });
      return b > a ? x(b) - x(a) : 0;
    };
    const [from, to] = row.reach;
    const free = fill(svg, `${id}-${i}`, 5);
    bar(from, Math.min(window[0], to), free);
    bar(Math.max(window[1], from), to, free);
    bar(Math.max(window[0], from), Math.min(window[1], to), fill(svg, `${id}-${i}`, row.mark));
    for (const [end, side] of [
      [from, -1],
      [to, 1],
    ])
      if (end < low || end > high) {
        const at = side < 0 ? box.left : box.right;
        put(svg, "path", {
          class: "bar",
          fill: "#fff",
          stroke: INK,
          d: `M${at - 6 * side},${y + 2}L${at + 2 * side},${y + 8}L${at - 6 * side},${y + 14}Z`,
        });
      }
    put(svg, "text", { class: "note", x: x(Math.max(low, Math.min(window[0], high))), y: y - 5 }, row.words);
  });
}

function balance_section(balance, half_cell) {
  const alignment = part(balance.alignment);
  const charge = numbers(alignment.charge_mAh);
  const capacity = number(alignment.capacity_mAh);
  const electrodes = parts(balance.electrodes);
  const line = (key, style) => {
    const y = numbers(alignment[key]);
    return {
      x: charge,
      y,
      kind: "plain",
      ...style,
      words: (i) => [style.label, `${num(y[i], 4)} V`, `${num(charge[i], 4)} mAh given since full`],
    };
  };
  const measured = part(alignment.measured);
  const measured_x = numbers(measured.charge_mAh);
  const measured_y = numbers(measured.voltage_V);
  const points = {
    label: "",
    x: measured_x,
    y: measured_y,
    kind: "points",
    stroke: "#8b4a1c",
    apart: 15,
    words: (i) => ["measured, under current", `${num(measured_y[i], 4)} V`, `${num(measured_x[i], 4)} mAh`],
  };
  const lines = half_cell
    ? [line("positive_V", { label: "electrode, at rest", ...CALCULATED }), points]
    : [
        line("positive_V", { label: "positive against lithium", stroke: "#171c21", dash: null }),
        line("negative_V", { label: "negative against lithium", stroke: "#2a6661", dash: "9 4" }),
        line("full_V", { label: "cell, at rest", stroke: "#b05f24", dash: null, kind: "faint" }),
        points,
      ];
  const names = electrodes.map((one, i) => text(one.electrode) || (i ? "negative" : "positive"));
  const reaches = electrodes
    .map((one, i) => {
      const reach = reach_of(one, i === 0);
      const whole = reach[1] - reach[0];
      const [before, after] = [0 - reach[0], reach[1] - capacity];
      const spare = (size) => `${num((100 * Math.max(0, size)) / whole, 2)}\u202f%`;
      return {
        reach,
        mark: i ? 2 : 0,
        words: `${names[i]}: the cell uses ${num((100 * capacity) / whole, 3)}\u202f%; unused ${spare(before)} before full, ${spare(after)} after empty`,
      };
    })
    .filter((row) => row.reach.every(known));
  const ends = reaches.flatMap((row) => row.reach);
  const range =
    reaches.length && known(capacity)
      ? [
          Math.max(Math.min(...ends, 0), -0.45 * capacity) - 0.02 * capacity,
          Math.min(Math.max(...ends, capacity), 1.45 * capacity) + 0.02 * capacity,
        ]
      : undefined;
  const says = half_cell
    ? "The potential at rest over the charge that was given since the cell was full, stretched until it meets the measured " +
      "curve. The measured one lies off it by what the current costs."
    : "Both potentials over the charge that the cell has given since it was full, slid and stretched until their difference " +
      "meets the measured curve. The measured one lies below it on discharge, above on charge, by what the current costs.";
  const [least, most] = d3.extent(values(lines.filter(drawn), "y"));
  const room = 0.04 * (most - least);
  const window = known(capacity) ? [{ from: 0, to: capacity, words: "between the cut-offs" }] : [];
  const number_row = (label, sheet, found, digits, loss) => ({
    label,
    sheet,
    ...part(found),
    digits,
    loss: part(loss),
  });
  const rows = electrodes.flatMap((one, i) => [
    number_row(`${names[i]}: capacity, full minus empty / mAh`, one.sheet_mAh, one.capacity_mAh, 4, one.loss_percent),
    number_row(`${names[i]}: stoichiometry, cell full`, one.sheet_full, one.full, 3),
    number_row(`${names[i]}: stoichiometry, cell empty`, one.sheet_empty, one.empty, 3),
  ]);
  const lithium = part(balance.lithium);
  if (Object.keys(lithium).length)
    rows.push(number_row("lithium in both / mAh", lithium.sheet_mAh, lithium.capacity_mAh, 4, lithium.loss_percent));
  if (Object.keys(part(balance.capacity_ratio)).length)
    rows.push(number_row("N/P", balance.sheet_capacity_ratio, balance.capacity_ratio, 3));
  if (Object.keys(part(balance.cell_capacity_mAh)).length)
    rows.push(
      number_row("capacity of the cell, at rest / mAh", balance.sheet_cell_capacity_mAh, balance.cell_capacity_mAh, 4),
    );
  return section(
    half_cell ? "The electrode in its window" : "How the two electrodes lie over each other",
    lines.some(drawn) ? el("p", { class: "says" }, says) : null,
    lines.some(drawn)
      ? chart("", `${says} ${reaches.map((row) => row.words).join(". ")}.`, (svg, width, live, id) => {
          const tall = Math.max(260, Math.min(printing ? 290 : 400, width * 0.5));
          return draw_panes(svg, width, live, id, {
            x: "Charge given since full / mAh",
            x_range: range,
            key: [{ words: "measured", kind: "points", stroke: "#8b4a1c" }],
            spans: window,
            panes: [
              {
                y: half_cell ? "Potential against lithium / V" : "Potential, voltage / V",
                height: tall,
                lines,
                y_range: [Math.min(0, least) - room, most + room],
                zero: true,
              },
            ],
            below: reaches.length
              ? {
                  height: 46 * reaches.length + 2,
                  draw: (g, box, x) => draw_reaches(g, id, box, x, reaches, [0, capacity]),
                }
              : undefined,
          });
        })
      : null,
    table(
      "The balance, against the sheet",
      [
        { head: "Quantity", cell: (row) => row.label },
        { head: "Sheet", numeric: true, cell: (row) => num(row.sheet, row.digits) },
        { head: "Found", numeric: true, cell: (row) => num(row.value, row.digits) },
        {
          head: "95 % interval",
          numeric: true,
          cell: (row) => (known(row.lower) ? `${num(row.lower, row.digits)} to ${num(row.upper, row.digits)}` : ""),
        },
        {
          head: "Loss / %",
          numeric: true,
          cell: (row) =>
            known(row.loss.value)
              ? `${num(row.loss.value, 2)} (${num(row.loss.lower, 2)} to ${num(row.loss.upper, 2)})`
              : "",
        },
      ],
      rows,
    ),
    rows.length
      ? el(
          "p",
          { class: "remarks" },
          `Loss: what is there now, less than the sheet says; below zero, more. The intervals hold if ${
            half_cell ? "the potential of the card is" : "the two potentials of the cards are"
          } right.`,
        )
      : null,
  );
}
