"""How quickly the page to teach with answers: from opening the file to the first question, from a movement of a slider to the picture drawn anew.

    python3 benchmarks/teaching_page.py PROGRAM [--browser chromium] [--moves 60] [--runs 5000]

Prints one row a description of the cell: median, worst and the 95th percentile in milliseconds, then what 5,000 runs leave in memory. The aims:
open within 1 s; median below 50 ms and worst below 150 ms with salt and reaction resolved; no growth.
"""
import argparse
import pathlib
import statistics
import sys
import tempfile

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "tests" / "web"))
from bidi import Browser, missing  # noqa: E402  (beside the tests that use it too)
import subprocess  # noqa: E402

WHEN_READY = """() => { new MutationObserver((_, watch) => { if (document.body?.dataset.ready) { window.ready_at = performance.now(); watch.disconnect(); } })
    .observe(document, { subtree: true, attributes: true, childList: true, attributeFilter: ["data-ready"] }); }"""
MOVE = """(async (id, place) => {
  const slider = document.getElementById(id);
  const before = document.body.dataset.runs;
  slider.value = place;
  const start = performance.now();
  slider.dispatchEvent(new Event("input"));
  while (document.body.dataset.runs === before && document.getElementById("fault").hidden) await new Promise((go) => setTimeout(go, 0));
  const drawn = performance.now();
  await new Promise((go) => requestAnimationFrame(go));
  return [drawn - start, document.getElementById("fault").hidden];
})"""
MANY = """(async (count) => {
  const slider = document.getElementById("s_rate");
  const before = performance.memory?.usedJSHeapSize ?? 0;
  for (let k = 0; k < count; k += 1) {
    const runs = document.body.dataset.runs;
    slider.value = 90 + (k % 21);
    slider.dispatchEvent(new Event("input"));
    while (document.body.dataset.runs === runs) await new Promise((go) => setTimeout(go, 0));
  }
  return [before, performance.memory?.usedJSHeapSize ?? 0];
})"""


def settle(browser, salt, reaction):
    for name, value in (("salt", salt), ("reaction", reaction)):
        browser.run(f"document.querySelector('input[name={name}][value={value}]').click()")
    browser.run("new Promise((go) => setTimeout(go, 500))")


def row(browser, sheet, salt, reaction, moves):
    settle(browser, salt, reaction)
    times = []
    for k in range(moves):
        slider = ("s_rate", "s_radius_negative" if browser.run("document.getElementById('s_radius_negative') !== null") else "s_radius_positive", "s_thickness")[k % 3]
        took, sound = browser.run(f"{MOVE}({slider!r}, {60 + (37 * k) % 80})")
        if sound:
            times.append(took)
    browser.run("document.getElementById('reset').click()")
    times.sort()
    print(f"{sheet},{salt},{reaction},{len(times)},{statistics.median(times):.1f},{times[int(0.95 * len(times))]:.1f},{times[-1]:.1f}", flush=True)


def main():
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("program")
    arguments.add_argument("--browser", default="chromium")
    arguments.add_argument("--moves", type=int, default=60)
    arguments.add_argument("--runs", type=int, default=5000)
    options = arguments.parse_args()
    if missing(options.browser):
        sys.exit(f"missing: {missing(options.browser)}")
    with tempfile.TemporaryDirectory() as room:
        folder = pathlib.Path(room)
        with Browser(options.browser, folder / "browser") as browser:
            browser.size(1280, 900)
            browser.ask("script.addPreloadScript", functionDeclaration=WHEN_READY)
            print("sheet,salt,reaction,moves,median_ms,p95_ms,worst_ms")
            opened = []
            for sheet in ("demo", "nmc811_graphite_siox_21700", "demo_half_cell"):
                page = folder / f"{sheet}.html"
                subprocess.run([options.program, "page", sheet, "--out", page], check=True, capture_output=True)
                for _ in range(3):
                    browser.open(page.as_uri())
                    browser.wait("window.ready_at")
                    opened.append(browser.run("window.ready_at"))
                browser.run("document.getElementById('mode_try').click()")
                browser.wait("document.body.dataset.runs")
                browser.run("document.getElementById('more').open = true")
                for salt, reaction in (("moves", "uneven"), ("moves", "even"), ("rest", "even")):
                    row(browser, sheet, salt, reaction, options.moves)
            print(f"first question can be answered after {statistics.median(opened):.0f} ms, at worst {max(opened):.0f} ms, of {(folder / 'demo.html').stat().st_size / 1000:.0f} KB")
            settle(browser, "rest", "even")
            browser.run(f"{MANY}(200)")
            before, after = browser.run(f"{MANY}({options.runs})")
            print(f"{options.runs} runs: memory of the script {before / 1e6:.1f} MB before, {after / 1e6:.1f} MB after")


if __name__ == "__main__":
    main()
