#include "solver/step/trust.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <sstream>

#include "solver/step/curves.hpp"

namespace onegrain::solver {

namespace {

std::string percent(double share) { return std::to_string(static_cast<int>(std::lround(100 * share))) + " %"; }

std::string seconds(double t) {
  std::ostringstream text;
  text.precision(1);
  text << t << " s";
  return text.str();
}

/// Largest resistance of a layer for the current that crosses it: ionic plus electronic [ohm m2].
double layer_resistance(const model::Electrode& e, double kappa) {
  double r = e.thickness * e.tortuosity / (e.porosity * kappa);
  if (e.electronic_conductivity > 0) r += e.thickness / e.electronic_conductivity;
  return r;
}

/// Up to which concentration all properties of an electrolyte are known [mol/m3].
double most_salt_known(const model::Electrolyte& e) {
  double most = std::numeric_limits<double>::infinity();
  for (const model::Property* p : {&e.conductivity, &e.diffusivity, &e.transference_number, &e.thermodynamic_factor})
    if (!p->curve().is_constant()) most = std::min(most, p->curve().upper());
  return most;
}

std::string moles_per_litre(double c) {
  std::ostringstream text;
  text.precision(3);
  text << 1e-3 * c << " mol/L";
  return text.str();
}

/// Slowest time of the salt, L^2 / (pi^2 D_eff) for layers in a row [s].
double salt_time(const model::Cell& cell, double T) {
  double pores = 0, resistance = 0;
  const auto add = [&](double L, double porosity, double tortuosity) {
    pores += porosity * L;
    resistance += L * tortuosity / porosity;
  };
  if (cell.negative) add(cell.negative->thickness, cell.negative->porosity, cell.negative->tortuosity);
  add(cell.separator.thickness, cell.separator.porosity, cell.separator.tortuosity);
  add(cell.positive.thickness, cell.positive.porosity, cell.positive.tortuosity);
  constexpr double pi = 3.141592653589793;
  return pores * resistance / (pi * pi * cell.electrolyte.diffusivity(cell.electrolyte.concentration, T));
}

}  // namespace

double limiting_current(const model::Cell& cell, bool charge, double T) {
  const model::Electrolyte& e = cell.electrolyte;
  const double c0 = e.concentration;
  const double D = e.diffusivity(c0, T), t = e.transference_number(c0, T);
  if (!(1 - t > 0)) return std::numeric_limits<double>::infinity();
  struct Layer {
    double pores, thickness, D;
    bool electrode;
  };
  std::vector<Layer> layers;
  const auto add = [&](double L, double porosity, double tortuosity, bool electrode) {
    layers.push_back({porosity * L, L, D * porosity / tortuosity, electrode});
  };
  if (cell.negative) add(cell.negative->thickness, cell.negative->porosity, cell.negative->tortuosity, true);
  add(cell.separator.thickness, cell.separator.porosity, cell.separator.tortuosity, false);
  add(cell.positive.thickness, cell.positive.porosity, cell.positive.tortuosity, true);
  if (!charge) std::reverse(layers.begin(), layers.end());  // from the end that runs out of salt

  // Rise of c from the far end per unit of (1 - t) i / F. The share of the current w carried by the ions rises from 0
  // to 1 across the first electrode, and falls from 1 to 0 across the last; dc/dx = w / D.
  double level = 0, weighted = 0, pores = 0;
  for (std::size_t k = 0; k < layers.size(); ++k) {
    const Layer& l = layers[k];
    const double full = l.thickness / l.D;
    double rise = full, mean_rise = full / 2;  // separator: w = 1
    if (l.electrode && k == 0) {
      rise = full / 2;
      mean_rise = full / 6;
    } else if (l.electrode) {
      rise = full / 2;
      mean_rise = full / 3;
    }
    weighted += l.pores * (level + mean_rise);
    pores += l.pores;
    level += rise;
  }
  return c0 * model::faraday_constant / (1 - t) * pores / weighted;
}

Trust judge(const StepSolution& step, const TrustLimits& limits) {
  const model::SingleParticle& m = step.model();
  const model::Cell& cell = m.cell();
  Trust trust;
  const bool resolved = step.reaction() == model::Reaction::uneven;
  bool uneven = false;
  for (const double t : moments(step, 41, true)) {
    const Point p = step.at(t);
    trust.lowest_salt_share = std::min(trust.lowest_salt_share, p.lowest_salt / cell.electrolyte.concentration);
    trust.highest_salt = std::max(trust.highest_salt, p.highest_salt);
    if (p.current == 0) continue;
    // A pulse that is over before the salt has followed may exceed the current of the steady state.
    const double followed = 1 - std::exp(-t / salt_time(cell, p.temperature));
    trust.limiting_current_share =
        std::max(trust.limiting_current_share,
                 followed * std::abs(p.current) / limiting_current(cell, p.current > 0, p.temperature));
    if (resolved) continue;
    const double kappa = cell.electrolyte.conductivity(cell.electrolyte.concentration, p.temperature);
    const double thermal_voltage = 2 * model::gas_constant * p.temperature / model::faraday_constant;
    const auto consider = [&](const model::Electrode& e, double overpotential) {
      const double R = layer_resistance(e, kappa);
      const double ratio = R * std::abs(p.current) / std::max(std::abs(overpotential), 1e-9);
      trust.unevenness = std::max(trust.unevenness, ratio);
      if (ratio > limits.unevenness && R * std::abs(p.current) > thermal_voltage) {
        uneven = true;
        trust.layer_drop = std::max(trust.layer_drop, R * std::abs(p.current));
      }
    };
    consider(cell.positive, p.terminal.positive_overpotential);
    if (cell.negative) consider(*cell.negative, p.terminal.negative_overpotential);
  }
  if (trust.lowest_salt_share < limits.lowest_salt_share) {
    trust.reasons.push_back("the salt runs out: it falls to " + percent(std::max(0.0, trust.lowest_salt_share)) +
                            " of its starting concentration somewhere");
  }
  const double known = most_salt_known(cell.electrolyte);
  if (trust.highest_salt > known) {
    trust.reasons.push_back("the salt rises to " + moles_per_litre(trust.highest_salt) + " somewhere, beyond the " +
                            moles_per_litre(known) +
                            " up to which the electrolyte is known: it is taken as it is there");
  }
  if (trust.limiting_current_share > limits.limiting_current_share && !(resolved && m.salt())) {
    trust.reasons.push_back("the current is " + percent(trust.limiting_current_share) +
                            " of what the salt can carry in the long run");
  }
  if (uneven) {
    trust.reasons.push_back("the reaction is uneven across a coating: the whole current would lose " +
                            std::to_string(static_cast<int>(std::lround(1e3 * trust.layer_drop))) +
                            " mV on its way through it, more than at the grain surfaces");
  }
  if (step.depth_error() > limits.depth_error) {
    trust.reasons.push_back(
        "the reaction is too uneven over the depth of a coating for the points at which it is "
        "resolved: they may cost " +
        (step.depth_error() > 0.1 ? "more than 100"
                                  : std::to_string(static_cast<int>(std::lround(1e3 * step.depth_error())))) +
        " mV");
  }
  if (step.unresolved_until() > 0) {
    const double share = step.unresolved_until() / step.duration();
    trust.reasons.push_back("the layer of lithium under the grain surfaces is thinner than can be resolved " +
                            (share < 0.995 ? "for its first " + seconds(step.unresolved_until()) : "all the time") +
                            ": what is told of that time is of the right order only");
  }
  if (is_physical(step.ended_by()))
    trust.reasons.push_back("it ends with the " + name_of(step.ended_by(), cell.is_full_cell()));
  return trust;
}

}  // namespace onegrain::solver
