// What is on the screen, and when it changes. The only script that holds a state.

const state = {
  mode: "ask",
  view: "grains",
  question: 0,
  runs: [],
  names: [],
  cells: [],
  which: 0,
  time: 0,
  playing: false,
  kept: null,
  reference: null,
  sliders: [],
  values: null,
  shown_cell: () => state.cells[state.which] || "cell",
};
const solver = new Solver();
let axes = null;

const say = (words) => (element("said").textContent = words);

/** What went wrong, in words; the last good picture stays and is marked. */
function fault(words) {
  element("fault").textContent = words;
  element("fault").hidden = !words;
  document.body.classList.toggle("stale", Boolean(words));
}

/** The runs that are in the plots: those that are shown, and one that was kept to compare with. */
function plotted() {
  const all = state.runs.map((run, k) => ({ run, label: state.names[k] || "", kept: k !== state.which }));
  if (state.mode === "try" && state.kept) all.push({ run: state.kept, label: t("run.kept"), kept: true });
  return all;
}

const PLOTS = [
  { id: "plot_voltage", title: "plot.voltage", height: 250, value: (now) => now.voltage },
  { id: "plot_positive", title: "plot.positive", height: 150, value: (now) => now.u_positive + now.eta_positive },
  { id: "plot_negative", title: "plot.negative", height: 150, value: (now) => now.separator_side, zone: true },
];

/** Whether what is shown is an electrode against lithium. */
const half_cell = () => !PAGE.full_cell || state.shown_cell() === "half";
const shown_charge = (run, charge) => run.milliampere_hours(Math.abs(charge));

function lines_of(plot) {
  return plotted().map(({ run, label, kept }) => {
    const keys = { plot_voltage: ["voltage"], plot_positive: ["u_positive", "eta_positive"], plot_negative: ["separator_side"] }[plot.id];
    const points = Array.from({ length: run.count }, (_, k) => [
      shown_charge(run, run.value("charge", k)),
      keys.reduce((sum, key) => sum + run.value(key, k), 0),
      run.value("time", k),
    ]);
    return {
      points,
      kept,
      label: plot.id === "plot_voltage" ? label : "",
      at: (time) => {
        const now = run.moment(Math.min(time, run.duration));
        return [shown_charge(run, now.charge), plot.value(now)];
      },
    };
  });
}

function draw_plots() {
  axes = PLOTS.map((plot) => {
    const svg = element(plot.id);
    const of_negative = plot.id === "plot_negative";
    svg.toggleAttribute("hidden", plot.id === "plot_positive" && half_cell());
    const lines = lines_of(plot);
    const most = Math.max(...lines.flatMap((line) => line.points.map((point) => point[0])), shown_charge(state.runs[0], state.runs[0].cell.capacity));
    const name = of_negative && half_cell() ? "plot.lithium" : plot.title;
    const y = range_of(
      lines.flatMap((line) => line.points.map((point) => point[1])),
      of_negative ? [0, 0.1] : [],
    );
    const drawing = draw_axes(svg, {
      title: t(name),
      height: plot.height,
      x: { title: t("plot.capacity"), low: 0, high: most * 1.03 },
      y,
      zone: of_negative && PAGE.can_plate ? { below: 0, words: t("plot.plating") } : null,
    });
    return { ...drawing, lines, of: plot };
  });
  const mine = state.mode === "ask" ? answered[questions_here()[state.question].id]?.drawn : null;
  if (mine) show_guess(mine);
}

/** The guess that was drawn by hand. */
function show_guess(points) {
  const { svg, x, y } = axes[0];
  svg.querySelector(".by-hand")?.remove();
  svg.insertAdjacentHTML("beforeend", `<path class="by-hand" d="${path_of(points, x, y)}"/>`);
}

/** The moment in the picture, the plots, the counters. */
function show_time() {
  const run = state.runs[state.which];
  if (!run) return;
  const time = Math.min(state.time, run.duration);
  const now = run.moment(time);
  show_moment(run, now);
  for (const one of axes) {
    draw_lines(one, one.lines, state.only_start ? 0 : state.time);
    one.svg.setAttribute(
      "aria-label",
      t("plot.says", { what: t(one.of.title), q: num(shown_charge(run, now.charge), 3), v: fixed(one.of.value(now), 3) }),
    );
  }
  element("time").value = 1000 * share_of(state.time);
  element("time").setAttribute("aria-valuetext", lasting(time));
  element("clock").textContent = t("picture.clock", { now: lasting(time), all: lasting(run.duration) });
  show_counts(run, now);
}

const longest_run = () => state.runs.reduce((one, other) => (other.duration > one.duration ? other : one));

/** How far along the slider of time each step of the longest run reaches: half goes by its duration, half is shared evenly, so that a short
 *  step after a long one can be seen. [[time, share], ...] */
function course_of_time() {
  const run = longest_run();
  const steps = run.steps.filter((step) => step.duration > 0);
  const ends = [[0, 0]];
  for (const step of steps) {
    const [time, share] = ends[ends.length - 1];
    ends.push([time + step.duration, share + 0.5 / steps.length + (0.5 * step.duration) / run.duration]);
  }
  return ends;
}

/** From one column of a rising table to the other, on straight lines. */
function along(table, from, to, value) {
  const k = Math.max(
    1,
    table.findIndex((row) => row[from] >= value),
  );
  const [low, high] = value >= table[table.length - 1][from] ? [table[table.length - 1], table[table.length - 1]] : [table[k - 1], table[k]];
  return high[from] > low[from] ? low[to] + ((value - low[from]) / (high[from] - low[from])) * (high[to] - low[to]) : high[to];
}
const share_of = (time) => along(course_of_time(), 0, 1, time);
const time_of = (share) => along(course_of_time(), 1, 0, share);

function show_counts(run, now) {
  const passed = Math.abs(now.charge);
  const start = run.moment(0);
  const rows = [[t("count.electrons"), micro(run, passed)]];
  if (!drawn.places.metal)
    rows.push([
      t(now.charge > 0 ? "count.into_negative" : "count.out_of_negative"),
      micro(run, (now.mean_negative - start.mean_negative) * run.cell.host_negative),
    ]);
  rows.push([
    t(drawn.places.metal ? "count.working" : now.charge > 0 ? "count.out_of_positive" : "count.into_positive"),
    micro(run, (now.mean_positive - start.mean_positive) * run.cell.host_positive),
  ]);
  element("counts").innerHTML = rows.map(([what, amount]) => `<div><dt>${escaped(what)}</dt><dd>${escaped(amount)}</dd></div>`).join("");
}

/** New runs: everything that stands still is drawn, and time starts. */
function show_runs(runs, cells, names, { view, play = false, only_start = false, keep_time = false, pause_at = null } = {}) {
  Object.assign(state, { runs, cells, names, only_start, pause_at });
  if (view && view !== state.view) set_view(view, false);
  state.which = keep_time ? Math.min(state.which, runs.length - 1) : runs.length - 1;
  const longest = longest_run().duration;
  if (!keep_time) state.time = play || only_start ? 0 : (pause_at ?? longest);
  else state.time = time_of(state.share);
  show_which();
  draw_cell(element("cell"), runs[state.which]);
  draw_plots();
  show_time();
  set_playing(play && !matchMedia("(prefers-reduced-motion: reduce)").matches);
  if (play && !state.playing) {
    state.time = pause_at ?? longest;
    show_time();
  }
  element("picture").classList.toggle("before", only_start);
}

/** Of several runs, whose picture is shown. */
function show_which() {
  element("which").innerHTML =
    state.runs.length < 2
      ? ""
      : state.names
          .map((name, k) => `<button type="button" data-which="${k}" aria-pressed="${k === state.which}">${escaped(name)}</button>`)
          .join("");
  for (const button of element("which").querySelectorAll("button"))
    button.addEventListener("click", () => {
      state.which = Number(button.dataset.which);
      show_which();
      draw_cell(element("cell"), state.runs[state.which]);
      draw_plots();
      show_time();
      element("which").querySelectorAll("button")[state.which].focus();
    });
}

const PLAY_SECONDS = 12;
let frame = null;

function set_playing(on) {
  state.playing = on;
  element("play").textContent = t(on ? "picture.pause" : "picture.play");
  if (frame) cancelAnimationFrame(frame);
  frame = null;
  if (!on) return;
  let before = performance.now();
  const longest = longest_run().duration;
  const step = (at) => {
    const from = state.time;
    const share = share_of(from) + (at - before) / 1000 / PLAY_SECONDS;
    state.time = share >= 1 ? longest : time_of(share);
    const pause = state.pause_at !== null && from < state.pause_at && state.time >= state.pause_at;
    if (pause) state.time = state.pause_at;
    before = at;
    show_time();
    if (pause || state.time >= longest) set_playing(false);
    else frame = requestAnimationFrame(step);
  };
  frame = requestAnimationFrame(step);
}

function set_view(view, redraw = true) {
  state.view = view;
  for (const name of ["layers", "grains"]) element(`view_${name}`).setAttribute("aria-pressed", String(name === view));
  if (!redraw || !state.runs.length) return;
  draw_cell(element("cell"), state.runs[state.which]);
  show_time();
}

/** The run of the sliders, as soon as it is there; the newest movement counts. */
async function run_controls() {
  state.share = !state.runs.length || state.playing || state.time >= longest_run().duration ? 1 : share_of(state.time);
  const done = await solver.latest([asked_by_controls(state.values)]);
  if (!done || state.mode !== "try") return;
  if (done[0].fault) return void fault(t("fault.slider", { what: done[0].fault }));
  fault("");
  show_runs([done[0].run], ["cell"], [""], { keep_time: true });
  const run = done[0].run;
  say(t(run.trusted ? "try.result" : "try.doubtful", { q: mah(run, run.steps[0].charge), time: lasting(run.steps[0].duration) }));
  document.body.dataset.runs = String(Number(document.body.dataset.runs || 0) + 1);
}

function show_trying() {
  show_controls(element("trying"), run_controls);
  element("keep").addEventListener("click", () => {
    state.kept = state.runs[state.which];
    element("forget").disabled = false;
    draw_plots();
    show_time();
  });
  element("forget").addEventListener("click", () => {
    state.kept = null;
    element("forget").disabled = true;
    draw_plots();
    show_time();
  });
  element("reset").addEventListener("click", () => {
    state.values = first_values();
    show_trying();
    element("reset").focus();
  });
  run_controls();
}

function set_mode(mode) {
  state.mode = mode;
  set_playing(false);
  for (const name of ["ask", "try"]) element(`mode_${name}`).setAttribute("aria-pressed", String(name === mode));
  element("asking").hidden = mode !== "ask";
  element("trying").hidden = mode !== "try";
  element("plot_voltage").classList.remove("open");
  element("draw_hint").hidden = true;
  say("");
  fault("");
  if (mode === "ask") return go_to_question(state.question, false);
  show_trying();
}

/** Name of the cell, what to beware of, where the page comes from. */
function show_frame() {
  fill_texts();
  element("kicker").textContent = t("page.kicker");
  element("title").textContent = PAGE.name;
  document.title = PAGE.name;
  element("invented").hidden = !PAGE.invented;
  element("invented").textContent = t("page.invented");
  const warnings = PAGE.warnings.concat(PAGE.doubts);
  element("warnings").hidden = warnings.length === 0;
  element("warnings").innerHTML = `<h2>${escaped(t("page.warnings"))}</h2><ul>${warnings.map((one) => `<li>${escaped(one)}</li>`).join("")}</ul>`;
  element("cautions").innerHTML =
    `<h2>${escaped(t("page.cautions"))}</h2><ul>${PAGE.cautions.map((one) => `<li>${escaped(one)}</li>`).join("")}</ul>`;
  const rows = [t("page.made_by", { version: PAGE.version, command: PAGE.command })].concat(PAGE.files, [t("page.enlarged"), t("page.model")]);
  element("footer").innerHTML = rows.map((row) => `<p>${escaped(row)}</p>`).join("");
  element("draw_hint").textContent = t("ask.draw");
}

function listen() {
  element("mode_ask").addEventListener("click", () => set_mode("ask"));
  element("mode_try").addEventListener("click", () => set_mode("try"));
  for (const view of ["layers", "grains"]) element(`view_${view}`).addEventListener("click", () => set_view(view));
  element("play").addEventListener("click", () => {
    if (!state.playing && state.time >= longest_run().duration) state.time = 0;
    set_playing(!state.playing);
  });
  element("time").addEventListener("input", (event) => {
    set_playing(false);
    state.time = time_of(Number(event.target.value) / 1000);
    show_time();
  });
  element("print").addEventListener("click", () => print_sheet(element("with_answers").checked));
  const names = Object.keys(LANGUAGES);
  element("language_box").hidden = names.length < 2;
  element("language").innerHTML = names
    .map((name) => `<option value="${name}"${name === language ? " selected" : ""}>${escaped(LANGUAGES[name]["language.name"])}</option>`)
    .join("");
  element("language").addEventListener("change", (event) => {
    language = event.target.value;
    show_frame();
    state.sliders = sliders_of(state.reference);
    set_mode(state.mode);
  });
  let width = innerWidth;
  addEventListener("resize", () => {
    if (innerWidth === width || !state.runs.length) return;
    width = innerWidth;
    draw_plots();
    show_time();
  });
  guess_by_hand(
    element("plot_voltage"),
    () => axes?.[0],
    (line) => {
      const id = questions_here()[state.question].id;
      answered[id] = { ...answered[id], drawn: line.slice() };
      show_guess(line);
    },
  );
}

async function begin() {
  show_frame();
  try {
    await solver.start();
  } catch (error) {
    return void fault(t("fault.start", { what: String(error.message || error) }));
  }
  const [one] = await solver.all([{ cell: "cell", row: asked_row({}, [{ rate: -1 }]) }]);
  if (one.fault) return void fault(t("fault.engine", { what: one.fault }));
  state.reference = one.run.cell;
  state.sliders = sliders_of(state.reference);
  state.values = first_values();
  listen();
  await set_mode("ask");
  document.body.dataset.ready = "yes";
}

begin();
