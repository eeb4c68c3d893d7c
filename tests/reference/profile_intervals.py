"""Profile-likelihood intervals of NIST regression sets by SciPy: least_squares for the fits, brentq for the ends.

    min over the other parameters of S(b | b_m = x) = S_min (1 + t^2 / degrees of freedom)

Run in this folder: python3 profile_intervals.py > profile_intervals.csv
"""

import pathlib
import re

import numpy as np
import scipy
from scipy.optimize import brentq, least_squares
from scipy.stats import t as student

DATA = pathlib.Path(__file__).parent.parent / "data" / "nist"
MODELS = {
    "Misra1a": lambda b, x: b[0] * (1 - np.exp(-b[1] * x)),
    "BoxBOD": lambda b, x: b[0] * (1 - np.exp(-b[1] * x)),
    "DanWood": lambda b, x: b[0] * x ** b[1],
    "Chwirut2": lambda b, x: np.exp(-b[0] * x) / (b[1] + b[2] * x),
    "Rat42": lambda b, x: b[0] / (1 + np.exp(b[1] - b[2] * x)),
    "Rat43": lambda b, x: b[0] / (1 + np.exp(b[1] - b[2] * x)) ** (1 / b[3]),
    "Eckerle4": lambda b, x: b[0] / b[1] * np.exp(-0.5 * ((x - b[2]) / b[1]) ** 2),
    "MGH09": lambda b, x: b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3]),
}
CONFIDENCE = 0.95


def read(name):
    lines = (DATA / f"{name}.dat").read_text().splitlines()
    head = "\n".join(lines[:10])
    first, last = map(int, re.search(r"Certified Values\s+\(lines\s+(\d+) to\s+(\d+)\)", head).groups())
    rows = [re.match(r"\s*b\d+ =\s+(.*)", line) for line in lines[first - 1 : last]]
    certified = np.array([float(row[1].split()[2]) for row in rows if row])
    deviation = np.array([float(row[1].split()[3]) for row in rows if row])
    first, last = map(int, re.search(r"Data\s+\(lines\s+(\d+) to\s+(\d+)\)", head).groups())
    y, x = np.array([[float(v) for v in line.split()] for line in lines[first - 1 : last]]).T
    return certified, deviation, x, y


def refit(model, x, y, m, value, start, scale):
    """Lowest sum of squares with parameter m at value, from several starts around the last solution."""
    others = [k for k in range(len(start)) if k != m]
    best = None
    for push in (0.0, 0.5, -0.5):
        b = start.copy()
        b[m] = value

        def residuals(z):
            b[others] = z * scale[others]
            with np.errstate(all="ignore"):
                return np.nan_to_num(model(b, x) - y, nan=1e6, posinf=1e6, neginf=-1e6)

        begin = (start[others] + push * scale[others]) / scale[others]
        fit = least_squares(residuals, begin, method="lm", xtol=1e-14, ftol=1e-14, gtol=1e-14, max_nfev=20000)
        if best is None or fit.cost < best[0]:
            best = (fit.cost, fit.x.copy())
    b[m] = value
    b[others] = best[1] * scale[others]
    return 2 * best[0], b.copy()


def end(model, x, y, m, sign, certified, deviation, rise, lowest):
    """Walks outwards in steps of a quarter standard deviation, then closes in."""
    last, b = 0.0, certified.copy()
    while True:
        h = last + 0.25
        total, b_next = refit(model, x, y, m, certified[m] + sign * h * deviation[m], b, deviation)
        if total - lowest >= rise:
            break
        if h > 30:
            return sign * np.inf
        last, b = h, b_next
    excess = lambda h: refit(model, x, y, m, certified[m] + sign * h * deviation[m], b, deviation)[0] - lowest - rise
    return certified[m] + sign * deviation[m] * brentq(excess, last, last + 0.25, xtol=1e-7)


print(f"# made by profile_intervals.py with SciPy {scipy.__version__}; confidence = {CONFIDENCE}")
print("set,parameter,lower,upper")
for name, model in MODELS.items():
    certified, deviation, x, y = read(name)
    freedom = len(x) - len(certified)
    lowest = np.sum((model(certified, x) - y) ** 2)
    rise = lowest / freedom * student.ppf((1 + CONFIDENCE) / 2, freedom) ** 2
    for m in range(len(certified)):
        low, high = (end(model, x, y, m, sign, certified, deviation, rise, lowest) for sign in (-1, 1))
        print(f"{name},{m + 1},{low:.9g},{high:.9g}", flush=True)
