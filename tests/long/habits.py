#!/usr/bin/env python3
"""Open measured records as other cyclers and other habits would have written them, through overlay, fit and balance.

    python3 tests/long/habits.py [--program build/release/app/onegrain] [--data FOLDER] [--verbs overlay,fit,balance]

Every record of the pouch cell (tests/data/README.md, CC BY 4.0; further discharge_*.csv and charge_*.csv with --data)
is split and changed in one way at a time, and held against the same record with its rest: where it begins, how many
steps it has, its capacities, how far the model is off. A row ends with a verdict:

    holds    start within 0.5 % of the capacity, the same steps, capacities within 0.5 % (noise without a counter: what
             white noise on so many rows leaves of a sum), rms within 2 mV, and what so much charge more or less makes
             of the voltages
    told     the headline begins with a warning about just this
    refused  no answer, with what to pass
    WRONG    a calm sentence; the script then ends with status 1

Capacities of fit and balance hold within 0.5 %, or where the interval that is told covers what the clean record gives.
"""
import argparse
import csv
import json
import math
import pathlib
import random
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parents[2]
RATE = 6.55  # A, 1C
SHEET = "pouch_fitted"
START, STEPS, CHARGE, RMS = 0.005, 0, 0.005, 2.0
PASS = ("--rested-at", "--columns", "--from-soc", "Take it off", "Look at the state")


def read(path):
    with open(path, newline="") as file:
        rows = list(csv.DictReader(file))
    return [
        {
            "t": float(r["test_time_s"]),
            "V": float(r["voltage_V"]),
            "I": float(r["current_A"]),
            "Q": float(r["capacity_mAh"]),
            "T": float(r["temperature_2_degC"]),
        }
        for r in rows
    ]


def written(rows, path, counter):
    titles = ["Test Time / s", "Voltage / V", "Current / A", "Ambient / degC"][:3] + ["Surface Temperature T1 / degC"]
    with open(path, "w") as file:
        file.write(",".join(titles + (["Step Capacity / Ah"] if counter else [])) + "\n")
        for r in rows:
            cells = [f"{r['t']:.4f}", f"{r['V']:.5f}", f"{r['I']:.7g}", f"{r['T']:.2f}"]
            file.write(",".join(cells + ([f"{r['Q'] / 1000:.6f}"] if counter else [])) + "\n")


def rested(rows, seconds=1800):
    """The rest before, at the voltage of the first row, which is older than the current; rows every ten seconds."""
    first, start = rows[0], rows[0]["t"] - seconds
    before = [dict(first, t=start + 10 * k, I=0.0, Q=0.0) for k in range(seconds // 10)]
    return before + [dict(first, t=first["t"] - 0.01, I=0.0, Q=0.0)] + [dict(r) for r in rows]


def charge(rows, first=0, last=None):  # C, trapezoidal
    last = len(rows) - 1 if last is None else last
    return sum(
        0.5 * (rows[k]["I"] + rows[k + 1]["I"]) * (rows[k + 1]["t"] - rows[k]["t"]) for k in range(first, last)
    )


def cut(rows, share):
    most, k = charge(rows), 0
    while charge(rows, 0, k) / most < share:
        k += 1
    return [dict(r, Q=abs(r["Q"] - rows[k]["Q"])) for r in rows[k:]], charge(rows, 0, k)


def late(rows, seconds):
    k = 0
    while rows[k]["t"] - rows[0]["t"] < seconds:
        k += 1
    return rows[k:]


def noisy(rows, share, seed):
    normal = random.Random(seed).gauss
    return [dict(r, I=r["I"] * (1 + share * normal(0, 1))) for r in rows]


def moved(rows, amperes):
    return [dict(r, I=r["I"] + amperes) for r in rows]


def glitch(rows, at):
    changed = [dict(r) for r in rows]
    for k in at:
        changed[k]["V"] = 0.0
    return changed


def changes(rows):
    """Name, rows, options, with a counter, what had passed before [C], the share that noise leaves of the charge."""
    whole = rested(rows)
    n = math.sqrt(len(rows))
    yield "no rest", rows, [], False, 0, 0
    for seconds in (0.03, 1.5, 25):
        yield f"first {seconds} s dropped", late(rows, seconds), [], False, charge(rows, 0, rows.index(late(rows, seconds)[0])), 0
    for share in (1 / 3, 2 / 3):
        some, before = cut(rows, share)
        yield f"from {share:.0%} on", some, [], False, before, 0
    for seed in (1, 2, 3):
        yield f"noise {seed}", noisy(whole, 0.05, seed), [], False, 0, 3.5 * 0.05 / n
        yield f"noise {seed}, counter", noisy(whole, 0.05, seed), [], True, 0, 0
        yield f"noise {seed}, no rest", noisy(rows, 0.05, seed), [], False, 0, 3.5 * 0.05 / n
    for sign in (1, -1):
        name = f"offset {0.3 * sign:+} %"
        yield name, moved(whole, sign * 0.003 * RATE), [], False, 0, 0
        yield name + ", counter", moved(whole, sign * 0.003 * RATE), [], True, 0, 0
        charged = min(0.003 * RATE / max(abs(rows[len(rows) // 4]["I"]), 1e-3), 0.003)
        yield name + ", no rest", moved(rows, sign * 0.003 * RATE), [], False, 0, charged
        yield name + ", no rest, counter", moved(rows, sign * 0.003 * RATE), [], True, 0, charged
    turned = [dict(r, I=-r["I"]) for r in whole]
    yield "positive means discharge", turned, [], False, 0, 0
    yield "the same, told", turned, ["--columns", "current=-Current / A"], False, 0, 0
    yield "unsigned", [dict(r, I=abs(r["I"])) for r in whole], [], False, 0, 0
    yield "glitch in the first row", glitch(rows, [0]), [], False, 0, 0
    yield "glitch in the second row", glitch(rows, [1]), [], False, 0, 0
    yield "glitch in the last row", glitch(whole, [len(whole) - 1]), [], False, 0, 0
    yield "glitch in the last row but one", glitch(whole, [len(whole) - 2]), [], False, 0, 0
    yield "spike of twelve times", [dict(r, I=r["I"] * (12 if k == len(whole) // 2 else 1)) for k, r in enumerate(whole)], [], False, 0, 0


WORDS = {
    "overlay": [],
    "fit": ["--free", "positive.capacity,lithium,contact_resistance", "--starts", "1", "--linear"],
    "balance": ["--starts", "1"],
}


class Answer:
    """What a verb says of a record; everything in SI but for mAh and mV."""

    def __init__(self, program, verb, folder, options):
        call = [program, verb, SHEET, "run.csv", "--json", *WORDS[verb], *options]
        done = subprocess.run(call, cwd=folder, capture_output=True, text=True)
        self.status, self.narration = done.returncode, done.stderr
        if self.status != 0:
            return
        s = self.summary = json.loads(done.stdout)
        self.headline = s["headline"]
        self.rules = [f.get("rule", "?") if isinstance(f, dict) else f for f in s["findings"]]
        self.capacities = {}
        if verb == "overlay":
            run = s["overlay"]["runs"][0]
            sweeps = [p for p in run["steps"] if p["kind"] in ("charge", "discharge")]
            self.start, self.spread, self.steps = run["start_state_of_charge"], run["start_spread"], len(run["steps"])
            for k, p in enumerate(sweeps):
                self.capacities[f"measured {k}"] = (p["capacity_mAh"],) * 3
            self.rms = [p["rms_mV"] for p in sweeps]
            return
        curve = s["fit"]["curves"][0]
        self.rms, self.steps = [curve["rms_mV"]], 1
        self.start, self.spread = curve["start_state_of_charge"], curve["start_spread"]
        for p in s["fit"]["parameters"]:
            if p["name"].endswith("capacity") or p["name"] == "lithium":
                self.capacities[p["name"]] = (p["lower"], p["estimate"], p["upper"])

    def holds_up(self):
        return self.headline.startswith("Warning")


def moved_by(rows, share):
    """mV rms that a share of the charge more or less makes of the voltages: each at its charge times 1 + share."""
    q = [0.0]
    for k in range(len(rows) - 1):
        q.append(q[-1] + abs(0.5 * (rows[k]["I"] + rows[k + 1]["I"])) * (rows[k + 1]["t"] - rows[k]["t"]))
    total = weights = 0.0
    j = 1
    for k in range(len(rows) - 1):
        want = q[k] * (1 + share)
        while j < len(q) - 1 and q[j] < want:
            j += 1
        while j > 1 and q[j - 1] > want:
            j -= 1
        if want > q[-1] or q[j] == q[j - 1]:
            continue
        V = rows[j - 1]["V"] + (want - q[j - 1]) / (q[j] - q[j - 1]) * (rows[j]["V"] - rows[j - 1]["V"])
        w = rows[k + 1]["t"] - rows[k]["t"]
        total, weights = total + w * (V - rows[k]["V"]) ** 2, weights + w
    return 1e3 * math.sqrt(total / max(weights, 1e-9))


def judged(verb, clean, found, rows, before, noise):
    """Verdict and the four numbers."""
    if found.status != 0:
        helps = any(word in found.narration for word in PASS)
        return ("refused" if helps else f"WRONG: status {found.status}, no remedy"), ""
    whole = charge(rows) / 3.6
    start = found.start - clean.start - before / 3.6 / WINDOW
    steps = found.steps - clean.steps
    cut_off = before / 3.6 / whole
    off, covered = 0.0, True
    for name, (low, value, high) in found.capacities.items():
        want = clean.capacities[name][1] * (1 - cut_off if verb == "overlay" else 1)
        here = value / want - 1
        off = max(off, here, key=abs)
        covered = covered and (abs(here) <= max(CHARGE, noise) or (verb != "overlay" and low <= want <= high))
    rms = [a - b for a, b in zip(found.rms, clean.rms)]
    some = max(abs(off) if verb == "overlay" else noise, abs(start))
    allowed = RMS + moved_by(rows, some) + moved_by(rows, -some) + 7.5 * some * RATE  # 7.5 mohm: notes to the data
    # what is met of a part, and what a fit meets with a start more to choose, may be better
    worse = [abs(r) if verb == "overlay" and before == 0 else r for r in rms]
    bad_rms = abs(cut_off) < 0.2 and any(r > allowed for r in worse)
    faults = []
    if abs(start) > START:
        faults.append("start")
        if abs(start) > found.spread:
            return "WRONG: start beyond its spread", f"{100 * start:+6.2f} % \u00b1 {100 * found.spread:.2f}"
    if steps not in (0, -1):
        faults.append("steps")
    if not covered:
        faults.append("capacity")
    if bad_rms:
        faults.append("rms")
    numbers = f"{100 * start:+6.2f} \u00b1{100 * found.spread:5.2f} % {steps:+d} {100 * off:+6.2f} % {max(rms, key=abs, default=0):+7.1f} mV"
    if not faults:
        return "holds" + (" (with a warning)" if found.holds_up() else ""), numbers
    if found.holds_up():
        return "told: " + ",".join(faults) + " by " + ",".join(found.rules), numbers
    return "WRONG: " + ", ".join(faults), numbers


def main():
    global WINDOW
    options = argparse.ArgumentParser()
    options.add_argument("--program", default=str(ROOT / "build/release/app/onegrain"))
    options.add_argument("--data", default="")
    options.add_argument("--verbs", default="overlay,fit,balance")
    options.add_argument("--only", default="")
    given = options.parse_args()
    bench = json.loads(subprocess.run([given.program, "bench", SHEET, "--json"], capture_output=True, text=True).stdout)
    WINDOW = bench["bench"]["equilibrium_capacity_mAh"]["value"]
    files = sorted((ROOT / "tests/data").glob("pouch_discharge_*.csv"))
    if given.data:
        files += sorted(pathlib.Path(given.data).glob("*charge_*.csv"))
        files = [f for f in files if not f.name.startswith("rest")]
    wrong = 0
    for verb in given.verbs.split(","):
        for file in files:
            if given.only and given.only not in file.name:
                continue
            rows = read(file)
            with tempfile.TemporaryDirectory() as folder:
                run = pathlib.Path(folder) / "run.csv"
                written(rested(rows), run, False)
                clean = Answer(given.program, verb, folder, [])
                if clean.status != 0:
                    print(f"{verb:8}{file.name:34} clean record refused: {clean.narration.strip()[:150]}")
                    continue
                print(f"{verb:8}{file.name:34} clean: start {clean.start:.4f}, {clean.steps} steps, rms {clean.rms}, "
                      f"{clean.headline[:60]}")
                for name, changed, more, counter, before, noise in changes(rows):
                    written(changed, run, counter)
                    found = Answer(given.program, verb, folder, more)
                    verdict, numbers = judged(verb, clean, found, rows, before, noise)
                    wrong += verdict.startswith("WRONG")
                    print(f"  {verb:8}{file.stem.removeprefix('pouch_'):28}{name:32}{numbers:44}{verdict}", flush=True)
    print(f"{wrong} wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
