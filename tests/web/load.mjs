// The drawing script of report.html as one function, put together as the program does it: d3, then all blocks in the
// order of their names. Returns what the tests look at.
import { readFileSync, readdirSync } from "node:fs";

const web = new URL("../../app/render/web/", import.meta.url);
const blocks = readdirSync(new URL("blocks/", web))
  .filter((name) => name.endsWith(".js"))
  .sort();
const text = ["d3_subset.min.js", ...blocks.map((name) => `blocks/${name}`)]
  .map((name) => readFileSync(new URL(name, web), "utf8"))
  .join("\n");
const names =
  "num printed rich tag escaped spread_out wrapped cut width_of ramp domain roomy draw_plot draw_bars draw_stack draw_layers draw_intervals " +
  "table_html section_html page_html words_at";
export const page = new Function(`"use strict"; ${text}\nreturn { ${names.split(" ").join(", ")} };`)();

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
