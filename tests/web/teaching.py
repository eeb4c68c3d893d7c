"""The page to teach with, played through in two browsers: every question by the keyboard alone, with numbers that the program gives elsewhere.

    python3 tests/web/teaching.py PROGRAM [--browsers chromium,firefox] [--keep FOLDER] [--axe axe.min.js]

Status 1 where something is amiss, 77 where no browser is to be had; what is missing is said. With `--axe`, or ONEGRAIN_AXE in the environment,
an accessibility checker (npm: axe-core) looks at the page too: nothing serious may be found.
"""
import argparse
import json
import math
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

from bidi import Browser, missing, websocket

FARADAY = 96485.33212  # C/mol, SI
QUESTIONS = 10


class Told:
    """What the program says elsewhere of the same cell."""

    def __init__(self, program, folder):
        self.program, self.folder = program, folder

    def __call__(self, *words):
        done = subprocess.run([self.program, *words], cwd=self.folder, capture_output=True, text=True, check=False)
        assert done.returncode == 0, (words, done.stderr)
        return done.stdout

    def page(self, sheet, name):
        """The address of a new page."""
        (self.folder / name).unlink(missing_ok=True)
        self("page", sheet, "--out", name)
        return (self.folder / name).as_uri()

    def curve(self, sheet, rate, *more):
        return json.loads(self("curve", sheet, "--rates", rate, "--points", "400", "--json", *more))["curves"][0]


class Checks:
    def __init__(self, browser):
        self.browser, self.faults, self.count = browser, [], 0

    def __call__(self, sound, what):
        self.count += 1
        if not sound:
            self.faults.append(what)
            print(f"{self.browser}: {what}")


def number(text):
    """The first number of a text, as it is written: '1.268 mAh'."""
    return float(re.search(r"-?\d+(\.\d+)?", text.replace("\u2212", "-")).group())


def seconds(text):
    found = re.match(r"(?:(\d+) h )?(?:(\d+) min ?)?(?:(\d+) s)?", text)
    return sum(int(part or 0) * unit for part, unit in zip(found.groups(), (3600, 60, 1)))


def play_question(browser, check, k):
    """By the keyboard: to the question, a guess, run. What came out: the facts, and which guess was right."""
    browser.run(f"document.querySelector('[data-go=\"{k}\"]').focus()")
    browser.press("Enter")
    browser.wait(f"document.querySelector('[data-go=\"{k}\"][aria-current]') && !document.querySelector('.facts')")
    browser.wait("document.activeElement.id === 'asked'")
    browser.keys("Tab")
    browser.press("Space")
    check(browser.run("document.activeElement.name === 'guess' && document.activeElement.checked"), f"question {k + 1}: Tab and space make no guess")
    browser.keys("Tab")
    browser.press("Enter")
    browser.wait("document.querySelector('.facts') || !document.getElementById('fault').hidden", 90)
    check(browser.run("document.getElementById('fault').hidden"), f"question {k + 1}: {browser.run('document.getElementById(`fault`).textContent')}")
    facts = browser.run("[...document.querySelectorAll('.facts td')].map((cell) => cell.innerText)")
    right = browser.run("[...document.querySelectorAll('.guess label')].findIndex((label) => label.querySelector('strong'))")
    check(0 <= right <= 2, f"question {k + 1}: no guess is marked as right")
    check(browser.run("document.querySelector('.why').innerText.length > 40"), f"question {k + 1}: no reason")
    check(all(fact and "\u2013" not in fact and "NaN" not in fact for fact in facts), f"question {k + 1}: {facts}")
    browser.wait("document.querySelector('#plot_voltage .run')?.getAttribute('d').length > 20", 20)  # it is being drawn
    picture = browser.run("[document.querySelectorAll('#cell [data-ring]').length + document.querySelectorAll('#cell [data-slot]').length,"
                          " document.querySelector('#plot_voltage .run').getAttribute('d').length, document.getElementById('cell').getAttribute('aria-label')]")
    check(picture[0] > 50 and picture[1] > 20 and "volts" in picture[2], f"question {k + 1}: the picture is {picture}")
    return facts, "abc"[right]


def play_through(browser, check, told):
    """All ten, and their numbers against the command line, to the digits shown."""
    played = [play_question(browser, check, k) for k in range(QUESTIONS)]
    rights = "".join(right for _, right in played)
    check(rights == "bcaccbbbcb", f"the right guesses are {rights}")
    facts = [facts for facts, _ in played]

    def near(shown, expected, digits, what):
        check(abs(number(shown) - expected) <= 0.51 * 10 ** (math.floor(math.log10(abs(expected))) + 1 - digits) + 1e-9, f"{what}: {shown}, where {expected}")

    one = told.curve("demo", "1C")
    for shown in facts[0]:
        near(shown, one["capacity_total_mAh"] * 3.6 / FARADAY * 1e6, 4, "lithium and electrons of a discharge at 1C")
    check(number(facts[1][2]) == number(facts[1][5]), f"all the lithium changes: {facts[1]}")
    half = told.curve("demo", "0.5C", "--charge")
    near(facts[1][3], number(facts[1][0]) + half["capacity_total_mAh"] * 3.6 / FARADAY * 1e6, 3, "lithium in the charged negative")
    check(2.5 < number(facts[2][0]) < 4.2, f"the poles: {facts[2]}")
    check(number(facts[3][2]) > 1.5 * number(facts[3][1]) and number(facts[3][4]) > number(facts[3][0]) + 0.1, f"one voltage, two fillings: {facts[3]}")
    five = told.curve("demo", "5C")
    near(facts[4][0], five["capacity_total_mAh"], 4, "5C to the cut-off")
    check(abs(seconds(facts[4][1]) - five["duration_s"]) <= 0.6, f"5C lasts {facts[4][1]}, where {five['duration_s']} s")
    slow = told.curve("demo", "0.05C")
    # what both bring out together is what C/20 brings out alone, within a hundredth: almost all of it is there
    check(abs((number(facts[4][0]) + number(facts[4][2])) / slow["capacity_total_mAh"] - 1) < 0.01, f"then C/20: {facts[4]}")
    check(3.5 < number(facts[5][5]) < 4.5, f"half the radius: {facts[5]}")  # R^2/D: four
    two = told.curve("demo", "2C")
    check(abs(seconds(facts[6][1]) - two["duration_s"]) <= 0.6, f"2C lasts {facts[6][1]}, where {two['duration_s']} s")
    energies = [number(shown) for shown in facts[7]]
    three = told.curve("demo", "3C")
    area = math.pi / 4 * 0.012 ** 2  # the disc of the demo: 12 mm
    near(facts[7][0], three["energy_mWh"] / 1e3 / area, 3, "energy per area at 3C")
    check(max(energies) not in (energies[0], energies[3]), f"thicker and thicker: {energies}")
    cold = told.curve("demo", f"{one['current_mA']}mA", "--charge", "--temperature", "-5 degC")
    near(facts[8][4], cold["capacity_total_mAh"], 4, "the charge in the cold")
    check(abs(number(facts[8][5]) / 1e3 - min(cold["separator_side_V"])) < 1.5e-3, f"the lowest potential in the cold: {facts[8][5]}, where {min(cold['separator_side_V'])} V")
    check(number(facts[8][2]) > 0 > number(facts[8][5]), f"warm and cold: {facts[8]}")
    check(abs(1e3 * (number(facts[9][1]) - number(facts[9][0])) - number(facts[9][2])) <= 1, f"the lithium's share: {facts[9]}")


def look_at_time(browser, check):
    """The lamp, the counters and the picture follow the slider of time, by its keys."""
    browser.run("document.querySelector('[data-go=\"8\"]').click()")
    browser.wait("document.querySelector('#which button')")
    if browser.run("document.getElementById('play').textContent") == "Pause":
        browser.run("document.getElementById('play').click()")
    browser.run("document.getElementById('time').focus()")
    browser.keys("End")
    browser.wait("document.querySelector('#lamp.on')")
    check("can form" in browser.run("document.getElementById('lamp_words').innerText"), "the lamp does not say that lithium metal can form")
    before = browser.run("[document.querySelector('[data-ring]').getAttribute('fill'), document.getElementById('counts').innerText, document.querySelector('.ion').getAttribute('transform')]")
    browser.keys("Home")
    browser.wait("document.querySelector('#lamp.off')")
    after = browser.run("[document.querySelector('[data-ring]').getAttribute('fill'), document.getElementById('counts').innerText, document.querySelector('.ion').getAttribute('transform')]")
    check(all(a != b for a, b in zip(before, after)), f"the slider of time moves nothing: {before}, {after}")
    amounts = re.findall(r"([\d.]+) µmol", before[1])
    check(len(amounts) == 3 and len(set(amounts)) == 1, f"electrons and lithium are not as many: {before[1]}")
    browser.run("document.querySelector('#which button').click()")  # the warm one
    browser.run("document.getElementById('time').focus()")
    browser.keys("End")
    check(browser.run("!document.querySelector('#lamp.on')"), "the lamp is on in the warm")


def draw_a_guess(browser, check):
    browser.run("document.querySelector('[data-go=\"0\"]').click()")
    browser.wait("document.getElementById('again')")
    browser.run("document.getElementById('again').click()")
    browser.wait("document.querySelector('#plot_voltage.open') && !document.querySelector('.facts')")
    browser.run("document.getElementById('plot_voltage').scrollIntoView({ block: 'center' })")
    x, y, width, height = browser.run("(({ x, y, width, height }) => [x, y, width, height])(document.getElementById('plot_voltage').getBoundingClientRect())")
    browser.drag([(x + width * (0.25 + 0.05 * k), y + height * (0.3 + 0.03 * k)) for k in range(10)])
    check(browser.run("(document.querySelector('.by-hand')?.getAttribute('d') ?? '').split('L').length > 5"), "a drawn guess is not there")


def try_freely(browser, check, told, folder):
    """A slider by its keys against the same change of the sheet; two runs over one another."""
    browser.run("document.getElementById('mode_try').focus()")
    browser.press("Enter")
    browser.wait("document.body.dataset.runs")
    check(f"{told.curve('demo', '1C')['capacity_total_mAh']:.3f} mAh" in browser.run("document.getElementById('said').innerText"), "trying does not start at the sheet")
    browser.run("document.getElementById('keep').click()")
    runs = browser.run("document.body.dataset.runs")
    browser.run("document.getElementById('s_radius_negative').focus()")
    browser.keys("End")
    browser.wait(f"Number(document.body.dataset.runs) > {runs}")
    browser.wait("document.getElementById('o_radius_negative').textContent.startsWith('32')")
    (folder / "coarse.yaml").write_text(told("cards", "demo").replace("{value: 8 um, spread: 0.8 um", "{value: 32 um, spread: 3.2 um"))
    coarse = told.curve("coarse.yaml", "1C")
    expected = f"{coarse['capacity_total_mAh']:#.4g} mAh"
    try:
        browser.wait(f"document.getElementById('said').innerText.startsWith('{expected}')")
    except TimeoutError:
        check(False, f"32 um give {browser.run('document.getElementById(`said`).innerText')}, where the sheet gives {expected}")
    check(browser.run("document.querySelectorAll('#plot_voltage .kept').length") == 1, "the run that was kept is not drawn")
    check("32" in browser.run("document.getElementById('s_radius_negative').getAttribute('aria-valuetext')"), "a slider does not tell its value")
    browser.run("document.getElementById('reset').click()")
    for course in ("charge", "there_and_back", "pulse", "charge_and_hold"):
        runs = browser.run("document.body.dataset.runs")
        browser.run(f"((box) => {{ box.value = '{course}'; box.dispatchEvent(new Event('change')); }})(document.getElementById('course'))")
        browser.wait(f"Number(document.body.dataset.runs) > {runs} || !document.getElementById('fault').hidden")
        check(browser.run("document.getElementById('fault').hidden"), f"{course} does not run")


def read_by_all(browser, check, folder, axe):
    """Names for a screen reader, nothing wider than a phone, an accessibility checker where there is one."""
    for mode in ("mode_try", "mode_ask"):
        browser.run(f"document.getElementById('{mode}').click()")
        nameless = browser.run("""[...document.querySelectorAll('button, input, select, svg[role=img]')].filter((node) => node.checkVisibility?.() ?? true)
            .filter((node) => !(node.labels?.length || node.textContent.trim() || node.getAttribute('aria-label'))).map((node) => node.outerHTML.slice(0, 90))""")
        nameless = [node for node in nameless if 'id="time"' not in node or "aria-label" not in node]
        check(not nameless, f"{mode}: without a name: {nameless}")
        for width in (360, 800, 1280, 1920):
            browser.size(width, 800)
            wide = browser.run("document.documentElement.scrollWidth - document.documentElement.clientWidth")
            check(wide <= 1, f"{mode}: at {width} px the page is {wide} px too wide")
            outside = browser.run("""[...document.querySelectorAll('svg[role=img] text')].filter((text) => { const at = text.getBoundingClientRect();
                const frame = text.ownerSVGElement.getBoundingClientRect(); return at.width && (at.left < frame.left - 3 || at.right > frame.right + 3); })
                .map((text) => text.textContent)""")
            check(not outside, f"{mode}: at {width} px words stand outside their drawing: {outside}")
            browser.picture(folder / f"{browser.name}_{mode}_{width}.png")
        browser.size(1280, 900)
        if axe:
            found = browser.run(f"(async () => {{ if (!window.axe) {{ const script = document.createElement('script');"
                                f" script.textContent = {json.dumps(pathlib.Path(axe).read_text())}; document.head.append(script); }} return (await axe.run()).violations"
                                ".filter((one) => ['serious', 'critical'].includes(one.impact)).map((one) => [one.id, one.nodes.map((node) => node.html.slice(0, 90))]); })()")
            check(not found, f"{mode}: the accessibility checker finds {found}")


def print_sheets(browser, check, folder):
    browser.run("(window.print = () => 0, document.getElementById('with_answers').click(), document.getElementById('print').click())")
    browser.wait("document.getElementById('worksheet').dataset.ready === 'answers'", 90)
    sheets = browser.run("[document.querySelectorAll('#worksheet article').length, document.querySelectorAll('#worksheet .sheet-axes .tick').length]")
    check(sheets[0] == 2 * QUESTIONS and sheets[1] > 40, f"worksheets, ticks on their axes: {sheets}")
    browser.print(folder / f"{browser.name}_worksheets.pdf")
    check((folder / f"{browser.name}_worksheets.pdf").stat().st_size > 20000, "nothing is printed")


def words_for_faults(browser, check, told, folder):
    """Beyond what can be solved: words, and the last good picture, marked."""
    (folder / "narrow.yaml").write_text(told("cards", "demo").replace("lower: 2.8 V, upper: 4.2 V", "lower: 3.5 V, upper: 3.9 V"))
    browser.open(told.page("narrow.yaml", "narrow.html"))
    browser.wait("document.body.dataset.ready")
    browser.run("document.getElementById('mode_try').click()")
    browser.wait("document.body.dataset.runs")
    picture = browser.run("document.getElementById('cell').innerHTML.length")
    browser.run("((slider) => { slider.value = slider.max; slider.dispatchEvent(new Event('input')); })(document.getElementById('s_lower'))")
    browser.wait("!document.getElementById('fault').hidden")
    check("the lower cut-off must lie below the upper one" in browser.run("document.getElementById('fault').textContent"), "a fault has no words")
    check(browser.run("document.body.classList.contains('stale')") and browser.run("document.getElementById('cell').innerHTML.length") == picture, "the last good picture is gone")


def half_cells(browser, check, told):
    """Any sheet makes a page; a half cell asks what can be asked of it."""
    for sheet in ("demo_half_cell", "lfp_half_cell", "nmc811_graphite_siox_21700"):
        browser.open(told.page(sheet, f"{sheet}.html"))
        browser.wait("document.body.dataset.ready")
        count = browser.run("document.querySelectorAll('[data-go]').length")
        check(count >= 4, f"{sheet}: {count} questions")
        for k in range(count):
            play_question(browser, check, k)


def played(name, program, folder, axe):
    told, check = Told(program, folder), Checks(name)
    address = told.page("demo", "page.html")
    with Browser(name, folder / name) as browser:
        browser.size(1280, 900)
        browser.open(address)
        browser.wait("document.body.dataset.ready")
        play_through(browser, check, told)
        look_at_time(browser, check)
        draw_a_guess(browser, check)
        try_freely(browser, check, told, folder)
        read_by_all(browser, check, folder, axe)
        print_sheets(browser, check, folder)
        asked = [address for address in browser.requests() if not address.startswith(("blob:", "data:"))]
        check(asked == [address] if name == "chromium" else set(asked) <= {address}, f"more than one request: {asked}")
        check(not browser.complaints(), f"complaints of the browser: {browser.complaints()}")
        words_for_faults(browser, check, told, folder)
        half_cells(browser, check, told)
    print(f"{name}: {check.count} checks, {len(check.faults)} faults")
    return len(check.faults)


def main():
    if websocket is None and sys.executable != "/usr/bin/python3" and not os.environ.get("ONEGRAIN_AGAIN"):
        os.environ["ONEGRAIN_AGAIN"] = "1"  # Debian's own interpreter may have the client where another does not
        os.execv("/usr/bin/python3", ["/usr/bin/python3", *sys.argv])
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("program")
    arguments.add_argument("--browsers", default="chromium,firefox")
    arguments.add_argument("--keep", default="")
    arguments.add_argument("--axe", default=os.environ.get("ONEGRAIN_AXE", ""))
    options = arguments.parse_args()
    folder = pathlib.Path(options.keep or tempfile.mkdtemp(prefix="onegrain-teaching-")).resolve()
    folder.mkdir(parents=True, exist_ok=True)
    there = [name for name in options.browsers.split(",") if not missing(name)]
    for name in options.browsers.split(","):
        if name not in there:
            print(f"skipped: {name}; missing: {missing(name)}")
    faults = sum(played(name, str(pathlib.Path(options.program).resolve()), folder, options.axe) for name in there)
    if not options.keep:
        shutil.rmtree(folder, ignore_errors=True)
    return 1 if faults else 0 if there else 77


if __name__ == "__main__":
    sys.exit(main())
