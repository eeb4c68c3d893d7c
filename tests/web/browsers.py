"""The pages of every verb in two browsers: no error, every chart drawn, no word outside its drawing, a readout under the pointer.

    python3 tests/web/browsers.py PROGRAM [--browsers chromium,firefox-esr] [--keep FOLDER]

Status 1 where a page is at fault in a browser; 77 where a browser is missing. Pages are looked at 1200 and 400 px wide, in frames of
one window, served and reported back over a port of this machine.
"""
import argparse
import http.server
import json
import pathlib
import shutil
import subprocess
import sys
import tempfile
import threading

WIDTHS = (1200, 400)
PROTOCOL = """steps:
- {drive: {rate: 1C, sense: charge}, until: {voltage: 4.2 V}}
- {drive: {voltage: 4.2 V}, until: {current: C/20}}
- {drive: rest, until: {time: 30 min}}
- {drive: {rate: 1C, sense: discharge}, until: {voltage: 2.8 V}}
"""
CALLS = {
    "bench": ["bench", "demo"],
    "rates": ["rates", "demo", "--both"],
    "curve": ["curve", "demo"],
    "half_cell": ["rates", "demo_half_cell"],
    "follow": ["follow", "demo", "--protocol", "protocol.yaml"],
    "ceiling": ["ceiling", "demo", "--samples", "20", "--staircase"],
    "losses": ["losses", "demo", "--rate", "3C"],
    "spectrum": ["spectrum", "demo", "--from-soc", "0.2,0.5,0.8"],
    "overlay": ["overlay", "demo", "curve/curves.csv", "--steps", "1"],
    "balance": ["balance", "demo", "slow/curves.csv"],
    "fit": ["fit", "demo", "slow/curves.csv", "--free", "positive.diffusion_time,contact_resistance", "--starts", "1", "--linear"],
}

PROBE = """<script>
const faults = [];
addEventListener("error", (event) => faults.push("error: " + event.message));
addEventListener("load", () => setTimeout(() => {
  const charts = [...document.querySelectorAll("svg")].filter((svg) => svg.parentNode.querySelector("[aria-live]"));
  let readouts = 0;
  charts.forEach((svg, n) => {
    const frame = svg.getBoundingClientRect();
    if (!(frame.width > 40 && frame.height > 20)) faults.push(`drawing ${n} is ${frame.width} x ${frame.height}`);
    if (!svg.querySelector("path, rect, line, circle")) faults.push(`drawing ${n} is empty`);
    for (const text of svg.querySelectorAll("text")) {
      const at = text.getBoundingClientRect();
      if (at.width && (at.left < frame.left - 2 || at.right > frame.right + 2 || at.top < frame.top - 2 || at.bottom > frame.bottom + 2))
        faults.push(`drawing ${n}: '${text.textContent}' stands outside it`);
    }
    for (const [x, y] of [[0.5, 0.5], [0.4, 0.3], [0.6, 0.7]]) {
      const where = { clientX: frame.left + x * frame.width, clientY: frame.top + y * frame.height, bubbles: true };
      svg.dispatchEvent(new PointerEvent("pointermove", where));
      if (svg.querySelector(".readout")) { readouts += 1; break; }
    }
  });
  const wide = document.documentElement.scrollWidth - document.documentElement.clientWidth;
  if (wide > 1) faults.push(`the page is ${wide} px wider than its window`);
  parent.postMessage({ faults, charts: charts.length, readouts, words: document.body.innerText.length }, "*");
}, 400));
</script>"""
WRAPPER = """<!doctype html><title>pages</title><script>
const pages = PAGES, seen = {};
addEventListener("message", (event) => { seen[pages[0].join(" ")] = event.data; pages.shift(); next(); });
function next() {
  document.body.replaceChildren();
  if (!pages.length) return fetch("/seen", { method: "POST", body: JSON.stringify(seen) });
  const frame = document.createElement("iframe");
  frame.width = pages[0][1]; frame.height = 900; frame.src = "/" + pages[0][0];
  document.body.append(frame);
}
addEventListener("load", next);
</script><body></body>"""


def make_pages(program, folder):
    """Runs every call; name -> text of its page, with the probe."""
    (folder / "protocol.yaml").write_text(PROTOCOL)
    subprocess.run([program, "curve", "demo", "--rates", "C/20", "--points", "200", "--out", "slow"], cwd=folder, check=True,
                   stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    pages = {}
    for name, words in CALLS.items():
        done = subprocess.run([program, *words, "--out", name], cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
        if done.returncode != 0:
            sys.exit(f"{' '.join(words)} ends with status {done.returncode}:\n{done.stderr.decode()}")
        text = (folder / name / "report.html").read_text()
        pages[name] = text.replace("<head>", "<head>" + PROBE, 1)
        assert PROBE in pages[name], "the page has no <head>"
    return pages


def look(browser, pages, folder):
    """What the probe reports of each page and width."""
    asked = [[name, width] for name in pages for width in WIDTHS]
    seen, done = {}, threading.Event()

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            name = self.path.lstrip("/")
            text = pages.get(name) or (WRAPPER.replace("PAGES", json.dumps(asked)) if name == "" else None)
            self.send_response(200 if text else 404)
            self.send_header("Content-Type", "text/html; charset=utf-8")
            self.end_headers()
            self.wfile.write((text or "").encode())

        def do_POST(self):
            seen.update(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
            self.send_response(200)
            self.end_headers()
            done.set()

        def log_message(self, *_):
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    profile = folder / ("profile-" + browser)
    profile.mkdir()
    address = f"http://127.0.0.1:{server.server_port}/"
    if "firefox" in browser:
        command = [browser, "--headless", "--no-remote", "--profile", str(profile), "--window-size", "1400,1000", address]
    else:
        command = [browser, "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={profile}", "--window-size=1400,1000",
                   "--remote-debugging-port=0", address]
    with open(folder / (browser + ".log"), "w") as log:
        process = subprocess.Popen(command, stdout=log, stderr=log)
        finished = done.wait(240)
        process.terminate()
        process.wait(20)
    server.shutdown()
    if not finished:
        sys.exit(f"{browser} has not looked at all pages within 240 s; see {folder}")
    return seen


def main():
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("program")
    arguments.add_argument("--browsers", default="chromium,firefox-esr")
    arguments.add_argument("--keep", default="")
    options = arguments.parse_args()
    browsers = options.browsers.split(",")
    for browser in browsers:
        if not shutil.which(browser):
            print(f"skipped: there is no {browser} here (Debian: apt-get install {browser})")
            return 77
    folder = pathlib.Path(options.keep or tempfile.mkdtemp(prefix="onegrain-pages-")).resolve()
    folder.mkdir(parents=True, exist_ok=True)
    pages = make_pages(str(pathlib.Path(options.program).resolve()), folder)
    faults, seen = 0, {browser: look(browser, pages, folder) for browser in browsers}
    for key in seen[browsers[0]]:
        counts = {browser: (seen[browser][key]["charts"], seen[browser][key]["readouts"]) for browser in browsers}
        if len(set(counts.values())) != 1:
            faults += 1
            print(f"{key} px: the browsers differ in (drawings, readouts): {counts}")
        for browser in browsers:
            for fault in seen[browser][key]["faults"]:
                faults += 1
                print(f"{key} px, {browser}: {fault}")
    drawings = sum(s["charts"] for s in seen[browsers[0]].values())
    assert drawings > 20 and sum(s["readouts"] for s in seen[browsers[0]].values()) > 20, "nothing was drawn"
    print(f"{len(pages)} pages at {len(WIDTHS)} widths in {len(browsers)} browsers: {drawings} drawings, {faults} faults")
    if not options.keep:
        shutil.rmtree(folder, ignore_errors=True)
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
