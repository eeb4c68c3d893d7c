// The solver behind a worker: what is asked as a row of numbers, what came of it with names. The rows are those of app/page/engine.hpp.

const RADIUS_POINTS = 13;
const GRAINS = 3;
const SALT_PLACES = 30;
const MOMENTS = 90;

const FARADAY = 96485.33212; // C/mol, SI (exact: 2019)

function from_base64(text) {
  const raw = atob(text);
  const bytes = new Uint8Array(raw.length);
  for (let k = 0; k < raw.length; k += 1) bytes[k] = raw.charCodeAt(k);
  return bytes;
}

const doubles = (text) => new Float64Array(from_base64(text).buffer);

async function unpacked(bytes) {
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

/** One thing that is driven: {rate | rest | volts | amperes, until: {volts, seconds, rate, charge}}. */
function step_row({ rate, rest, volts, amperes, until = {} }) {
  const kind = rest ? 1 : volts !== undefined ? 2 : amperes !== undefined ? 3 : 0;
  return [kind, rate ?? volts ?? amperes ?? 0, until.volts ?? NaN, until.seconds ?? NaN, until.rate ?? NaN, until.charge ?? NaN];
}

const electrode_row = (of = {}) => [of.radius ?? NaN, of.diffusivity ?? NaN, of.exchange ?? NaN, of.thickness ?? NaN, of.porosity ?? NaN];

/** What is asked of the engine. */
function asked_row(setting, steps, moments = MOMENTS) {
  return [
    ...[setting.temperature, setting.lower, setting.upper, setting.contact, setting.counter].map((value) => value ?? NaN),
    ...electrode_row(setting.positive),
    ...electrode_row(setting.negative),
    setting.salt === "rest" ? 0 : 1,
    setting.reaction === "even" ? 0 : 1,
    setting.from ?? NaN,
    ...[moments, 1, RADIUS_POINTS, GRAINS, SALT_PLACES, steps.length],
    ...steps.flatMap(step_row),
  ];
}

/** A run of the page's own cell; at another temperature than the sheet's of the numbers that hold for all of them. */
const own_cell = (setting, steps, moments) => ({ cell: setting.temperature === undefined ? "cell" : "any", row: asked_row(setting, steps, moments) });

const OF_CELL = (
  "one_c area capacity full_positive full_negative empty_positive empty_negative host_positive host_negative " +
  "thick_negative thick_separator thick_positive pores_negative pores_separator pores_positive active_negative active_positive " +
  "radius_negative radius_positive temperature lower upper salt diffusivity_negative diffusivity_positive mean_voltage ratio contact"
).split(" ");
const OF_STEP = "start duration ended charge energy moments trusted passed_over".split(" ");
const OF_MOMENT = (
  "step time current charge voltage u_positive u_negative eta_positive eta_negative ohmic uneven_salt contacts separator_side " +
  "surface_positive mean_positive surface_negative mean_negative temperature lowest_salt highest_salt"
).split(" ");

const named = (names, numbers, from) => Object.fromEntries(names.map((name, k) => [name, numbers[from + k]]));

/** An answer of the engine with names: cell, steps, and moments that can be asked for at any time between them. */
class Run {
  constructor(numbers) {
    const [steps, moments, per_step, per_moment, radius_points, grains, salt_places] = numbers;
    this.cell = named(OF_CELL, numbers, 7);
    let at = 7 + OF_CELL.length;
    this.steps = Array.from({ length: steps }, (_, k) => named(OF_STEP, numbers, at + k * per_step));
    at += steps * per_step;
    Object.assign(this, { numbers, at, per_moment, count: moments, radius_points, grains, salt_places });
    this.duration = this.value("time", moments - 1);
    this.trusted = this.steps.every((step) => step.trusted === 1);
  }

  value(name, k) {
    return this.numbers[this.at + k * this.per_moment + OF_MOMENT.indexOf(name)];
  }

  column(name) {
    return Array.from({ length: this.count }, (_, k) => this.value(name, k));
  }

  /** The moment before a time, and how far it is to the next. Where a step ends and the next starts, the later one counts. */
  place(time) {
    let low = 0;
    let high = this.count - 1;
    if (time >= this.duration) return [high, 0];
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (this.value("time", middle) <= time) low = middle;
      else high = middle;
    }
    const span = this.value("time", high) - this.value("time", low);
    return [low, span > 0 ? (time - this.value("time", low)) / span : 0];
  }

  /** All that is known at a time, on straight lines between the moments. */
  moment(time) {
    const [k, share] = this.place(Math.max(0, time));
    const from = this.at + k * this.per_moment;
    const to = share > 0 ? from + this.per_moment : from;
    const one = (m) => this.numbers[from + m] + share * (this.numbers[to + m] - this.numbers[from + m]);
    const some = (start, count) => Array.from({ length: count }, (_, m) => one(start + m));
    const now = Object.fromEntries(OF_MOMENT.map((name, m) => [name, one(m)]));
    now.step = this.numbers[from];
    let next = OF_MOMENT.length;
    for (const side of ["positive", "negative"])
      now[`grains_${side}`] = Array.from({ length: this.grains }, () => some((next += this.radius_points) - this.radius_points, this.radius_points));
    for (const side of ["positive", "negative"]) now[`share_${side}`] = some((next += this.grains) - this.grains, this.grains);
    now.salt = some(next, this.salt_places);
    return now;
  }

  milliampere_hours(areal) {
    return (areal * this.cell.area) / 3.6;
  }
  micromoles(areal) {
    return ((areal * this.cell.area) / FARADAY) * 1e6;
  }
}

/** Asks the worker; of rows that wait, the newest alone is run. */
class Solver {
  constructor() {
    this.next = 1;
    this.waiting = new Map();
    this.newest = null;
    this.busy = false;
  }

  /** Unpacks the engine and puts it to work. */
  async start() {
    const packed = (id) => unpacked(from_base64(element(id).textContent.trim()));
    const [wasm, glue] = await Promise.all([packed("page_wasm"), packed("page_glue")]);
    this.worker = new Worker(URL.createObjectURL(new Blob([glue, element("page_worker").textContent], { type: "text/javascript" })));
    const ready = new Promise((resolve, reject) => {
      this.worker.onmessage = ({ data }) => {
        if (data.ready) resolve();
        else if (data.broken) reject(new Error(data.broken));
        else this.arrived(data);
      };
      this.worker.onerror = (event) => reject(new Error(event.message));
    });
    const cells = { cell: doubles(PAGE.cell), any: doubles(PAGE.cell_of_any_temperature), half: doubles(PAGE.half_cell) };
    this.worker.postMessage({ wasm, cells }, [wasm.buffer]);
    return ready;
  }

  arrived({ id, done }) {
    const resolve = this.waiting.get(id);
    this.waiting.delete(id);
    resolve(done.map((one) => (one.answer ? { run: new Run(one.answer) } : { fault: one.fault })));
  }

  /** Runs of a question, all of them: [{cell, row}] to [{run} or {fault}]. */
  all(asked) {
    const id = this.next++;
    return new Promise((resolve) => {
      this.waiting.set(id, resolve);
      this.worker.postMessage({ id, asked });
    });
  }

  /** Runs of a slider: null where a newer one has come in the meantime. */
  async latest(asked) {
    this.newest?.(null);
    if (this.busy) {
      const go = await new Promise((resolve) => (this.newest = resolve));
      if (!go) return null;
    }
    this.newest = null;
    this.busy = true;
    const done = await this.all(asked);
    this.busy = false;
    this.newest?.(true);
    return done;
  }
}
