#include "model/kinetics.hpp"

#include <algorithm>
#include <cmath>

#include "model/root_search.hpp"

namespace onegrain::model {

namespace {

constexpr double closest = 1e-6;                 // of a surface stoichiometry to 0 and 1
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
  const double held = std::clamp(x, closest, 1 - closest);
  const double salt = std::max(c, least_concentration);
  double shape;
  if (aa == 0.5 && ac == 0.5) {
    shape = 2 * std::sqrt(salt / reference_concentration * held * (1 - held));
  } else {
    shape = std::pow(salt / reference_concentration * 2 * (1 - held), aa) * std::pow(2 * held, ac);
  }
  const double value = reference.value * shape;
  return {value, held == x ? value * (ac / held - aa / (1 - held)) : 0.0, salt == c ? value * aa / salt : 0.0,
          reference.by_temperature * shape};
}

ExchangeCurrent exchange_current_density(const LithiumMetal& lithium, double c, double T) {
  const Property::Value reference = lithium.exchange_current_density.at(0.5, T);
  const double salt = std::max(c, least_concentration);
  const double shape = std::pow(salt / reference_concentration, lithium.anodic_transfer);
  const double value = reference.value * shape;
  return {value, 0, salt == c ? value * lithium.anodic_transfer / salt : 0.0, reference.by_temperature * shape};
}

}  // namespace onegrain::model
