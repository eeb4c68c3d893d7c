// What plots hold beside their lines, and ranked bars: read back by the ticks of the axes or by their own sizes.
import assert from "node:assert/strict";
import test from "node:test";
import { axis, elements, line, page, plot } from "./load.mjs";

const close = (a, b, slack = 1e-6) => assert.ok(Math.abs(a - b) <= slack * Math.max(1, Math.abs(b)), `${a} is not ${b}`);
const number = (words) => Number(words.replace("\u2212", "-"));
const straight = (ticks) => (at) => ticks[0].v + ((at - ticks[0].at) / (ticks.at(-1).at - ticks[0].at)) * (ticks.at(-1).v - ticks[0].v);
const words_of = (svg, anchor) => elements(svg, "text").filter((t) => t["text-anchor"] === anchor && !t.class);
const x_of = (svg) => straight(words_of(svg, "middle").map((t) => ({ at: Number(t.x), v: number(t.words) })));
const y_of = (svg) => straight(words_of(svg, "end").map((t) => ({ at: Number(t.y) - 4.5, v: number(t.words) })));
const points = (text) => text.split(/[ ,]/).map(Number).reduce((all, v, i) => (i % 2 ? (all.at(-1).push(v), all) : [...all, [v]]), []);

test("a stepped line holds each value until the next point, and its ground reaches the axis", () => {
  const steps = line([0, 1, 3], [4, 2, 1], { stepped: true, filled: true });
  const { svg, box } = page.draw_plot(plot({ series: [steps], y: axis({ include: [0] }) }), 700, "p");
  const d = elements(svg, "path").find((p) => p.class === "line").d;
  const corners = [...d.matchAll(/[ML]([-\d.e]+),([-\d.e]+)/g)].map(([, x, y]) => [x_of(svg)(Number(x)), y_of(svg)(Number(y))]);
  const wanted = [[0, 4], [1, 4], [1, 2], [3, 2], [3, 1]];
  assert.equal(corners.length, wanted.length);
  corners.forEach(([x, y], i) => (close(x, wanted[i][0], 1e-2), close(y, wanted[i][1], 1e-2)));
  const ground = points(elements(svg, "polygon").find((p) => p.class === "under").points);
  assert.deepEqual([ground[0][1], ground.at(-1)[1]], [box.floor, box.floor]);
});

test("a strip of the x axis lies between its ends, cut at the edges, its words above it and not on each other", () => {
  const bands = [
    { from: -60, to: 0, never: true, words: "never go there, says common practice" },
    { from: 0, to: 10, never: false, words: "take care there, says common practice" },
    { from: 80, to: 90, never: false, words: "out of sight" },
  ];
  for (const width of [380, 1000]) {
    const { svg, box } = page.draw_plot(plot({ bands, series: [line([-10, 45], [1, 2])], x: axis({ include: [-14, 49] }) }), width, "p");
    const grounds = elements(svg, "rect").filter((r) => /^url\(#p-band-\d\)$/.test(r.fill));
    assert.equal(grounds.length, 2);
    close(Number(grounds[0].x), box.left);
    close(x_of(svg)(Number(grounds[0].x) + Number(grounds[0].width)), 0, 1e-2);
    close(x_of(svg)(Number(grounds[1].x) + Number(grounds[1].width)), 10, 1e-2);
    const notes = elements(svg, "text").filter((t) => t.class === "note");
    assert.ok(notes.map((t) => t.words).join(" ").includes("never go there,"));
    for (const t of notes) assert.ok(Number(t.y) < box.top - 4 && Number(t.y) > 20, `${t.y}`);
    const centres = [...new Set(notes.map((t) => Number(t.x)))];
    assert.ok(Math.abs(centres[0] - centres[1]) > 60);
  }
});

test("a named place stands where its numbers are, with lines to both axes", () => {
  const marks = [{ x: 2, y: 0.5, words: "half of them" }];
  const { svg, box } = page.draw_plot(plot({ marks, series: [line([0, 4], [1, 0])] }), 700, "p");
  const dot = elements(svg, "circle").find((c) => c.r === "5");
  close(x_of(svg)(Number(dot.cx)), 2, 1e-2);
  close(y_of(svg)(Number(dot.cy)), 0.5, 1e-2);
  const path = points(elements(svg, "polyline").find((p) => p.class === "limit").points);
  assert.deepEqual(path, [[box.left, Number(dot.cy)], [Number(dot.cx), Number(dot.cy)], [Number(dot.cx), box.floor]]);
  assert.ok(svg.includes("half of them"));
});

test("an upright line stands at its value; beyond the edge its words stay inside and no line is drawn", () => {
  for (const [x, lines] of [[3, 1], [9, 0]]) {
    const { svg, box } = page.draw_plot(plot({ uprights: [{ x, words: ["too fast"] }], series: [line([0, 4], [1, 0])] }), 700, "p");
    const drawn = elements(svg, "line").filter((l) => l.class === "warned");
    assert.equal(drawn.length, lines);
    if (lines) close(x_of(svg)(Number(drawn[0].x1)), 3, 1e-2);
    const words = elements(svg, "text").find((t) => t.words === "too fast");
    assert.ok(Number(words.x) <= box.right && (words["text-anchor"] === "end" || Number(words.x) + page.width_of("too fast") <= box.right));
  }
});

test("equal ratios are equal heights on a logarithmic y axis, and zero stands below under its own name", () => {
  const ticks = [0.1, 1, 10, 0.5, 500].map((at) => ({ at, words: `${at}C` }));
  const series = [line([0, 1, 2, 3], [0, 0.1, 1, 10], { marked: true })];
  const { svg, traces, box } = page.draw_plot(plot({ series, y: axis({ logarithmic: true, ticks, zero: "none" }) }), 700, "p");
  const [a, b, c] = traces[0].points.map((p) => p[1]);
  assert.equal(traces[0].points.length, 3);
  close(a - b, b - c);
  const tick = words_of(svg, "end").find((t) => t.words === "1C");
  close(Number(tick.y) - 4.5, b);
  assert.ok(!svg.includes("500C"));
  const cross = elements(svg, "path").filter((p) => p.class === "cross");
  assert.equal(cross.length, 1);
  assert.ok(a < box.floor - 26 + 1e-9);
  assert.ok(elements(svg, "text").some((t) => t.class === "axis-none" && t.words === "none"));
});

test("what is told of a point takes the place of its numbers", () => {
  const series = [line([0, 1], [0.4729, 1], { told: [["0.472C, rounded down"], ["1C"]] })];
  const { traces } = page.draw_plot(plot({ series }), 700, "p");
  assert.deepEqual(traces[0].words(0), ["0.472C, rounded down"]);
});

const bar = (name, size, more = {}) => ({ name, remark: "", size, from: 0, words: `${size}`, ...more });

test("bars are as long as their sizes say, from one foot, what is below zero to the left", () => {
  for (const width of [360, 1000]) {
    const bars = [bar("first", 4), bar("second", 2), bar("none", 0), bar("back", -1)];
    const { svg, height } = page.draw_bars({ bars, numbered: true }, width, "b");
    const slabs = elements(svg, "rect").filter((r) => r.class === "slab");
    assert.equal(slabs.length, 3);
    close(Number(slabs[0].width) / Number(slabs[1].width), 2);
    close(Number(slabs[0].width) / Number(slabs[2].width), 4);
    close(Number(slabs[0].x), Number(slabs[1].x));
    close(Number(slabs[2].x) + Number(slabs[2].width), Number(slabs[0].x));
    const foot = elements(svg, "line").find((l) => l.class === "bar-foot");
    close(Number(foot.x1), Number(slabs[0].x));
    assert.ok(svg.includes("1. first") && svg.includes("4. back"));
    for (const t of elements(svg, "text")) {
      assert.ok(Number(t.y) < height);
      assert.ok(Number(t.x) + page.width_of(t.words, 600) <= width + 1, t.words);
    }
  }
});

test("bars that begin where others end add up", () => {
  const bars = [bar("whole", 10), bar("a", -3, { from: 10, part: true, look: 1 }), bar("b", -2, { from: 7 }), bar("rest", 5)];
  const { svg } = page.draw_bars({ bars, numbered: false }, 900, "b");
  const slabs = elements(svg, "rect").filter((r) => r.class === "slab").map((r) => [Number(r.x), Number(r.x) + Number(r.width)]);
  close(slabs[1][1], slabs[0][1]);
  close(slabs[2][1], slabs[1][0]);
  close(slabs[3][1], slabs[2][0]);
  assert.ok(!svg.includes("1. "));
  assert.ok(elements(svg, "rect").some((r) => r.fill === "url(#b-1-fill-1)"));
});
