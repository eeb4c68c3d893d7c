#!/usr/bin/env python3
"""Reference solutions for powders with three sizes of grains a side, on a discretisation of their own.

Written from the equations alone.  Run as

    OMP_NUM_THREADS=1 python3 several_grains.py [output folder]

Needs numpy and scipy.  Every case is solved on two meshes and two tolerances; the largest difference between the two is
printed into the head of each file.

Equations (classes c of an electrode; i > 0 charges the cell, per plate area; salt at its starting concentration)

    dx_c/dt = (1/rho^2) d/drho( rho^2 D/R_c^2 dx_c/drho ),   D/R_c dx_c/drho (1) = -j_c/c_max
    F j_c = 2 i0(x_c) sinh( F (phi - U(x_c)) / 2RT ),        i0 = i0_ref (2(1-x))^(1/2) (2x)^(1/2)
    sum_c 3 eps_c/R_c L F j_c = +i (positive), -i (negative)
    V = phi_p - phi_n + i [L_n/(3 kappa_n) + L_s/kappa_s + L_p/(3 kappa_p)]

Discretisation: Galerkin elements of high degree (Legendre points, exact quadrature with weight rho^2), halving towards
the surface; SciPy's Radau (order 5).  phi by Newton's method inside the right-hand side.
Parameters: as in single_particle_reference.py (NMC811 | graphite-SiOx of a paper, from memory), sizes invented.
"""
import pathlib
import sys

import numpy as np
from numpy.polynomial import legendre
from scipy.integrate import solve_ivp

F, RGAS, T = 96485.33212331001, 8.31446261815324, 298.15
THERMAL = RGAS * T / F
AREA, ONE_C = 0.1027, 5 / 0.1027
RATIOS, SHARES = np.array([0.6, 1.0, 1.8]), np.array([0.25, 0.45, 0.30])  # radii against each other; volume
RATIOS = RATIOS * (SHARES / RATIOS).sum()  # so that the stated radius is R32


def u_p(y):
    return (-0.8090 * y + 4.4875 - 0.0428 * np.tanh(18.5138 * (y - 0.5542))
            - 17.7326 * np.tanh(15.7890 * (y - 0.3117)) + 17.5842 * np.tanh(15.9308 * (y - 0.3120)))


def u_n(x):
    return (1.9793 * np.exp(-39.3631 * x) + 0.2482 - 0.0909 * np.tanh(29.8538 * (x - 0.1234))
            - 0.04478 * np.tanh(14.9159 * (x - 0.2769)) - 0.0205 * np.tanh(30.4444 * (x - 0.6103)))


def lobatto(n):
    inner = legendre.Legendre.basis(n).deriv().roots()
    return np.concatenate(([-1.0], np.sort(inner.real), [1.0]))


def sphere(degree, elements):
    """Mass and stiffness matrices of a unit sphere, weight rho^2."""
    edges = np.concatenate(([0.0], 1 - 0.5 ** np.arange(1, elements), [1.0]))
    nodes = lobatto(degree)
    q, w = legendre.leggauss(degree + 3)
    values, slopes = np.empty((len(q), degree + 1)), np.empty((len(q), degree + 1))
    for k in range(degree + 1):
        others = np.delete(nodes, k)
        poly = np.poly1d(others, r=True) / np.prod(nodes[k] - others)
        values[:, k], slopes[:, k] = poly(q), poly.deriv()(q)
    n = elements * degree + 1
    M, K = np.zeros((n, n)), np.zeros((n, n))
    for e in range(elements):
        a, b = edges[e], edges[e + 1]
        half = 0.5 * (b - a)
        rho2 = (0.5 * (a + b) + half * q) ** 2
        at = slice(e * degree, e * degree + degree + 1)
        M[at, at] += values.T @ ((w * rho2 * half)[:, None] * values)
        K[at, at] += slopes.T @ ((w * rho2 / half)[:, None] * slopes)
    return M, K


class Side:
    def __init__(self, sign, U, D, c_max, i0, L, eps, R, degree, elements):
        self.sign, self.U, self.c_max, self.i0 = sign, U, c_max, i0
        M, K = sphere(degree, elements)
        self.n = len(M)
        self.R = R * RATIOS
        self.area = 3 * eps * SHARES / self.R * L  # per plate area
        inverse = np.linalg.inv(M)
        self.rates = [-D / r**2 * inverse @ K for r in self.R]
        self.drive = [-inverse[:, -1] / r for r in self.R]  # per j/c_max
        self.phi = None

    def potential(self, surfaces, i):
        surfaces = np.clip(surfaces, 1e-7, 1 - 1e-7)
        U, i0 = self.U(surfaces), self.i0 * np.sqrt(4 * surfaces * (1 - surfaces))
        phi = self.phi if self.phi is not None else U.mean()
        for _ in range(100):
            arg = (phi - U) / (2 * THERMAL)
            f = (self.area * 2 * i0 * np.sinh(arg)).sum() - self.sign * i
            slope = (self.area * i0 * np.cosh(arg) / THERMAL).sum()
            step = -f / slope
            phi += np.clip(step, -0.05, 0.05)
            if abs(step) < 1e-14:
                break
        self.phi = phi
        return phi, 2 * i0 * np.sinh((phi - U) / (2 * THERMAL)) / F  # j of each class

    def rate(self, x, i):
        grains = x.reshape(3, self.n)
        _, j = self.potential(grains[:, -1], i)
        return np.concatenate([self.rates[c] @ grains[c] + self.drive[c] * j[c] / self.c_max for c in range(3)])


def solve(c_rate, times, degree, elements, rtol):
    root_c = np.sqrt(1000.0)
    p = Side(+1, u_p, 4e-15, 63104, 3.42e-6 * root_c * 63104 / 2, 75.6e-6, 0.665, 5.22e-6, degree, elements)
    n = Side(-1, u_n, 3.3e-14, 33133, 6.48e-7 * root_c * 33133 / 2, 85.2e-6, 0.75, 5.86e-6, degree, elements)
    kappa = 0.1297 - 2.51 + 3.329
    resistance = (85.2e-6 / (3 * kappa * 0.25**1.5) + 12e-6 / (kappa * 0.47**1.5) + 75.6e-6 / (3 * kappa * 0.335**1.5))
    i, size = -c_rate * ONE_C, 3 * p.n
    start = np.concatenate((np.full(size, 17038 / 63104), np.full(3 * n.n, 29866 / 33133)))

    def rhs(_, x):
        return np.concatenate((p.rate(x[:size], i), n.rate(x[size:], i)))

    def voltage(x):
        phi_p, _ = p.potential(x[:size].reshape(3, p.n)[:, -1], i)
        phi_n, _ = n.potential(x[size:].reshape(3, n.n)[:, -1], i)
        return phi_p - phi_n + i * resistance

    state, t, result = start, 0.0, []
    for until in times:  # stopped at each output: no interpolation
        try:
            done = solve_ivp(rhs, (t, until), state, method="Radau", rtol=rtol, atol=rtol * 1e-2, t_eval=[until])
        except ValueError:  # beyond a full or an empty grain
            break
        if done.status != 0:
            break
        state, t = done.y[:, -1], until
        V = voltage(state)
        if not V > 2.5:
            break
        result.append((until, V))
    return result


def main():
    out = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else pathlib.Path(__file__).parent)
    for name, c_rate in (("C5", 0.2), ("1C", 1.0), ("3C", 3.0)):
        end = 3600 / c_rate * 1.05
        times = end * np.concatenate(([0.002, 0.01], np.linspace(0.03, 1, 30)))
        coarse, fine = solve(c_rate, times, 7, 4, 1e-6), solve(c_rate, times, 9, 5, 1e-7)
        rows = min(len(coarse), len(fine))
        worst = max(abs(coarse[k][1] - fine[k][1]) for k in range(rows))
        with open(out / f"several_grains_{name}.csv", "w", encoding="utf-8") as file:
            file.write("# by several_grains.py: three sizes a side, discharge from the initial concentrations\n")
            file.write(f"# c_rate = {c_rate}\n# difference of the two solutions / V = {worst:.1e}\n")
            for c in range(3):
                file.write(f"# ratio_{c} = {RATIOS[c]:.17g}\n# share_{c} = {SHARES[c]:.17g}\n")
            file.write("time,voltage\n")
            for t, V in fine[:rows]:
                file.write(f"{t:.10g},{V:.9f}\n")
        print(name, rows, worst)


main()
