// The engine inside the page against the command line, and against a fresh build of its sources.
//
//   node tests/web/engine.mjs PROGRAM            every shipped sheet and ten random ones, in every description
//   node tests/web/engine.mjs PROGRAM --rebuild  compiles it again: the same bytes where the same versions made it, the same numbers anyway
//
// Status 77 where emscripten or the source of SUNDIALS is missing.
import { execFileSync, spawnSync } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { gunzipSync } from "node:zlib";

const [program, how] = [resolve(process.argv[2]), process.argv[3]];
const root = new URL("../../", import.meta.url).pathname;
const room = mkdtempSync(join(tmpdir(), "onegrain-engine-"));
process.on("exit", () => rmSync(room, { recursive: true, force: true }));
const require = createRequire(import.meta.url);
const faults = [];
const fault = (words) => faults.push(words) && console.log(words);

/** What the program says, or null where it cannot. */
function said(...words) {
  const done = spawnSync(program, words, { cwd: room, encoding: "utf8", maxBuffer: 1 << 28 });
  return done.status === 0 ? done.stdout : null;
}

/** The page of a sheet, as text; null where there is none. */
function page_of(sheet) {
  rmSync(join(room, "page.html"), { force: true });
  return said("page", sheet, "--out", "page.html") === null ? null : readFileSync(join(room, "page.html"), "utf8");
}

/** What lies in a page: the cell's numbers, the engine, what is around it. */
function inside(page) {
  const part = (id) => page.split(`id="${id}">`)[1].split("</script>")[0].trim();
  const bytes = Buffer.from(JSON.parse(part("page_cell")).cell, "base64");
  const cell = new Float64Array(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.length));
  return { cell, wasm: gunzipSync(Buffer.from(part("page_wasm"), "base64")), glue: gunzipSync(Buffer.from(part("page_glue"), "base64")) };
}

async function engine_of(wasm, glue, name) {
  const file = join(room, `${name}.cjs`);
  writeFileSync(file, glue);
  const engine = await require(file)({ wasmBinary: wasm });
  const put = (numbers) => engine.HEAPF64.set(numbers, engine._onegrain_room(numbers.length) / 8);
  return {
    memory: () => engine.HEAPF64.byteLength,
    take: (cell) => {
      put(cell);
      return engine._onegrain_take();
    },
    run: (row) => {
      put(row);
      const count = engine._onegrain_run();
      if (count < 0) return { words: engine.UTF8ToString(engine._onegrain_message()) };
      return { numbers: engine.HEAPF64.slice(engine._onegrain_answer() / 8, engine._onegrain_answer() / 8 + count) };
    },
  };
}

// Rows as app/page/engine.hpp has them.
const MOMENTS = 40;
const asked = (rate, resolved, uneven) => [
  ...Array(15).fill(NaN),
  resolved ? 1 : 0,
  uneven ? 1 : 0,
  NaN,
  MOMENTS,
  0,
  0,
  0,
  0,
  1,
  0,
  rate,
  NaN,
  NaN,
  NaN,
  NaN,
];
const [HEAD, OF_CELL, OF_STEP] = [7, 28, 8];
function curve_of(numbers) {
  const [, count, , width] = numbers;
  const at = (k, m) => numbers[HEAD + OF_CELL + OF_STEP + k * width + m];
  return Array.from({ length: count }, (_, k) => ({ volts: at(k, 4), mah: (Math.abs(at(k, 3)) * numbers[HEAD + 1]) / 3.6 }));
}

/** A number from 0 to 1 for each name, the same on every machine (FNV-1a). */
function chance(name) {
  let hash = 2166136261;
  for (const c of name) hash = Math.imul(hash ^ c.charCodeAt(0), 16777619) >>> 0;
  return hash / 2 ** 32;
}

/** The demo with other sizes, temperatures, loadings, cut-offs: what a laboratory could make. */
function random_sheet(k) {
  const between = (name, low, high) => low + (high - low) * chance(`${name} ${k}`);
  const num = (name, low, high) => between(name, low, high).toPrecision(4);
  const scale = between("thickness", 0.6, 1.6);
  return said("cards", "demo")
    .replace("temperature: 25 degC", `temperature: ${num("T", 0, 45)} degC`)
    .replace("upper: 4.2 V", `upper: ${num("upper", 4.0, 4.25)} V`)
    .replace("lower: 2.8 V", `lower: ${num("lower", 2.5, 3.2)} V`)
    .replace("value: 4.8 um", `value: ${num("R_p", 1, 9)} um`)
    .replace("value: 8 um", `value: ${num("R_n", 3, 14)} um`)
    .replace("value: 17.91 mg", `value: ${(5.02 + 12.89 * scale).toPrecision(5)} mg`)
    .replace("value: 6.3 mg/cm2", `value: ${(6.3 * scale).toPrecision(4)} mg/cm2`)
    .replace("thickness: {value: 41 um", `thickness: {value: ${(41 * scale * between("press_p", 0.95, 1.2)).toPrecision(4)} um`)
    .replace("thickness: {value: 42 um", `thickness: {value: ${(42 * scale * between("press_n", 0.95, 1.2)).toPrecision(4)} um`)
    .replace("material: nmc622", `material: ${chance(`material ${k}`) < 0.5 ? "nmc622" : "nmc111"}`)
    .replace("electrolyte: carbonate_1M", `electrolyte: ${["carbonate_1M", "ec_emc_1M_nmr", "pc_ec_dmc_1M"][Math.floor(3 * chance(`salt ${k}`))]}`);
}

/** One curve both ways: 0.05 mV and 0.01 %, the tolerance that is promised. */
function compare(engine, sheet, rate, resolved, uneven) {
  const words = [
    "curve",
    sheet,
    "--rates",
    `${Math.abs(rate)}C`,
    rate > 0 ? "--charge" : "--discharge",
    "--electrolyte",
    resolved ? "resolved" : "uniform",
  ];
  const told = said(...words, "--reaction", uneven ? "uneven" : "even", "--points", String(MOMENTS), "--json");
  const made = engine.run(asked(rate, resolved, uneven));
  const name = `${sheet} at ${rate}C, ${resolved ? "salt resolved" : "salt at rest"}, ${uneven ? "uneven" : "even"}`;
  if (told === null || made.words) {
    if ((told === null) !== Boolean(made.words)) fault(`${name}: only one of the two has an answer; the engine: ${made.words ?? "has"}`);
    return 0;
  }
  const [curve] = JSON.parse(told).curves;
  const page = curve_of(made.numbers);
  const apart = Math.max(...page.map(({ volts }, k) => Math.abs(volts - curve.voltage_V[k])));
  const charge = Math.abs(page[page.length - 1].mah / curve.capacity_mAh[page.length - 1] - 1);
  if (page.length !== curve.voltage_V.length || !(apart < 5e-5) || !(charge < 1e-4))
    fault(`${name}: ${(1000 * apart).toFixed(4)} mV and ${(100 * charge).toFixed(5)} % apart`);
  return apart;
}

async function against_the_command_line() {
  const sheets = JSON.parse(said("cards", "--json"))
    .cards.filter((card) => card.folder === "cells")
    .map((card) => card.name);
  for (let k = 0; k < 10; k += 1) {
    writeFileSync(join(room, `random_${k}.yaml`), random_sheet(k));
    sheets.push(`random_${k}.yaml`);
  }
  let engine = null;
  let widest = 0;
  let compared = 0;
  for (const sheet of sheets) {
    const text = page_of(sheet);
    if (text === null) {
      fault(`${sheet}: no page`);
      continue;
    }
    const page = inside(text);
    engine ??= await engine_of(page.wasm, page.glue, "inside");
    if (engine.take(page.cell) < 0) fault(`${sheet}: the engine takes no cell`);
    for (const rate of [-1, 0.5])
      for (const resolved of [true, false])
        for (const uneven of [true, false]) {
          widest = Math.max(widest, compare(engine, sheet, rate, resolved, uneven));
          compared += 1;
        }
  }
  if (compared < 130) fault(`only ${compared} curves were compared`);
  console.log(`${compared} curves, at most ${(1000 * widest).toFixed(5)} mV apart`);
  return engine;
}

/** Thousands of runs in the memory of the first ones. */
function keeps_its_memory(engine) {
  const row = asked(-1, true, false);
  for (let k = 0; k < 50; k += 1) engine.run(row);
  const before = engine.memory();
  for (let k = 0; k < 1500; k += 1) engine.run(row);
  if (engine.memory() !== before) fault(`1,500 runs take ${engine.memory() - before} bytes more`);
}

async function rebuilt() {
  const built = spawnSync("sh", [join(root, "app/page/build.sh"), join(room, "built")], { encoding: "utf8" });
  if (built.status === 77) {
    console.log(`skipped: ${built.stderr}`);
    process.exit(77);
  }
  if (built.status !== 0) return fault(`the build fails:\n${built.stderr}`);
  const [here, there] = [join(root, "app/page"), join(room, "built")];
  const read = (folder, name) => readFileSync(join(folder, name));
  const same_makers = read(here, "engine.txt").equals(read(there, "engine.txt"));
  console.log(`${same_makers ? "the same" : "other"} versions: ${read(there, "engine.txt").toString().trim().replace("\n", ", ")}`);
  const unpacked = (folder, name) => gunzipSync(read(folder, name));
  for (const name of ["engine.wasm.gz", "engine.js.gz"])
    if (same_makers && !unpacked(here, name).equals(unpacked(there, name)))
      fault(`app/page/${name} is not what its sources make; run sh app/page/build.sh`);
  const page = inside(page_of("demo"));
  const engine = await engine_of(unpacked(there, "engine.wasm.gz"), unpacked(there, "engine.js.gz"), "rebuilt");
  if (engine.take(page.cell) < 0) fault("the rebuilt engine takes no cell");
  for (const uneven of [true, false]) compare(engine, "demo", -2, true, uneven);
}

execFileSync(program, ["--version"]);
if (how === "--rebuild") await rebuilt();
else keeps_its_memory(await against_the_command_line());
process.exit(faults.length ? 1 : 0);
