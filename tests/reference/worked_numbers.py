#!/usr/bin/env python3
"""Worked numbers for the tests, each re-derived here from its formula with 30 digits (mpmath), printed with 15.

    python3 worked_numbers.py [output folder]      writes worked_numbers.csv: name,value,unit,formula,source

A source that ends in "from memory" means: the formula or its coefficients were not compared with the print.
The derivation is exact to the digits shown for the inputs stated; it says nothing about the inputs.
"""
import csv
import os
import sys

from mpmath import asinh, diff, exp, findroot, log, mp, mpf, nstr, pi, quad, sin, cos, sqrt, tanh

mp.dps = 30
N = mpf
AVOGADRO, CHARGE, BOLTZMANN = N("6.02214076e23"), N("1.602176634e-19"), N("1.380649e-23")
FARADAY, GAS, T = AVOGADRO * CHARGE, AVOGADRO * BOLTZMANN, N("298.15")
VT = GAS * T / FARADAY
ROWS = []


def put(name, value, unit, formula, source):
    ROWS.append((name, nstr(value, 15), unit, formula, source))


# ------------------------------------------------------------------------------------------------- constants
CODATA = "CODATA 2018 (exact since 2019)"
put("faraday_constant", FARADAY, "C/mol", "N_A e", CODATA)
put("gas_constant", GAS, "J/mol/K", "N_A k", CODATA)
put("thermal_voltage_298.15", VT * 1000, "mV", "RT/F", CODATA)
put("thermal_voltage_twice_298.15", 2 * VT * 1000, "mV", "2RT/F", CODATA)
put("nernst_slope_298.15", VT * log(10) * 1000, "mV/decade", "RT/F ln 10", CODATA)
put("tafel_slope_298.15", 2 * VT * log(10) * 1000, "mV/decade", "2RT/F ln 10", CODATA)

# ------------------------------------------------------------------------------------- theoretical capacities
WEIGHT = {k: N(v) for k, v in dict(Li="6.94", C="12.011", O="15.999", Si="28.085", P="30.974", Ti="47.867", Mn="54.938",
                                   Fe="55.845", Co="58.933", Ni="58.693").items()}
IUPAC = "IUPAC abridged standard atomic weights (5 digits)"


def mass(**atoms):
    return sum(WEIGHT[a] * N(n) for a, n in atoms.items())


M = {"C6": mass(C=6), "LiC6": mass(Li=1, C=6), "LiCoO2": mass(Li=1, Co=1, O=2), "LiFePO4": mass(Li=1, Fe=1, P=1, O=4),
     "FePO4": mass(Fe=1, P=1, O=4), "LiMn2O4": mass(Li=1, Mn=2, O=4),
     "NMC111": mass(Li=1, O=2) + (WEIGHT["Ni"] + WEIGHT["Mn"] + WEIGHT["Co"]) / 3,
     "NMC532": mass(Li=1, O=2, Ni="0.5", Mn="0.3", Co="0.2"), "NMC622": mass(Li=1, O=2, Ni="0.6", Mn="0.2", Co="0.2"),
     "NMC811": mass(Li=1, O=2, Ni="0.8", Mn="0.1", Co="0.1"), "Li4Ti5O12": mass(Li=4, Ti=5, O=12), "Si": mass(Si=1),
     "Li": mass(Li=1), "LiNi0.2Mn0.2Co0.6O2": mass(Li=1, O=2, Ni="0.2", Mn="0.2", Co="0.6")}


def capacity(name, electrons=1):
    return electrons * FARADAY / (N("3.6") * M[name])


for name, n in (("C6", 1), ("LiC6", 1), ("LiCoO2", 1), ("LiFePO4", 1), ("FePO4", 1), ("LiMn2O4", 1), ("NMC111", 1),
                ("NMC532", 1), ("NMC622", 1), ("NMC811", 1), ("Li4Ti5O12", 3), ("Li", 1)):
    put(f"molar_mass_{name}", M[name], "g/mol", "sum of atomic weights", IUPAC)
    put(f"theoretical_capacity_{name}", capacity(name, n), "mAh/g", f"{n} F/(3.6 M)", IUPAC + "; " + CODATA)
put("theoretical_capacity_Si_Li15Si4", capacity("Si", N(15) / 4), "mAh/g", "15/4 F/(3.6 M)", IUPAC + "; " + CODATA)
put("theoretical_capacity_Si_Li22Si5", capacity("Si", N(22) / 5), "mAh/g", "22/5 F/(3.6 M)", IUPAC + "; " + CODATA)

# ------------------------------------------------------------------------------------------------- crystals


def crystal(name, volume, units, lithium_units, key, source, cell):
    """volume in cubic angstrom; units of formula `key`, lithium sites, per cell."""
    per_cell = volume * N("1e-30") * AVOGADRO
    put(f"cell_volume_{name}", volume, "A^3", cell, source)
    put(f"crystal_density_{name}", units * M[key] / per_cell / 1e6, "g/cm3",
        f"Z M/(V N_A); Z = {nstr(units, 4)}; {cell}", source)
    if lithium_units:
        c = lithium_units / per_cell
        put(f"maximum_concentration_{name}", c,
            "mol/m3", f"Z_Li/(V N_A); Z_Li = {nstr(N(lithium_units), 4)}; {cell}", source)
        put(f"volumetric_capacity_{name}", c * FARADAY / N("3.6e6"), "mAh/cm3", "F c_max", source)


def hexagonal(a, c):
    return sqrt(N(3)) / 2 * N(a) ** 2 * N(c)


crystal("LiCoO2", hexagonal("2.8161", "14.0536"), 3, 3, "LiCoO2",
    "Akimoto et al. J. Solid State Chem. 141, 298 (1998), lattice "
        "from memory", "sqrt(3)/2 a^2 c; a 2.8161 c 14.0536")
crystal("NMC111", hexagonal("2.864", "14.233"), 3, 3, "NMC111", "Shaju et al. Electrochim. Acta 48, 145 (2002)",
        "sqrt(3)/2 a^2 c; a 2.864 c 14.233")
crystal("LiNi0.2Mn0.2Co0.6O2", hexagonal("2.8399", "14.165"), 3, 3, "LiNi0.2Mn0.2Co0.6O2",
    "J. Power Sources 195, 1510 (2010)",
        "sqrt(3)/2 a^2 c; a 2.8399 c 14.165")
crystal("NMC622", hexagonal("2.868", "14.22"), 3, 3, "NMC622", "lattice from memory",
    "sqrt(3)/2 a^2 c; a 2.868 c 14.22")
crystal("NMC811", hexagonal("2.872", "14.20"), 3, 3, "NMC811", "lattice from memory",
    "sqrt(3)/2 a^2 c; a 2.872 c 14.20")
crystal("LiFePO4", N("10.332") * N("6.010") * N("4.692"), 4, 4, "LiFePO4",
    "Streltsov et al. Acta Cryst. B49, 147 (1993), lattice "
        "from memory", "a b c; 10.332 6.010 4.692")
crystal("FePO4", N("9.821") * N("5.792") * N("4.788"), 4, 0, "FePO4", "lattice from memory", "a b c; 9.821 5.792 4.788")
crystal("LiMn2O4", N("8.2442") ** 3, 8, 8, "LiMn2O4", "Igawa et al. neutron Rietveld", "a^3; a 8.2442")
crystal("LiMn2O4_Fddd", N("5046.1"), 72, 72, "LiMn2O4", "Hayakawa et al. Powder Diffr. (prints V 5046.1, Dx 4.284)",
    "V 5046.1")
crystal("graphite", hexagonal("2.464", "6.711"), N(4) / 6, N(4) / 6, "C6", "lattice from memory",
        "sqrt(3)/2 a^2 c; a 2.464 c 6.711; 4 C, counted as C6")
crystal("LiC6", hexagonal("4.305", "3.706"), 1, 1, "LiC6",
    "Guerard and Herold Carbon 13, 337 (1975), lattice from memory",
        "sqrt(3)/2 a^2 c; a 4.305 c 3.706")
crystal("Li4Ti5O12", N("8.3595") ** 3, N(8) / 3, 8, "Li4Ti5O12",
    "Ohzuku et al. J. Electrochem. Soc. 142, 1431 (1995), lattice from "
        "memory", "a^3; a 8.3595; 8 insertable Li per cell")

# ---------------------------------------------------------------------------- open-circuit potentials, two full sets
CHEN = "Chen et al. J. Electrochem. Soc. 167, 080534 (2020), from memory"
MARQUIS = "Marquis et al. J. Electrochem. Soc. 166, A3693 (2019), from memory"


def nmc811_p(y):
    return (N("-0.8090") * y + N("4.4875") - N("0.0428") * tanh(N("18.5138") * (y - N("0.5542")))
            - N("17.7326") * tanh(N("15.7890") * (y - N("0.3117")))
            + N("17.5842") * tanh(N("15.9308") * (y - N("0.3120"))))


def graphite_siox_n(x):
    return (N("1.9793") * exp(N("-39.3631") * x) + N("0.2482") - N("0.0909") * tanh(N("29.8538") * (x - N("0.1234")))
            - N("0.04478") * tanh(N("14.9159") * (x - N("0.2769")))
            - N("0.0205") * tanh(N("30.4444") * (x - N("0.6103"))))


def graphite_n(x):
    t = lambda height, centre, width: N(height) * tanh((x - N(centre)) / N(width))
    return (N("0.194") + N("1.5") * exp(-120 * x) + t("0.0351", "0.286", "0.083") - t("0.0045", "0.849", "0.119")
            - t("0.035", "0.9233", "0.05") - t("0.0147", "0.5", "0.034") - t("0.102", "0.194", "0.142")
            - t("0.022", "0.9", "0.0164") - t("0.011", "0.124", "0.0226") + t("0.0155", "0.105", "0.029"))


def lco_p(y):
    s = N("1.062") * y
    return (N("2.16216") + N("0.07645") * tanh(N("30.834") - N("54.4806") * s)
            + N("2.1581") * tanh(N("52.294") - N("50.294") * s)
            - N("0.14169") * tanh(N("11.0923") - N("19.8543") * s) + N("0.2051") * tanh(N("1.4684") - N("5.4888") * s)
            + N("0.2531") * tanh((N("0.56478") - s) / N("0.1316")) - N("0.02167") * tanh((s - N("0.525")) / N("0.006")))


def table(tag, function, points, source):
    for x in points.split():
        put(f"{tag}_at_{x}", function(N(x)), "V", f"{tag}(x); x = {x}", source)
        put(f"{tag}_slope_at_{x}", diff(function, N(x)), "V", f"d {tag}/dx; x = {x}", source)


table("U_p_nmc811", nmc811_p, "0.27 0.30 0.40 0.50 0.60 0.70 0.80 0.9084", CHEN)
table("U_n_graphite_siox", graphite_siox_n, "0.0279 0.05 0.10 0.20 0.30 0.50 0.60 0.9014", CHEN)
table("U_n_graphite", graphite_n, "0.05 0.10 0.20 0.30 0.50 0.70 0.80", MARQUIS)
table("U_p_lco", lco_p, "0.50 0.55 0.60 0.70 0.80 0.90 0.95", MARQUIS)

OTHERS = {
    "U_lfp_a": (lambda y: N("3.4323") - N("0.8428") * exp(N("-80.2493") * (1 - y) ** N("1.3198"))
                - N("3.2474e-6") * exp(N("20.2645") * (1 - y) ** N("3.8003"))
                + N("3.2482e-6") * exp(N("20.2646") * (1 - y) ** N("3.7995")), "0.02 0.05 0.1 0.5 0.9 0.95 0.98",
                "Safari and Delacourt J. Electrochem. Soc. 158, A562 (2011), from memory"),
    "U_lfp_b": (lambda y: N("3.4077") - N("0.020269") * y + N("0.5") * exp(-150 * y) - N("0.9") * exp(-30 * (1 - y)),
                "0.01 0.05 0.5 0.9 0.98", "Afshar et al. arXiv:1709.03970 (2017), from memory"),
    "U_lmo": (lambda y: N("4.19829") + N("0.0565661") * tanh(N("-14.5546") * y + N("8.60942"))
              - N("0.0275479") * ((N("0.998432") - y) ** N("-0.492465") - N("1.90111"))
              - N("0.157123") * exp(N("-0.04738") * y ** 8) + N("0.810239") * exp(-40 * (y - N("0.133875"))),
              "0.17 0.3 0.5 0.6 0.8 0.95 0.99", "Doyle et al. J. Electrochem. Soc. 143, 1890 (1996), from memory"),
    "U_nmc111": (lambda y: N("6.0826") - N("6.9922") * y + N("7.1062") * y ** 2 - N("2.5947") * y ** 3
                 - N("5.4549e-5") * exp(N("124.23") * y - N("114.2593")), "0.35 0.4 0.5 0.6 0.7 0.8 0.9 0.98",
                 "Ji et al. J. Electrochem. Soc. 160, A636 (2013), from memory"),
    "U_nickel_cobalt": (lambda y: N("85.681") * y ** 6 - N("357.70") * y ** 5 + N("613.89") * y ** 4
                        - N("555.65") * y ** 3
                        + N("281.06") * y ** 2 - N("76.648") * y + N("13.1983")
                        - N("0.30987") * exp(N("5.657") * y ** 115),
                        "0.4 0.5 0.6 0.7 0.8 0.9", "Smith and Wang J. Power Sources 161, 628 (2006), from memory"),
    "U_coke": (lambda x: N("-0.16") + N("1.32") * exp(-3 * x) + 10 * exp(-2000 * x), "0.1 0.3 0.5",
               "Doyle et al. J. Electrochem. Soc. 143, 1890 (1996), from memory")}
for tag, (function, points, source) in OTHERS.items():
    table(tag, function, points, source)

# ------------------------------------------------------------------------------------ the NMC811 | graphite-SiOx cell
L_N, L_S, L_P = N("85.2e-6"), N("12e-6"), N("75.6e-6")
R_N, R_P, E_N, E_P = N("5.86e-6"), N("5.22e-6"), N("0.75"), N("0.665")
P_N, P_S, P_P = N("0.25"), N("0.47"), N("0.335")
C_N, C_P, D_N, D_P, AREA = N(33133), N(63104), N("3.3e-14"), N("4e-15"), N("0.1027")
Q_N, Q_P = FARADAY * E_N * L_N * C_N * AREA / 3600, FARADAY * E_P * L_P * C_P * AREA / 3600
X0, Y0 = N(29866) / C_N, N(17038) / C_P
LITHIUM = Q_N * X0 + Q_P * Y0
put("nmc811_capacity_full_range_negative", Q_N, "Ah", "F eps L A c_max/3600", CHEN)
put("nmc811_capacity_full_range_positive", Q_P, "Ah", "F eps L A c_max/3600", CHEN)
put("nmc811_areal_capacity_negative", Q_N / AREA / 10, "mAh/cm2", "F eps L c_max", CHEN)
put("nmc811_areal_capacity_positive", Q_P / AREA / 10, "mAh/cm2", "F eps L c_max", CHEN)
put("nmc811_capacity_between_printed_windows_negative", Q_N * (N("0.9014") - N("0.0279")), "Ah",
    "Q_n (0.9014 - 0.0279)", CHEN)
put("nmc811_capacity_between_printed_windows_positive", Q_P * (N("0.9084") - N("0.2661")), "Ah",
    "Q_p (0.9084 - 0.2661)", CHEN)
put("nmc811_capacity_between_printed_windows_positive_b", Q_P * (N("0.9084") - N("0.27")), "Ah",
    "Q_p (0.9084 - 0.27)", CHEN)
put("nmc811_ocv_printed_empty", nmc811_p(N("0.9084")) - graphite_siox_n(N("0.0279")), "V", "U_p(0.9084) - U_n(0.0279)", CHEN)
put("nmc811_ocv_printed_full", nmc811_p(N("0.2661")) - graphite_siox_n(N("0.9014")), "V", "U_p(0.2661) - U_n(0.9014)", CHEN)
put("nmc811_ocv_printed_full_b", nmc811_p(N("0.27")) - graphite_siox_n(N("0.9014")), "V", "U_p(0.27) - U_n(0.9014)", CHEN)
put("nmc811_ocv_initial", nmc811_p(Y0) - graphite_siox_n(X0), "V", "U_p(17038/63104) - U_n(29866/33133)", CHEN)
put("nmc811_lithium_inventory", LITHIUM, "Ah", "Q_n 29866/33133 + Q_p 17038/63104", CHEN)
EQUILIBRIUM = {}
for tag, target, guess in (("4.2V", N("4.2"), N("0.91")), ("2.5V", N("2.5"), N("0.0263"))):
    x = findroot(lambda x: nmc811_p((LITHIUM - Q_N * x) / Q_P) - graphite_siox_n(x) - target, guess)
    EQUILIBRIUM[tag] = x
    put(f"nmc811_equilibrium_x_{tag}", x, "1", "U_p(y) - U_n(x) = V; Q_n x + Q_p y = lithium inventory", CHEN)
    put(f"nmc811_equilibrium_y_{tag}", (LITHIUM - Q_N * x) / Q_P, "1", "as x", CHEN)
put("nmc811_equilibrium_capacity", Q_N * (EQUILIBRIUM["4.2V"] - EQUILIBRIUM["2.5V"]), "Ah",
    "Q_n (x(4.2 V) - x(2.5 V))", CHEN)
put("nmc811_capacity_from_charged_start", Q_N * (X0 - EQUILIBRIUM["2.5V"]), "Ah", "Q_n (29866/33133 - x(2.5 V))", CHEN)
I1 = 5 / AREA
put("nmc811_current_density_1C", I1, "A/m2", "5 A/0.1027 m2", CHEN)
for tag, R, E, L, C, D, m in (("negative", R_N, E_N, L_N, C_N, D_N, "6.48e-7"), ("positive", R_P, E_P, L_P, C_P, D_P,
    "3.42e-6")):
    a = 3 * E / R
    j = I1 / (a * L * FARADAY)
    put(f"nmc811_i0_ref_{tag}", N(m) * sqrt(N(1000)) * C / 2, "A/m2", "m sqrt(1000) c_max/2", CHEN)
    put(f"nmc811_surface_area_per_volume_{tag}", a, "1/m", "3 eps/R", CHEN)
    put(f"nmc811_local_current_1C_{tag}", I1 / (a * L), "A/m2", "i/(a L)", CHEN)
    put(f"nmc811_flux_1C_{tag}", j, "mol/m2/s", "i/(a L F)", CHEN)
    put(f"nmc811_diffusion_time_{tag}", R ** 2 / D, "s", "R^2/D", CHEN)
    put(f"nmc811_surface_minus_mean_1C_{tag}", j * R / (5 * D), "mol/m3", "j R/(5 D)", CHEN + "; Crank (1975) eq. 6.45")
    put(f"nmc811_surface_minus_mean_fraction_1C_{tag}", j * R / (5 * D * C), "1", "j R/(5 D c_max)",
        CHEN + "; Crank (1975) eq. 6.45")
    put(f"nmc811_surface_minus_centre_1C_{tag}", j * R / (2 * D), "mol/m3", "j R/(2 D)",
        CHEN + "; Crank (1975) eq. 6.45")
    full = FARADAY * E * L * C / I1
    put(f"nmc811_discharge_time_full_range_1C_{tag}", full, "s", "F eps L c_max/i", CHEN)
    put(f"nmc811_capacity_left_fraction_1C_{tag}", R ** 2 / (15 * D * full), "1",
        "R^2/(15 D t_dis); equals j R/(5 D c_max)", CHEN)
NYMAN = "Nyman et al. Electrochim. Acta 53, 6356 (2008), from memory"
KAPPA = N("0.1297") - N("2.51") + N("3.329")
OHMIC = L_N / (3 * KAPPA * P_N ** N("1.5")) + L_S / (KAPPA * P_S ** N("1.5")) + L_P / (3 * KAPPA * P_P ** N("1.5"))
put("nmc811_electrolyte_resistance", OHMIC, "ohm m2", "L_n/(3 k_n) + L_s/k_s + L_p/(3 k_p); k = kappa porosity^1.5",
    CHEN + "; " + NYMAN)
put("nmc811_electrolyte_ohmic_1C", OHMIC * I1 * 1000, "mV", "i times the resistance", CHEN + "; " + NYMAN)


def reaction_loss(i, i0):
    return 2 * VT * asinh(i / (2 * i0))


for tag, R, E, L, C, m, x in (("negative", R_N, E_N, L_N, C_N, "6.48e-7", X0), ("positive", R_P, E_P, L_P, C_P,
    "3.42e-6", Y0)):
    i0 = N(m) * sqrt(N(1000)) * C * sqrt(x * (1 - x))
    put(f"nmc811_i0_at_start_{tag}", i0, "A/m2", "m sqrt(1000) c_max sqrt(x (1-x)) at the charged start", CHEN)
    put(f"nmc811_overpotential_at_start_1C_{tag}", reaction_loss(I1 * R / (3 * E * L), i0) * 1000, "mV",
        "(2RT/F) asinh(i R/(3 eps L)/(2 i0))", CHEN)

# steady electrolyte limit, constant D at 1 mol/L, uniform reaction
D_NYMAN = N("8.794e-11") - N("3.972e-10") + N("4.862e-10")
D_LG = 1010 * exp(N("1.01")) * exp(-1560 / T) * exp(-487 / T) * N("1e-10")
LG = "Landesfeind and Gasteiger J. Electrochem. Soc. 166, A3079 (2019), from memory"


def end_drop(layers, D, tp, reverse=False):
    """Largest depletion per current density, mol/m3 per A/m2; layers = (L, porosity) n, s, p."""
    (ln, en), (ls, es), (lp, ep) = reversed(layers) if reverse else layers
    d = lambda L, e, half: (1 - tp) * L / (half * FARADAY * D * e ** N("1.5"))
    dn, ds, dp = d(ln, en, 2), d(ls, es, 1), d(lp, ep, 2)
    weighted = ep * lp * dp / 3 + es * ls * (dp + ds / 2) + en * ln * (dp + ds + 2 * dn / 3)
    return weighted / (en * ln + es * ls + ep * lp)


LAYERS = ((L_N, P_N), (L_S, P_S), (L_P, P_P))
for tag, D, source in (("ec_emc_polarisation", D_NYMAN, NYMAN), ("ec_emc_over_temperature", D_LG, LG)):
    for sense, reverse in (("discharge", False), ("charge", True)):
        put(f"nmc811_steady_electrolyte_limit_{sense}_{tag}", 1000 / end_drop(LAYERS, D, N("0.2594"), reverse), "A/m2",
            "far end of the salt profile reaches 0; t+ 0.2594; uniform reaction; steady state", CHEN + "; " + source)

# ------------------------------------------------------------------------------------------------- the LCO cell
R, L, LS, EN, EP = N("1e-5"), N("1e-4"), N("2.5e-5"), N("0.6"), N("0.5")
CN, CP, DN, DP, IL = N("24983"), N("51218"), N("3.9e-14"), N("1e-13"), N(24)
CAPIGLIA = "Capiglia et al. J. Power Sources 81-82, 859 (1999), from memory"
KL = N("0.0911") + N("1.9101") - N("1.052") + N("0.1554")
QN, QP = FARADAY * EN * L * CN / 3600, FARADAY * EP * L * CP / 3600
put("lco_ocv_initial", lco_p(N("0.6")) - graphite_n(N("0.8")), "V", "U_p(0.6) - U_n(0.8)", MARQUIS)
put("lco_capacity_full_range_negative", QN, "Ah/m2", "F eps L c_max/3600", MARQUIS)
put("lco_capacity_full_range_positive", QP, "Ah/m2", "F eps L c_max/3600", MARQUIS)
for q in (24, 25):
    put(f"lco_ocv_after_{q}", lco_p(N("0.6") + q / QP) - graphite_n(N("0.8") - q / QN), "V",
        f"U_p(0.6 + {q}/Q_p) - U_n(0.8 - {q}/Q_n)", MARQUIS)
for tag, E, C, D, m, x in (("negative", EN, CN, DN, "2e-5", "0.8"), ("positive", EP, CP, DP, "6e-7", "0.6")):
    i0 = N(m) * sqrt(N(1000)) * C * sqrt(N(x) * (1 - N(x)))
    local = IL * R / (3 * E * L)
    put(f"lco_i0_at_start_{tag}", i0, "A/m2", "m sqrt(1000) c_max sqrt(x (1-x))", MARQUIS)
    put(f"lco_i0_ref_{tag}", N(m) * sqrt(N(1000)) * C / 2, "A/m2", "m sqrt(1000) c_max/2", MARQUIS)
    put(f"lco_diffusion_time_{tag}", R ** 2 / D, "s", "R^2/D", MARQUIS)
    put(f"lco_surface_minus_mean_1C_{tag}", local / FARADAY * R / (5 * D), "mol/m3", "j R/(5 D) at 24 A/m2", MARQUIS)
    put(f"lco_overpotential_1C_{tag}", reaction_loss(local, i0) * 1000, "mV",
        "(2RT/F) asinh(i/(2 a L i0)) at 24 A/m2", MARQUIS)
put("lco_conductivity", KL, "S/m", "0.0911 + 1.9101 - 1.052 + 0.1554 at 1 mol/L", CAPIGLIA)
B3 = N("0.3") ** N("1.5")
put("lco_electrolyte_ohmic_1C", IL / KL * (2 * L / (3 * B3) + LS) * 1000, "mV",
    "(i/kappa) (L_n/(3 eps^1.5) + L_s + L_p/(3 eps^1.5))", MARQUIS + "; " + CAPIGLIA)
put("lco_solid_ohmic_1C", IL / 3 * (L / 100 + L / 10) * 1000, "mV", "(i/3) (L_n/sigma_n + L_p/sigma_p)", MARQUIS)
D_CAPIGLIA = N("5.34e-10") * exp(N("-0.65"))
put("lco_salt_diffusivity_1M", D_CAPIGLIA, "m2/s", "5.34e-10 exp(-0.65)", CAPIGLIA)
LCO_LAYERS = ((L, N("0.3")), (LS, N(1)), (L, N("0.3")))
for tag, D in (("dilute", N("5.34e-10")), ("1M", D_CAPIGLIA)):
    mean_gap = N("0.6") * IL / FARADAY * (2 * L / (3 * D * B3) + LS / D)
    end_gap = N("0.6") * IL / FARADAY * (2 * L / (2 * D * B3) + LS / D)
    put(f"lco_salt_mean_difference_1C_{tag}", mean_gap, "mol/m3", "(1-t+) (i/F) (L_n/(3D_n) + L_s/D_s + L_p/(3D_p))",
        MARQUIS)
    put(f"lco_salt_end_difference_1C_{tag}", end_gap, "mol/m3", "(1-t+) (i/F) (L_n/(2D_n) + L_s/D_s + L_p/(2D_p))",
        MARQUIS)
    put(f"lco_concentration_loss_1C_{tag}", 2 * VT * N("0.6") * mean_gap / 1000 * 1000, "mV",
        "(2RT/F) (1-t+) difference of means/1000", MARQUIS)
    put(f"lco_steady_electrolyte_limit_{tag}", 1000 / end_drop(LCO_LAYERS, D, N("0.4")), "A/m2",
        "far end reaches 0; uniform reaction; steady", MARQUIS)
    put(f"lco_salt_far_end_1C_{tag}", 1000 - IL * end_drop(LCO_LAYERS, D, N("0.4")), "mol/m3",
        "c at the positive collector", MARQUIS)

# ------------------------------------------------------------------------------------------------- electrolytes
for c in ("0.25", "0.5", "1", "1.5", "2"):
    s = N(c)
    put(f"ec_emc_polarisation_conductivity_{c}M", N("0.1297") * s ** 3 - N("2.51") * s ** N("1.5") + N("3.329") * s, "S/m",
        "0.1297c^3 - 2.51c^1.5 + 3.329c", NYMAN)
    put(f"ec_emc_polarisation_diffusivity_{c}M", N("8.794e-11") * s ** 2 - N("3.972e-10") * s + N("4.862e-10"), "m2/s",
        "8.794e-11c^2 - 3.972e-10c + 4.862e-10", NYMAN)
    put(f"ec_emc_polarisation_transference_{c}M", N("-0.1287") * s ** 3 + N("0.4106") * s ** 2 - N("0.4717") * s + N("0.4492"),
        "1", "-0.1287c^3 + 0.4106c^2 - 0.4717c + 0.4492", NYMAN)
    put(f"ec_emc_nmr_conductivity_{c}M", N("0.0911") + N("1.9101") * s - N("1.052") * s ** 2 + N("0.1554") * s ** 3,
        "S/m", "0.0911 + 1.9101c - 1.052c^2 + 0.1554c^3", CAPIGLIA)
    put(f"ec_emc_nmr_diffusivity_{c}M", N("5.34e-10") * exp(N("-0.65") * s), "m2/s", "5.34e-10 exp(-0.65c)", CAPIGLIA)
    VR = "Valoen and Reimers J. Electrochem. Soc. 152, A882 (2005), from memory"
    bracket = ((N("-10.5") + N("0.0740") * T - N("6.96e-5") * T ** 2)
               + s * (N("0.668") - N("0.0178") * T + N("2.80e-5") * T ** 2)
               + s ** 2 * (N("0.494") - N("8.86e-4") * T))
    put(f"pc_ec_dmc_conductivity_{c}M", s * bracket ** 2 / 10, "S/m", "c [...]^2 at 298.15 K", VR)
    put(f"pc_ec_dmc_diffusivity_{c}M", N(10) ** (N("-4.43") - 54 / (T - 229 - 5 * s) - N("0.22") * s) / 10000, "m2/s",
        "10^(-4.43 - 54/(T-229-5c) - 0.22c) cm2/s at 298.15 K", VR)
    factor = (N("0.601") - N("0.24") * sqrt(s) + N("0.982") * (1 - N("0.0052") * (T - 294)) * s ** N("1.5")) / N("0.62")
    put(f"pc_ec_dmc_thermodynamic_factor_{c}M", factor,
        "1", "(0.601 - 0.24c^0.5 + 0.982[1 - 0.0052(T-294)]c^1.5)/(1 - 0.38)", VR)

# ------------------------------------------------------------------------------------------------- Butler-Volmer
BV = "Butler-Volmer with both transfer coefficients 1/2, 298.15 K"
for ratio in ("0.1", "1", "10", "100"):
    put(f"butler_volmer_exact_{ratio}", reaction_loss(N(ratio), 1) * 1000, "mV",
        f"(2RT/F) asinh(q/2); q = i/i0 = {ratio}", BV)
    put(f"butler_volmer_linear_{ratio}", VT * N(ratio) * 1000, "mV", f"(RT/F) q; q = {ratio}", BV)
put("butler_volmer_tafel_10", 2 * VT * log(N(10)) * 1000, "mV", "(2RT/F) ln q; q = 10", BV)
put("charge_transfer_resistance_1", VT * 10000, "ohm cm2", "RT/(F i0); i0 = 1 A/m2", BV)
put("butler_volmer_linear_within_1_percent_below", findroot(lambda q: q / (2 * asinh(q / 2)) - N("1.01"), N("0.49")),
    "1", "q/(2 asinh(q/2)) = 1.01", BV)
put("butler_volmer_tafel_within_1_percent_above", findroot(lambda q: log(q) / asinh(q / 2) - N("0.99"), N(7)), "1",
    "ln q/asinh(q/2) = 0.99", BV)
for aa, ac, q in (("0.3", "0.7", "3"), ("0.3", "0.7", "-3"), ("0.65", "0.35", "10"), ("0.65", "0.35", "-0.2"),
    ("0.8", "0.2", "50")):
    u = findroot(lambda u: exp(N(aa) * u) - exp(-N(ac) * u) - N(q), 2 * asinh(N(q) / 2))
    put(f"butler_volmer_{aa}_{ac}_{q}", u * VT * 1000,
        "mV", f"exp(aa u) - exp(-ac u) = q; eta = u RT/F; aa {aa} ac {ac} q {q}",
        "Butler-Volmer, unequal transfer coefficients, 298.15 K")

# ------------------------------------------------------------------------------------------------- GITT
WEPPNER = "Weppner and Huggins J. Electrochem. Soc. 124, 1569 (1977), from memory"
put("gitt_textbook", 4 / (9 * pi) * N("5e-6") ** 2 / 600 * N("0.5") ** 2, "m2/s",
    "4/(9 pi) R^2/t (dE_s/dE_t)^2; R 5 um, t 600 s, 10 mV over 20 mV", WEPPNER)


def lead(tau, count=60):
    total = N(0)
    for n in range(1, count):
        pole = (n + N(1) / 2) * pi
        l = findroot(lambda l: sin(l) - l * cos(l), pole - 1 / pole)
        total += exp(-l * l * tau) / l ** 2
    return 3 * tau + N("0.2") - 2 * total


TAU = findroot(lambda t: 3 * t / lead(t) - N("0.5"), (N("0.05"), N("0.06")), solver="anderson")
put("gitt_exact_tau", TAU, "1", "3 tau/surface(tau) = 1/2, sphere with constant flux",
    "Crank (1975) eq. 6.45, from memory, re-derived")
put("gitt_exact", TAU * N("5e-6") ** 2 / 600, "m2/s", "tau R^2/t", "Crank (1975) eq. 6.45, from memory, re-derived")
put("gitt_textbook_error", 4 / (9 * pi) * N("0.25") / TAU - 1, "1", "textbook/exact - 1", WEPPNER)

# ------------------------------------------------------------------------------------------------- the rest
SAND = "Bard and Faulkner, Electrochemical Methods, from memory"
for i in (100, 50, 10):
    put(f"sand_time_{i}", pi * N("3e-10") * (FARADAY * 1000 / (2 * N("0.7") * i)) ** 2, "s",
        f"pi D (F c0/(2 (1-t+) i))^2; D 3e-10, c0 1000, t+ 0.3, i {i} A/m2", SAND)
D_EFF = N("2.9e-10") * N("0.3") / 4
for length in (70, 100):
    limit = 2 * FARADAY * D_EFF * 1000 / (N("0.75") * N(length) * N("1e-6"))
    put(f"coat_limiting_current_{length}um", limit / 10, "mA/cm2",
        f"2 F D eps/tau c0/((1-t+) L); D 2.9e-10, eps 0.3, tau 4, t+ 0.25, L {length} um", "derived")
put("coat_limiting_current_nmc811_positive", 2 * FARADAY * N("2.9e-10") * P_P ** N("1.5") * 1000 / (N("0.75") * L_P) / 10,
    "mA/cm2", "as above; porosity 0.335^1.5, 75.6 um, t+ 0.25", "derived")
put("bernardi_heat", 5 * N("0.2") + 5 * T * N("1e-4"),
    "W", "I (U-V) - I T dU/dT; 5 A discharge, 0.2 V, -0.1 mV/K, 298.15 K", "Bernardi et al. J. Electrochem. Soc. 132, 5 (1985)")
TIAN = "Tian et al. Nature Commun. 10, 1933 (2019), eq. 2"
for n in ("0.5", "1"):
    for r in ("0.01", "0.05", "0.1", "0.25", "0.5", "1", "2", "5", "10", "100"):
        u = N(r) ** N(n)
        put(f"rate_capacity_n{n}_r{r}", 1 - u * (1 - exp(-1 / u)), "1",
            f"1 - (R tau)^n (1 - exp(-(R tau)^-n)); n {n}, R tau {r}", TIAN)

# consistency of the derivation: the far-end formula against quadrature of the parabolas it came from


def far_end_by_quadrature(layers, D, tp, i):
    (ln, en), (ls, es), (lp, ep) = layers
    g = (1 - tp) * i / FARADAY
    dn, ds, dp = (D * e ** N("1.5") for e in (en, es, ep))
    edge = lambda z: g * z ** 2 / (2 * lp * dp)        # above the far end, z from the positive collector
    middle = lambda z: edge(lp) + g * z / ds
    near = lambda z: middle(ls) + g / dn * (z - z ** 2 / (2 * ln))
    excess = ep * quad(edge, [0, lp]) + es * quad(middle, [0, ls]) + en * quad(near, [0, ln])
    return 1000 - excess / (en * ln + es * ls + ep * lp)


assert abs(far_end_by_quadrature(LCO_LAYERS, D_CAPIGLIA, N("0.4"), IL) - (1000 - IL * end_drop(LCO_LAYERS,
    D_CAPIGLIA, N("0.4")))) < 1e-20


def main():
    folder = sys.argv[1] if len(sys.argv) > 1 else os.path.dirname(os.path.abspath(__file__))
    with open(os.path.join(folder, "worked_numbers.csv"), "w", newline="") as f:
        writer = csv.writer(f, lineterminator="\n")
        writer.writerow(("name", "value", "unit", "formula", "source"))
        writer.writerows(ROWS)


if __name__ == "__main__":
    main()
