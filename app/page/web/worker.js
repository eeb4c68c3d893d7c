// Runs beside the page, behind the engine's own script: one run after the other, newest first asked for is the page's business.

let engine = null;
let cell_taken = null;
const cells = {};

function put(numbers) {
  const at = engine._onegrain_room(numbers.length);
  engine.HEAPF64.set(numbers, at / 8);
}

function words() {
  return engine.UTF8ToString(engine._onegrain_message());
}

/** One run; {answer} or {fault}. */
function solve({ cell, row }) {
  if (cell_taken !== cell) {
    put(cells[cell]);
    if (engine._onegrain_take() < 0) return { fault: words() };
    cell_taken = cell;
  }
  put(row);
  const count = engine._onegrain_run();
  if (count < 0) return { fault: words() };
  const from = engine._onegrain_answer() / 8;
  return { answer: engine.HEAPF64.slice(from, from + count) };
}

self.onmessage = async ({ data }) => {
  if (data.wasm) {
    Object.assign(cells, data.cells);
    try {
      engine = await self.onegrainEngine({ wasmBinary: data.wasm });
      self.postMessage({ ready: true });
    } catch (error) {
      self.postMessage({ broken: String(error) });
    }
    return;
  }
  const done = data.asked.map(solve);
  self.postMessage(
    { id: data.id, done },
    done.filter((one) => one.answer).map((one) => one.answer.buffer),
  );
};
