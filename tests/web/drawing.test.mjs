// Drawings are read back the way a reader reads them, by the ticks of their axes, and must give the numbers that went in.
import assert from "node:assert/strict";
import test from "node:test";
import { axis, elements, line, page, plot } from "./load.mjs";

const number = (words) => Number(words.replace("\u2212", "-").replace(/,/g, ""));

/** What a place on an axis means, from two ticks of it that carry words. */
function reader(ticks, log = false) {
  const known = ticks.filter((tick) => Number.isFinite(tick.value));
  const [a, b] = [known[0], known[known.length - 1]];
  assert.ok(a !== b && a.at !== b.at, "an axis has two ticks");
  const scale = log ? Math.log : (value) => value;
  const back = log ? Math.exp : (value) => value;
  return (at) => back(scale(a.value) + ((at - a.at) / (b.at - a.at)) * (scale(b.value) - scale(a.value)));
}
const y_reader = (svg) =>
  reader(
    elements(svg, "text")
      .filter((t) => t["text-anchor"] === "end" && !t.class)
      .map((t) => ({ at: Number(t.y) - 4.5, value: number(t.words) })),
  );
const x_reader = (svg, log) =>
  reader(
    elements(svg, "text")
      .filter((t) => t["text-anchor"] === "middle" && !t.class)
      .map((t) => ({ at: Number(t.x), value: number(t.words) })),
    log,
  );
const corners = (d) => [...d.matchAll(/[ML]([-\d.e]+),([-\d.e]+)/g)].map(([, x, y]) => [Number(x), Number(y)]);
const close = (a, b, slack = 1e-6) => assert.ok(Math.abs(a - b) <= slack * Math.max(1, Math.abs(b)), `${a} is not ${b}`);

test("a line read off its axes gives its numbers back", () => {
  const x = [0, 0.5, 1.5, 4];
  const y = [-3, 2, 2.5, 8];
  for (const names of ["none", "below", "above", "right"])
    for (const width of [360, 1100]) {
      const { svg } = page.draw_plot(plot({ series: [line(x, y)], names }), width, "p");
      const drawn = corners(elements(svg, "path").find((p) => p.class === "line").d);
      const [at_x, at_y] = [x_reader(svg), y_reader(svg)];
      drawn.forEach(([px, py], i) => {
        close(at_x(px), x[i], 1e-3); // d3 writes three decimals of a pixel
        close(at_y(py), y[i], 1e-2);
      });
    }
});

test("on a logarithmic axis equal ratios are equal distances", () => {
  const ticks = [0.05, 0.5, 5].map((at) => ({ at, words: String(at) }));
  const series = [line([0.05, 0.5, 5], [3, 2, 1], { marked: true })];
  const { svg, traces } = page.draw_plot(plot({ x: axis({ logarithmic: true, ticks }), series }), 800, "p");
  const [a, b, c] = traces[0].points.map((p) => p[0]);
  close(b - a, c - b);
  close(x_reader(svg, true)(b), 0.5, 1e-3);
});

test("on equal axes one unit is as long across as up, whatever is drawn and however wide", () => {
  for (const y of [[0, 1, 3], [0, 40, 20], [-1, 0, 2]])
    for (const width of [360, 1100]) {
      const { svg, scales } = page.draw_plot(plot({ equal: true, series: [line([2, 5, 9], y)], names: "below" }), width, "p");
      const drawn = corners(elements(svg, "path").find((p) => p.class === "line").d);
      const [at_x, at_y] = [x_reader(svg), y_reader(svg)];
      drawn.forEach(([px, py], i) => {
        close(at_x(px), [2, 5, 9][i], 1e-2);
        close(at_y(py), y[i], 2e-2);
      });
      close(at_x(101) - at_x(1), at_y(1) - at_y(101), 1e-2);
      assert.ok(scales.x.domain()[1] >= 9 - 1e-9 && scales.y.domain()[1] >= Math.max(...y) - 1e-9);
    }
});

test("a highest value alone bounds the scale as well as with a least one", () => {
  const series = [line([0, 1, 2, 3], [1.3, 0.2, 0.1, 0.06])];
  const { svg } = page.draw_plot(plot({ series, y: axis({ most: 0.25, include: [-0.05, 0.25] }) }), 600, "p");
  const shown = elements(svg, "text").filter((t) => t["text-anchor"] === "end" && !t.class).map((t) => number(t.words));
  assert.ok(Math.max(...shown) <= 0.3, `the axis goes to ${Math.max(...shown)}`);
});

test("a value beyond the scale asked for does not stretch it, and what its lines mean stands above", () => {
  const series = [
    line([0, 1, 2, 3], [3, 3.5, 3.6, 3.4], { role: "measured" }),
    line([0, 1, 2, 3], [3, 3.4, 3.9, -20], { role: "calculated" }),
  ];
  const key = [
    { role: "measured", words: "measured" },
    { role: "calculated", words: "calculated" },
  ];
  for (const width of [340, 1100]) {
    const { svg, box, traces } = page.draw_plot(
      plot({ series, key, names: "below", y: axis({ least: 2.9, most: 4 }), note: "beyond this scale" }),
      width,
      "p",
    );
    const read = y_reader(svg);
    assert.ok(read(box.bottom) <= 2.9 && read(box.bottom) > 2 && read(box.top) < 4.5);
    assert.equal(traces[1].points.length, 3); // the fourth point lies outside
    const words = elements(svg, "text").map((t) => t.words);
    for (const one of ["measured", "calculated", "beyond this scale"]) assert.equal(words.filter((w) => w === one).length, 1);
    // on a line of its own, on nothing that is drawn
    const note = elements(svg, "text").find((t) => t.words === "beyond this scale");
    const title = elements(svg, "text").find((t) => t.class === "axis-title");
    assert.ok(Number(note.y) < box.top - 4 && Number(note.y) > Number(title.y) + 13);
    assert.equal(elements(svg, "text").filter((t) => t.class === "label").length, 1); // the calculated line is not named again
    for (const t of elements(svg, "text")) assert.ok(Number(t.x ?? 0) >= 0 && Number(t.x ?? 0) <= width);
    const broad = elements(svg, "path").filter((p) => p.class === "line measured");
    assert.equal(broad.length, 1);
    assert.equal(elements(svg, "path").filter((p) => p.class === "line calculated").length, 1);
  }
});

test("points that are not joined stand alone, each with a bar from its low to its high end", () => {
  const series = [line([0, 1, 2], [3, 5, 4], { joined: false, marked: true, low: [2, 4, 3.5], high: [4, 7, 4.5] })];
  const { svg, traces } = page.draw_plot(plot({ series }), 800, "p");
  const read = y_reader(svg);
  assert.equal(elements(svg, "path").filter((p) => p.class === "line").length, 0);
  assert.equal(elements(svg, "path").filter((p) => p.class === "mark").length, 3);
  const bars = elements(svg, "line").filter((l) => l.class === "bar");
  assert.equal(bars.length, 3);
  bars.forEach((bar, i) => {
    close(read(Number(bar.y1)), [2, 4, 3.5][i], 1e-2);
    close(read(Number(bar.y2)), [4, 7, 4.5][i], 1e-2);
    close(Number(bar.x1), traces[0].points[i][0], 1e-9);
  });
});

test("on a logarithmic y axis a factor is the same length everywhere, and the first ticks stay where room is short", () => {
  const ticks = [1, 2, 5].flatMap((step) => [-15, -14, -13].map((power) => ({ at: step * 10 ** power, words: `${step}e${power}` })));
  const series = [line([0, 1, 2], [1e-15, 1e-14, 1e-13], { joined: false, marked: true })];
  const { svg, traces } = page.draw_plot(
    plot({ series, y: axis({ logarithmic: true, ticks }), key: [{ role: "predicted", words: "sphere" }] }),
    800,
    "p",
  );
  const [a, b, c] = traces[0].points.map((p) => p[1]);
  close(a - b, b - c);
  const words = elements(svg, "text").map((t) => t.words);
  for (const one of ["1e-15", "1e-14", "1e-13"]) assert.ok(words.includes(one));
  assert.equal(elements(svg, "path").filter((p) => p.class === "mark").length, 4); // three points and the key
});

test("what is not known leaves a gap and is never drawn as zero", () => {
  const { svg, traces } = page.draw_plot(plot({ series: [line([0, 1, 2, 3], [1, null, 3, 4])] }), 800, "p");
  const d = elements(svg, "path").find((p) => p.class === "line").d;
  assert.equal([...d.matchAll(/M/g)].length, 2);
  assert.equal(traces[0].points.length, 3);
  assert.ok(!svg.includes("NaN"));
});

test("a zone below a value ends at that value", () => {
  const zones = [{ from: null, to: 0, never: true, words: "keep out" }];
  const { svg, box } = page.draw_plot(plot({ zones, series: [line([0, 1], [-1, 2])] }), 800, "p");
  const zone = elements(svg, "rect").find((r) => r.fill === "url(#p-zone-0)");
  close(y_reader(svg)(Number(zone.y)), 0, 1e-2);
  close(Number(zone.y) + Number(zone.height), box.floor, 1e-6);
  assert.ok(svg.includes("keep out"));
});

test("names of lines do not lie on each other", () => {
  const series = Array.from({ length: 8 }, (_, i) => line([0, 1 + i / 100], [4, 3], { label: `rate ${i}`, role: "in_order", order: i }));
  for (const names of ["below", "right"]) {
    const { svg } = page.draw_plot(plot({ series, names }), 700, "p");
    const labels = [...svg.matchAll(/<text class="label"[^>]*?(?: x="([\d.]+)" y="([\d.]+)")?[^>]*>(?:<tspan x="([\d.]+)" y="([\d.]+)">)?/g)];
    assert.equal(labels.length, 8);
    const places = labels.map((m) => [Number(m[1] ?? m[3]), Number(m[2] ?? m[4])]);
    for (let i = 0; i < 8; ++i)
      for (let k = 0; k < i; ++k) {
        const apart_x = Math.abs(places[i][0] - places[k][0]) >= page.width_of("rate 0", 600);
        assert.ok(apart_x || Math.abs(places[i][1] - places[k][1]) >= 14, `${i} on ${k}`);
      }
  }
});

test("parts on top of each other reach the sum of the parts", () => {
  const stack = {
    x: axis({ include: [0] }),
    y: axis({ include: [0] }),
    positions: [0, 1, 2],
    parts: [
      { name: "one", look: 0, values: [1, 2, 3] },
      { name: "two", look: 1, values: [4, 5, 6] },
    ],
    total: "in all",
    note: "",
  };
  const { svg, traces } = page.draw_stack(stack, 900, "s");
  const at_y = y_reader(svg);
  traces[1].points.forEach(([, py], i) => close(at_y(py), [5, 7, 9][i], 1e-3));
  assert.deepEqual(traces[1].words(2).slice(-1), ["in all 9.00 "]);
});

test("layers are as wide as they are thick, and their shares fill their height", () => {
  const layer = (name, size) => ({
    name,
    look: "positive",
    size,
    words: `${size} um`,
    shares: [
      { words: "pores 30 %", share: 0.3, fill: "empty" },
      { words: "grains 70 %", share: 0.7, fill: "own" },
    ],
  });
  const { svg, box } = page.draw_layers({ layers: [layer("a", 10), layer("b", 30)] }, 804, "l");
  const slabs = elements(svg, "rect").filter((r) => r.class === "slab");
  close(Number(slabs[2].width) / Number(slabs[0].width), 3);
  close(Number(slabs[0].width) + Number(slabs[2].width), box.right - box.left);
  close(Number(slabs[0].height) + Number(slabs[1].height), box.floor - box.top);
});

test("items that are spread out keep their order, do not overlap and stay inside", () => {
  const items = [50, 50, 52, 10, 99].map((wanted) => ({ wanted, size: 20 }));
  page.spread_out(items, 0, 100);
  const centres = items.map((item) => item.centre).sort((a, b) => a - b);
  centres.slice(1).forEach((at, i) => assert.ok(at - centres[i] >= 20 - 1e-9));
  assert.ok(centres[0] >= 10 && centres[4] <= 90);
});

const intervals = (rows, more = {}) => ({ title: "", says: "", axis: axis(), levels: [], look: "interval", rows, ...more });
const bar = (low, value, high, more = {}) => ({ name: "a", words: "", low, value, high, doubtful: false, ...more });

test("an interval read off its axis gives its ends and its dot back, on either scale", () => {
  for (const logarithmic of [false, true])
    for (const [low, value, high] of [[0.02, 0.3, 40], [0.9, 1, 1.2], [1e-3, 1, 1e3]])
      for (const width of [380, 900]) {
        const block = intervals([bar(low, value, high)], { axis: axis({ logarithmic }), levels: [{ at: 1, words: "here" }] });
        const { svg, traces } = page.draw_intervals(block, width, "i");
        const ticks = elements(svg, "text")
          .filter((t) => t["text-anchor"] === "middle" && !t.class)
          .map((t) => ({ at: Number(t.x), value: number(t.words) }));
        const read = reader(ticks, logarithmic);
        const span = elements(svg, "line").find((l) => l.class === "interval");
        const slack = logarithmic ? 1e-6 : 1e-6 * high;
        const same = (at, b) => assert.ok(Math.abs(read(at) - b) <= slack * Math.max(1, b), `${read(at)} is not ${b}`);
        same(Number(span.x1), low);
        same(Number(span.x2), high);
        same(traces[0].points[0][0], value);
        same(Number(elements(svg, "line").find((l) => l.class === "level").x1), 1);
        for (let i = 1; i < ticks.length; ++i) assert.ok(ticks[i].at - ticks[i - 1].at > 25, "ticks have room");
      }
});

test("an interval without an end goes on to the edge with an arrow, and an open dot stays open", () => {
  const rows = [bar(null, 1, 2, { doubtful: true }), bar(0.5, 1, 2)];
  const { svg, box } = page.draw_intervals(intervals(rows), 900, "i");
  const [open, closed] = elements(svg, "line").filter((l) => l.class === "interval");
  assert.equal(Number(open.x1), box.left);
  assert.ok(Number(closed.x1) > box.left);
  assert.equal(elements(svg, "path").filter((p) => p.class === "bar" && p.d.includes("L")).length, 1);
  assert.deepEqual(elements(svg, "circle").map((c) => c.fill), ["#fff", "#1d2328"]);
});

test("of a stretch the part in use lies where it should, and its words are whole on a narrow screen", () => {
  const words = "used from empty to full, and what is left beyond it on either side";
  const row = { name: "positive", words, low: -1, high: 4, part: [0, 3], value: null, doubtful: false };
  for (const width of [330, 1000]) {
    const { svg, box, height } = page.draw_intervals(intervals([row], { look: "stretch" }), width, "i");
    const [whole, part] = elements(svg, "rect").filter((r) => r.class === "slab");
    const share = (part.x - whole.x) / whole.width;
    close(share, 0.2);
    close(part.width / whole.width, 0.6);
    const lines = elements(svg, "text").filter((t) => t.class === "note").map((t) => t.words);
    assert.equal(lines.join(" "), `positive: ${words}`);
    assert.ok(Number(whole.y) + 16 < box.floor && box.floor < height);
  }
});

test("a long or tiny tick keeps its sign and stays inside the drawing", () => {
  for (const y of [[-4e-7, 3e-7], [-123456, 98765], [-0.00123, 0.0017], [-0.3, 0.25]])
    for (const width of [340, 1100]) {
      const { svg } = page.draw_plot(plot({ series: [line([0, 1], y)] }), width, "p");
      const ticks = elements(svg, "text").filter((t) => t["text-anchor"] === "end" && !t.class);
      assert.ok(ticks.length > 1);
      for (const tick of ticks) assert.ok(Number(tick.x) - page.width_of(tick.words) >= 0, `${tick.words} is cut`);
      assert.ok(ticks.some((tick) => tick.words.startsWith("\u2212")), "what is below zero has a minus");
      assert.equal(new Set(ticks.map((tick) => tick.words)).size, ticks.length, "no two ticks read alike");
    }
});

test("an enlarged part has its own axes, and a hidden line leaves its name", () => {
  const series = [line([0, 1, 2, 3], [0, 1, 4, 9], { label: "square" }), line([0, 1, 2, 3], [0, 1, 2, 3], { label: "straight" })];
  const { svg, scales, traces } = page.draw_plot(plot({ series, names: "right", view: { x: [1, 2], y: [0, 5], hidden: [0] } }), 700, "p");
  assert.deepEqual(scales.x.domain(), [1, 2]);
  assert.deepEqual(scales.y.domain(), [0, 5]);
  assert.equal(traces.length, 1);
  assert.equal(elements(svg, "path").filter((p) => p.class === "line").length, 1);
  assert.ok(svg.includes('data-line="0"') && svg.includes("square"), "its name is there to bring it back");
});

test("formulas are lowered with fractions, in drawings too, and words of bars stay inside", () => {
  assert.equal(page.rich("0.33 LiNi1/3Mn1/3Co1/3O2"), "0.33 LiNi<sub>1/3</sub>Mn<sub>1/3</sub>Co<sub>1/3</sub>O<sub>2</sub>");
  const bars = [{ name: "diffusion coefficient of LiFePO4", remark: "", size: 1, from: 0, words: "a sentence that is far too long to stand beside a bar on a telephone" }];
  const { svg, height } = page.draw_bars({ numbered: false, bars }, 320, "b");
  assert.ok(svg.includes("LiFePO\u2084"));
  for (const t of elements(svg, "text")) {
    assert.ok(Number(t.x) + page.width_of(t.words, 600) <= 321, `${t.words} is cut`);
    assert.ok(Number(t.y) <= height);
  }
});
