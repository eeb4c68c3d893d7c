#!/usr/bin/env python3
"""Checks the shipped cards and sheets against published and computed numbers, independently of the program.

    /usr/bin/python3 check_cards.py [PARAMS_FOLDER]

Reads the YAML with PyYAML, evaluates the expressions with Python's own arithmetic, and compares them with samples
computed from the printed formulas, all digits shown. A sample agrees if it differs by no more than half a unit of its
last digit. Sources stand beside the numbers; formulas marked "from memory" were not compared with the printed page.
Exit status 1 if anything disagrees.
"""
import math
import pathlib
import re
import sys

import yaml

ROOT = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else pathlib.Path(__file__).resolve().parents[2] / "params"
F, R, AVOGADRO = 96485.33212331001, 8.31446261815324, 6.02214076e23          # CODATA 2018
ATOMIC_WEIGHT = {"Li": 6.94, "C": 12.011, "O": 15.999, "Si": 28.085, "P": 30.974, "Ti": 47.867, "Mn": 54.938,
                 "Fe": 55.845, "Co": 58.933, "Ni": 58.693}                   # IUPAC, five digits
UNIT = {"": 1, "m": 1, "um": 1e-6, "mm": 1e-3, "angstrom": 1e-10, "m2": 1, "cm2": 1e-4, "m2/s": 1, "cm2/s": 1e-4,
        "S/m": 1, "mS/cm": 0.1, "A/m2": 1, "V": 1, "J/mol": 1, "kJ/mol": 1e3, "mol/m3": 1, "mol/L": 1e3, "g/cm3": 1e3,
        "%": 0.01, "wt%": 0.01, "mg": 1e-6, "mg/cm2": 1e-2, "Ah": 3600, "mAh": 3.6, "ohm.cm2": 1e-4}
FUNCTIONS = {name: getattr(math, name) for name in ("exp", "tanh", "sqrt")} | {"abs": abs}
failures, passed = [], 0


def expect(what, got, printed):
    """`printed` is the number as text; half a unit of its last digit is allowed."""
    global passed
    mantissa, _, exponent = printed.lower().partition("e")
    decimals = len(mantissa.partition(".")[2])
    allowed = 0.5 * 10.0 ** (-decimals + int(exponent or 0)) * 1.02
    if abs(got - float(printed)) <= allowed:
        passed += 1
    else:
        failures.append(f"{what}: {got:.9g}, expected {printed}")


def claim(what, holds):
    global passed
    if holds:
        passed += 1
    else:
        failures.append(what)


def si(node):
    """A value with its unit, or a mapping with a value, in SI."""
    if isinstance(node, dict):
        node = node["value"]
    if isinstance(node, (int, float)):
        return float(node)
    number, _, unit = str(node).partition(" ")
    return float(number) * UNIT[unit]


def evaluate(node, x=None, c=None, T=298.15):
    """A property in SI at stoichiometry x, or at salt concentration c in mol/L."""
    if isinstance(node, dict) and "expression" in node:
        code = compile(node["expression"].replace("^", "**"), "expression", "eval")
        return eval(code, {"__builtins__": {}}, FUNCTIONS | {"x": x, "c": c, "T": T}) * UNIT[node.get("unit", "")]
    return si(node)


def load(folder, name):
    with open(ROOT / folder / (name + ".yaml"), encoding="ascii") as file:
        return yaml.safe_load(file)


def material(name):
    return load("materials", name)


def molar_mass(formula):
    """g/mol."""
    return sum(ATOMIC_WEIGHT[e] * float(n or 1) for e, n in re.findall(r"([A-Z][a-z]?)([0-9.]*)", formula))


def crystal(card):
    """Cell volume (A^3), density (g/cm3), site concentration (mol/m3), capacity (mAh/g)."""
    cell = card["crystal"]
    a, b, c = (si(cell.get(k, cell["a"])) * 1e10 for k in "abc")
    volume = {"hexagonal": math.sqrt(3) / 2 * a * a * c, "cubic": a ** 3, "orthorhombic": a * b * c}[cell["system"]]
    mass = molar_mass(card["formula"])
    lithium = re.search(r"Li([0-9.]*)", card["formula"])
    sites = card.get("lithium_sites", float(lithium.group(1) or 1) if lithium else None)
    units = cell["formula_units"]
    return (volume, units * mass / (volume * AVOGADRO) * 1e24, units * sites / (volume * 1e-30 * AVOGADRO),
            sites * F / 3.6 / mass)


# Potentials: formulas from memory of the publication named on the card, samples computed with independent code.
POTENTIALS = {
    "nmc811_21700": ".27 4.27296  .30 4.20539  .40 4.10475  .50 3.97196  .60 3.82447  .70 3.73040  "
                             ".80 3.64911  .90840 3.56140",
    "graphite_siox_21700": ".0279 1.06374  .05 0.67857  .10 0.40652  .20 0.21699  .30 0.16297  .50 0.13309  "
                                    ".60 0.11875  .9014 0.09202",
    "graphite_10um": ".05 0.3135  .10 0.3010  .20 0.2431  .30 0.2160  .50 0.1954  .70 0.1779  .80 0.1752",
    "lco_10um": ".50 4.1860  .55 4.0771  .60 4.0270  .70 3.9391  .80 3.9129  .90 3.9062  .95 3.7211",
    "lco": ".50 4.1860  .55 4.0771  .60 4.0270  .70 3.9391  .80 3.9129  .90 3.9062  .95 3.7211",
    "lfp": ".02 3.7272  .05 3.4898  .1 3.4360  .5 3.4323  .9 3.4142  .95 3.2515  .98 2.8999",
    "lmo": ".17 4.3109  .3 4.1183  .5 4.1040  .6 4.0434  .8 3.9774  .95 3.9195  .99 3.7543",
    "nmc111": ".35 4.3946  .4 4.2567  .5 4.0387  .6 3.8851  .7 3.7801  .8 3.7083  .9 3.6541  .98 3.5157",
    # Anchors that this card states: Chen et al. (2020) at y = 0.2700 and 0.9084, to the four digits of the map.
    "nmc811": ".2 4.273  .926 3.561",
    # Plateau 1.55 V (Ohzuku et al. 1995, from memory).
    "lto": ".1 1.55  .5 1.55  .9 1.55  1 1.0",
}
# Cell volume, density, site concentration, theoretical capacity: from lattice constants and atomic weights.
CRYSTALS = {
    "lco": "96.519 5.051 51613 273.845", "nmc111": "101.105 4.753 49272 277.853",
    "nmc622": "101.30 4.767 4.918e4 276.509", "nmc811": "101.44 4.778 4.911e4 275.510",
    "lfp": "291.35 3.596 22798 169.893", "lmo": "560.33 4.287 23708 148.228",
    "graphite": "35.286 2.261 31373 371.902", "lto": "584.17 3.480 22740 175.141",
}
# i0 at half filling and 1 mol/L = m sqrt(c_ref) c_max / 2; prefactor m in A/m2 (m3/mol)^1.5 from memory of the papers.
PREFACTORS = {"graphite_siox_21700": (6.48e-7, "0.3395"), "nmc811_21700": (3.42e-6, "3.412"),
              "graphite_10um": (2e-5, "7.9"), "lco_10um": (6e-7, "0.49")}
# Electrolytes at 298.15 K: c, conductivity S/m, diffusivity 1e-10 m2/s, transference number, thermodynamic factor.
ELECTROLYTES = {
    "ec_emc_1M_polarisation": ["0.25 .521 3.92 - -", "0.50 .793 3.10 - -", "1.00 .949 1.77 .259 -", "1.50 .820 0.88 - -",
                   "2.00 .596 0.44 - -"],
    "pc_ec_dmc_1M": ["0.25 .589 5.24 .38 0.97", "0.50 .950 4.46 .38 1.24", "1.00 1.194 3.22 .38 2.13",
                            "1.50 1.068 2.31 .38 3.34", "2.00 .796 1.65 .38 4.81"],
    "carbonate_1M": ["0.25 .509 4.62 .348 0.88", "0.50 .756 3.95 .305 1.37", "1.00 .913 2.89 .221 2.18",
                     "1.50 .810 2.12 .150 2.94", "2.00 .594 1.55 .106 3.85"],
    "ec_emc_1M_nmr": ["0.25 .505 4.54 .4 1", "0.50 .803 3.86 .4 1", "1.00 1.105 2.79 .4 1", "1.50 1.114 2.01 .4 1",
                      "2.00 .947 1.46 .4 1"],
}
# Valoen and Reimers (2005) at 1 mol/L: temperature in degC, conductivity S/m, diffusivity 1e-10 m2/s.
COLD_AND_WARM = ["0 0.711 0.93", "10 0.893 1.78", "25 1.194 3.22", "40 1.524 4.65"]


def check_potentials():
    for name, samples in POTENTIALS.items():
        ocp = material(name)["open_circuit_potential"]
        words = samples.split()
        for x, printed in zip(words[::2], words[1::2]):
            expect(f"{name}: potential at x = {x}", evaluate(ocp, x=float(x)), printed)
    for path in sorted((ROOT / "materials").glob("*.yaml")):
        ocp = material(path.stem).get("open_circuit_potential")
        if ocp is None:
            continue
        low, high = ocp["range"]
        if "expression" in ocp:
            u = [evaluate(ocp, x=low + (high - low) * k / 2000) for k in range(2001)]
            # This graphite formula rises by 3 mV per unit of x near x = 0.32: printed so.
            slack = 3e-6 if path.stem == "graphite_10um" else 0
        else:
            (x, u), slack = table(ocp["table"]), 0
            claim(f"{path.stem}: table ascends in x", all(b > a for a, b in zip(x, x[1:])))
            claim(f"{path.stem}: table covers its range", x[0] <= low and x[-1] >= high)
        claim(f"{path.stem}: potential falls with x", all(b < a + slack for a, b in zip(u, u[1:])))
    # nmc622 keeps to its recipe, 3/7 nmc111 + 4/7 nmc811, within the 6 mV that the card states.
    ocp = {name: material(name)["open_circuit_potential"] for name in ("nmc111", "nmc622", "nmc811")}
    off = 0
    for x in [0.25 + 0.73 * k / 100 for k in range(101)]:
        u = {name: evaluate(ocp[name], x=x) for name in ocp}
        off = max(off, abs(u["nmc622"] - (3 * u["nmc111"] + 4 * u["nmc811"]) / 7))
    claim(f"nmc622: within 6.5 mV of its recipe (is {1e3 * off:.2f} mV)", off < 6.5e-3)


def check_crystals():
    for name, printed in CRYSTALS.items():
        rows = zip(("volume", "density", "sites", "capacity"), crystal(material(name)), printed.split())
        for what, got, text in rows:
            expect(f"{name}: {what}", got, text)


def check_kinetics():
    for name, (m, printed) in PREFACTORS.items():
        card = material(name)
        i0 = m * math.sqrt(1000) * si(card["maximum_concentration"]) / 2
        expect(f"{name}: exchange current density", si(card["exchange_current_density"]), printed)
        claim(f"{name}: exchange current density follows from its prefactor",
              abs(si(card["exchange_current_density"]) / i0 - 1) < 2e-6)


def check_electrolytes():
    for name, rows in ELECTROLYTES.items():
        card = load("electrolytes", name)
        expect(f"{name}: concentration", si(card["concentration"]), "1000")
        for row in rows:
            c, *printed = row.split()
            for key, text, scale in zip(("conductivity", "diffusion_coefficient", "transference_number",
                                         "thermodynamic_factor"), printed, (1, 1e10, 1, 1)):
                if text != "-":
                    expect(f"{name}: {key} at {c} mol/L", scale * evaluate(card[key], c=float(c)), text)
    card = load("electrolytes", "pc_ec_dmc_1M")
    for row in COLD_AND_WARM:
        celsius, kappa, diffusivity = row.split()
        T = 273.15 + float(celsius)
        got = [evaluate(card[key], c=1, T=T) for key in ("conductivity", "diffusion_coefficient")]
        expect(f"Valoen, Reimers: conductivity at {celsius} degC", got[0], kappa)
        expect(f"Valoen, Reimers: diffusivity at {celsius} degC", 1e10 * got[1], diffusivity)
    for name in ELECTROLYTES:                         # finite and positive wherever a cell may take it
        card = load("electrolytes", name)
        for key in ("conductivity", "diffusion_coefficient", "thermodynamic_factor"):
            worst = min(evaluate(card[key], c=0.05 * k, T=T) for k in range(1, 61) for T in (253.15, 298.15, 333.15))
            claim(f"{name}: {key} above 0 up to 3 mol/L", worst > 0)


class Sheet:
    """What a sheet in `layer` form says, per plate area, in SI."""

    def __init__(self, name):
        self.sheet = load("cells", name)
        self.area = si(self.sheet["plate_area"])
        self.ocp, self.capacity = {}, {}
        for side in ("positive", "negative"):
            layer, card = self.sheet[side]["layer"], material(self.sheet[side]["material"])
            self.ocp[side] = card["open_circuit_potential"]
            volume = si(layer["active_fraction"]) * si(layer["thickness"])      # of host per plate area
            self.capacity[side] = F * volume * si(card["maximum_concentration"])
        self.x0, self.y0 = (self.sheet["charged_state"][side] for side in ("negative", "positive"))

    def after(self, q):
        """x, y and voltage after charging by q (C/m2) from the charged state."""
        x, y = self.x0 + q / self.capacity["negative"], self.y0 - q / self.capacity["positive"]
        return x, y, evaluate(self.ocp["positive"], x=y) - evaluate(self.ocp["negative"], x=x)

    def at_voltage(self, voltage, low, high):
        for _ in range(200):
            middle = (low + high) / 2
            low, high = (middle, high) if self.after(middle)[2] < voltage else (low, middle)
        return middle


def check_sheets_from_papers():
    # Chen et al. (2020): capacities and the window that the lithium inventory allows (inputs from memory, computed).
    cell = Sheet("nmc811_graphite_siox_21700")
    ampere_hours = cell.area / 3600
    expect("nmc811: negative", cell.capacity["negative"] * ampere_hours, "5.8276")
    expect("nmc811: positive", cell.capacity["positive"] * ampere_hours, "8.7323")
    lithium = cell.capacity["negative"] * cell.x0 + cell.capacity["positive"] * cell.y0
    expect("nmc811: lithium", lithium * ampere_hours, "7.6107")
    full, empty = cell.at_voltage(4.2, 0, 15000), cell.at_voltage(2.5, -182000, 0)
    for what, q, x, y in (("full", full, "0.910618", "0.263845"), ("empty", empty, "0.026346", "0.853975")):
        expect(f"nmc811: negative when {what}", cell.after(q)[0], x)
        expect(f"nmc811: positive when {what}", cell.after(q)[1], y)
    expect("nmc811: capacity of the window", (full - empty) * ampere_hours, "5.1532")
    expect("nmc811: 1C", si(cell.sheet["rated_capacity"]) / 3600 / cell.area, "48.685")
    # Marquis et al. (2019), the same.
    cell = Sheet("lco_graphite_10um")
    expect("lco: negative", cell.capacity["negative"] / 3600, "40.175")
    expect("lco: positive", cell.capacity["positive"] / 3600, "68.636")
    expect("lco: voltage at the start", cell.after(0)[2], "3.85182")
    expect("lco: voltage after 24 Ah/m2", cell.after(-24 * 3600)[2], "3.4856")
    expect("lco: voltage after 25 Ah/m2", cell.after(-25 * 3600)[2], "2.915")
    expect("lco: 1C", si(cell.sheet["rated_capacity"]) / 3600 / cell.area, "24")


def table(name):
    rows = [line.split(",") for line in open(ROOT / "materials" / name, encoding="ascii") if line[0].isdigit()]
    return [float(row[0]) for row in rows], [float(row[1]) for row in rows]


def between(points, x):
    """Linear between the points of a table, its end values beyond."""
    xs, ys = points
    k = min(max(sum(a <= x for a in xs), 1), len(xs) - 1)
    share = min(max((x - xs[k - 1]) / (xs[k] - xs[k - 1]), 0), 1)
    return ys[k - 1] + share * (ys[k] - ys[k - 1])


def check_demo():
    """The invented coin cell can be made: pores, balance and capacity as coin cells have them. Carbon black 1.95 and
    poly(vinylidene fluoride) 1.78 g/cm3 (common practice); the oxide as made is full, the graphite empty."""
    sheet = load("cells", "demo")
    area = math.pi / 4 * si(sheet["disc_diameter"]) ** 2
    room = {}
    for side in ("positive", "negative"):
        coating = sheet[side]["coating"]
        recipe = {part: si(share) for part, share in coating["recipe"].items()}
        if "loading" in coating:
            loading = si(coating["loading"])
        else:
            loading = (si(coating["coated_disc_mass"]) - si(coating["foil_mass"])) / area
        _, density, sites, _ = crystal(material(sheet[side]["material"]))
        active = loading * recipe["active"] / (density * 1000)
        rest = loading * (recipe["carbon"] / 1950 + recipe["binder"] / 1780)
        porosity = 1 - (active + rest) / si(coating["thickness"])
        claim(f"demo: recipe of the {side} adds up", abs(sum(recipe.values()) - 1) < 1e-9)
        claim(f"demo: porosity of the {side} between 30 and 40 % (is {100 * porosity:.1f} %)", 0.3 < porosity < 0.4)
        room[side] = F * active * sites
    ocp = material("nmc622")["open_circuit_potential"]
    graphite = table("graphite_ocp.csv")
    loss = si(sheet["formation_loss"])

    def meeting(voltage, low, high, x_positive, x_negative):
        """Charge per area at which the voltage is met; it rises from low to high."""
        for _ in range(100):
            q = (low + high) / 2
            u = evaluate(ocp, x=min(x_positive(q), 0.98)) - between(graphite, x_negative(q))
            low, high = (q, high) if u < voltage else (low, q)
        return q

    first = meeting(4.2, 0, 0.75 * room["positive"], lambda q: 1 - q / room["positive"],
                    lambda q: (1 - loss) * q / room["negative"])
    y, x = 1 - first / room["positive"], (1 - loss) * first / room["negative"]
    back = -meeting(2.8, -x * room["negative"], 0, lambda q: y - q / room["positive"],
                    lambda q: x + q / room["negative"])
    ratio, capacity = room["negative"] / first, back * area / 3.6
    claim(f"demo: N/P of the first charge about 1.1 (is {ratio:.3f})", 1.05 < ratio < 1.15)
    claim(f"demo: about 2 mAh (is {capacity:.3f} mAh)", 1.9 < capacity < 2.2)


def check_sources():
    """Every number of a card with a disputed value says where it is from."""
    for path in sorted(ROOT.glob("materials/*.yaml")) + sorted(ROOT.glob("electrolytes/*.yaml")):
        card = yaml.safe_load(path.read_text(encoding="ascii"))
        for key, node in card.items():
            if key in ("onegrain_material", "onegrain_electrolyte", "name", "formula", "lithium_sites", "role",
                       "concentration", "transfer_coefficients"):
                continue
            nodes = [node[k] for k in "abc" if k in node] if key == "crystal" else [node]
            claim(f"{path.name}: {key} has a source", all(isinstance(n, dict) and n.get("source") for n in nodes))


if __name__ == "__main__":
    for check in (check_potentials, check_crystals, check_kinetics, check_electrolytes, check_sheets_from_papers,
                  check_demo, check_sources):
        check()
    print("\n".join(failures + [f"{passed} agree, {len(failures)} do not"]))
    sys.exit(1 if failures else 0)
