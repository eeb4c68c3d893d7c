#!/usr/bin/env python3
"""Kills the program while it writes results, and fills the disk under it.

After each round the folder must hold the old run whole, the new run whole, or a state that its manifest names: every
file under a final name is then one that the manifest lists, by its SHA-256 (hashlib, FIPS 180-4). The next run must
clean up. Exit status 0: it held in every round; 1: it did not, and the seed and the round are printed.

    result_folders.py PROGRAM [--rounds 20] [--seed 1]
"""

import argparse
import hashlib
import json
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time

VERBS = [
    ["rates", "demo", "--rates", "1C"],
    ["bench", "demo"],
    ["curve", "demo", "--rates", "C/5,1C", "--points", "2000"],
    ["rates", "demo_half_cell", "--rates", "C/2"],
]


class Violation(Exception):
    pass


def demand(fact, what):
    if not fact:
        raise Violation(what)


def sum_of(path):
    with open(path, "rb") as file:
        return hashlib.sha256(file.read()).hexdigest()


def visible(folder):
    """Names that do not begin with a point, with their sums; the manifest apart."""
    if not os.path.isdir(folder):
        return {}
    return {name: sum_of(os.path.join(folder, name)) for name in sorted(os.listdir(folder))
            if not name.startswith(".") and name != "manifest.json"}


def manifest(folder):
    with open(os.path.join(folder, "manifest.json"), encoding="utf-8") as file:
        return json.load(file)


def check(folder, before):
    """One of the three states, `before` being what stood there. Returns its name."""
    now = visible(folder)
    if not os.path.exists(folder):
        demand(not before, "the folder of the old run is gone")
        return "nothing"
    if not now and not before and not os.path.exists(os.path.join(folder, "manifest.json")):
        return "nothing"
    listed = manifest(folder)  # torn, it would not be JSON
    of_run = {file["name"]: file["sha256"] for file in listed["files"]}
    if listed["complete"]:
        demand(now == of_run, f"complete, but there are {now} where the manifest has {of_run}")
        return "old run" if now == before else "new run"
    known = {(file["name"], file["sha256"]) for file in listed["files"] + listed["previous"]}
    for name, digest in now.items():
        demand((name, digest) in known, f"{name} is of no run that the manifest names")
    return "named by the manifest"


def clean(folder):
    """What a run that came to its end leaves: nothing hidden, there or beside."""
    for place in (folder, os.path.dirname(folder)):
        hidden = [name for name in os.listdir(place) if name.startswith(".onegrain")]
        demand(not hidden, f"left behind in {place}: {hidden}")
    listed = manifest(folder)
    demand(listed["complete"], "a run that came to its end is not complete")
    demand(visible(folder) == {file["name"]: file["sha256"] for file in listed["files"]}, "not the files of the manifest")


def started(program, words, folder, **more):
    return subprocess.Popen([program, *words, "--out", folder], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
                            stderr=subprocess.PIPE, **more)


def run_whole(program, words, folder):
    process = started(program, words, folder)
    narration = process.communicate()[1].decode()
    demand(process.returncode == 0, f"{words}: status {process.returncode}: {narration}")
    clean(folder)


def writing(place):
    """Whether a hidden folder of results in the making is there."""
    try:
        return any(name.startswith(".onegrain") for name in os.listdir(place))
    except FileNotFoundError:
        return False


def switching(place):
    """Whether the files of the new run are about to take their names."""
    try:
        return any(os.path.exists(os.path.join(place, name, "begun.json")) for name in os.listdir(place)
                   if name.startswith(".onegrain"))
    except FileNotFoundError:
        return False


def kill_round(program, chance, base, duration):
    folder = os.path.join(base, "out")
    shutil.rmtree(folder, ignore_errors=True)
    there = chance.random() < 0.7
    if there:
        run_whole(program, chance.choice(VERBS), folder)
    before = visible(folder)
    words = chance.choice(VERBS)
    process = started(program, words, folder)
    if chance.random() < 0.2:  # at any moment at all
        time.sleep(chance.uniform(0, 1.2 * duration))
    else:  # from the moment when writing begins, or when the names are about to change
        place = folder if there else base
        begun = switching if there and chance.random() < 0.6 else writing
        end = time.monotonic() + 60
        while process.poll() is None and not begun(place) and time.monotonic() < end:
            pass
        time.sleep(chance.choice([0, 1e-4, 1e-3, 4e-3, 16e-3]) * chance.random())
    process.send_signal(signal.SIGKILL)
    process.communicate()
    state = check(folder, before)
    run_whole(program, chance.choice(VERBS), folder)
    return "killed: " + state if process.returncode == -signal.SIGKILL else "too late: " + state


def at_once_round(program, chance, base):
    """Several runs into one folder at the same time: it ends up as one of them."""
    folder = os.path.join(base, "out")
    if chance.random() < 0.5:
        shutil.rmtree(folder, ignore_errors=True)
    processes = [started(program, words, folder) for words in chance.sample(VERBS, 3)]
    for process in processes:
        narration = process.communicate()[1].decode()
        demand(process.returncode == 0, f"at once: status {process.returncode}: {narration}")
    clean(folder)
    return "at once: one run"


def full_disk_round(program, chance, base, words, setup, place):
    """A disk that takes only so much. `setup` limits the process, or is None where `place` is the limit itself."""
    folder = os.path.join(place, "out")
    before = visible(folder)
    process = started(program, words, folder, preexec_fn=setup)
    narration = process.communicate()[1].decode()
    state = check(folder, before)
    if process.returncode == 0:
        return "room enough: " + state
    demand(process.returncode == 4, f"full disk: status {process.returncode}: {narration}")
    demand("cannot be written" in narration or "cannot be made" in narration, f"full disk: said {narration!r}")
    demand(state in ("old run", "nothing"), f"full disk: {state}")
    demand(not writing(place) and not writing(folder), "full disk: something is left behind")
    return "full: " + state


def limit_of(size):
    def setup():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))
    return setup


def mounted(base, kilobytes):
    """A small disk of its own where this process may mount one, else None."""
    place = os.path.join(base, "disk")
    os.makedirs(place, exist_ok=True)
    if os.geteuid() != 0 or not shutil.which("mount"):
        return None
    done = subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "none", place], capture_output=True)
    return place if done.returncode == 0 else None


def attack(program, rounds, seed, base):
    chance = random.Random(seed)
    start = time.monotonic()
    run_whole(program, VERBS[0], os.path.join(base, "out"))
    duration = time.monotonic() - start
    seen = {}
    for number in range(rounds):
        try:
            seen_now = [kill_round(program, chance, base, duration), at_once_round(program, chance, base)]
            limit = limit_of(chance.randrange(0, 500_000))
            seen_now.append(full_disk_round(program, chance, base, chance.choice(VERBS), limit, base))
            disk = mounted(base, chance.randrange(300, 1500)) if number % 4 == 0 else None
            if disk:
                try:
                    for _ in range(3):
                        seen_now.append(full_disk_round(program, chance, base, chance.choice(VERBS), None, disk))
                finally:
                    subprocess.run(["umount", disk], check=True)
        except Violation as violation:
            print(f"seed {seed}, round {number}: {violation}")
            return 1
        for state in seen_now:
            seen[state] = seen.get(state, 0) + 1
    for state, count in sorted(seen.items()):
        print(f"{count:6}  {state}")
    return 0


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("program")
    parser.add_argument("--rounds", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    print(f"seed {given.seed}, {given.rounds} rounds")
    with tempfile.TemporaryDirectory() as base:
        return attack(os.path.abspath(given.program), given.rounds, given.seed, base)


if __name__ == "__main__":
    sys.exit(main())
