#!/usr/bin/env python3
"""Diffusion in a sphere of constant diffusivity: numbers to 16 digits from the classical series.

Needs mpmath (Debian: python3-mpmath); works with 40 digits.  Run as

    python3 sphere_series.py [output folder]

Constant flux j into a sphere of radius R from a uniform start, tau = D t/R^2, l_n the roots of tan l = l
(J. Crank, The Mathematics of Diffusion, 2nd ed. (1975), eq. 6.45; Carslaw and Jaeger, Conduction of Heat in Solids,
2nd ed. (1959), sec. 9.7; formula from memory and re-derived: the script checks the start and the balance):

    (c - c0) D/(j R) = 3 tau + (r/R)^2/2 - 3/10 - 2 (R/r) sum sin(l_n r/R)/(l_n^2 sin l_n) exp(-l_n^2 tau)

Step of the surface concentration (Crank eqs. 6.18 and 6.20):

    (c - c0)/(cs - c0) = 1 + (2 R/(pi r)) sum (-1)^n/n sin(n pi r/R) exp(-n^2 pi^2 tau)
    M/Minf = 1 - (6/pi^2) sum exp(-n^2 pi^2 tau)/n^2
"""
import os
import sys

from mpmath import mp, mpf, exp, erf, findroot, pi, sin, cos, sqrt, nstr, quad

mp.dps = 40
DIGITS = 17


def root(n):
    """n-th positive root of tan l = l, from the pole that lies just above it."""
    pole = (n + mpf(1) / 2) * pi
    return findroot(lambda l: sin(l) - l * cos(l), pole - 1 / pole - mpf(2) / 3 / pole ** 3)


ROOTS = [root(n) for n in range(1, 1001)]


def modes(tau):
    """The roots whose term still counts at 40 digits."""
    for l in ROOTS:
        term = exp(-l * l * tau)
        if term < mpf(10) ** -38:
            return
        yield l, term
    raise ValueError("tau too small for the number of roots")


def flux_profile(tau, rho):
    """(c - c0) D/(jR) at radius rho = r/R."""
    smooth = 3 * tau + rho ** 2 / 2 - mpf(3) / 10
    if rho == 0:
        return smooth - 2 * sum(e / (l * sin(l)) for l, e in modes(tau))
    return smooth - 2 / rho * sum(sin(l * rho) / (l ** 2 * sin(l)) * e for l, e in modes(tau))


def step_profile(tau, rho):
    total, n = mpf(0), 1
    while exp(-(n * pi) ** 2 * tau) > mpf(10) ** -38:
        shape = pi if rho == 0 else sin(n * pi * rho) / (n * rho)
        total += (-1) ** n * shape * exp(-(n * pi) ** 2 * tau)
        n += 1
    return 1 + 2 / pi * total


def step_uptake(tau):
    total, n = mpf(0), 1
    while exp(-(n * pi) ** 2 * tau) > mpf(10) ** -38:
        total += exp(-(n * pi) ** 2 * tau) / mpf(n) ** 2
        n += 1
    return 1 - 6 / pi ** 2 * total


TAUS = [mpf(t) for t in ("1e-4", "3e-4", "1e-3", "3e-3", "0.01", "0.03", "0.05", "0.1", "0.2", "0.25", "0.5", "1")]


def check():
    """The series must conserve, start from zero, and agree with the short-time form."""
    for tau in (mpf("1e-3"), mpf("0.05")):
        mean = quad(lambda rho: 3 * rho ** 2 * flux_profile(tau, rho), [0, 0.5, 1])
        assert abs(mean - 3 * tau) < mpf(10) ** -15, mean
    tau = mpf("1e-3")
    short = exp(tau) * (1 + erf(sqrt(tau))) - 1
    assert abs(flux_profile(tau, mpf(1)) - short) < mpf(10) ** -30
    uptake = quad(lambda rho: 3 * rho ** 2 * step_profile(mpf("0.05"), rho), [0, 0.5, 1])
    assert abs(uptake - step_uptake(mpf("0.05"))) < mpf(10) ** -15


def text(x):
    """17 digits; what is only the round-off of the 40-digit sums is printed as nought."""
    return "0" if abs(x) < mpf(10) ** -30 else nstr(x, DIGITS, strip_zeros=False)


def write(folder, name, head, columns, rows):
    with open(os.path.join(folder, name), "w") as f:
        f.write("".join(f"# {line}\n" for line in head) + ",".join(columns) + "\n")
        f.writelines(",".join(row) + "\n" for row in rows)


def main():
    folder = sys.argv[1] if len(sys.argv) > 1 else os.path.dirname(os.path.abspath(__file__))
    check()
    precision = "made by sphere_series.py with mpmath, 40 digits carried, 17 printed"
    write(folder, "sphere_roots.csv", ["roots of tan l = l, l > 0 (Carslaw and Jaeger 9.4)", precision],
          ["n", "root"], [[str(n + 1), text(ROOTS[n])] for n in range(30)])

    rows = []
    for tau in TAUS:
        surface, centre = flux_profile(tau, mpf(1)), flux_profile(tau, mpf(0))
        rows.append([nstr(tau, 5), text(surface), text(surface - 3 * tau), text(centre - 3 * tau),
                     text(flux_profile(tau, mpf(1) / 2) - 3 * tau)])
    write(folder, "sphere_constant_flux.csv",
          ["sphere, constant flux j in, uniform start, tau = D t/R^2; all columns times D/(jR)",
           "Crank, The Mathematics of Diffusion (1975), eq. 6.45 (formula from memory, re-derived)", precision],
          ["tau", "surface_minus_start", "surface_minus_mean", "centre_minus_mean", "half_radius_minus_mean"], rows)

    rows = [[nstr(tau, 5), text(step_uptake(tau)), text(step_profile(tau, mpf(0))),
             text(step_profile(tau, mpf(1) / 2))] for tau in TAUS]
    write(folder, "sphere_surface_step.csv",
          ["sphere, step of surface concentration from c0 to cs, tau = D t/R^2",
           "uptake = M/Minf; profile = (c - c0)/(cs - c0); Crank (1975), eqs. 6.18 and 6.20", precision],
          ["tau", "uptake", "profile_centre", "profile_half_radius"], rows)


if __name__ == "__main__":
    main()
