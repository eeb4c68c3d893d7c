#pragma once

#include <cmath>

#include "model/cell.hpp"
#include "tests/published_cell.hpp"

/// Two cells from papers with their electrolytes, complete enough for the porous-electrode calculation. All values are
/// from memory of the papers named here.
namespace onegrain::benchmarks {

/// A property of salt concentration written for c in mol/L; known to 3 mol/L, held beyond.
inline model::Property salt_property(double (*f)(double), double tolerance) {
  return model::Property(model::Curve::approximation([f](double c) { return f(c / 1000); }, 0, 3000, tolerance,
                                                     model::Curve::Beyond::hold));
}

/// NMC811 | graphite-SiOx: C.-H. Chen et al., J. Electrochem. Soc. 167, 080534 (2020), with the electrolyte of A.
/// Nyman, M. Behm, G. Lindbergh, Electrochim. Acta 53, 6356 (2008), measured to 2 mol/L. 2.5 to 4.2 V. 1C = 5 A
/// = 48.685 A/m2.
inline model::Cell nmc811_graphite_siox() {
  model::Cell cell = tests::published_cell();
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

}  // namespace onegrain::benchmarks
