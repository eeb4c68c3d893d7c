"""Sheets, cards and protocols against the published schemas, by an independent validator (python3-jsonschema), and by
the program's own reader: both must take the same files, and refuse the same ones.

usage: check_key_schemas.py ONEGRAIN
"""

import json
import pathlib
import subprocess
import sys
import tempfile

import jsonschema
import yaml

ONEGRAIN = sys.argv[1]
PROTOCOL = """steps:
- {drive: {rate: 0.5C, sense: charge}, until: {voltage: 4.2 V}}
- {drive: {voltage: 4.2 V}, until: {rate: C/20, time: 2 h}}
- {drive: rest, until: {time: 30 min}}
- {drive: {current: 1.2 mA, sense: discharge}, until: {voltage: 2.8 V}}
repeat: 2
"""
SHEET = """onegrain: 1
name: coin cell
arrangement: full_cell
temperature: 25 degC
disc_diameter: 14 mm
voltage_window: {lower: 2.8 V, upper: 4.2 V}
positive:
  material: nmc622
  coating:
    loading: {value: 11.8 mg/cm2, spread: 0.2 mg/cm2, source: "balance"}
    thickness: 60 um
    recipe: {active: 94 wt%, carbon: 3 wt%, binder: 0.03}
  particle_radius: 4.8 um
negative:
  material: graphite
  layer: {thickness: 75 µm, active_fraction: 62 %, porosity: 0.33}
  particle_radius: 8e-6 m
formation_loss: 8 %
separator: {thickness: 25 um, porosity: 45 %}
electrolyte: carbonate_1M
"""
# What stands in the sound text, and what makes it unsound.
FAULTY = {
    "sheet": [
        ("disc_diameter:", "disc_diametre:"),  # unknown key
        ("electrolyte: carbonate_1M\n", ""),  # missing
        ("particle_radius: 4.8 um", "particle_radius: 4.8 V"),  # a voltage
        ("particle_radius: 4.8 um", "particle_radius: 4.8"),  # no unit
        ("particle_radius: 4.8 um", "particle_radius: 4.8 um\n  double_layer: 0.2 F"),  # of what surface
        ("temperature: 25 degC", "temperature: 25 degC\ninductance: 1 F"),
        ("particle_radius: 4.8 um", "particle_radius: '4.8'"),
        ("particle_radius: 4.8 um", "particle_radius: 4.8 mAh"),
        ("particle_radius: 4.8 um", "particle_radius: [4.8 um]"),
        ("particle_radius: 4.8 um", "particle_radius: {value: 4.8 um, sread: 1 um}"),
        ("particle_radius: 4.8 um", "particle_radius: {spread: 1 um}"),
        ("temperature: 25 degC", "temperature: 25 h"),
        ("lower: 2.8 V", "lower: 2.8 ohm"),
        ("porosity: 0.33", "porosity: 1.33"),
        ("porosity: 0.33", "porosity: 0.33 um"),
        ("arrangement: full_cell", "arrangement: fullcell"),
        ("arrangement: full_cell\n", ""),
        ("arrangement: full_cell", "arrangement: half_cell"),
        ("onegrain: 1", "onegrain: 2"),
        ("name: coin cell\n", ""),
        ("disc_diameter: 14 mm", "disc_diameter: 14 mm\nplate_area: 1.5 cm2"),
        ("disc_diameter: 14 mm\n", ""),
        ("formation_loss: 8 %\n", ""),
        ("formation_loss: 8 %", "formation_loss: 8 %\ncharged_state: {positive: 0.3, negative: 0.9}"),
        ("  layer: {thickness: 75 µm, active_fraction: 62 %, porosity: 0.33}\n", ""),
        ("thickness: 60 um", "thickness: 60 um\n    foil_mass: 5 mg"),
        ("recipe: {active: 94 wt%, carbon: 3 wt%, binder: 0.03}", "recipe: 94 wt%"),
        ("separator: {thickness: 25 um, porosity: 45 %}", "separator: {thickness: 25 um}"),
        ("electrolyte: carbonate_1M", "electrolyte: {concentration: 1 mol/L}"),
    ],
    "card": [
        ("onegrain_material: 1", "onegrain_material: 2"),
        ("diffusion_coefficient:", "difusion_coefficient:"),
        ("exchange_activation_energy:", "exchange_activation_energy: 3 V\nnote_2:"),
        ("role: positive", "role: oxide"),
        ("system: hexagonal", "system: hexagon"),
        ("formula_units: 3", "formula_unit: 3"),
        ("open_circuit_potential:", "open_circuit_voltage:"),
    ],
    "protocol": [
        ("rate: 0.5C, sense: charge", "rate: 0.5C"),
        ("rate: 0.5C, sense: charge", "rate: 0.5C, current: 1 mA, sense: charge"),
        ("rate: 0.5C, sense: charge", "rate: 0.5C, sense: up"),
        ("drive: rest", "drive: pause"),
        ("until: {time: 30 min}", "until: {}"),
        ("until: {time: 30 min}", "until: {time: 30 V}"),
        ("until: {time: 30 min}", "untill: {time: 30 min}"),
        ("repeat: 2", "repeat: 0"),
        ("repeat: 2", "repeats: 2"),
    ],
    "powder": [
        ("NiO: 3 wt%", "NiO: 3 um"),  # a share
        ("host: 97 wt%, ", ""),
        ("d90: 30 um", "d95: 30 um"),
        (", d90: 30 um", ""),
        ("d90: 30 um", "d90: 30 um, table: sizes.csv"),
        ("  grain_sizes:", "  particle_radius: 8 um\n  grain_sizes:"),
        ("d10: 8 um, d50: 16 um, d90: 30 um", "classes: []"),
        ("d10: 8 um, d50: 16 um, d90: 30 um", "classes: [{diameter: 8 um}]"),
    ],
}
# Only the reader can tell: what a number with a unit is worth, and what several values must fulfil together.
BY_THE_READER_ALONE = [
    ("particle_radius: 4.8 um", "particle_radius: 4.8 mm"),
    ("lower: 2.8 V", "lower: 4.8 V"),
    ("carbon: 3 wt%", "carbon: 30 wt%"),
    ("material: nmc622", "material: nmc633"),
]


def run(words):
    return subprocess.run([ONEGRAIN, *words], capture_output=True, text=True, check=False)


def published(what):
    schema = json.loads(run(["schema", what]).stdout)
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


validators = {what: published(what) for what in ("sheet", "card", "protocol")}
folder = tempfile.TemporaryDirectory()


def taken(what, text):
    """Whether the schema takes it, and whether the program does."""
    what = "sheet" if what == "powder" else what
    path = pathlib.Path(folder.name) / f"{what}.yaml"
    path.write_text(text)
    done = run(["check", "demo", str(path)] if what == "protocol" else ["check", str(path)])
    assert done.returncode in (0, 3), done.stderr
    return validators[what].is_valid(yaml.safe_load(text)), done.returncode == 0


shipped = 0
for card in json.loads(run(["cards", "--json"]).stdout)["cards"]:
    text = run(["cards", card["name"]]).stdout
    what = "sheet" if card["folder"] == "cells" else "card"
    for fault in validators[what].iter_errors(yaml.safe_load(text)):
        sys.exit(f"{card['name']}: {list(fault.absolute_path)}: {fault.message[:300]}")
    shipped += 1
assert shipped > 20

CARD = run(["cards", "nmc622"]).stdout
POWDER = SHEET.replace("  particle_radius: 4.8 um", "  particle_radius: 4.8 um\n  phases: {host: 97 wt%, NiO: 3 wt%}").replace(
    "  particle_radius: 8e-6 m", "  grain_sizes: {d10: 8 um, d50: 16 um, d90: 30 um}")
sound = {"sheet": SHEET, "card": CARD, "protocol": PROTOCOL, "powder": POWDER}
refused = 0
for what, text in sound.items():
    assert taken(what, text) == (True, True), what
    for old, new in FAULTY[what]:
        assert old in text, (what, old)
        by_schema, by_reader = taken(what, text.replace(old, new, 1))
        assert not by_schema, f"the schema takes a {what} with {new!r}"
        assert not by_reader, f"the program takes a {what} with {new!r}"
        refused += 1
for old, new in BY_THE_READER_ALONE:
    assert old in SHEET
    assert taken("sheet", SHEET.replace(old, new, 1)) == (True, False), new
folder.cleanup()
print(f"{shipped} shipped files and 4 more keep the schemas; {refused} faulty ones are refused by schema and program")
