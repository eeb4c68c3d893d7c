"""Corpora for the fuzz targets, out of the shipped files, the examples of the README and the open data of the tests.

    python3 corpora.py SOURCE OUT [TARGET...]      writes OUT/TARGET/NAME
"""
import hashlib
import pathlib
import re
import sys

source, out = pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2])
params = source / "params"


def put(target, text):
    data = text if isinstance(text, bytes) else text.encode()
    folder = out / target
    folder.mkdir(parents=True, exist_ok=True)
    (folder / hashlib.sha256(data).hexdigest()[:16]).write_bytes(data)


cards = sorted(params.glob("materials/*.yaml")) + sorted(params.glob("electrolytes/*.yaml"))
sheets = sorted(params.glob("cells/*.yaml"))
readme = (source / "README.md").read_text()
examples = re.findall(r"```yaml\n(.*?)```", readme, re.S)

for path in cards:
    put("card", path.read_text())
for path in sheets:
    put("sheet", path.read_text())
for text in examples:
    put("document", text)
    put("protocol" if "steps:" in text else "card" if "onegrain_material" in text else "sheet", text)
# sheets without tables beside them, small enough to be changed everywhere
small = """onegrain: 1
name: small
arrangement: full_cell
temperature: 25 degC
disc_diameter: 14 mm
voltage_window: {lower: 2.8 V, upper: 4.2 V}
positive:
  material: nmc622
  layer: {thickness: 60 um, active_fraction: 62 %, porosity: 30 %}
  particle_radius: {value: 4.8 um, spread: factor 2, source: "invented"}
negative:
  material: graphite
  coating: {loading: 6 mg/cm2, thickness: 45 um, recipe: {active: 95 wt%, carbon: 1 wt%, binder: 4 wt%}}
  particle_radius: 8 um
formation_loss: 8 %
separator: {thickness: 25 um, porosity: 45 %}
electrolyte: carbonate_1M
thermal: {mass: 3 g, heat_capacity: 900 J/(kg K), heat_transfer_coefficient: 10 W/(m2 K), cooled_area: 4 cm2}
"""
put("sheet", small)
put("sheet", small.replace('  particle_radius: {value: 4.8 um, spread: factor 2, source: "invented"}',
                           "  grain_sizes: {d10: 3 um, d50: {value: 10 um, spread: 1 um}, d90: 20 um}\n  phases: {host: 97 wt%, NiO: 3 wt%}"))
put("sheet", small.replace("  particle_radius: 8 um", "  grain_sizes: {classes: [{diameter: 4 um, volume: 25 %}, {diameter: 10 um, volume: 75 %}]}"))
put("sheet", small.replace("formation_loss: 8 %", "charged_state: {positive: 0.27, negative: 0.90}"))
for text in [
    "steps:\n  - {drive: {rate: 0.5C, sense: charge}, until: {voltage: 4.2 V}}\n  - {drive: {voltage: 4.2 V}, until: {rate: C/20, time: 2 h}}\n"
    "  - {drive: rest, until: {time: 30 min}}\n  - {drive: {current: 1.2 mA, sense: discharge}, until: {voltage: 2.8 V}}\nrepeat: 3\n",
    "steps:\n  - {drive: rest, until: {time: 1 s}, name: first}\n  - {drive: {rate: 160 mA/g, sense: discharge}, until: {capacity: 100 mAh/g}}\n",
]:
    put("protocol", text)
for path in cards + sheets:
    put("document", path.read_text())

everything = "\n".join(p.read_text() for p in cards + sheets) + readme
for text in re.findall(r'expression: "([^"]+)"', everything):
    put("expression", text)
for text in ["x", "sqrt(x)*exp(-T/300)", "tanh((x - 0.5)/0.02) + log(x + 1)", "x^2^0.5", "-x", "1e-14*(1 + x)", "x ? 1 : 2", "abs(sin(x))"]:
    put("expression", text)
for text in set(re.findall(r"(?m)^formula: *(\S+)", everything)) | {"Li[Li1/3Ti5/3]O4", "LiNi(1/3)Mn(1/3)Co(1/3)O2", "C6", "Fe2(SO4)3", "Li1.05Mn2O4"}:
    put("formula", text)
quantities = set(re.findall(r"(?<![\w.])-?\d[\d.eE+-]* [A-Za-z%][\w/.%^()* ]{0,14}", everything))
for text in sorted(quantities)[:400]:
    put("quantity", text.strip())
for text in ["12 ohm.cm2", "3 W/(m2 K)", "25 degC", "0.5", "1/3", "-0.1 mV/K", "1e-14 m2/s", "35 kJ mol-1", "4,8 um", "10 µm", "5 %", "0x10", "1 angstrom"]:
    put("quantity", text)
for text in ["C/20,C/10,C/5,C/2,1C,2C,3C,5C", "C/10", "0.2C", "2mA", "3 mA/cm2", "160mA/g", "C", "1C,1.5 mA"]:
    put("rate", text)
for text in ["2..4", "1", "3..3", "..4", "2..", "all", "1,2", "999999999999999999999"]:
    put("steps", text)
put("spectrum", "Frequency / Hz,Real Impedance / ohm,Imaginary Impedance / ohm\n" + "".join(f"{10 ** (3 - k / 4)},{2 + k / 9},{-0.1 * k}\n" for k in range(20)))
put("spectrum", "freq/Hz\tRe(Z)/Ohm\t-Im(Z)/Ohm\n" + "".join(f"{10 ** (k / 4)}\t{2 + k / 9}\t{0.1 * k}\n" for k in range(9)))
put("spectrum", "# phase=p\nf (kHz);|Z| (mohm);p\n" + "".join(f"{9 - k},5;{7 + k};{-k}\n" for k in range(9)))
for path in sorted((source / "tests" / "data" / "cif").glob("*.cif")):
    put("cif", path.read_text(errors="replace"))
put("cif", "data_a\n_cell_length_a 2.870(1)\n_cell_length_b 2.870(1)\n_cell_length_c 14.23(2)\n_cell_angle_alpha 90\n_cell_angle_beta 90\n"
    "_cell_angle_gamma 120\n_cell_formula_units_Z 3\n_chemical_formula_sum 'Li1 Ni0.6 O2'\nloop_\n_pd_phase_name\n_pd_phase_mass_%\n"
    "host 97(1)\n'bunsenite (NiO)' 3.0(2)\n_text\n;\nline\n;\ndata_b _c ?\n")
titles = "Test Time / s\nVoltage / V\nCurrent / A\nAmbient Temperature / degC\nSurface Temperature / degC\nNet Capacity / Ah\nCycle Count / 1\nStep Count / 1"
machine = "test_time_second\nvoltage_volt\ncurrent_ampere\nsurface_temperature_celsius"
for words in ["time=t/h\nvoltage=U/V\ncurrent=I/mA\nt/h\nU/V\nI/mA", "time=1\nvoltage=2\ncurrent=-3:mA\n1\n2\n3",
              "time=Zeit:h\nvoltage=Ewe/V\nstate=Status\ncharge=CHA\nrest=PAU,OCV\ncurrent=I\nZeit\nEwe/V\nStatus\nI (A)"]:
    put("columns", words)
for names in (titles, machine):
    put("columns", "\n" * names.count("\n") + names)

for path in sorted(params.glob("materials/*.csv")):
    put("delimited", path.read_text())
for path in sorted((source / "tests" / "data").glob("*.csv")):
    lines = path.read_text(errors="replace").splitlines(keepends=True)
    put("measured", "".join(lines[:60]))
    put("measured", "".join(lines[:3] + lines[len(lines) // 2 : len(lines) // 2 + 30] + lines[-10:]))
    put("delimited", "".join(lines[:12]))
    put("measured", "".join(lines[:25]).replace(",", ";").replace(".", ","))
    put("measured", "".join(lines[:25]).replace(",", "\t"))
for text in ["# made by nobody\nTest Time / s,Voltage / V,Current / A\n0,3.0,0\n1,3.1,0.001\n2,3.2,0.001\n",
             "t/h U/V I/mA\n0:00:00 3.0 0\n0:00:10 3.1 -1\n0:00:20 3.2 -1\n",
             "test_time_second;voltage_volt;current_ampere\n0;3,1;0,0\n10;3,2;0,1\n"]:
    put("measured", text)
    put("delimited", text)
