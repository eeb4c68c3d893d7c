#!/usr/bin/env python3
"""Reference solutions of the single-particle model, on a discretisation of their own.

Written from the equations alone, without sight of the simulator that is checked against it.  Run as

    OMP_NUM_THREADS=1 python3 single_particle_reference.py [output folder] [case ...]

Needs numpy and scipy (Debian: python3-scipy).  Every case is solved twice, on two meshes and two tolerances; the
largest difference between the two is printed into the head of each file.

Equations (one sphere per electrode, radius scaled to 1; i > 0 charges the cell, per plate area)

    dx/dt = (1/rho^2) d/drho( rho^2 D(x)/R^2 dx/drho ),     D/R dx/drho (1) = -j/c_max
    j_p = +i/(a_p L_p F),   j_n = -i/(a_n L_n F),   a = 3 eps/R
    F j = i0 [exp(aa F eta/RT) - exp(-ac F eta/RT)],  aa = ac = 1/2,  i0 = i0_ref (c_e/c_ref)^aa (2(1-x))^aa (2x)^ac
    V = U_p(x_p) + eta_p - U_n(x_n) - eta_n + i [L_n/(3 kappa_n) + L_s/kappa_s + L_p/(3 kappa_p)] + i R_contact
    kappa_k = kappa(c_e) porosity_k / tortuosity_k,  tortuosity_k = porosity_k^-0.5

Discretisation: Galerkin finite elements of high degree (Gauss-Lobatto nodes, exact quadrature with weight rho^2), the
elements halving in size towards the surface so that the sqrt(t) layer after a step is resolved; implicit Runge-Kutta
(scipy Radau, order 5, exact Jacobian), stopped exactly at each output time so that no interpolation enters.

Parameter set: C.-H. Chen, F. Brosa Planella, K. O'Regan, D. Gastol, W. D. Widanage, E. Kendrick, J. Electrochem. Soc.
167, 080534 (2020); conductivity: A. Nyman, M. Behm, G. Lindbergh, Electrochim. Acta 53, 6356 (2008).  All numbers of
both are values from memory, not compared digit by digit with the print.
"""
import os
import sys
import time
from dataclasses import dataclass
from typing import Callable

import numpy as np
from numpy.polynomial import legendre
from scipy.integrate import Radau
from scipy.optimize import brentq

FARADAY = 96485.33212331001   # C/mol, CODATA 2018, exact product e N_A
GAS = 8.31446261815324        # J/mol/K, CODATA 2018, exact product k N_A
TEMPERATURE = 298.15          # K
THERMAL = GAS * TEMPERATURE / FARADAY


# ---------------------------------------------------------------------------------------------------- parameters

def u_positive(y):
    """Open-circuit potential of the NMC811 electrode, V against lithium."""
    return (-0.8090 * y + 4.4875 - 0.0428 * np.tanh(18.5138 * (y - 0.5542))
            - 17.7326 * np.tanh(15.7890 * (y - 0.3117)) + 17.5842 * np.tanh(15.9308 * (y - 0.3120)))


def u_negative(x):
    """Open-circuit potential of the graphite-SiOx electrode, V against lithium."""
    return (1.9793 * np.exp(-39.3631 * x) + 0.2482 - 0.0909 * np.tanh(29.8538 * (x - 0.1234))
            - 0.04478 * np.tanh(14.9159 * (x - 0.2769)) - 0.0205 * np.tanh(30.4444 * (x - 0.6103)))


@dataclass(frozen=True)
class Electrode:
    """One electrode in SI units; `sign` is +1 where charging takes lithium out of the grain."""
    sign: int
    thickness: float
    radius: float
    active_fraction: float
    porosity: float
    c_max: float
    i0_ref: float                                    # A/m2 at half filling, 1 mol/L
    potential: Callable
    diffusivity: Callable                            # m2/s, of x
    diffusivity_slope: Callable                      # its derivative

    @property
    def area_per_volume(self):
        return 3 * self.active_fraction / self.radius

    def reaction_current(self, i):
        """F j, A per grain surface, positive when lithium leaves the grain."""
        return self.sign * i / (self.area_per_volume * self.thickness)

    def outflow(self, i):
        """j/(c_max R), 1/s: what the scaled sphere loses through its surface."""
        return self.reaction_current(i) / (FARADAY * self.c_max * self.radius)

    def charge_per_area(self):
        """F eps L c_max, C/m2: charge that fills the whole range 0..1."""
        return FARADAY * self.active_fraction * self.thickness * self.c_max

    def overpotential(self, i, x):
        """eta for transfer coefficients 1/2, salt at the reference concentration."""
        i0 = self.i0_ref * np.sqrt(4 * x * (1 - x))
        return 2 * THERMAL * np.arcsinh(self.reaction_current(i) / (2 * i0))


PLATE_AREA = 0.1027           # m2
ONE_C = 5.0 / PLATE_AREA      # A/m2
LOWER, UPPER = 2.5, 4.2       # V
SEPARATOR = (12e-6, 0.47)     # m, porosity
KAPPA = 0.1297 - 2.51 + 3.329  # S/m at 1 mol/L
CONTACT_RESISTANCE = 0.0      # ohm m2
X_CHARGED = (29866 / 33133, 17038 / 63104)   # negative, positive


def make_cell(varying_diffusivity):
    """(negative, positive); diffusivities constant or varying by e^2 across the window."""
    d_n, d_p = 3.3e-14, 4.0e-15
    if varying_diffusivity:
        fn = lambda x: d_n * np.exp(1 - 2 * (x - 0.03) / (0.90 - 0.03))
        gn = lambda x: fn(x) * (-2 / (0.90 - 0.03))
        fp = lambda x: d_p * np.exp(2 * (x - 0.27) / (0.86 - 0.27) - 1)
        gp = lambda x: fp(x) * (2 / (0.86 - 0.27))
    else:
        fn, gn = (lambda x: d_n + 0 * x), (lambda x: 0 * x)
        fp, gp = (lambda x: d_p + 0 * x), (lambda x: 0 * x)
    negative = Electrode(-1, 85.2e-6, 5.86e-6, 0.75, 0.25, 33133, 6.48e-7 * np.sqrt(1000) * 33133 / 2,
                         u_negative, fn, gn)
    positive = Electrode(+1, 75.6e-6, 5.22e-6, 0.665, 0.335, 63104, 3.42e-6 * np.sqrt(1000) * 63104 / 2,
                         u_positive, fp, gp)
    return negative, positive


def series_resistance(cell):
    """Electrolyte and contact, ohm m2."""
    negative, positive = cell
    conductance = lambda porosity: KAPPA * porosity ** 1.5       # porosity / porosity^-0.5
    return (negative.thickness / (3 * conductance(negative.porosity)) + SEPARATOR[0] / conductance(SEPARATOR[1])
            + positive.thickness / (3 * conductance(positive.porosity)) + CONTACT_RESISTANCE)


def voltage(cell, i, x_n, x_p):
    """Cell voltage, V, from the stoichiometries at the two grain surfaces; nan outside (0, 1)."""
    negative, positive = cell
    with np.errstate(invalid="ignore", divide="ignore"):
        return (positive.potential(x_p) + positive.overpotential(i, x_p)
                - negative.potential(x_n) - negative.overpotential(i, x_n) + i * series_resistance(cell))


def equilibrium(cell, target):
    """(x_n, x_p) at open-circuit voltage `target`, with the lithium of the charged state."""
    negative, positive = cell
    q_n, q_p = negative.charge_per_area(), positive.charge_per_area()
    lithium = q_n * X_CHARGED[0] + q_p * X_CHARGED[1]
    gap = lambda x_n: positive.potential((lithium - q_n * x_n) / q_p) - negative.potential(x_n) - target
    x_n = brentq(gap, 0.005, 0.98, xtol=1e-16, rtol=1e-15)
    return x_n, (lithium - q_n * x_n) / q_p


# ---------------------------------------------------------------------------------------------------- the sphere

def lobatto_nodes(degree):
    """Gauss-Lobatto points on [-1, 1]."""
    inner = legendre.Legendre.basis(degree).deriv().roots()
    return np.concatenate([[-1.0], np.sort(inner.real), [1.0]])


def lagrange_matrices(nodes, points):
    """Values and slopes of the Lagrange polynomials on `nodes` at `points`."""
    vandermonde = legendre.legvander(nodes, len(nodes) - 1)
    inverse = np.linalg.inv(vandermonde)
    values = legendre.legvander(points, len(nodes) - 1) @ inverse
    slopes = np.stack([legendre.Legendre.basis(k).deriv()(points) if k else 0 * points
                       for k in range(len(nodes))], axis=1) @ inverse
    return values, slopes


class Sphere:
    """Finite elements in rho on (0, 1), elements halving towards rho = 1.

    mass dx/dt = -slopes^T (w D(slopes x)) - outflow * (surface unit vector), mass exact, so lithium is conserved to
    round-off: weights @ dx/dt = -outflow, mean = 3 weights @ x.
    """

    def __init__(self, degree, layers):
        edges = np.concatenate([[0.0], 1 - 0.5 ** np.arange(1, layers), [1.0]])
        nodes = lobatto_nodes(degree)
        points, gauss = legendre.leggauss(degree + 3)
        local_values, local_slopes = lagrange_matrices(nodes, points)
        self.size = degree * layers + 1
        rows = len(points) * layers
        self.values = np.zeros((rows, self.size))
        self.slopes = np.zeros((rows, self.size))
        self.quadrature = np.zeros(rows)
        self.nodes = np.zeros(self.size)
        for e in range(layers):
            half = (edges[e + 1] - edges[e]) / 2
            here = slice(e * len(points), (e + 1) * len(points))
            there = slice(e * degree, (e + 1) * degree + 1)
            rho = edges[e] + half * (points + 1)
            self.values[here, there] = local_values
            self.slopes[here, there] = local_slopes / half
            self.quadrature[here] = gauss * half * rho ** 2
            self.nodes[there] = edges[e] + half * (nodes + 1)
        mass = self.values.T @ (self.quadrature[:, None] * self.values)
        self.inverse_mass = np.linalg.inv(mass)
        self.weights = self.quadrature @ self.values
        self.divergence = -self.inverse_mass @ (self.slopes.T * self.quadrature)    # flux at points -> dx/dt
        self.surface = -self.inverse_mass[:, -1]                                    # outflow -> dx/dt

    def rate(self, electrode, x):
        """dx/dt of the closed grain, 1/s."""
        return self.divergence @ (electrode.diffusivity(self.values @ x) / electrode.radius ** 2 * (self.slopes @ x))

    def jacobian(self, electrode, x):
        local, slope = self.values @ x, self.slopes @ x
        scale = 1 / electrode.radius ** 2
        inner = (electrode.diffusivity(local) * scale)[:, None] * self.slopes
        inner += (electrode.diffusivity_slope(local) * slope * scale)[:, None] * self.values
        return self.divergence @ inner

    def mean(self, x):
        return 3 * self.weights @ x


class Model:
    """Both grains at a driven current, or at a held voltage with the current solved inside the rate."""

    def __init__(self, cell, degree=8, layers=10, rtol=1e-10, atol=1e-12):
        self.cell, self.sphere, self.rtol, self.atol = cell, Sphere(degree, layers), rtol, atol
        self.n = self.sphere.size

    def start(self, x_n, x_p):
        return np.concatenate([np.full(self.n, float(x_n)), np.full(self.n, float(x_p))])

    def surfaces(self, state):
        return state[self.n - 1], state[-1]

    def means(self, state):
        return self.sphere.mean(state[:self.n]), self.sphere.mean(state[self.n:])

    def voltage(self, i, state):
        return voltage(self.cell, i, *self.surfaces(state))

    def held_current(self, target, state, guess):
        """The current at which the voltage is `target`, by Newton; the voltage rises steadily with the current."""
        x_n, x_p = self.surfaces(state)
        i = guess
        for _ in range(60):
            step = (voltage(self.cell, i, x_n, x_p) - target) / self.current_slope(i, x_n, x_p)
            i -= step
            if abs(step) < 1e-13 * max(1.0, abs(i)):
                break
        return i

    def current_slope(self, i, x_n, x_p):
        total = series_resistance(self.cell)
        for electrode, x in zip(self.cell, (x_n, x_p)):
            i0 = electrode.i0_ref * np.sqrt(4 * x * (1 - x))
            u = electrode.reaction_current(i) / (2 * i0)
            total += (2 * THERMAL / np.sqrt(1 + u * u) / (2 * i0)
                      / (electrode.area_per_volume * electrode.thickness))
        return total

    def surface_slopes(self, i, x_n, x_p):
        """dV/dx_n, dV/dx_p by a complex step (exact to round-off)."""
        h = 1e-30
        return (voltage(self.cell, i, x_n + 1j * h, x_p).imag / h, voltage(self.cell, i, x_n, x_p + 1j * h).imag / h)

    def advance(self, state, span, drive, step=None):
        """Integrate over `span` seconds; drive = ("current", i) or ("voltage", V). Returns (state, last step)."""
        if span <= 0:
            return state, step
        kind, value = drive
        n, cell, sphere = self.n, self.cell, self.sphere
        unit = np.concatenate([cell[0].outflow(1.0) * sphere.surface, cell[1].outflow(1.0) * sphere.surface])
        guess = [0.0]

        def rate(_, y):
            i = value
            if kind == "voltage":
                i = guess[0] = self.held_current(value, y, guess[0])
            return np.concatenate([sphere.rate(cell[0], y[:n]), sphere.rate(cell[1], y[n:])]) + i * unit

        def jacobian(_, y):
            full = np.zeros((2 * n, 2 * n))
            full[:n, :n] = sphere.jacobian(cell[0], y[:n])
            full[n:, n:] = sphere.jacobian(cell[1], y[n:])
            if kind == "voltage":
                i = self.held_current(value, y, guess[0])
                x = self.surfaces(y)
                slope = self.current_slope(i, *x)
                v_n, v_p = self.surface_slopes(i, *x)
                full[:, n - 1] -= unit * v_n / slope
                full[:, -1] -= unit * v_p / slope
            return full

        first = min(step, span) if step else min(1e-6, span)
        solver = Radau(rate, 0.0, state, span, rtol=self.rtol, atol=self.atol, jac=jacobian, first_step=first)
        longest = first
        while solver.status == "running":
            message = solver.step()
            if solver.status == "failed":
                raise RuntimeError(message)
            if solver.status == "running":
                longest = solver.step_size
        return solver.y, longest


# ---------------------------------------------------------------------------------------------------- protocols

EARLY = (0.0, 0.1, 0.3, 1.0, 3.0, 10.0)


def row(model, t, i, state):
    x_n, x_p = model.surfaces(state)
    return [t, i, float(model.voltage(i, state)), x_n, x_p]


def run_times(model, state, drive, times, offset=0.0):
    """Rows at the given times after the start of the step (times[0] may be 0); returns (rows, state)."""
    rows, now, step = [], 0.0, None
    for t in times:
        state, step = model.advance(state, t - now, drive, step)
        now = t
        i = drive[1] if drive[0] == "current" else model.held_current(drive[1], state, 0.0)
        rows.append(row(model, offset + t, i, state))
    return rows, state


def time_to_voltage(model, state, i, target, longest):
    """Time at which the driven current brings the voltage to `target` (falls on discharge, rises on charge).

    March in chunks until passed, then secant steps from the last state before the crossing; a grain surface outside
    (0, 1) counts as passed.
    """
    sense = np.sign(i)

    def passed(s):
        v = model.voltage(i, s)
        return not np.isfinite(v) or sense * (v - target) >= 0

    now, step, chunk = 0.0, None, longest / 40
    while True:
        later, step_after = model.advance(state, chunk, ("current", i), step)
        if passed(later):
            if chunk <= longest * 2e-3:
                break
            chunk /= 4
            continue
        state, now, step = later, now + chunk, step_after

    def gap(dt):
        s = model.advance(state, dt, ("current", i), step)[0] if dt > 0 else state
        v = model.voltage(i, s)
        return sense * (v - target) if np.isfinite(v) else 1.0

    dt = brentq(gap, 0.0, chunk, xtol=1e-9, rtol=1e-14)
    return now + dt


def discharge_times(end):
    """About 60 round times: early, then evenly, then close to the end."""
    fractions = list(np.arange(1, 50) / 50) + [0.99, 0.995, 0.999]
    late = [round(f * end, 2) for f in fractions]
    return sorted({t for t in (*EARLY, 30.0) if t < 0.02 * end} | set(late) | {0.0, 0.1, 1.0, 3.0})


def discharge(c_rate):
    """Constant current from the charged state to the lower cut-off."""
    def solve(model, times=None):
        i = -c_rate * ONE_C
        state = model.start(*X_CHARGED)
        end = time_to_voltage(model, state, i, LOWER, 1.25 * 3600 / c_rate)
        times = times or discharge_times(end)
        rows, _ = run_times(model, state, ("current", i), times)
        return rows, {"end_time_s": end, "end_capacity_Ah": c_rate * 5 * end / 3600}
    return solve


def pulses():
    """Pulses and rests from the charged state."""
    plan = [("1C discharge", -1.0, 600), ("rest", 0.0, 1200), ("5C discharge", -5.0, 10), ("rest", 0.0, 60),
            ("2C charge", 2.0, 30), ("rest", 0.0, 600), ("C/2 discharge", -0.5, 1800)]

    def solve(model, times=None):
        state, offset, rows = model.start(*X_CHARGED), 0.0, []
        for _, rate, duration in plan:
            steps = sorted({t for t in EARLY if t < duration}
                           | {round(duration * f, 3) for f in (0.1, 0.2, 0.4, 0.6, 0.8, 1.0)})
            part, state = run_times(model, state, ("current", rate * ONE_C), steps, offset)
            rows += part
            offset += duration
        return rows, {}
    return solve


def charge_and_hold():
    """1C from the equilibrium at the lower cut-off to the upper one, then the voltage held until C/20."""
    def solve(model, times=None):
        i = ONE_C
        start = model.start(*equilibrium(model.cell, LOWER))
        switch = time_to_voltage(model, start, i, UPPER, 1.25 * 3600)
        times = times or ([*EARLY, 30.0] + [round(f * switch, 2) for f in [*np.arange(1, 30) / 30, 0.99]], None)
        rows, state = run_times(model, start, ("current", i), [*times[0]])
        rest = switch - times[0][-1]
        state, _ = model.advance(state, rest, ("current", i), 1.0)
        drive, stop = ("voltage", UPPER), ONE_C / 20

        now, step, here, chunk = 0.0, None, state, 120.0
        while True:
            later, after = model.advance(here, chunk, drive, step)
            if model.held_current(UPPER, later, 0.0) < stop:
                break
            here, now, step = later, now + chunk, after
        gap = lambda dt: model.held_current(UPPER, model.advance(here, dt, drive, step)[0], 0.0) - stop
        hold = now + brentq(gap, 0.0, chunk, xtol=1e-9, rtol=1e-14)
        held = times[1] or [*EARLY[1:], 30.0] + [round(f * hold, 2) for f in [*np.arange(1, 20) / 20, 0.99]]
        more, _ = run_times(model, state, drive, held)
        for r in more:
            r[0] += switch
        return rows + more, {"switch_time_s": switch, "hold_duration_s": hold, "end_time_s": switch + hold,
                             "_times": (times[0], held)}
    return solve


# ---------------------------------------------------------------------------------------------------- exact series

def eigenvalues(count):
    """Roots of tan l = l."""
    out = []
    for k in range(1, count + 1):
        l = (k + 0.5) * np.pi
        l -= 1 / l
        for _ in range(20):
            l -= (np.sin(l) - l * np.cos(l)) / (l * np.sin(l))
        out.append(l)
    return np.array(out)


LAMBDA = eigenvalues(60)


def series_voltage(cell, i, t):
    """Exact for constant diffusivity, uniform start, constant current: Crank (1975) eq. 6.45; voltage, V.

    Below tau = 0.02 the short-time form exp(tau)(1 + erf sqrt(tau)) - 1 stands for the sum (what it leaves out is of
    the order exp(-1/tau)).
    """
    from scipy.special import erf
    x = []
    for electrode, start in zip(cell, X_CHARGED):
        tau = electrode.diffusivity(0.5) * t / electrode.radius ** 2
        if tau < 0.02:
            lead = np.expm1(tau) + np.exp(tau) * erf(np.sqrt(tau))
        else:
            lead = 3 * tau + 0.2 - 2 * np.sum(np.exp(-LAMBDA ** 2 * tau) / LAMBDA ** 2)
        scale = electrode.outflow(i) * electrode.radius ** 2 / electrode.diffusivity(0.5)
        x.append(start - scale * lead)
    return voltage(cell, i, *x)


# ---------------------------------------------------------------------------------------------------- output

CASES = {}
for label, varying in (("constant", False), ("varying", True)):
    for tag, c in (("C20", 0.05), ("C2", 0.5), ("1C", 1.0), ("2C", 2.0), ("5C", 5.0)):
        CASES[f"discharge_{label}_{tag}"] = (varying, discharge(c), f"discharge at {c:g}C to {LOWER} V")
CASES["pulses_varying"] = (True, pulses(), "1C discharge 600 s, rest 1200 s, 5C discharge 10 s, rest 60 s, "
                           "2C charge 30 s, rest 600 s, C/2 discharge 1800 s")
CASES["charge_hold_varying"] = (True, charge_and_hold(), "1C charge from the equilibrium at 2.5 V to 4.2 V, "
                                "then 4.2 V held until C/20")
CASES["charge_hold_constant"] = (False, *CASES["charge_hold_varying"][1:])


def write(folder, name, varying, what, rows, ends, ends_coarse, difference, worst, exact):
    cell = make_cell(varying)
    lines = [f"# single-particle model, uniform electrolyte: {what}",
             "# i > 0 charges the cell, per plate area; 1C = 5 A over 0.1027 m2; 298.15 K; contact resistance 0",
             "# set: NMC811 | graphite-SiOx, Chen et al., J. Electrochem. Soc. 167, 080534 (2020); conductivity at",
             "#   1 mol/L: Nyman et al., Electrochim. Acta 53, 6356 (2008). VALUES FROM MEMORY, not compared with print",
             "# negative | positive: thickness 85.2 | 75.6 um, radius 5.86 | 5.22 um, active fraction 0.75 | 0.665,",
             "#   porosity 0.25 | 0.335 (separator 12 um, 0.47), tortuosity porosity^-0.5, c_max 33133 | 63104 mol/m3,",
             f"#   i0_ref = m sqrt(1000) c_max/2 = {cell[0].i0_ref:.15g} | {cell[1].i0_ref:.15g} A/m2,"
             f" kappa {KAPPA:.6g} S/m",
             "# D: " + ("D_n = 3.3e-14 exp(1 - 2 (x-0.03)/(0.90-0.03)), D_p = 4e-15 exp(2 (x-0.27)/(0.86-0.27) - 1) m2/s"
                        if varying else "3.3e-14 | 4e-15 m2/s")]
    if "charge" in name and "discharge" not in name:
        x = equilibrium(cell, LOWER)
        lines.append(f"# start: x_n = {x[0]:.15g}, x_p = {x[1]:.15g} (lithium of 29866/33133 and 17038/63104, 2.5 V)")
    else:
        lines.append("# start: x_n = 29866/33133, x_p = 17038/63104, uniform")
    if name == "pulses_varying":
        lines.append("# at a change of step the time stands twice: end of the one, start of the next (same state)")
    lines.append("# made by single_particle_reference.py: spectral elements (degree 10, 11 elements), Radau rtol 1e-11;")
    lines.append(f"#   against degree 8, 10 elements, rtol 1e-10 the voltages differ by at most {difference * 1e6:.2g} uV "
                 f"(at {worst:g} s)")
    if exact is not None:
        lines.append(f"#   against the exact series (Crank 1975, eq. 6.45) by at most {exact[0] * 1e6:.2g} uV; "
                     f"end time by {exact[1]:.1e} s")
    for key, value in ends.items():
        lines.append(f"# {key} = {value:.12g}" + (f"   (two meshes differ by {abs(value - ends_coarse[key]):.1e})"))
    lines.append("time_s,current_A_per_m2,voltage_V,surface_x_negative,surface_x_positive")
    for t, i, v, xn, xp in rows:
        lines.append(f"{t:.10g},{i:.13g},{v:.9f},{xn:.10f},{xp:.10f}")
    with open(os.path.join(folder, name + ".csv"), "w") as f:
        f.write("\n".join(lines) + "\n")


def exact_check(cell, name, rows, ends):
    """Largest voltage difference from the series, and the difference in end time."""
    i = rows[0][1]
    worst = max(abs(series_voltage(cell, i, r[0]) - r[2]) for r in rows)
    gap = lambda t: (v if np.isfinite(v := series_voltage(cell, i, t) - LOWER) else -1.0)
    end = brentq(gap, rows[-1][0], ends["end_time_s"] * 1.001, xtol=1e-9, rtol=1e-15)
    return worst, ends["end_time_s"] - end


def main():
    arguments = sys.argv[1:]
    folder = arguments[0] if arguments else os.path.dirname(os.path.abspath(__file__))
    chosen = arguments[1:] or list(CASES)
    for name in chosen:
        varying, solve, what = CASES[name]
        cell = make_cell(varying)
        began = time.time()
        rows, ends = solve(Model(cell, degree=10, layers=11, rtol=1e-11, atol=1e-13))
        coarse_times = ends.pop("_times", None) or (None if "pulses" in name else [r[0] for r in rows])
        coarse, ends_coarse = solve(Model(cell, degree=8, layers=10, rtol=1e-10, atol=1e-12), coarse_times)
        gaps = [abs(a[2] - b[2]) for a, b in zip(rows, coarse)]
        k = int(np.argmax(gaps))
        exact = exact_check(cell, name, rows, ends) if name.startswith("discharge_constant") else None
        write(folder, name, varying, what, rows, ends, ends_coarse, gaps[k], rows[k][0], exact)
        print(f"{name}: {len(rows)} rows, refine {gaps[k] * 1e6:.3g} uV at {rows[k][0]:g} s, exact {exact}, "
              f"{ends}, {time.time() - began:.0f} s", file=sys.stderr, flush=True)


if __name__ == "__main__":
    main()
