#!/usr/bin/env python3
"""The single-particle model as a careful user would write it with NumPy and SciPy, timed.

The work timed: a discharge at 1C from the charged state of the published NMC811 | graphite-SiOx set, 100 voltages at
even times, the last at the cut-off of 2.5 V, which is located.  Set-up of the grid is not timed, everything else is.

    OMP_NUM_THREADS=1 python3 scipy_user.py [--search | CASE:RTOL ...]       needs python3-numpy and python3-scipy

prints comma-separated lines `case,unknowns,rtol,error_mV,median_ms` and then the fastest of each kind whose largest
error over the 100 points is below 0.1 mV (`best_solve_ivp`, `best_odeint`).  The error is taken against the exact
eigenmode series of the sphere (J. Crank, The Mathematics of Diffusion, 2nd ed. (1975), eq. 6.45), summed in this
script.  With cases named, such as `odeint_graded:1e-05`, only those are run.  `--search` looks for the shells that need the fewest unknowns: that is how those below were found.

What makes it fast, as far as SciPy goes
* finite volumes in both grains in one vector, so that one banded matrix (one band either side) holds all;
* shells that thin towards the surface, and face gradients taken with respect to the shell mean of r^2, which makes
  the parabola of steady discharge exact, so that few shells do; the surface value follows from the flux likewise;
* constant diffusivity makes the rate A x + b: one dense product of some thirty numbers costs less than slices of
  arrays (with D(x) the slices come back, `slices` below, and cost about half as much again);
* voltage of scalars with `math`, of arrays with `numpy`; the constant Jacobian handed over in packed form;
* `odeint`, whose steps run inside compiled code and call Python for the rate alone, beside `solve_ivp`, whose every
  step runs through Python. `odeint` knows no events and no voltage limit: it runs on to where the negative would be
  empty, and the cut-off is sought afterwards. That works at constant current, not for a protocol with holds.

Beside these: `draft`, what one writes first (even shells, solve_ivp with BDF, no Jacobian), and `varying`, diffusivities
that change by e^2 across the window, where nothing has a closed form: odeint with bands, errors against eight times as
many shells at a tight tolerance.

Parameters: C.-H. Chen et al., J. Electrochem. Soc. 167, 080534 (2020), conductivity A. Nyman et al., Electrochim.
Acta 53, 6356 (2008); from memory, not compared with the print.
"""
import math
import statistics
import sys
import time

import numpy as np
from scipy.integrate import odeint, solve_ivp
from scipy.optimize import brentq
from scipy.special import erf

FARADAY, GAS, TEMPERATURE = 96485.33212331001, 8.31446261815324, 298.15
THERMAL_2 = 2 * GAS * TEMPERATURE / FARADAY
LOWER = 2.5
CURRENT = -5.0 / 0.1027                    # A/m2; negative discharges

KAPPA = 0.1297 - 2.51 + 3.329              # S/m
RESISTANCE = (85.2e-6 / (3 * KAPPA * 0.25 ** 1.5) + 12e-6 / (KAPPA * 0.47 ** 1.5)
              + 75.6e-6 / (3 * KAPPA * 0.335 ** 1.5))
#              radius    thickness active c_max  D        i0 at half filling                 charged        sign
NEGATIVE = dict(R=5.86e-6, L=85.2e-6, eps=0.75, c=33133, D=3.3e-14, i0=6.48e-7 * math.sqrt(1e3) * 33133 / 2,
                start=29866 / 33133, sign=-1)
POSITIVE = dict(R=5.22e-6, L=75.6e-6, eps=0.665, c=63104, D=4e-15, i0=3.42e-6 * math.sqrt(1e3) * 63104 / 2,
                start=17038 / 63104, sign=+1)


def reaction(e):
    """F j, A/m2 of grain surface."""
    return e["sign"] * CURRENT * e["R"] / (3 * e["eps"] * e["L"])


def outflow(e):
    """j/(c_max R), 1/s."""
    return reaction(e) / (FARADAY * e["c"] * e["R"])


HALF_N, HALF_P = reaction(NEGATIVE) / (2 * NEGATIVE["i0"]), reaction(POSITIVE) / (2 * POSITIVE["i0"])


def voltage(x, y, m=np):
    """Cell voltage from the surface stoichiometries; m is `math` for scalars, `numpy` for arrays."""
    tanh, sqrt, asinh = m.tanh, m.sqrt, m.asinh if m is math else np.arcsinh
    u_p = (-0.8090 * y + 4.4875 - 0.0428 * tanh(18.5138 * (y - 0.5542))
           - 17.7326 * tanh(15.7890 * (y - 0.3117)) + 17.5842 * tanh(15.9308 * (y - 0.3120)))
    u_n = (1.9793 * m.exp(-39.3631 * x) + 0.2482 - 0.0909 * tanh(29.8538 * (x - 0.1234))
           - 0.04478 * tanh(14.9159 * (x - 0.2769)) - 0.0205 * tanh(30.4444 * (x - 0.6103)))
    eta = THERMAL_2 * (asinh(HALF_P / sqrt(4 * y * (1 - y))) - asinh(HALF_N / sqrt(4 * x * (1 - x))))
    return u_p + eta - u_n + CURRENT * RESISTANCE


# ---------------------------------------------------------------------------------------------- exact for constant D

def roots(count):
    """Roots of tan l = l."""
    l = (np.arange(1, count + 1) + 0.5) * np.pi
    l -= 1 / l
    for _ in range(8):
        l -= (np.sin(l) - l * np.cos(l)) / (l * np.sin(l))
    return l


ROOTS = roots(40)


def exact_surface(e, t):
    tau = e["D"] * t / e["R"] ** 2
    long = 3 * tau + 0.2 - 2 * np.sum(np.exp(-np.outer(tau, ROOTS ** 2)) / ROOTS ** 2, axis=1)
    early = np.minimum(tau, 0.03)
    short = np.expm1(early) + np.exp(early) * erf(np.sqrt(early))
    return e["start"] - outflow(e) * e["R"] ** 2 / e["D"] * np.where(tau < 0.03, short, long)


def exact_voltage(t):
    t = np.atleast_1d(np.asarray(t, float))
    return voltage(exact_surface(NEGATIVE, t), exact_surface(POSITIVE, t))


# ---------------------------------------------------------------------------------------------- finite volumes

def shells(count, ratio):
    """Edges 0..1 of shells whose thickness shrinks by `ratio` from each to the next outwards."""
    widths = ratio ** np.arange(count)
    return np.concatenate([[0.0], np.cumsum(widths)]) / widths.sum()


class Grains:
    """Both grains as one system dx/dt = A x + b, A tridiagonal with a gap between the grains."""

    def __init__(self, count_n, count_p, ratio_n=1.0, ratio_p=1.0, parabola=True, dense=True):
        faces, volumes, sources, self.lead = [], [], [], []
        for e, count, ratio in ((NEGATIVE, count_n, ratio_n), (POSITIVE, count_p, ratio_p)):
            edge = shells(count, ratio)
            volume = np.diff(edge ** 3) / 3
            rate = e["D"] / e["R"] ** 2
            if parabola:
                square = np.diff(edge ** 5) / 5 / volume           # shell mean of r^2
                conductance = rate * 2 * edge[1:-1] ** 3 / np.diff(square)
                to_surface = (1 - square[-1]) / 2
            else:
                middle = (edge[1:] + edge[:-1]) / 2
                conductance = rate * edge[1:-1] ** 2 / np.diff(middle)
                to_surface = 1 - middle[-1]
            faces.append(conductance)
            volumes.append(volume)
            source = np.zeros(count)
            source[-1] = -outflow(e) / volume[-1]
            sources.append(source)
            self.lead.append(outflow(e) / rate * to_surface)
        self.split, self.size, self.step = count_n, count_n + count_p, 35.7
        self.start = np.concatenate([np.full(count_n, NEGATIVE["start"]), np.full(count_p, POSITIVE["start"])])
        source = np.concatenate(sources)
        inverse = 1 / np.concatenate(volumes)
        joined = np.concatenate([faces[0], [0.0], faces[1]])       # no path from grain to grain
        upper, lower = joined * inverse[:-1], joined * inverse[1:]
        diagonal = -np.append(upper, 0) - np.append(0, lower)
        self.packed = np.zeros((3, self.size))                     # A[i, j] at [i - j + 1, j]
        self.packed[0, 1:], self.packed[1], self.packed[2, :-1] = upper, diagonal, lower
        self.jacobian_odeint = lambda x, t: self.packed
        self.packed_lsoda = np.vstack([self.packed, np.zeros(self.size)])   # and a row of work space
        matrix = np.diag(diagonal) + np.diag(upper, 1) + np.diag(lower, -1)
        flux = np.zeros(self.size + 1)

        def slices(x):
            flux[1:-1] = joined * (x[1:] - x[:-1])
            return (flux[1:] - flux[:-1]) * inverse + source

        product = matrix.dot
        self.rate = (lambda _, x: product(x) + source) if dense else (lambda _, x: slices(x))
        self.rate_odeint = (lambda x, _: product(x) + source) if dense else (lambda x, _: slices(x))

    def surfaces(self, x):
        """Surface stoichiometries of one state, or of states side by side."""
        return x[self.split - 1] - self.lead[0], x[-1] - self.lead[1]


class VaryingGrains(Grains):
    """The same shells with D = exp(a + b x): e^2 across the window, its middle value there the constant one."""

    def __init__(self, count_n, count_p, ratio_n=1.0, ratio_p=1.0):
        super().__init__(count_n, count_p, ratio_n, ratio_p, True, False)
        self.step = 36.2
        self.jacobian_odeint = None                                # by differences, three rates for three bands
        slopes = (-2 / (0.90 - 0.03), 2 / (0.86 - 0.27))
        offsets = (1 + 2 * 0.03 / (0.90 - 0.03), -1 - 2 * 0.27 / (0.86 - 0.27))
        b = np.repeat(slopes, (count_n, count_p))
        a = np.repeat(offsets, (count_n, count_p))
        self.share = tuple(zip(offsets, slopes))
        joined = np.append(self.packed[0, 1:], 0)[:-1]             # conductance over shell volume, constant D
        volume = np.concatenate([np.diff(shells(c, r) ** 3) / 3 for c, r in ((count_n, ratio_n), (count_p, ratio_p))])
        conductance, inverse = joined * volume[:-1], 1 / volume
        a_face, b_face = a[:-1], b[:-1] / 2                        # between the grains the conductance is zero
        source = np.zeros(self.size)
        source[count_n - 1], source[-1] = -outflow(NEGATIVE) * inverse[count_n - 1], -outflow(POSITIVE) * inverse[-1]
        flux = np.zeros(self.size + 1)

        def rate(x, _):
            flux[1:-1] = conductance * np.exp(a_face + b_face * (x[1:] + x[:-1])) * (x[1:] - x[:-1])
            return (flux[1:] - flux[:-1]) * inverse + source

        self.rate_odeint, self.rate = rate, lambda t, x: rate(x, t)

    def surfaces(self, x):
        result = []
        for mean, lead, (a, b) in zip((x[self.split - 1], x[-1]), self.lead, self.share):
            surface = mean - lead * np.exp(-a - b * mean)
            for _ in range(3):                                     # D halfway between the shell mean and the surface
                surface = mean - lead * np.exp(-a - b * (mean + surface) / 2)
            result.append(surface)
        return tuple(result)


POINTS = 100
LONGEST = 0.999 * NEGATIVE["start"] / (3 * outflow(NEGATIVE))      # s; then the negative would be empty


def run_solve_ivp(grains, rtol, atol):
    """solve_ivp, LSODA with bands, the cut-off an event, voltages from the dense output: (times, voltages)."""
    split, (lead_n, lead_p) = grains.split - 1, grains.lead

    def cut_off(_, x):
        s, y = float(x[split]) - lead_n, float(x[-1]) - lead_p
        return voltage(s, y, math) - LOWER if 0 < s < 1 and 0 < y < 1 else -1.0

    cut_off.terminal = True
    found = solve_ivp(grains.rate, (0, LONGEST), grains.start, method="LSODA", lband=1, uband=1,
                      jac=lambda t, x: grains.packed_lsoda, rtol=rtol, atol=atol, events=cut_off, dense_output=True)
    t = found.t_events[0][0] * np.arange(1, POINTS + 1) / POINTS
    return t, voltage(*grains.surfaces(found.sol(t)))


def run_draft(grains, rtol, atol):
    """solve_ivp, BDF, its own Jacobian by differences: (times, voltages)."""
    def cut_off(_, x):
        s, y = grains.surfaces(x)
        return voltage(s, y) - LOWER if 0 < s < 1 and 0 < y < 1 else -1.0

    cut_off.terminal = True
    found = solve_ivp(grains.rate, (0, LONGEST), grains.start, method="BDF", rtol=rtol, atol=atol, events=cut_off,
                      dense_output=True)
    t = found.t_events[0][0] * np.arange(1, POINTS + 1) / POINTS
    return t, voltage(*grains.surfaces(found.sol(t)))


def run_odeint(grains, rtol, atol):
    """odeint with bands every 35.7 s (99 points before the cut-off, and the cut-off): (times, voltages)."""
    step = grains.step
    grid = np.arange(0.0, LONGEST, step)
    x = odeint(grains.rate_odeint, grains.start, grid, ml=1, mu=1, rtol=rtol, atol=atol,
               Dfun=grains.jacobian_odeint)
    s, y = grains.surfaces(x.T)
    with np.errstate(invalid="ignore"):
        v = voltage(s, y)
    past = int(np.argmax(~(v[1:] > LOWER))) + 1
    # cubic Hermite of both surfaces over the step that crosses
    a, b = (np.array([s[k], y[k]]) for k in (past - 1, past))
    c, d = (step * grains.rate(0, x[k])[[grains.split - 1, -1]] for k in (past - 1, past))

    def between(u):
        h = (a * (1 + 2 * u) + c * u) * (1 - u) ** 2 + (b * (3 - 2 * u) - d * (1 - u)) * u * u
        return float(h[0]), float(h[1])

    u = brentq(lambda u: voltage(*between(u), math) - LOWER, 0.0, 1.0, xtol=1e-9)
    return np.append(grid[1:past], grid[past - 1] + u * step), np.append(v[1:past], voltage(*between(u), math))


def error_of_varying(t, v, reference):
    """Of the voltages at the same times, and of the moment of the cut-off times the slope there [V]."""
    t_fine, v_fine = reference
    slope = (v_fine[-1] - v_fine[-2]) / (t_fine[-1] - t_fine[-2])
    return max(float(np.max(np.abs(v[:-1] - v_fine[:-1]))), abs(slope * (t[-1] - t_fine[-1])))


def measure(run, grains, rtol, atol, reference=None, repeats=31):
    """(largest error in mV, median time in ms)."""
    t, v = run(grains, rtol, atol)
    assert len(t) == POINTS, len(t)
    error = 1e3 * (error_of_varying(t, v, reference) if reference else float(np.max(np.abs(v - exact_voltage(t)))))
    times = []
    for _ in range(repeats):
        began = time.perf_counter()
        run(grains, rtol, atol)
        times.append(1e3 * (time.perf_counter() - began))
    return error, statistics.median(times)


#        name                  negative, positive, thinning of each, parabola exact, dense product
GRIDS = {"uniform_textbook":   (84, 84, 1.0, 1.0, False, False),
         "uniform":            (54, 54, 1.0, 1.0, True, True),
         "graded_slices":      (7, 22, 0.9, 0.9, True, False),
         "graded":             (7, 22, 0.9, 0.9, True, True),
         "graded_fewer":       (6, 20, 1.0, 0.9, True, True)}
TOLERANCES = ((1e-3, 1e-5), (1e-4, 1e-4), (3e-5, 3e-5), (1e-5, 1e-5), (1e-6, 1e-6), (1e-8, 1e-8))


VARYING_GRIDS = {"graded": (10, 30, 0.92, 0.92), "graded_finer": (16, 44, 0.95, 0.95), "uniform": (54, 54, 1.0, 1.0)}


def cases():
    """(name, run, grains, tolerances, varying) of everything that is compared."""
    for run, kind in ((run_solve_ivp, "solve_ivp"), (run_odeint, "odeint")):
        for name, shape in GRIDS.items():
            yield f"{kind}_{name}", run, Grains(*shape), TOLERANCES, False
    yield "draft", run_draft, Grains(*GRIDS["uniform_textbook"]), ((1e-4, 1e-6), (1e-5, 1e-7), (1e-6, 1e-8)), False
    for name, shape in VARYING_GRIDS.items():
        yield f"varying_{name}", run_odeint, VaryingGrains(*shape), TOLERANCES, True


def compare(wanted):
    """All cases, or those named in `wanted`."""
    print("case,unknowns,rtol,error_mV,median_ms")
    best, reference = {}, None
    for name, run, grains, tolerances, varying in cases():
        for rtol, atol in tolerances:
            if wanted and f"{name}:{rtol:g}" not in wanted:
                continue
            if varying and reference is None:
                reference = run_odeint(VaryingGrains(80, 240, 0.92 ** 0.125, 0.92 ** 0.125), 1e-10, 1e-10)
            error, ms = measure(run, grains, rtol, atol, reference if varying else None)
            line = f"{name},{grains.size},{rtol:g},{error:.4f},{ms:.3f}"
            print(line, flush=True)
            kind = "solve_ivp" if name.startswith("solve_ivp") else name.split("_")[0]
            if error < 0.1 and ms < best.get(kind, (math.inf,))[0]:
                best[kind] = ms, line
    for _, line in best.values():
        print(f"best_{line}")


def search():
    """Fewest shells: the least error for each number of unknowns."""
    best = {}
    for n in (6, 7, 8, 10, 12):
        for p in (10, 12, 14, 16, 18, 20, 22, 24):
            for ratio_n in (1, 0.95, 0.9, 0.85, 0.8):
                for ratio_p in (1, 0.95, 0.93, 0.9, 0.88, 0.85, 0.8):
                    t, v = run_odeint(Grains(n, p, ratio_n, ratio_p), 1e-7, 1e-7)
                    error = 1e3 * float(np.max(np.abs(v - exact_voltage(t))))
                    best[n + p] = min(best.get(n + p, (math.inf,)), (error, n, p, ratio_n, ratio_p))
    for size in sorted(best):
        print(size, *best[size])


if __name__ == "__main__":
    search() if "--search" in sys.argv else compare(sys.argv[1:])
