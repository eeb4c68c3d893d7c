// Puts the page in place, draws its charts, draws them again when the width changes and before printing, and shows
// what lies under the pointer. The only script that touches the page.

const report = JSON.parse(document.getElementById("document").textContent);
const canvas = document.createElement("canvas").getContext("2d");
const family = getComputedStyle(document.body).fontFamily;
use_ruler((words, weight) => {
  canvas.font = `${weight} 13px ${family}`;
  return canvas.measureText(words).width;
});

const charts = [];
// Everything in it has been escaped by tag() and rich().
document.getElementById("report").innerHTML = page_html(report, charts);

/** Where the pointer is in the drawing. */
function place_of(svg, event) {
  const frame = svg.getBoundingClientRect();
  const scale = svg.viewBox.baseVal.width / frame.width;
  return [(event.clientX - frame.left) * scale, (event.clientY - frame.top) * scale];
}

const LEAST_DRAG = 14; // pixels; less is a click

/** A part of a plot enlarged by dragging over it, all of it by a double click, a line hidden by a click on its name. */
function handles(svg, chart, drawing, again) {
  const { box, scales } = drawing;
  if (!scales) return { dragging: () => false };
  let from = null;
  const rectangle = () => svg.querySelector(".zoom");
  const inside = ([x, y]) => [Math.max(box.left, Math.min(box.right, x)), Math.max(box.top, Math.min(box.floor, y))];
  const part = (to) => {
    const [[x0, x1], [y0, y1]] = [0, 1].map((k) => [from[k], to[k]].sort((a, b) => a - b));
    const tall = y1 - y0 >= 3 * LEAST_DRAG; // a flat drag enlarges along x alone
    return { x0, x1, y0: tall ? y0 : box.top, y1: tall ? y1 : box.floor, tall };
  };
  svg.addEventListener("pointerdown", (event) => {
    const at = place_of(svg, event);
    const [x, y] = inside(at);
    from = event.button === 0 && x === at[0] && y === at[1] && !event.target.closest("[data-line]") ? at : null;
  });
  svg.addEventListener("pointermove", (event) => {
    rectangle()?.remove();
    if (!from || !(event.buttons & 1)) return;
    const { x0, x1, y0, y1 } = part(inside(place_of(svg, event)));
    if (x1 - x0 >= LEAST_DRAG) svg.insertAdjacentHTML("beforeend", tag("rect", { class: "zoom", x: x0, y: y0, width: x1 - x0, height: y1 - y0 }));
  });
  svg.addEventListener("pointerup", (event) => {
    if (!from) return;
    const { x0, x1, y0, y1, tall } = part(inside(place_of(svg, event)));
    from = null;
    rectangle()?.remove();
    if (x1 - x0 < LEAST_DRAG) return;
    chart.view = { ...chart.view, x: [scales.x.invert(x0), scales.x.invert(x1)] };
    if (tall) chart.view.y = [scales.y.invert(y1), scales.y.invert(y0)];
    again();
  });
  svg.addEventListener("dblclick", () => {
    chart.view = { hidden: chart.view?.hidden };
    again();
  });
  svg.addEventListener("click", (event) => {
    const name = event.target.closest("[data-line]");
    if (!name) return;
    const line = Number(name.getAttribute("data-line"));
    const hidden = chart.view?.hidden ?? [];
    chart.view = { ...chart.view, hidden: hidden.includes(line) ? hidden.filter((one) => one !== line) : [...hidden, line] };
    again();
  });
  return { dragging: () => rectangle() !== null };
}

/** A small card beside the nearest point of a chart, by pointer or by arrow keys. */
function readout(svg, live, drawing, dragging) {
  const { traces, box } = drawing;
  let at = null;
  const group = () => svg.querySelector(".readout");
  const hide = () => {
    at = null;
    group()?.remove();
  };
  const show = (t, i) => {
    hide();
    at = { t, i };
    const [px, py] = traces[t].points[i];
    const lines = traces[t].words(i);
    const width = Math.max(...lines.map((line, k) => width_of(line, k ? 400 : 700))) + 18;
    const height = 18 * lines.length + 10;
    const left = px + 14 + width > box.right ? Math.max(0, px - 14 - width) : px + 14;
    const top = Math.max(box.top, Math.min(py - height - 12, box.floor - height));
    const rows = lines.map((line, k) =>
      tag("tspan", { class: k ? undefined : "first", x: left + 9, y: top + 20 + 18 * k }, escaped(line)),
    );
    svg.insertAdjacentHTML(
      "beforeend",
      tag("g", { class: "readout" }, [
        tag("line", { x1: box.left, x2: px, y1: py, y2: py }),
        tag("line", { x1: px, x2: px, y1: py, y2: box.floor }),
        tag("circle", { r: 4.5, cx: px, cy: py, fill: traces[t].stroke }),
        tag("rect", { rx: 2, x: left, y: top, width, height }),
        tag("text", {}, rows),
      ]),
    );
    return lines.join(", ");
  };
  const nearest = (mx, my) => {
    let best = null;
    traces.forEach((trace, t) =>
      trace.points.forEach(([px, py], i) => {
        const far = (px - mx) ** 2 + (py - my) ** 2;
        if (!best || far < best.far) best = { t, i, far };
      }),
    );
    return best;
  };
  svg.onpointermove = svg.onpointerdown = (event) => {
    if (dragging()) return hide();
    const [mx, my] = place_of(svg, event);
    const best = nearest(mx, my);
    if (best && mx >= box.left - 10 && my >= box.top - 20 && my <= box.floor + 20) show(best.t, best.i);
    else hide();
  };
  svg.onpointerleave = svg.onblur = hide;
  if (traces.length) svg.setAttribute("tabindex", "0");
  svg.onkeydown = (event) => {
    const step = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] }[event.key];
    if (event.key === "Escape") hide();
    if (!step || !traces.length) return;
    event.preventDefault();
    const before = at;
    const t = before ? (before.t + step[0] + traces.length) % traces.length : 0;
    const last = traces[t].points.length - 1;
    const stride = Math.max(1, Math.round(last / 40));
    const share = before ? before.i / Math.max(1, traces[before.t].points.length - 1) : 0.5;
    live.textContent = show(t, Math.max(0, Math.min(last, Math.round(share * last) + step[1] * stride)));
  };
}

const PAPER = 680; // pixels between the margins of A4; Letter is a little wider

function draw_again(chart, printing) {
  const frame = document.getElementById(chart.id);
  const before = frame.querySelector("svg");
  const svg = before.cloneNode(false); // without what listened to the drawing before
  before.replaceWith(svg);
  const half = frame.parentNode.classList.contains("panels");
  const width = printing ? (half ? PAPER / 2 - 12 : PAPER) : Math.round(frame.clientWidth) || 640;
  const drawing = chart.draw(printing ? chart.block : { ...chart.block, view: chart.view }, width, chart.id, printing);
  svg.innerHTML = drawing.svg;
  svg.setAttribute("viewBox", `0 0 ${width} ${drawing.height}`);
  const { dragging } = handles(svg, chart, drawing, () => draw_again(chart, false));
  readout(svg, frame.querySelector("[aria-live]"), drawing, dragging);
}

function redraw(printing) {
  for (const chart of charts) draw_again(chart, printing);
}

let drawn_width = 0;
let waiting = 0;
function fit() {
  const width = document.documentElement.clientWidth;
  if (width === drawn_width) return;
  drawn_width = width;
  redraw(false);
}
fit();
addEventListener("resize", () => {
  cancelAnimationFrame(waiting);
  waiting = requestAnimationFrame(fit);
});
addEventListener("beforeprint", () => redraw(true));
addEventListener("afterprint", () => redraw(false));
