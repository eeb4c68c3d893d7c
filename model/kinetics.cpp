#include "model/kinetics.hpp"

#include <algorithm>
#include <cmath>

#include "model/root_search.hpp"

namespace onegrain::model {

namespace {

constexpr double closest = 1e-9;                 // of a surface stoichiometry to 0 and 1, see room()
constexpr double least_concentration = 1e-3;     // mol/m3
constexpr double reference_concentration = 1e3;  // mol/m3

/// u with exp(aa u) - exp(-ac u) = s for s > 0. Newton on the logarithm of the left side,
/// h(u) = aa u + ln(1 - exp(-(aa + ac) u)) - ln s, which rises and is concave: from the first iterate left of the root
/// on, the iterates climb to it without overstepping; one that would leave the positive numbers is halved instead.
double reduced_overpotential(double s, double aa, double ac) {
  const double sum = aa + ac;
  const double ln_s = std::log(s);
  const auto h = [=](double u) -> ValueAndSlope {
    const double decayed = std::exp(-sum * u), risen = -std::expm1(-sum * u);
    return {aa * u + std::log(risen) - ln_s, aa + sum * decayed / risen};
  };
  const double guess = std::min(std::asinh(s / 2) / std::max(aa, ac), s / sum);  // hyperbolic, linear
  return newton_root(h, guess, {.argument = 0, .value = 1e-15 * (1 + std::abs(ln_s))}, 0);
}

/// The share of sites that are left, x or 1 - x, kept above zero without a kink: (x + sqrt(x^2 + 4 d^2)) / 2, d = 1e-9.
/// From 1e-4 on it is x to 1e-10; an integrator that follows a grain to its last site meets a smooth wall.
ValueAndSlope room(double x) {
  const double root = std::sqrt(x * x + 4 * closest * closest);
  return x >= 0 ? ValueAndSlope{0.5 * (x + root), 0.5 * (1 + x / root)}
                : ValueAndSlope{2 * closest * closest / (root - x), 2 * closest * closest / (root - x) / root};
}

}  // namespace

Overpotential butler_volmer(double i_s, double i0, double T, double aa, double ac) {
  const double thermal_voltage = gas_constant * T / faraday_constant;
  const double s = i_s / i0;
  double u, u_by_s;
  if (aa == 0.5 && ac == 0.5) {
    u = 2 * std::asinh(s / 2);
    u_by_s = 1 / std::sqrt(1 + s * s / 4);
  } else {
    // a cathodic current is an anodic one with the two coefficients exchanged
    u = s == 0 ? 0.0 : s > 0 ? reduced_overpotential(s, aa, ac) : -reduced_overpotential(-s, ac, aa);
    u_by_s = 1 / (aa * std::exp(aa * u) + ac * std::exp(-ac * u));
  }
  return {thermal_voltage * u, thermal_voltage * u_by_s / i0, -thermal_voltage * u_by_s * s / i0,
          gas_constant / faraday_constant * u};
}

ExchangeCurrent exchange_current_density(const Host& host, double x, double c, double T) {
  const double aa = host.anodic_transfer, ac = host.cathodic_transfer;
  const Property::Value reference = host.exchange_current_density.at(0.5, T);
  const ValueAndSlope filled = room(x), free = room(1 - x);
  const double salt = std::max(c, least_concentration);
  double shape;
  if (aa == 0.5 && ac == 0.5) {
    shape = 2 * std::sqrt(salt / reference_concentration * filled.value * free.value);
  } else {
    shape = std::pow(salt / reference_concentration * 2 * free.value, aa) * std::pow(2 * filled.value, ac);
  }
  const double value = reference.value * shape;
  return {value, value * (ac * filled.slope / filled.value - aa * free.slope / free.value),
          salt == c ? value * aa / salt : 0.0, reference.by_temperature * shape};
}

ExchangeCurrent exchange_current_density(const LithiumMetal& lithium, double c, double T) {
  const Property::Value reference = lithium.exchange_current_density.at(0.5, T);
  const double salt = std::max(c, least_concentration);
  const double shape = std::pow(salt / reference_concentration, lithium.anodic_transfer);
  const double value = reference.value * shape;
  return {value, 0, salt == c ? value * lithium.anodic_transfer / salt : 0.0, reference.by_temperature * shape};
}

}  // namespace onegrain::model
