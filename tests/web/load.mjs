// The drawing script of report.html, put together as the program does it: d3, then all blocks in the order of their
// names. Exports what the tests look at.
import { readFileSync, readdirSync } from "node:fs";
import { Script } from "node:vm";

const web = new URL("../../app/render/web/", import.meta.url);
const blocks = readdirSync(new URL("blocks/", web))
  .filter((name) => name.endsWith(".js"))
  .sort();
// Under their own names, so that node can tell which lines the tests have run.
for (const name of ["d3_subset.min.js", ...blocks.map((block) => `blocks/${block}`)]) {
  const url = new URL(name, web);
  new Script(readFileSync(url, "utf8"), { filename: url.href }).runInThisContext();
}
const names =
  "num printed rich tag escaped spread_out wrapped cut width_of ramp domain roomy draw_plot draw_bars draw_stack draw_layers draw_intervals " +
  "table_html section_html page_html words_at";
export const page = new Script(`({ ${names.split(" ").join(", ")} })`).runInThisContext();

/** Elements of one kind in a drawing: their attributes and their text. */
export function elements(svg, name) {
  const found = [...svg.matchAll(new RegExp(`<${name}((?: [^>]*)?)>([^<]*)`, "g"))];
  return found.map(([, attributes, words]) => ({
    ...Object.fromEntries([...attributes.matchAll(/ ([\w-]+)="([^"]*)"/g)].map(([, key, value]) => [key, value])),
    words,
  }));
}

export const axis = (more = {}) => ({ title: "t", unit: "", digits: 3, include: [], ...more });
export const plot = (more) => ({
  title: "",
  says: "",
  x: axis(),
  y: axis(),
  zones: [],
  levels: [],
  stages: [],
  bands: [],
  marks: [],
  uprights: [],
  names: "none",
  low: false,
  ...more,
});
export const line = (x, y, more = {}) => ({ label: "a", role: "predicted", order: 0, doubtful: false, marked: false, x, y, also: [], ...more });
