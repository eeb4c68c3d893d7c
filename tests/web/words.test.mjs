// Words and numbers as they are printed, and the order of the page.
import assert from "node:assert/strict";
import test from "node:test";
import { readFileSync, readdirSync } from "node:fs";
import { page } from "./load.mjs";

test("numbers have the digits asked for, and powers of ten beyond a millionth or a million", () => {
  // SI Brochure, 9th ed., 5.4: a product with a power of ten; the sign is U+2212 in print.
  assert.equal(page.num(2.4, 3), "2.40");
  assert.equal(page.num(0.0125, 3), "0.0125");
  assert.equal(page.num(-3, 2), "\u22123.0");
  assert.equal(page.num(1.3e-14, 2), "1.3\u202f\u00d7\u202f10\u207b\u00b9\u2074");
  assert.equal(page.num(null), "\u2013");
  assert.equal(page.num(0), "0");
});

test("units and formulae are set as in print", () => {
  assert.equal(page.printed("1.83 mAh/cm2"), "1.83 mAh/cm\u00b2");
  assert.equal(page.printed("4.8 um"), "4.8 \u00b5m");
  assert.equal(page.printed("-20 degC"), "\u221220\u202f\u00b0C");
  assert.equal(page.rich("LiNi0.6Mn0.2Co0.2O2 at 1C"), "LiNi<sub>0.6</sub>Mn<sub>0.2</sub>Co<sub>0.2</sub>O<sub>2</sub> at 1C");
  assert.equal(page.rich("C/20, 5C, N/P"), "C/20, 5C, N/P");
});

const evil = '</script><img src=x onerror="alert(1)">&';
const report = {
  kicker: ["onegrain", evil, ""],
  subject: evil,
  invented: "",
  headline: evil,
  recommends: false,
  key: [{ label: evil, value: evil, plus_minus: evil, note: evil }],
  warnings: { title: "One thing to check first", items: [evil] },
  doubts: { title: "Doubts", items: [] },
  cautions: { title: "Before you charge a cell", items: ["careful", evil] },
  sections: [
    {
      title: evil,
      layout: "two",
      blocks: [
        { type: "text", text: evil },
        { type: "list", title: evil, items: [evil] },
        { type: "table", title: evil, columns: [{ head: evil, numeric: true }], rows: [[evil]], more: evil },
        {
          type: "plot", title: evil, says: evil, names: "right", low: false, zones: [{ from: 0, to: 1, never: true, words: evil }],
          levels: [{ at: 1, words: evil }], stages: [{ from: 0, to: 1, name: evil }], whole: { at: 1, words: evil },
          bands: [{ from: 0, to: 1, never: true, words: evil }], marks: [{ x: 0, y: 1, words: evil }], uprights: [{ x: 1, words: [evil] }],
          x: { title: evil, unit: evil, digits: 3, include: [] }, y: { title: evil, unit: evil, digits: 3, include: [] },
          series: [{ label: evil, role: "predicted", order: 0, x: [0, 1], y: [0, 1], at_points: [evil, evil], also: [[evil, evil]] }],
        },
        { type: "bars", title: evil, says: evil, numbered: true, bars: [{ name: evil, remark: evil, size: 1, from: 0, words: evil, look: 1 }] },
        { type: "stack", title: evil, says: evil, x: { title: evil, include: [] }, y: { title: evil, include: [] }, positions: [0, 1], parts: [{ name: evil, look: 0, values: [1, 2] }], note: evil },
        { type: "layers", title: evil, says: evil, layers: [{ name: evil, look: evil, size: 1, words: evil, shares: [{ words: evil, share: 1, fill: "own" }] }] },
      ],
    },
  ],
  about: [],
  footer: { title: "Where", rows: [[evil, evil]] },
};

test("text is never taken for markup, on the page and in its charts", () => {
  const charts = [];
  const html = page.page_html(report, charts) + charts.map((c) => c.draw(c.block, 900, c.id).svg).join("");
  assert.equal(charts.length, 4);
  assert.ok(!/<img|<script|<\/script/.test(html));
  assert.ok(!/ onerror="/.test(html.replace(/&quot;/g, "")));
});

test("cautions stand once: after the sections, or first where a rate is recommended", () => {
  for (const recommends of [false, true]) {
    const html = page.page_html({ ...report, recommends }, []);
    assert.equal(html.split('class="cautions"').length, 2);
    assert.equal(html.indexOf('class="cautions"') < html.indexOf('class="warnings"'), recommends);
  }
});

test("what is empty has no box, no column and no row of its own", () => {
  const html = page.page_html({ ...report, warnings: { title: "Nothing", items: [] } }, []);
  assert.ok(!html.includes("Nothing") && !html.includes("Doubts"));
  const columns = ["Rate", "Note", "Left"].map((head) => ({ head, numeric: false }));
  const table = page.table_html({ title: "", columns, rows: [["C/5", "", "1"], ["1C", "", "2"]] });
  assert.ok(!table.includes("Note") && table.includes("Left"));
});

test("the script says nothing of its own: no text in it has three words", () => {
  const web = new URL("../../app/render/web/", import.meta.url);
  const files = [...readdirSync(new URL("blocks/", web)).map((name) => `blocks/${name}`), "page.js"];
  assert.ok(files.length > 5);
  for (const name of files) {
    const code = readFileSync(new URL(name, web), "utf8").replace(/^\s*(\/\/|\*|\/\*\*).*$/gm, "");
    const texts = [...code.matchAll(/"([^"\n]*)"|`([^`]*)`/g)].map((m) => (m[1] ?? m[2]).replace(/\$\{[^}]*\}/g, " "));
    for (const text of texts) assert.ok(!/[a-z]{2,} [a-z]{2,} [a-z]{2,}/i.test(text) || text.split(" ").every((word) => word.length < 3), `${name}: ${text}`);
  }
});
