"""Slips put into the physics on purpose, one at a time, to see whether the suite notices.

    python3 tests/long/mutants.py [--only WORD] [--jobs N] [--list]

The table is mutants.txt. Works in a copy of the tree, build/long/mutants, never in the tree itself; the copy is made of what git
knows, as it lies in the working tree. Status 1 where a mutant lives, or where the table no longer fits the source.
"""
import argparse
import pathlib
import re
import shutil
import subprocess
import sys
import time

root = pathlib.Path(__file__).resolve().parents[2]
copy = root / "build" / "long" / "mutants"
build = copy / "build" / "release"
LIMIT = 900  # s; a mutant that makes the tests run for ever is noticed too


def table():
    mutants, number = [], 0
    for line in (root / "tests/long/mutants.txt").read_text().splitlines():
        number += 1
        if line.startswith("@ "):
            file, *programs = line[2:].split()
            mutants.append({"line": number, "file": file, "programs": programs})
        elif line.startswith("- "):
            mutants[-1]["from"] = line[2:].strip()
        elif line.startswith("+ "):
            mutants[-1]["to"] = line[2:].strip()
    return mutants


def run(command, log, limit=None):
    """Status and output; 'timeout' where it does not end."""
    try:
        done = subprocess.run(command, cwd=copy, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, timeout=limit)
    except subprocess.TimeoutExpired:
        return "timeout", ""
    text = done.stdout.decode(errors="replace")
    log.write(text)
    return done.returncode, text


def prepare(log, jobs, targets):
    """The copy, up to date and built. Files that have not changed keep their times, so that a second run builds little."""
    known = subprocess.run(["git", "ls-files", "-z"], cwd=root, stdout=subprocess.PIPE, check=True).stdout.decode().split("\0")
    for name in filter(None, known):
        source, target = root / name, copy / name
        if not source.is_file():
            continue
        if target.is_file() and target.read_bytes() == source.read_bytes():
            continue
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(source, target)
    dependencies = copy / ".deps"
    if (root / ".deps").exists() and not dependencies.exists():
        dependencies.symlink_to((root / ".deps").resolve())
    for command in (["cmake", "--preset", "release"], ["cmake", "--build", str(build), "-j", str(jobs), "--target", *targets]):
        status, text = run(command, log)
        if status != 0:
            sys.exit("the copy cannot be built:\n" + text[-3000:])
    for target in targets:
        status, text = run([str(build / "tests" / target)], log, LIMIT)
        if status != 0:
            sys.exit(f"{target} fails before anything is changed:\n" + text[-3000:])


def first_failure(text):
    """The title of the test that failed: Catch2 prints it between two lines of dashes."""
    found = re.search(r"-{60,}\n(.*?)\n-{60,}", text, re.S)
    return re.sub(r"\s+", " ", found.group(1)).strip() if found else "no title"


def try_one(mutant, log, jobs):
    """'killed by ...', 'LIVES', 'STALE ...'."""
    path = copy / mutant["file"]
    original = path.read_text()
    lines = original.split("\n")
    places = [k for k, line in enumerate(lines) if line.strip() == mutant["from"]]
    if len(places) != 1:
        return f"STALE: the line stands {len(places)} times in the file"
    k = places[0]
    indent = lines[k][: len(lines[k]) - len(lines[k].lstrip())]
    lines[k] = indent + mutant["to"]
    try:
        path.write_text("\n".join(lines))
        status, text = run(["cmake", "--build", str(build), "-j", str(jobs), "--target", *mutant["programs"]], log)
        if status != 0:
            return "STALE: it does not compile"
        for program in mutant["programs"]:
            status, text = run([str(build / "tests" / program), "--abort"], log, LIMIT)
            if status == "timeout":
                return f"killed by {program}: it does not end"
            if status != 0:
                return f"killed by {program}: {first_failure(text)}"
        return "LIVES"
    finally:
        path.write_text(original)


def main():
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--only", default="", help="mutants whose file or line holds this")
    arguments.add_argument("--jobs", type=int, default=1)
    arguments.add_argument("--list", action="store_true", help="only list them, and those that no longer fit the source")
    options = arguments.parse_args()
    mutants = [m for m in table() if options.only in m["file"] + m["from"]]
    if options.list:
        for m in mutants:
            count = sum(line.strip() == m["from"] for line in (root / m["file"]).read_text().split("\n"))
            print(f"{m['line']:4} {count} {m['file']}: {m['to']}")
        return 0
    copy.mkdir(parents=True, exist_ok=True)
    results = []
    with open(copy.parent / "mutants_build.log", "w") as log:
        prepare(log, options.jobs, sorted({p for m in mutants for p in m["programs"]}))
        for m in mutants:
            start = time.time()
            result = try_one(m, log, options.jobs)
            results.append((m, result))
            print(f"{m['file']}: {m['to']}\n    {result} ({time.time() - start:.0f} s)", flush=True)
    killed = [r for _, r in results if r.startswith("killed")]
    print(f"\n{len(results)} mutants, {len(killed)} noticed by the suite")
    for m, result in results:
        if not result.startswith("killed"):
            print(f"  {result}: mutants.txt:{m['line']} {m['file']}: {m['to']}")
    return 0 if len(killed) == len(results) else 1


if __name__ == "__main__":
    sys.exit(main())
