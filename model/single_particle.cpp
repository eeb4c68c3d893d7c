#include "model/single_particle.hpp"

#include <algorithm>
#include <cmath>

#include "model/kinetics.hpp"

namespace onegrain::model {

namespace {
double third_of(const Electrode& layer) { return layer.thickness / 3 * layer.tortuosity / layer.porosity; }
double electronic(const Electrode& layer) {
  return layer.electronic_conductivity > 0 ? layer.thickness / (3 * layer.electronic_conductivity) : 0.0;
}
}  // namespace

SingleParticle::SingleParticle(const Cell& cell, int positive_modes, int negative_modes)
    : cell_(cell),
      positive_(GrainModes::of(positive_modes), cell.positive.particle_radius, cell.positive.host.diffusivity),
      positive_capacity_(cell.positive.capacity()),
      negative_capacity_(1),
      positive_outflow_(1 / (cell.positive.roughness() * faraday_constant * cell.positive.host.maximum_concentration)),
      negative_outflow_(0),
      electrolyte_resistance_(0),
      electronic_resistance_(electronic(cell.positive)) {
  if (cell_.negative) {
    const Electrode& n = *cell_.negative;
    negative_.emplace(GrainModes::of(negative_modes), n.particle_radius, n.host.diffusivity);
    negative_capacity_ = n.capacity();
    negative_outflow_ = -1 / (n.roughness() * faraday_constant * n.host.maximum_concentration);
    electronic_resistance_ += electronic(n);
  }
  electrolyte_resistance_ = electrolyte_resistance(cell_.temperature);
}

double SingleParticle::electrolyte_resistance(double T) const {
  if (electrolyte_resistance_ > 0 && T == cell_.temperature) return electrolyte_resistance_;
  const Separator& s = cell_.separator;
  double path = s.thickness * s.tortuosity / s.porosity + third_of(cell_.positive);
  if (cell_.negative) path += third_of(*cell_.negative);
  return path / cell_.electrolyte.conductivity(cell_.electrolyte.concentration, T);
}

Terminal SingleParticle::terminal(double x_p, double x_n, double i, double T) const {
  Terminal t{};
  const double c = cell_.electrolyte.concentration;

  const Electrode& p = cell_.positive;
  const Property::Value U_p = p.host.potential.at(x_p, T);
  const ExchangeCurrent i0_p = exchange_current_density(p.host, x_p, c, T);
  const double surface_p = p.roughness();
  const Overpotential eta_p =
      butler_volmer(i / surface_p, i0_p.value, T, p.host.anodic_transfer, p.host.cathodic_transfer);
  t.positive_potential = U_p.value;
  t.positive_overpotential = eta_p.value;
  t.by_positive_surface = U_p.by_composition + eta_p.by_exchange * i0_p.by_stoichiometry;
  t.by_current = eta_p.by_current / surface_p;

  if (cell_.negative) {
    const Electrode& n = *cell_.negative;
    const Property::Value U_n = n.host.potential.at(x_n, T);
    const ExchangeCurrent i0_n = exchange_current_density(n.host, x_n, c, T);
    const double surface_n = n.roughness();
    const Overpotential eta_n =
        butler_volmer(-i / surface_n, i0_n.value, T, n.host.anodic_transfer, n.host.cathodic_transfer);
    t.negative_potential = U_n.value;
    t.negative_overpotential = eta_n.value;
    t.by_negative_surface = -(U_n.by_composition + eta_n.by_exchange * i0_n.by_stoichiometry);
    t.by_current += eta_n.by_current / surface_n;
  } else {
    const LithiumMetal& lithium = *cell_.counter;
    const Overpotential eta = butler_volmer(-i, exchange_current_density(lithium, c, T).value, T,
                                            lithium.anodic_transfer, lithium.cathodic_transfer);
    t.negative_overpotential = eta.value;
    t.by_current += eta.by_current;
  }

  const double ionic = electrolyte_resistance(T);
  t.electrolyte = i * ionic;
  t.electronic = i * electronic_resistance_;
  t.contact = i * cell_.contact_resistance;
  t.by_current += ionic + electronic_resistance_ + cell_.contact_resistance;
  t.voltage = t.positive_potential + t.positive_overpotential - t.negative_potential - t.negative_overpotential +
              t.electrolyte + t.electronic + t.contact;
  return t;
}

double SingleParticle::current_at_voltage(double x_p, double x_n, double V, double T, double guess) const {
  double i = guess;
  double below = -1e300, above = 1e300;  // bracket of the root, from the signs met
  for (int k = 0; k < 100; ++k) {
    const Terminal t = terminal(x_p, x_n, i, T);
    const double excess = t.voltage - V;
    const double step = -excess / t.by_current;
    if (std::abs(step) <= 1e-14 * std::max(std::abs(i), 1e-9)) return i + step;
    (excess > 0 ? above : below) = i;
    i = i + step > below && i + step < above ? i + step : 0.5 * (below + above);
  }
  return i;
}

}  // namespace onegrain::model
