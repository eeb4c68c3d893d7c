#include "model/single_particle.hpp"

#include <algorithm>
#include <cmath>

#include "model/kinetics.hpp"
#include "model/root_search.hpp"

namespace onegrain::model {

namespace {
double electronic(const Electrode& layer) {
  return layer.electronic_conductivity > 0 ? layer.thickness / (3 * layer.electronic_conductivity) : 0.0;
}

std::vector<Grain> grains_of(const Electrode& layer, int modes) {
  std::vector<Grain> grains;
  for (const GrainClass& its : layer.classes) {
    grains.emplace_back(GrainModes::of(modes), its.radius_ratio * layer.particle_radius,
                        layer.host_of(its).diffusivity);
  }
  return grains;
}
}  // namespace

SingleParticle::SingleParticle(const Cell& cell, int positive_modes, int negative_modes, int salt_degree)
    : cell_(cell),
      positive_(GrainModes::of(positive_modes), cell.positive.particle_radius, cell.positive.host.diffusivity),
      classes_p_(grains_of(cell.positive, positive_modes)),
      uniform_(uniform_ionic(cell, cell.temperature)),
      positive_capacity_(cell.positive.capacity()),
      negative_capacity_(1),
      positive_outflow_(1 / (cell.positive.roughness() * faraday_constant * cell.positive.host.maximum_concentration)),
      negative_outflow_(0),
      electronic_resistance_(electronic(cell.positive)) {
  if (cell_.negative) {
    const Electrode& n = *cell_.negative;
    negative_.emplace(GrainModes::of(negative_modes), n.particle_radius, n.host.diffusivity);
    classes_n_ = grains_of(n, negative_modes);
    negative_capacity_ = n.capacity();
    negative_outflow_ = -1 / (n.roughness() * faraday_constant * n.host.maximum_concentration);
    electronic_resistance_ += electronic(n);
  }
  if (salt_degree > 0) salt_.emplace(cell_, salt_degree);
}

Terminal SingleParticle::terminal(double x_p, double x_n, double i, double T, const Ionic& ionic) const {
  Terminal t{};
  const Electrode& p = cell_.positive;
  const Property::Value U_p = p.host.potential.at(x_p, T);
  const ExchangeCurrent i0_p = exchange_current_density(p.host, x_p, ionic.positive_salt, T);
  const double surface_p = p.roughness();
  const Overpotential eta_p =
      butler_volmer(i / surface_p, i0_p.value, T, p.host.anodic_transfer, p.host.cathodic_transfer);
  t.positive_potential = U_p.value;
  t.positive_overpotential = eta_p.value;
  t.by_positive_surface = U_p.by_composition + eta_p.by_exchange * i0_p.by_stoichiometry;
  t.by_positive_salt = eta_p.by_exchange * i0_p.by_concentration;
  t.by_current = eta_p.by_current / surface_p;
  t.by_positive_exchange = eta_p.by_exchange * i0_p.value;
  t.positive_area_share = -i * eta_p.by_current / surface_p;

  if (cell_.negative) {
    const Electrode& n = *cell_.negative;
    const Property::Value U_n = n.host.potential.at(x_n, T);
    const ExchangeCurrent i0_n = exchange_current_density(n.host, x_n, ionic.negative_salt, T);
    const double surface_n = n.roughness();
    const Overpotential eta_n =
        butler_volmer(-i / surface_n, i0_n.value, T, n.host.anodic_transfer, n.host.cathodic_transfer);
    t.negative_potential = U_n.value;
    t.negative_overpotential = eta_n.value;
    t.by_negative_surface = -(U_n.by_composition + eta_n.by_exchange * i0_n.by_stoichiometry);
    t.by_negative_salt = -eta_n.by_exchange * i0_n.by_concentration;
    t.by_current += eta_n.by_current / surface_n;
    t.by_negative_exchange = -eta_n.by_exchange * i0_n.value;
    t.negative_area_share = -i * eta_n.by_current / surface_n;
    // electronic(n) / 2 = L / (6 sigma): from the layer average to the separator side
    const double drop = ionic.negative.resistance - electronic(n) / 2;
    t.separator_side = U_n.value + eta_n.value - i * drop - ionic.negative.concentration;
    t.separator_side_by_current = -eta_n.by_current / surface_n - drop;
    t.separator_side_by_surface = -t.by_negative_surface;
    t.separator_side_by_salt = -t.by_negative_salt;
  } else {
    const LithiumMetal& lithium = *cell_.counter;
    const ExchangeCurrent i0 = exchange_current_density(lithium, ionic.negative_salt, T);
    const Overpotential eta = butler_volmer(-i, i0.value, T, lithium.anodic_transfer, lithium.cathodic_transfer);
    t.negative_overpotential = eta.value;
    t.by_negative_salt = -eta.by_exchange * i0.by_concentration;
    t.by_current += eta.by_current;
    t.by_negative_exchange = -eta.by_exchange * i0.value;
    const double drop = ionic.positive.resistance - electronic(p) / 2;
    t.separator_side = U_p.value + eta_p.value + i * drop + ionic.positive.concentration;
    t.separator_side_by_current = eta_p.by_current / surface_p + drop;
    t.separator_side_by_surface = t.by_positive_surface;
    t.separator_side_by_salt = t.by_positive_salt;
  }

  t.electrolyte = i * ionic.resistance();
  t.concentration = ionic.concentration();
  t.electronic = i * electronic_resistance_;
  t.contact = i * cell_.contact_resistance;
  t.by_current += ionic.resistance() + electronic_resistance_ + cell_.contact_resistance;
  t.voltage = t.positive_potential + t.positive_overpotential - t.negative_potential - t.negative_overpotential +
              t.electrolyte + t.concentration + t.electronic + t.contact;
  return t;
}

namespace {

/// 1e-23 A/m2 is no current; volts are sums of terms of a few volts, known to 2e-15 V.
constexpr NewtonAccuracy holding{.argument = 1e-23, .value = 2e-15};

}  // namespace

double SingleParticle::current_at_voltage(double x_p, double x_n, double V, double T, double guess,
                                          const Ionic& ionic) const {
  return newton_root(
      [&](double i) -> ValueAndSlope {
        const Terminal t = terminal(x_p, x_n, i, T, ionic);
        return {t.voltage - V, t.by_current};
      },
      guess, holding);
}

double SingleParticle::current_at_separator_side(double x_p, double x_n, double E, double T, double guess,
                                                 const Ionic& ionic) const {
  return newton_root(
      [&](double i) -> ValueAndSlope {
        const Terminal t = terminal(x_p, x_n, i, T, ionic);
        return {t.separator_side - E, t.separator_side_by_current};
      },
      guess, holding);
}

}  // namespace onegrain::model
