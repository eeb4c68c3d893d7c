#pragma once

#include <cmath>

#include "model/cell.hpp"

/// Cells from papers, for tests and benchmarks of physics and numerics that need no file. All values are from memory of
/// the papers named here.
namespace onegrain::tests {

/// NMC811 | graphite-SiOx: C.-H. Chen et al., J. Electrochem. Soc. 167, 080534 (2020); conductivity at 1 mol/L after A.
/// Nyman et al., Electrochim. Acta 53, 6356 (2008). Started from the printed initial concentrations.
inline constexpr double published_plate_area = 0.1027;               // m2
inline constexpr double published_one_c = 5 / published_plate_area;  // A/m2: 5 A

inline double nmc811_potential(double y) {
  return -0.8090 * y + 4.4875 - 0.0428 * std::tanh(18.5138 * (y - 0.5542)) -
         17.7326 * std::tanh(15.7890 * (y - 0.3117)) + 17.5842 * std::tanh(15.9308 * (y - 0.3120));
}
inline double graphite_siox_potential(double x) {
  return 1.9793 * std::exp(-39.3631 * x) + 0.2482 - 0.0909 * std::tanh(29.8538 * (x - 0.1234)) -
         0.04478 * std::tanh(14.9159 * (x - 0.2769)) - 0.0205 * std::tanh(30.4444 * (x - 0.6103));
}

/// @param varying  diffusivities that change by a factor e^2 across the window instead of constant ones
inline model::Cell published_cell(bool varying = false) {
  using namespace model;
  const auto curve = [](double (*f)(double)) { return Curve::approximation(f, 0, 1, 1e-10, Curve::Beyond::tangent); };
  const double c_p = 63104, c_n = 33133, root_c = std::sqrt(1000.0);
  const auto D_p = [](double x) { return 4e-15 * std::exp(2 * (x - 0.27) / (0.86 - 0.27) - 1); };
  const auto D_n = [](double x) { return 3.3e-14 * std::exp(1 - 2 * (x - 0.03) / (0.90 - 0.03)); };
  Host positive{
      OpenCircuitPotential(Property(curve(nmc811_potential))),
      varying ? Property(Curve::approximation(D_p, 0, 1, 1e-24, Curve::Beyond::hold)) : Property::constant(4e-15), c_p,
      Property::constant(3.42e-6 * root_c * c_p / 2)};
  Host negative{
      OpenCircuitPotential(Property(curve(graphite_siox_potential))),
      varying ? Property(Curve::approximation(D_n, 0, 1, 1e-23, Curve::Beyond::hold)) : Property::constant(3.3e-14),
      c_n, Property::constant(6.48e-7 * root_c * c_n / 2)};
  return Cell{.plate_area = published_plate_area,
              .temperature = 298.15,
              .contact_resistance = 0,
              .lower_voltage = 2.5,
              .upper_voltage = 4.2,
              .positive = {positive, 75.6e-6, 0.665, 0.335, 1 / std::sqrt(0.335), 5.22e-6},
              .negative = Electrode{negative, 85.2e-6, 0.75, 0.25, 1 / std::sqrt(0.25), 5.86e-6},
              .counter = {},
              .separator = {12e-6, 0.47, 1 / std::sqrt(0.47)},
              .electrolyte = {1000, Property::constant(0.1297 - 2.51 + 3.329), Property::constant(1.7694e-10),
                              Property::constant(0.2594), Property::constant(1)},
              .thermal = {},
              .inventory = {17038 / c_p, 29866 / c_n},
              .charged_state = {},
              .rated_capacity = 5 * 3600 / published_plate_area};
}

/// A property of salt concentration written for c in mol/L; known to 3 mol/L, held beyond.
inline model::Property salt_property(double (*f)(double), double tolerance) {
  return model::Property(model::Curve::approximation([f](double c) { return f(c / 1000); }, 0, 3000, tolerance,
                                                     model::Curve::Beyond::hold));
}

/// NMC811 | graphite-SiOx: C.-H. Chen et al., J. Electrochem. Soc. 167, 080534 (2020), with the electrolyte of A.
/// Nyman, M. Behm, G. Lindbergh, Electrochim. Acta 53, 6356 (2008), measured to 2 mol/L. 2.5 to 4.2 V. 1C = 5 A
/// = 48.685 A/m2.
inline model::Cell nmc811_graphite_siox() {
  model::Cell cell = published_cell();
  cell.positive.electronic_conductivity = 0.18;
  cell.negative->electronic_conductivity = 215;
  cell.electrolyte.conductivity =
      salt_property([](double c) { return 0.1297 * c * c * c - 2.51 * c * std::sqrt(c) + 3.329 * c; }, 1e-9);
  cell.electrolyte.diffusivity =
      salt_property([](double c) { return 8.794e-11 * c * c - 3.972e-10 * c + 4.862e-10; }, 1e-19);
  cell.electrolyte.transference_number = model::Property::constant(0.2594);
  cell.electrolyte.thermodynamic_factor = model::Property::constant(1);
  cell.charged_state = cell.inventory;
  return cell;
}

/// LiCoO2 | graphite: S. G. Marquis et al., J. Electrochem. Soc. 166, A3693 (2019), arXiv:1905.12553, with the
/// electrolyte of C. Capiglia et al., J. Power Sources 81-82, 859 (1999). 1C = 24 A/m2. The voltage limits of the paper
/// are not remembered: 3.1 to 4.1 V here are invented.
inline model::Cell lco_graphite() {
  using namespace model;
  const auto potential = [](double (*f)(double)) {
    return OpenCircuitPotential(Property(Curve::approximation(f, 0, 1, 1e-10, Curve::Beyond::tangent)));
  };
  const auto graphite = [](double x) {
    return 0.194 + 1.5 * std::exp(-120 * x) + 0.0351 * std::tanh((x - 0.286) / 0.083) -
           0.0045 * std::tanh((x - 0.849) / 0.119) - 0.035 * std::tanh((x - 0.9233) / 0.05) -
           0.0147 * std::tanh((x - 0.5) / 0.034) - 0.102 * std::tanh((x - 0.194) / 0.142) -
           0.022 * std::tanh((x - 0.9) / 0.0164) - 0.011 * std::tanh((x - 0.124) / 0.0226) +
           0.0155 * std::tanh((x - 0.105) / 0.029);
  };
  const auto cobalt_oxide = [](double x) {
    const double s = 1.062 * x;
    return 2.16216 + 0.07645 * std::tanh(30.834 - 54.4806 * s) + 2.1581 * std::tanh(52.294 - 50.294 * s) -
           0.14169 * std::tanh(11.0923 - 19.8543 * s) + 0.2051 * std::tanh(1.4684 - 5.4888 * s) +
           0.2531 * std::tanh((0.56478 - s) / 0.1316) - 0.02167 * std::tanh((s - 0.525) / 0.006);
  };
  const double c_p = 51218, c_n = 24983, root_c = std::sqrt(1000.0), tortuosity = 1 / std::sqrt(0.3);
  const Host positive{.potential = potential(cobalt_oxide),
                      .diffusivity = Property::constant(1e-13),
                      .maximum_concentration = c_p,
                      .exchange_current_density = Property::constant(6e-7 * root_c * c_p / 2),
                      .stress = {}};
  const Host negative{.potential = potential(graphite),
                      .diffusivity = Property::constant(3.9e-14),
                      .maximum_concentration = c_n,
                      .exchange_current_density = Property::constant(2e-5 * root_c * c_n / 2),
                      .stress = {}};
  return Cell{
      .plate_area = 1e-2,  // free choice
      .temperature = 298.15,
      .contact_resistance = 0,
      .lower_voltage = 3.1,
      .upper_voltage = 4.1,
      .positive = {positive, 100e-6, 0.5, 0.3, tortuosity, 10e-6, 10},
      .negative = Electrode{negative, 100e-6, 0.6, 0.3, tortuosity, 10e-6, 100},
      .counter = {},
      .separator = {25e-6, 1, 1},
      .electrolyte = {1000,
                      salt_property([](double c) { return 0.0911 + 1.9101 * c - 1.052 * c * c + 0.1554 * c * c * c; },
                                    1e-9),
                      salt_property([](double c) { return 5.34e-10 * std::exp(-0.65 * c); }, 1e-19),
                      Property::constant(0.4), Property::constant(1)},
      .thermal = {},
      .inventory = {0.6, 0.8},
      .charged_state = Stoichiometries{0.6, 0.8},
      .rated_capacity = 24 * 3600.0};
}

}  // namespace onegrain::tests
