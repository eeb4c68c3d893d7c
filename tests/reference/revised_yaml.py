#!/usr/bin/env python3
"""Checks revised YAML texts with PyYAML, which shares no code with the program.

    /usr/bin/python3 revised_yaml.py FOLDER

FOLDER/list.txt has a line `beforeN` for a text, followed by lines `NUMBER PATH VALUE` for the revised texts
FOLDER/NUMBER.yaml made of it: the value at PATH must be VALUE (a line of YAML; nothing: the key is gone), everything
else as before. Exit status 1 if anything differs.
"""
import copy
import pathlib
import re
import sys

import yaml

LOADER = getattr(yaml, "CBaseLoader", yaml.BaseLoader)  # every scalar as its text


def load(text):
    return yaml.load(text, Loader=LOADER)


folder = pathlib.Path(sys.argv[1])
before, checked, failures = None, 0, 0
for line in (folder / "list.txt").read_text(encoding="utf-8").splitlines():
    if line.startswith("before"):
        before = load((folder / line).read_bytes())
        continue
    number, path, value = re.fullmatch(r"(\d+) ([\w.]+) (.*)", line).groups()
    expected = copy.deepcopy(before)
    above = expected
    *parents, key = path.split(".")
    for parent in parents:
        if above[parent] == "":
            above[parent] = {}
        above = above[parent]
    if value:
        above[key] = load(value)
    else:
        del above[key]
    got = load((folder / f"{number}.yaml").read_bytes())
    checked += 1
    if got != expected:
        failures += 1
        print(f"{number}.yaml: {path} = {value!r} is not all that changed")
if checked == 0:
    print("nothing to check")
sys.exit(1 if failures or not checked else 0)
