// The sections of the report, and the page. Charts are drawn again when the width changes and before printing.

const sentence_case = (words) => words.charAt(0).toUpperCase() + words.slice(1);
const unbroken = (value) => printed(value).replace(/ /g, "\u00a0");
/** With `decimals`, a real sign, and no minus before what rounds to zero. */
const fixed = (value, decimals) => {
  const words = Math.abs(value).toFixed(decimals);
  return value < 0 && Number(words) > 0 ? `\u2212${words}` : words;
};
const by_rate = (a, b) => (number(a.c_rate) || 0) - (number(b.c_rate) || 0);
const SENSES = [
  ["discharge", "Discharge"],
  ["charge", "Charge"],
];

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
  const half_cell = text(cell.arrangement) === "half_cell";
  const measured = [
  ].filter(Boolean);
  const opened = measured.length > 0;

  const mark = blank_svg().attr("viewBox", "0 0 24 24").attr("class", "grain").attr("aria-hidden", "true");
  put(mark, "path", { d: MARK, "fill-rule": "evenodd" });
  const [came_out, went_in] = cell_section(
    cell,
    results.filter((one) => !key.includes(one)),
  );
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
    measured,
    opened ? null : numbers_at_hand,
    opened ? section("The cell in numbers", numbers_at_hand) : null,
    came_out,
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
    cautioned,
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
