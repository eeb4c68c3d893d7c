// Blocks of words, and the order of the page. Data -> HTML; a chart leaves a place that page.js draws into.

const list_html = (items) => tag("ul", {}, items.map((item) => tag("li", {}, rich(item))));

/** {title, columns: [{head, numeric}], rows: [[words]], more}. A column without content is left out, the first never. */
function table_html(table) {
  const shown = table.columns.map((_, i) => i).filter((i) => i === 0 || table.rows.some((row) => row[i]));
  const short = (i) => table.rows.every((row) => row[i].length <= 18);
  const long = (i) => table.rows.some((row) => row[i].length > 60);
  const side = (i) => (table.columns[i].numeric ? "number" : i && short(i) ? "tight" : i && long(i) ? "sentences" : undefined);
  const head = shown.map((i) => tag("th", { scope: "col", class: side(i) }, rich(table.columns[i].head)));
  const body = table.rows.map((row) =>
    tag("tr", {}, shown.map((i, k) => tag(k ? "td" : "th", { scope: k ? undefined : "row", class: side(i) }, rich(row[i])))),
  );
  const inside = tag("table", {}, [
    tag("thead", {}, tag("tr", {}, head)),
    tag("tbody", {}, body),
  ]);
  const region = { class: "table", role: "region", tabindex: "0", "aria-label": table.title };
  return (table.title ? tag("p", { class: "caption" }, rich(table.title)) : "") + tag("div", region, inside) + (table.more ? tag("p", { class: "remarks" }, rich(table.more)) : "");
}

const CHARTS = { plot: draw_plot, bars: draw_bars, stack: draw_stack, layers: draw_layers, intervals: draw_intervals };

/** A place for a chart; `charts` collects what is to be drawn there. */
function chart_html(block, charts) {
  const id = `chart-${charts.length + 1}`;
  charts.push({ id, block, draw: CHARTS[block.type] });
  const label = [printed(block.title), printed(block.says)].filter(Boolean).join(". ");
  return tag("div", { class: "chart", id }, [
    block.title ? tag("h3", {}, rich(block.title)) : "",
    tag("svg", { role: "img", "aria-label": label }),
    block.handles ? tag("p", { class: "handles" }, rich(block.handles)) : "",
    tag("p", { class: "unseen", "aria-live": "polite" }),
  ]);
}

function block_html(block, charts) {
  if (block.type === "text") return tag("p", { class: "says" }, rich(block.text));
  if (block.type === "list") return (block.title ? tag("h3", {}, rich(block.title)) : "") + list_html(block.items);
  if (block.type === "table") return table_html(block);
  return CHARTS[block.type] ? chart_html(block, charts) : "";
}

const PANELS = { one: "", two: "panels wide", three: "panels" };

/** {title, layout: "one" | "two" | "three", blocks}: in a layout of several, charts in a row stand side by side. */
function section_html(section, charts) {
  const inside = [];
  let row = [];
  const close = () => {
    if (row.length) inside.push(PANELS[section.layout] ? tag("div", { class: PANELS[section.layout] }, row) : row.join(""));
    row = [];
  };
  for (const block of section.blocks) {
    const html = block_html(block, charts);
    if (CHARTS[block.type]) row.push(html);
    else {
      close();
      inside.push(html);
    }
  }
  close();
  return tag("section", {}, (section.title ? tag("h2", {}, rich(section.title)) : "") + inside.join(""));
}

/** {title, items} in a frame; nothing where there are no items. */
const framed_html = (box, style) =>
  box.items.length ? tag("section", { class: style }, tag("h2", {}, rich(box.title)) + list_html(box.items)) : "";

const key_html = (figures) =>
  figures.length
    ? tag(
        "dl",
        { class: "key" },
        figures.map((one) =>
          tag("div", {}, [
            tag("dt", {}, rich(one.label)),
            tag("dd", {}, [
              tag("strong", {}, rich(one.value)),
              one.plus_minus ? tag("span", {}, rich(one.plus_minus)) : "",
              one.note ? tag("small", {}, rich(one.note)) : "",
            ]),
          ]),
        ),
      )
    : "";

const MARK = "M12 1a11 11 0 1 0 .01 0ZM12 5a7 7 0 1 1-.01 0ZM12 8.6a3.4 3.4 0 1 0 .01 0Z";

function header_html(report) {
  const mark = tag("svg", { viewBox: "0 0 24 24", class: "grain", "aria-hidden": "true" }, tag("path", { d: MARK, "fill-rule": "evenodd" }));
  return tag("header", {}, [
    tag("p", { class: "kicker" }, mark + tag("span", {}, report.kicker.filter(Boolean).map(escaped).join(" \u00b7 "))),
    tag("h1", {}, rich(report.subject)),
    report.invented ? tag("p", { class: "invented" }, rich(report.invented)) : "",
    report.headline ? tag("p", { class: "headline" }, rich(report.headline)) : "",
  ]);
}

const footer_html = (footer) =>
  tag("footer", {}, [
    tag("h2", {}, rich(footer.title)),
    tag("dl", {}, footer.rows.map(([what, value]) => tag("div", {}, tag("dt", {}, escaped(what)) + tag("dd", {}, escaped(value))))),
  ]);

/** The whole page as HTML; `charts` is filled with {id, block, draw}. */
function page_html(report, charts) {
  const cautions = framed_html(report.cautions, "cautions");
  return [
    header_html(report),
    report.recommends ? cautions : "",
    framed_html(report.warnings, "warnings"),
    framed_html(report.doubts, "warnings"),
    key_html(report.key),
    ...report.sections.map((section) => section_html(section, charts)),
    report.recommends ? "" : cautions,
    ...report.about.map((section) => section_html(section, charts)),
    footer_html(report.footer),
  ].join("");
}
