#pragma once

#include <cmath>

#include "model/cell.hpp"

/// A cell for tests of physics and numerics that need no file: NMC811 against graphite-SiOx,
/// C.-H. Chen et al., J. Electrochem. Soc. 167, 080534 (2020); conductivity at 1 mol/L after Nyman et al., Electrochim.
/// Acta 53, 6356 (2008). All values from memory. Started from the printed initial concentrations.
namespace onegrain::tests {

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

}  // namespace onegrain::tests
