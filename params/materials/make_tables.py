#!/usr/bin/env python3
"""Makes the potential tables graphite_ocp.csv and lnmo_ocp.csv from measured half-cell cycles.

    /usr/bin/python3 make_tables.py DATA_FOLDER [OUTPUT_FOLDER]

DATA_FOLDER holds the slow cycles as comma-separated files with the columns voltage_V and capacity_mAh (counted from the
start of each half cycle) and the one-hour rests between them:

    graphite_li_lithiation_C50.csv         graphite_li_rest_after_lithiation.csv
    graphite_li_delithiation_C50.csv       graphite_li_rest_after_delithiation.csv
    lnmo_li_delithiation_charge_C19.csv    lnmo_li_rest_after_charge.csv
    lnmo_li_lithiation_discharge_C19.csv   lnmo_li_rest_after_discharge.csv

Method. Both branches run between the same two states of rest, so each is scaled to its own total charge: s = 0 empty,
s = 1 full (the two totals differ by 1.5 to 1.8 %, taken as side reactions spread evenly over the cycle). The
equilibrium potential is the mean of the branches at equal s, made monotone; half the gap between the branches
(polarisation and true hysteresis) is printed so that a reader can judge it. Needs numpy and scipy.
"""
import pathlib
import sys

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import gaussian_filter1d
from scipy.signal import savgol_filter

CREDIT = ["source: Battery Data Format reference datasets, DOI 10.5281/zenodo.18986774, provider DLR,", "{files}",
          "licence: CC BY 4.0; changed: both directions averaged at equal charge, smoothed, made monotone,",
          "scaled to a stoichiometry, reduced to {count} points"]
GRID = np.linspace(0, 1, 4001)                       # s, filled share of the cycled charge


def column(folder, name):
    data = np.genfromtxt(folder / (name + ".csv"), delimiter=",", names=True)
    return data["capacity_mAh"], data["voltage_V"]


def branch(folder, name, filling):
    """Voltage on GRID and total charge in mAh of one half cycle."""
    charge, voltage = column(folder, name)
    share = charge / charge[-1] if filling else 1 - charge / charge[-1]
    order = np.argsort(share, kind="stable")
    return np.interp(GRID, share[order], voltage[order]), charge[-1]


def falling(values):
    """Closest non-increasing sequence in the least-squares sense (pool adjacent violators)."""
    blocks = []
    for value in values:
        blocks.append([value, 1])
        while len(blocks) > 1 and blocks[-1][0] > blocks[-2][0]:
            value_b, n_b = blocks.pop()
            value_a, n_a = blocks.pop()
            blocks.append([(value_a * n_a + value_b * n_b) / (n_a + n_b), n_a + n_b])
    return np.concatenate([np.full(n, value) for value, n in blocks])


def smooth(values):
    """Local parabola over 0.8 % of the charge where the potential falls quickly, over 6 % on a plateau (the recorder's
    step of 0.19 mV shows there), blended between; the outer 2 % of the charge is left as measured."""
    near, far = savgol_filter(values, 31, 2), savgol_filter(values, 241, 2)
    slope = np.abs(savgol_filter(values, 241, 2, deriv=1, delta=GRID[1]))
    steep = gaussian_filter1d(np.clip((slope - 0.08) / 0.1, 0, 1), 60)
    inner = np.clip((0.5 - np.abs(GRID - 0.5) - 0.02) / 0.02, 0, 1)
    return values + inner * (steep * near + (1 - steep) * far - values)


def steepest(values, low, high):
    """s at which the potential falls most steeply between low and high."""
    slope = savgol_filter(values, 81, 2, deriv=1)
    inside = (GRID > low) & (GRID < high)
    return GRID[inside][np.argmin(slope[inside])]


def knots(x, u, limit=150, tolerance=0.03e-3, shift=8e-5):
    """Points added until their shape-preserving cubic follows u(x) within `tolerance` in volts plus `shift` in x."""
    allowed = tolerance + shift * np.abs(np.gradient(u, x))
    chosen = [int(i) for i in np.linspace(0, len(x) - 1, 13)]
    while len(chosen) < limit:
        misfit = np.abs(PchipInterpolator(x[chosen], u[chosen])(x) - u) / allowed
        misfit[chosen] = 0
        if misfit.max() <= 1:
            break
        chosen = sorted(set(chosen) | {int(np.argmax(misfit))})
    return x[chosen], u[chosen]


def describe(half_gap):
    return (f"half the gap between the two directions: {1e3 * half_gap.mean():.0f} mV on average, "
            f"{1e3 * half_gap.max():.0f} mV at most")


def write(path, notes, x, u):
    x, u = np.round(x, 5), np.round(u, 5)
    for k in range(1, len(u)):                       # strictly falling, also where the monotone mean is level
        u[k] = min(u[k], u[k - 1] - 1e-5)
    u = np.round(u, 5)
    assert np.all(np.diff(x) > 0) and np.all(np.diff(u) < 0)
    lines = ["# " + note.replace("{count}", str(len(x))) for note in notes]
    lines += ["stoichiometry, potential / V"] + [f"{a:.5f}, {b:.5f}" for a, b in zip(x, u)]
    path.write_text("\n".join(lines) + "\n", encoding="ascii")
    print(f"{path.name}: {len(x)} points, x {x[0]} to {x[-1]}, U {u[0]} to {u[-1]} V")


def graphite(folder, out):
    fill, charge_in = branch(folder, "graphite_li_lithiation_C50", True)
    empty, charge_out = branch(folder, "graphite_li_delithiation_C50", False)
    rest_full = column(folder, "graphite_li_rest_after_lithiation")[1][-1]
    rest_empty = column(folder, "graphite_li_rest_after_delithiation")[1][-1]
    mean = falling(smooth((fill + empty) / 2))
    half_gap = (empty - fill) / 2
    # Stage 2 is LiC12: the steep fall between the two plateaus is placed at x = 1/2.
    step = (steepest(fill, 0.4, 0.7) + steepest(empty, 0.4, 0.7)) / 2
    x_empty = 0.002
    x = x_empty + (0.5 - x_empty) * GRID / step
    # The last 0.1 % of the charge is still under load: the table ends where the mean meets the rest potential.
    above = mean > rest_full + 1e-4
    x_end = np.interp(-rest_full, -mean, x)
    x = np.concatenate([[0.0005], x[above], [x_end]])
    mean = np.concatenate([empty[:1], mean[above], [rest_full]])
    plateau = (GRID > 0.1) & (GRID < 0.95)
    print(f"graphite: {charge_in:.4f} mAh in, {charge_out:.4f} mAh out; step at s = {step:.4f}; "
          f"filled end x = {x[-1]:.4f}; {describe(half_gap[plateau])}; "
          f"rest {rest_empty:.4f} V empty, {rest_full:.4f} V full")
    notes = ["Graphite against lithium at 25 degC, near equilibrium", CREDIT[0],
             "files DLR__LiGrHydra0b__20230131__POCV (slow cycle at C/50 with one-hour rests)", *CREDIT[2:],
             "stoichiometry is an assignment, not a measurement (the electrode's mass is not known): x = 0.002 at the",
             f"end of delithiation, x = 1/2 at the steep step between the plateaus (stage 2, LiC12, at {step:.3f} of",
             f"the charge); the filled end then lies at x = {x[-1]:.3f}. Were that end LiC6, every x would be",
             f"{100 * (1 / x[-1] - 1):.0f} % larger.",
             describe(half_gap[plateau]) + " (0.1 to 0.95 of the charge)",
             "last point: rest potential after one hour; first point: end of delithiation under load"]
    write(out / "graphite_ocp.csv", notes, *knots(x, mean))


def lnmo(folder, out):
    empty, charge_out = branch(folder, "lnmo_li_delithiation_charge_C19", False)
    fill, charge_in = branch(folder, "lnmo_li_lithiation_discharge_C19", True)
    rest_empty = column(folder, "lnmo_li_rest_after_charge")[1][-1]
    rest_full = column(folder, "lnmo_li_rest_after_discharge")[1][-1]
    mean = falling(smooth((fill + empty) / 2))
    half_gap = (empty - fill) / 2
    x_empty, x_full = 0.03, 0.97
    x = x_empty + (x_full - x_empty) * GRID
    plateau = (GRID > 0.05) & (GRID < 0.95)
    print(f"lnmo: {charge_out:.4f} mAh out, {charge_in:.4f} mAh in; "
          f"{describe(half_gap[plateau])}; rest {rest_empty:.4f} V empty, {rest_full:.4f} V full")
    notes = ["LiNi0.5Mn1.5O4 against lithium at 25 degC, near equilibrium", CREDIT[0],
             "files DLR__LiLNMOHydra0b__20221125__POCV (slow cycle at C/19 with one-hour rests)", *CREDIT[2:],
             "stoichiometry is an assumption, not a measurement (mass not known): x = 0.03 at 4.88 V,",
             "x = 0.97 at the end of discharge; that is 138 of the 147 mAh/g of the formula.",
             describe(half_gap[plateau]) + " (0.05 to 0.95 of the charge);",
             "the foot below 3.9 V is not at equilibrium: after discharge to 3.00 V the cell rested at "
             f"{rest_full:.2f} V"]
    write(out / "lnmo_ocp.csv", notes, *knots(x, mean))


if __name__ == "__main__":
    if len(sys.argv) not in (2, 3):
        sys.exit(__doc__)
    data = pathlib.Path(sys.argv[1])
    here = pathlib.Path(sys.argv[2]) if len(sys.argv) == 3 else pathlib.Path(__file__).parent
    graphite(data, here)
    lnmo(data, here)
