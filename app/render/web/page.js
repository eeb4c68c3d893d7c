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

/** A small card beside the nearest point of a chart, by pointer or by arrow keys. */
function readout(svg, live, drawing) {
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
    const frame = svg.getBoundingClientRect();
    const scale = svg.viewBox.baseVal.width / frame.width;
    const [mx, my] = [(event.clientX - frame.left) * scale, (event.clientY - frame.top) * scale];
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

function redraw(printing) {
  for (const chart of charts) {
    const frame = document.getElementById(chart.id);
    const svg = frame.querySelector("svg");
    const half = frame.parentNode.className === "panels";
    const width = printing ? (half ? PAPER / 2 - 12 : PAPER) : Math.round(frame.clientWidth) || 640;
    const drawing = chart.draw(chart.block, width, chart.id, printing);
    svg.innerHTML = drawing.svg;
    svg.setAttribute("viewBox", `0 0 ${width} ${drawing.height}`);
    readout(svg, frame.querySelector("[aria-live]"), drawing);
  }
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
