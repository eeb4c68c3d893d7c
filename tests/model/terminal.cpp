// The terminal voltage and its parts, for given currents and surface stoichiometries.

#include <cmath>

#include "model/balance.hpp"
#include "model/kinetics.hpp"
#include "model/single_particle.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"

using namespace onegrain::model;
using onegrain::tests::published_cell;

namespace {
constexpr double T_ref = 298.15;

double lco_potential(double y) {
  const double s = 1.062 * y;
  return 2.16216 + 0.07645 * std::tanh(30.834 - 54.4806 * s) + 2.1581 * std::tanh(52.294 - 50.294 * s) -
         0.14169 * std::tanh(11.0923 - 19.8543 * s) + 0.2051 * std::tanh(1.4684 - 5.4888 * s) +
         0.2531 * std::tanh((0.56478 - s) / 0.1316) - 0.02167 * std::tanh((s - 0.525) / 0.006);
}
double graphite_potential(double x) {
  return 0.194 + 1.5 * std::exp(-120 * x) + 0.0351 * std::tanh((x - 0.286) / 0.083) -
         0.0045 * std::tanh((x - 0.849) / 0.119) - 0.035 * std::tanh((x - 0.9233) / 0.05) -
         0.0147 * std::tanh((x - 0.5) / 0.034) - 0.102 * std::tanh((x - 0.194) / 0.142) -
         0.022 * std::tanh((x - 0.9) / 0.0164) - 0.011 * std::tanh((x - 0.124) / 0.0226) +
         0.0155 * std::tanh((x - 0.105) / 0.029);
}

/// LiCoO2 | graphite: S. G. Marquis et al., J. Electrochem. Soc. 166, A3693 (2019), conductivity after Capiglia et al.,
/// J. Power Sources 81-82, 859 (1999); all values from memory. 1C = 24 A/m2; starts at x = 0.8, y = 0.6.
Cell lco_cell() {
  const auto curve = [](double (*f)(double)) {
    return Curve::approximation(f, 0.001, 0.999, 1e-10, Curve::Beyond::tangent);
  };
  Cell cell = published_cell();
  const double root_c = std::sqrt(1000.0), tau = 1 / std::sqrt(0.3);
  cell.positive.host.potential = OpenCircuitPotential(Property(curve(lco_potential)));
  cell.positive.host.maximum_concentration = 51218;
  cell.positive.host.exchange_current_density = Property::constant(6e-7 * root_c * 51218 / 2);
  cell.negative->host.potential = OpenCircuitPotential(Property(curve(graphite_potential)));
  cell.negative->host.maximum_concentration = 24983;
  cell.negative->host.exchange_current_density = Property::constant(2e-5 * root_c * 24983 / 2);
  for (Electrode* layer : {&cell.positive, &*cell.negative}) {
    layer->thickness = 100e-6;
    layer->porosity = 0.3;
    layer->tortuosity = tau;
    layer->particle_radius = 10e-6;
  }
  cell.positive.active_fraction = 0.5;
  cell.negative->active_fraction = 0.6;
  cell.positive.electronic_conductivity = 10;
  cell.negative->electronic_conductivity = 100;
  cell.separator = {25e-6, 1, 1};
  cell.electrolyte.conductivity = Property::constant(0.0911 + 1.9101 - 1.052 + 0.1554);
  cell.inventory = {0.6, 0.8};
  return cell;
}
}  // namespace

TEST_CASE("losses of the published LiCoO2 cell at 1C are those worked out by hand", "[model][terminal]") {
  // Numbers computed apart from this code from the same parameters, with the digits shown.
  const SingleParticle model(lco_cell(), 4, 4);
  const Terminal rest = model.terminal(0.6, 0.8, 0, T_ref);
  CHECK_THAT(rest.voltage, WithinAbs(3.85182, 5e-6));
  CHECK_THAT(model.positive_capacity() / 3600, WithinAbs(68.636, 5e-4));  // Ah/m2
  CHECK_THAT(model.negative_capacity() / 3600, WithinAbs(40.175, 5e-4));
  const Terminal discharge = model.terminal(0.6, 0.8, -24, T_ref);
  CHECK_THAT(discharge.electrolyte, WithinAbs(-9.36e-3, 5e-6));
  CHECK_THAT(discharge.electronic, WithinAbs(-0.09e-3, 5e-6));
  CHECK_THAT(discharge.positive_overpotential, WithinAbs(-66.3e-3, 5e-5));
  CHECK_THAT(discharge.negative_overpotential, WithinAbs(+5.4e-3, 5e-5));
  CHECK_THAT(exchange_current_density(lco_cell().positive.host, 0.6, 1000, T_ref).value, WithinAbs(0.476, 5e-4));
  CHECK_THAT(exchange_current_density(lco_cell().negative->host, 0.8, 1000, T_ref).value, WithinAbs(6.32, 5e-3));
}

TEST_CASE("the parts of the terminal voltage sum to it", "[model][terminal]") {
  Cell cell = lco_cell();
  cell.contact_resistance = 12e-4;  // 12 ohm cm2
  const SingleParticle model(cell, 4, 4);
  for (const double i : {-120.0, -24.0, 0.0, 3.0, 60.0}) {
    const Terminal t = model.terminal(0.7, 0.4, i, T_ref);
    CHECK_THAT(t.voltage, WithinAbs(t.positive_potential + t.positive_overpotential - t.negative_potential -
                                        t.negative_overpotential + t.electrolyte + t.electronic + t.contact,
                                    1e-14));
    CHECK_THAT(t.contact, WithinAbs(12e-4 * i, 1e-15));
    CHECK_THAT(t.electrolyte, WithinAbs(model.electrolyte_resistance(T_ref) * i, 1e-15));
    CHECK_THAT(t.electronic, WithinAbs(model.electronic_resistance() * i, 1e-15));
    // charging costs voltage, discharging loses it: every part has the sign of the current
    for (const double part :
         {t.positive_overpotential, -t.negative_overpotential, t.electrolyte, t.electronic, t.contact}) {
      CHECK(part * i >= 0);
    }
  }
}

TEST_CASE("without current the terminals show the equilibrium voltage", "[model][terminal]") {
  const Cell cell = published_cell();
  const SingleParticle model(cell, 4, 4);
  for (const double T : {263.15, T_ref, 318.15}) {
    const Terminal t = model.terminal(0.5, 0.6, 0, T);
    CHECK_THAT(t.voltage, WithinAbs(equilibrium_voltage(cell, {0.5, 0.6}, T), 1e-15));
    CHECK(t.positive_overpotential == 0);
    CHECK(t.negative_overpotential == 0);
  }
}

TEST_CASE("each electrode carries the current on the surface of its grains", "[model][terminal]") {
  // C.-H. Chen et al. 2020, from memory; numbers computed apart from this code with the digits shown: a = 3 eps / R,
  // 1C = 48.685 A/m2 of plate is 1.488 and 1.685 A/m2 of graphite and oxide.
  const Cell cell = published_cell();
  CHECK_THAT(cell.negative->specific_surface(), WithinRel(3.8396e5, 2e-5));
  CHECK_THAT(cell.positive.specific_surface(), WithinRel(3.8218e5, 2e-5));
  const double i = -48.685;
  CHECK_THAT(i / cell.negative->roughness(), WithinAbs(-1.488, 5e-4));
  CHECK_THAT(i / cell.positive.roughness(), WithinAbs(-1.685, 1e-3));
  const SingleParticle model(cell, 4, 4);
  const Terminal t = model.terminal(0.27, 0.9, i, T_ref);
  const double thermal = gas_constant * T_ref / faraday_constant;
  CHECK_THAT(
      t.positive_overpotential,
      WithinRel(
          2 * thermal * std::asinh(-1.685 / 2 / exchange_current_density(cell.positive.host, 0.27, 1000, T_ref).value),
          1e-3));
  CHECK_THAT(
      t.negative_overpotential,
      WithinRel(
          2 * thermal * std::asinh(1.488 / 2 / exchange_current_density(cell.negative->host, 0.9, 1000, T_ref).value),
          1e-3));
  // j = 1.5425e-5 and 1.7464e-5 mol/m2/s out of negative and into positive on discharge
  CHECK_THAT(model.negative_outflow() * i * 33133, WithinRel(1.5425e-5, 1e-4));
  CHECK_THAT(model.positive_outflow() * i * 63104, WithinRel(-1.7464e-5, 1e-4));
}

TEST_CASE("what leaves one electrode enters the other", "[model][terminal]") {
  const SingleParticle model(lco_cell(), 4, 4);
  const Cell& cell = model.cell();
  for (const double q : {-5e4, 0.0, 3e4}) {
    CHECK_THAT(model.positive_mean(q) * model.positive_capacity() + model.negative_mean(q) * model.negative_capacity(),
               WithinRel(0.6 * model.positive_capacity() + 0.8 * model.negative_capacity(), 1e-14));
  }
  // dmean/dt = -3 outflow / R is the current over the capacity
  CHECK_THAT(3 * model.positive_outflow() / cell.positive.particle_radius,
             WithinRel(1 / model.positive_capacity(), 1e-13));
  CHECK_THAT(3 * model.negative_outflow() / cell.negative->particle_radius,
             WithinRel(-1 / model.negative_capacity(), 1e-13));
}

TEST_CASE("the derivatives of the terminal voltage are those of its values", "[model][terminal]") {
  Cell full = lco_cell();
  full.contact_resistance = 3e-4;
  full.positive.host.anodic_transfer = 0.3;
  full.positive.host.cathodic_transfer = 0.7;
  Cell half = full;
  half.negative.reset();
  half.counter = LithiumMetal{Property::constant(8.1), 0.6, 0.4};
  for (const Cell& cell : {full, half}) {
    const SingleParticle model(cell, 4, 4);
    for (const double i : {-200.0, -10.0, 0.5, 90.0}) {
      for (const double x : {0.2, 0.55, 0.93}) {
        CAPTURE(i, x, cell.is_full_cell());
        const Terminal t = model.terminal(x, 1 - x, i, T_ref);
        const double di = 1e-4, dx = 1e-6;
        const auto V = [&](double x_p, double x_n, double current) {
          return model.terminal(x_p, x_n, current, T_ref).voltage;
        };
        CHECK(t.by_current > 0);
        CHECK_THAT(t.by_current, WithinRel((V(x, 1 - x, i + di) - V(x, 1 - x, i - di)) / (2 * di), 1e-6));
        CHECK_THAT(t.by_positive_surface, WithinAbs((V(x + dx, 1 - x, i) - V(x - dx, 1 - x, i)) / (2 * dx), 1e-6));
        CHECK_THAT(t.by_negative_surface, WithinAbs((V(x, 1 - x + dx, i) - V(x, 1 - x - dx, i)) / (2 * dx), 1e-6));
        // At the separator side it is the surface of the lithiated electrode that counts.
        const double dp = cell.is_full_cell() ? 0 : dx, dn = cell.is_full_cell() ? dx : 0;
        const auto E = [&](double x_p, double x_n, double current) {
          return model.terminal(x_p, x_n, current, T_ref).separator_side;
        };
        CHECK_THAT(t.separator_side_by_surface,
                   WithinAbs((E(x + dp, 1 - x + dn, i) - E(x - dp, 1 - x - dn, i)) / (2 * dx), 1e-6));
        CHECK_THAT(t.separator_side_by_current,
                   WithinRel((E(x, 1 - x, i + di) - E(x, 1 - x, i - di)) / (2 * di), 1e-6));
      }
    }
  }
}

TEST_CASE("a coating shows the same at its separator side in a half cell as in a full one", "[model][terminal]") {
  // The same coating takes lithium up as the negative of a full cell and as the working electrode of a half cell. In
  // the steady state the flux of salt at each depth is the same, and with it, for small currents, every drop of
  // potential.
  Cell full = lco_cell();
  full.electrolyte.diffusivity = Property::constant(3e-10);
  full.electrolyte.transference_number = Property::constant(0.3);
  full.electrolyte.thermodynamic_factor = Property::constant(1);
  Cell half = full;
  half.positive = *full.negative;
  half.negative.reset();
  half.counter = LithiumMetal{Property::constant(8.1)};
  const double i = 0.1, x = 0.6;
  const auto at_steady_state = [&](const Cell& cell, double current) {
    const SingleParticle model(cell, 4, 4, 8);
    const Salt& salt = *model.salt();
    const Eigen::VectorXd b = ((1 - 0.3) * salt.drive() * current / (3e-10 * salt.decay())).matrix();
    const Ionic ionic = salt.ionic(b, T_ref);
    return std::pair{model.terminal(x, x, current, T_ref, ionic).separator_side,
                     cell.is_full_cell() ? ionic.negative.concentration : ionic.positive.concentration};
  };
  const auto [in_full, part] = at_steady_state(full, i);
  const auto [in_half, part_in_half] = at_steady_state(half, -i);
  CHECK(std::abs(part) > 1e-5);  // the salt has its share
  CHECK_THAT(in_full, WithinAbs(in_half, 0.02 * std::abs(part)));
  CHECK_THAT(part, WithinRel(-part_in_half, 0.02));  // each counts along its own voltage
  const double at_rest = at_steady_state(full, 1e-12).first;
  CHECK(in_full < at_rest - std::abs(part));  // lithiation pulls it towards lithium, salt included
}

TEST_CASE("one current and one only belongs to a voltage", "[model][terminal]") {
  const SingleParticle model(lco_cell(), 4, 4);
  for (const double i : {-2000.0, -24.0, -1e-6, 0.0, 1e-3, 7.0, 900.0}) {
    for (const double guess : {-1e4, 0.0, 24.0, 1e5}) {
      CAPTURE(i, guess);
      const double V = model.terminal(0.62, 0.7, i, T_ref).voltage;
      // 4 V hold 4e-16 V, and 1 mV moves some A/m2
      CHECK_THAT(model.current_at_voltage(0.62, 0.7, V, T_ref, guess), WithinAbs(i, 1e-11 + 1e-12 * std::abs(i)));
    }
  }
}

TEST_CASE("a current belongs to a voltage however slow the charge transfer and wherever the search begins",
          "[model][terminal]") {
  // Found by random cells: where charge transfer bends far more than the ohmic part, Newton's method leaps between two
  // currents and never comes to the one in between. The voltage of the current found is the check.
  for (const double positive : {1.0, 0.1, 1e-2, 1e-3}) {
    for (const double negative : {1.0, 0.1, 1e-2, 3e-3, 1e-3}) {
      for (const double contact : {0.0, 3e-3, 1e-2}) {
        Cell cell = lco_cell();
        cell.contact_resistance = contact;
        cell.positive.host.exchange_current_density = cell.positive.host.exchange_current_density.scaled(positive);
        cell.negative->host.exchange_current_density = cell.negative->host.exchange_current_density.scaled(negative);
        const SingleParticle model(cell, 4, 4);
        for (const double i : {-600.0, -3.0, 0.0, 0.02, 40.0}) {
          const double V = model.terminal(0.62, 0.7, i, T_ref).voltage;
          for (const double guess : {-2e3, -500.0, -10.0, 0.0, 3.0, 200.0, 5e3, 1e6}) {
            CAPTURE(positive, negative, contact, i, guess);
            const double found = model.current_at_voltage(0.62, 0.7, V, T_ref, guess);
            CHECK_THAT(model.terminal(0.62, 0.7, found, T_ref).voltage, WithinAbs(V, 1e-12));
          }
        }
      }
    }
  }
}

TEST_CASE("a half cell shows the electrode under study against lithium, as worked out by hand", "[model][terminal]") {
  Cell cell = published_cell();
  cell.negative.reset();
  cell.counter = LithiumMetal{Property::constant(8.1)};  // J. Power Sources 68, 483 (1997): 0.81 mA/cm2
  cell.contact_resistance = 5e-4;
  const SingleParticle model(cell, 4, 4);
  CHECK(model.negative() == nullptr);
  const double i = -20, y = 0.5;
  const Terminal t = model.terminal(y, 0, i, T_ref);
  // by hand, with RT/F = 25.692579 mV and the conductivity 0.9487 S/m at 1 mol/L
  const double two_thermal = 51.385158e-3;
  const double U = onegrain::tests::nmc811_potential(0.5);
  const double aL = 3 * 0.665 / 5.22e-6 * 75.6e-6;
  const double eta_p = two_thermal * std::asinh(i / aL / (2 * 3.42e-6 * std::sqrt(1000.0) * 63104 / 2));
  const double eta_lithium = two_thermal * std::asinh(20 / (2 * 8.1));
  const double ohmic = i * ((12e-6 / std::pow(0.47, 1.5) + 75.6e-6 / 3 / std::pow(0.335, 1.5)) / 0.9487 + 5e-4);
  CHECK_THAT(t.voltage, WithinAbs(U + eta_p - eta_lithium + ohmic, 1e-9));  // the digits of RT/F
  CHECK(t.negative_potential == 0);
  CHECK_THAT(t.negative_overpotential, WithinAbs(eta_lithium, 1e-9));
  CHECK(t.by_negative_surface == 0);
}

TEST_CASE("a better conductor loses less, a longer path more", "[model][terminal]") {
  const Cell cell = published_cell();
  const double loss = SingleParticle(cell, 4, 4).electrolyte_resistance(T_ref);
  Cell other = cell;
  other.electrolyte.conductivity = cell.electrolyte.conductivity.scaled(2);
  CHECK_THAT(SingleParticle(other, 4, 4).electrolyte_resistance(T_ref), WithinRel(loss / 2, 1e-14));
  other = cell;
  for (Electrode* layer : {&other.positive, &*other.negative}) layer->thickness *= 3;
  other.separator.thickness *= 3;
  CHECK_THAT(SingleParticle(other, 4, 4).electrolyte_resistance(T_ref), WithinRel(3 * loss, 1e-14));
  // warmer: Arrhenius of the conductivity alone, also when asked at another temperature than that of the cell
  other = cell;
  other.electrolyte.conductivity = Property::constant(0.9487, 14e3);
  CHECK_THAT(SingleParticle(other, 4, 4).electrolyte_resistance(313.15),
             WithinRel(loss * std::exp(14e3 / gas_constant * (1 / 313.15 - 1 / 298.15)), 1e-12));
}
