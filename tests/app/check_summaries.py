"""Every summary.json against the published schema, by an independent validator (python3-jsonschema).

usage: check_summaries.py ONEGRAIN

Also: the schema itself is sound, holds one meaning and type for each key, and does refuse what it should refuse.
"""

import copy
import json
import pathlib
import subprocess
import sys
import tempfile

import jsonschema

ONEGRAIN = sys.argv[1]
PROTOCOL = """steps:
- {drive: {rate: 1C, sense: charge}, until: {voltage: 4.2 V}}
- {drive: {voltage: 4.2 V}, until: {rate: C/20}}
- {drive: rest, until: {time: 10 min}}
- {drive: {rate: 5C, sense: discharge}, until: {voltage: 2.8 V}}
repeat: 2
"""
CALLS = [
    ["rates", "demo", "--both", "--rates", "C/10,2mA,5C"],
    ["rates", "demo_half_cell", "--electrolyte", "uniform", "--rates", "C/10,20C"],
    ["curve", "demo", "--rates", "1C,5C", "--points", "5", "--charge"],
    ["curve", "lfp_half_cell", "--rates", "C/5", "--points", "5"],
    ["follow", "demo", "--protocol", "protocol.yaml"],
    ["ceiling", "demo", "--samples", "20", "--staircase"],
    ["ceiling", "lfp_half_cell", "--samples", "0"],
    ["losses", "demo", "--rate", "3C", "--charge"],
    ["losses", "demo_half_cell", "--rate", "C/2"],
    ["overlay", "demo", "measured/curves.csv", "slow/curves.csv"],
    ["overlay", "demo", "measured/curves.csv", "--recognised", "--steps", "2.."],
    ["pulses", "demo_half_cell", "titration/curves.csv"],
    ["pulses", "demo", "measured/curves.csv"],
    ["balance", "demo", "slow/curves.csv", "--steps", "1", "--from-soc", "1"],
    ["balance", "demo_half_cell", "half/curves.csv"],
    ["fit", "demo", "slow/curves.csv", "--steps", "1", "--from-soc", "1", "--starts", "2", "--linear", "--free",
     "negative.diffusion_time,separator.porosity,contact_resistance,positive.potential"],
    ["spectrum", "demo", "--from-soc", "0.2,0.8", "--per-decade", "2"],
    ["spectrum", "demo", "impedance/curves.csv", "--from-soc", "0.5"],
    ["spectrum", "demo_half_cell", "--reaction", "even", "--electrolyte", "uniform", "--frequencies", "1,10"],
    ["survey", "demo", "--vary", "positive.coating.thickness=40,60um", "--rates", "1C", "--charge-within", "2 h", "--samples", "0"],
    ["survey", "demo_half_cell", "--vary", "working.particle_radius=2..9um", "--places", "2", "--part", "1/1", "--out", "parts"],
    ["merge", "parts"],
    ["page", "demo", "--out", "page.html"],
    ["page", "demo_half_cell", "--out", "half.html"],
    ["cards"],
    ["check", "demo", "protocol.yaml", "run.csv"],
]
TITRATION = """steps:
- {drive: rest, until: {time: 10 min}}
- {drive: {rate: C/10, sense: charge}, until: {time: 10 min}}
- {drive: rest, until: {time: 3 h}}
repeat: 3
"""
# What is measured here is calculated: the cell of the demo with coarser graphite.
MEASURED = [
    ["follow", "hidden.yaml", "--protocol", "protocol.yaml", "--out", "measured"],
    ["curve", "hidden.yaml", "--rates", "C/10,1C", "--out", "slow"],
    ["follow", "demo_half_cell", "--protocol", "titration.yaml", "--from-soc", "0.85", "--out", "titration"],
    ["curve", "demo_half_cell", "--rates", "C/20", "--points", "60", "--out", "half"],
    ["spectrum", "hidden.yaml", "--out", "impedance"],
]


RUN = "Test Time / s,Voltage / V,Current / A\n" + "".join(
    f"{10 * k},{3.5 + 0.001 * k},{0.001 if k < 20 else 0}\n" for k in range(40)) + "5,3.5,0\n"


def run(words, status=0):
    done = subprocess.run([ONEGRAIN, *words], capture_output=True, text=True, check=False)
    assert done.returncode == status, (words, done.stderr)
    return done.stdout


def walk(node, see, name=""):
    """Calls see(name, description of the property) for every property of every object, keys aside."""
    if isinstance(node, dict):
        for key, content in node.get("properties", {}).items() if isinstance(node.get("properties"), dict) else ():
            see(key, content)
        for key, content in node.items():
            if key != "keys":
                walk(content, see, key)
    elif isinstance(node, list):
        for content in node:
            walk(content, see, name)


schema = json.loads(run(["schema", "summary"]))
jsonschema.Draft202012Validator.check_schema(schema)
validator = jsonschema.Draft202012Validator(schema)

# One key, one meaning: whatever is not a list or an object of its own points to the one description of its name.
NESTED = {"points", "curves", "steps", "bench", "page", "cards", "rates", "positive", "negative", "working", "verb",
          "passed_over", "rest_before_cut_off", "second_phases", "coatings", "ceiling", "margins",
          "unknowns", "temperatures", "staircase", "losses", "parts", "levers", "overlay", "runs", "trace", "measured_derivatives",
          "model_derivatives", "dQ_dV", "dV_dQ", "smoothing", "resistance", "pulses", "example", "diffusivity_fit",
          "diffusivity_square_root", "diffusivity_two_points", "fit", "parameters", "correlation",
          "further_tests", "potentials", "balance", "lithium", "lines", "checked", "faults",
          "columns", "recorded_steps", "doubts", "doubtful_rows", "spectra", "survey", "best", "measured"}
OF_FIGURES = {"value", "plus_minus", "lower", "upper", "within_factor"}
exceptions = []


def one_meaning(key, content):
    if key in NESTED or key in OF_FIGURES or "const" in content:
        return
    if content != {"$ref": f"#/$defs/keys/properties/{key}"}:
        exceptions.append(key)


walk(schema, one_meaning)
assert exceptions == ["capacity_mAh"], exceptions  # the array of `curve`, which is older

CALLS += [["bench", "powder.yaml", "--for", "n_to_p = 1.1 +- 0.1", "--for", "porosity = 30 %"],
          ["curve", "powder.yaml", "--rates", "1C", "--points", "5"]]
CALLS += [["bench", card["name"]] for card in json.loads(run(["cards", "--json"]))["cards"] if card["folder"] == "cells"]
assert len(CALLS) > 8

summaries = {}
with tempfile.TemporaryDirectory() as folder:
    place = pathlib.Path(folder)
    sheet = run(["cards", "demo"])
    written = {
        "protocol.yaml": PROTOCOL,
        "titration.yaml": TITRATION,
        "run.csv": RUN,
        "hidden.yaml": sheet.replace("{value: 8 um, spread: 0.8 um", "{value: 12 um, spread: 0.8 um"),
        "powder.yaml": sheet.replace("  material: nmc622\n", "  material: nmc622\n  phases: {host: 97 wt%, NiO: 3 wt%}\n").replace(
            '  particle_radius: {value: 8 um, spread: 0.8 um, source: "invented: micrograph, 60 grains"}',
            "  grain_sizes: {d10: 8 um, d50: 16 um, d90: 30 um}"),
        "wrong.yaml": sheet.replace("thickness:", "thicknes:", 1).replace("4.8 um", "4.8 mm", 1),
    }
    for name, text in written.items():
        (place / name).write_text(text)
    def placed(words):
        """Files and folders of the test by where they lie."""
        ours = [*written, "page.html", "half.html", "measured", "slow", "titration", "half"]
        return [str(place / word) if word.split("/")[0] in ours else word for word in words]
    for words in MEASURED:
        run(placed(words))
    for words, status in [(words, 0) for words in CALLS] + [(["check", "wrong.yaml"], 3)]:
        summary = json.loads(run([*placed(words), "--json"], status))
        for fault in validator.iter_errors(summary):
            sys.exit(f"onegrain {' '.join(words)}: {list(fault.absolute_path)}: {fault.message[:300]}")
        summaries[words[0] if status == 0 else "unsound"] = summary

# A validator that takes everything would have passed too: each of these changes must be refused.
def refused(verb, change):
    wrong = copy.deepcopy(summaries[verb])
    change(wrong)
    assert not validator.is_valid(wrong), verb


refused("rates", lambda s: s.pop("cautions"))
refused("rates", lambda s: s["points"][0].update(capacity_mAh=[1.0]))
refused("rates", lambda s: s["points"][0].update(capacity_mAh="1.0"))
refused("rates", lambda s: s["points"][0].update(unheard_of=1))
refused("curve", lambda s: s["curves"][0].update(capacity_mAh=1.0))
refused("follow", lambda s: s["steps"][0].update(capacity_mAh=-1.0))
refused("follow", lambda s: s["steps"][0].pop("net_charge_mAh"))
refused("ceiling", lambda s: s["margins"][0].update(worst_V="72.1 mV"))
refused("ceiling", lambda s: s["margins"][0].pop("left_V"))
refused("ceiling", lambda s: s["ceiling"].update(c_rate=-0.1))
refused("ceiling", lambda s: s["ceiling"]["temperatures"][0].pop("c_rate_confident"))
refused("losses", lambda s: s["losses"]["parts"][0].update(capacity_mAh=0.1))
refused("losses", lambda s: s["losses"].pop("trusted"))
refused("overlay", lambda s: s["overlay"]["runs"][0]["steps"][0].update(rms_mV=-1.0))
refused("overlay", lambda s: s["overlay"]["runs"][0]["steps"][0]["trace"].pop("model_V"))
refused("pulses", lambda s: s["pulses"].update(method="one sentence"))
refused("balance", lambda s: s["balance"]["lines"][0].update(line="neither"))
refused("balance", lambda s: s["balance"]["working"].pop("loss_against_sheet"))
refused("fit", lambda s: s["fit"]["parameters"][0].update(estimate="1.0"))
refused("fit", lambda s: s["fit"]["curves"][0].pop("trace"))
refused("spectrum", lambda s: s["spectra"][0].update(frequency_Hz=1.0))
refused("spectrum", lambda s: s["spectra"][0].pop("imaginary_ohm"))
refused("bench", lambda s: s["bench"].update(rated_capacity_mAh={"value": 1.0}))
refused("bench", lambda s: s["files"][0].update(sha256="0"))
refused("cards", lambda s: s.update(onegrain_summary=2))
refused("check", lambda s: s["recorded_steps"][0].update(kind=1))
refused("unsound", lambda s: s["faults"][0].update(line=0))
print(f"{len(CALLS) + 1} summaries keep the schema, 27 changes are refused")
