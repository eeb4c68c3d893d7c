#include "solver/charge/limits.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "model/stress.hpp"

namespace onegrain::solver {

namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();
constexpr double full_enough = 1e-6;  // of the window: a charge that ends earlier has fallen short

double scale_of(Limit limit, double allowed) {
  switch (limit) {
    case Limit::plating:
    case Limit::voltage:
    case Limit::positive_surface:
    case Limit::negative_surface:
      return 0.05;
    case Limit::temperature:
      return 5;
    case Limit::positive_stress:
    case Limit::negative_stress:
      return 0.2 * allowed;
    case Limit::salt:
      return 0.2;
    case Limit::unsolved:
      return 1;
  }
  return 1;
}

}  // namespace

double Margin::slack() const { return left / scale_of(limit, allowed); }

Ledger::Ledger(const model::Cell& cell, const ChargeLimits& limits, Description description, double starting_soc,
               bool empties)
    : cell_(cell),
      full_(cell.is_full_cell()),
      emptied_(full_ || empties),
      filled_(full_ || !empties),
      description_(description) {
  const auto add = [&](Limit limit, double allowed) {
    margins_.push_back({limit, nothing_seen(limit), allowed, 0, starting_soc});
  };
  if (filled_) add(Limit::plating, limits.plating_margin);
  if (limits.keep_voltage) add(Limit::voltage, emptied_ ? cell.upper_voltage : cell.lower_voltage);
  if (emptied_) add(Limit::positive_surface, 0);
  if (filled_) add(Limit::negative_surface, 1);
  if (cell.thermal) add(Limit::temperature, limits.highest_temperature);
  const model::Electrode& lithiated = full_ ? *cell.negative : cell.positive;
  if (emptied_ && cell.positive.host.stress) add(Limit::positive_stress, cell.positive.host.stress->fracture_strength);
  if (filled_ && lithiated.host.stress) add(Limit::negative_stress, lithiated.host.stress->fracture_strength);
  if (description != Description::plain) add(Limit::salt, limits.lowest_salt_share);
}

double Ledger::nothing_seen(Limit limit) const { return must_stay_above(limit, emptied_) ? infinity : -infinity; }

Margin* Ledger::find(Limit limit) {
  const auto found = std::find_if(margins_.begin(), margins_.end(), [&](const Margin& m) { return m.limit == limit; });
  return found == margins_.end() ? nullptr : &*found;
}

void Ledger::see(Limit limit, double value, double soc) {
  Margin* m = find(limit);
  if (!m) return;
  const bool above = must_stay_above(limit, emptied_);
  if (above ? value < m->worst : value > m->worst) {
    m->worst = value;
    m->left = above ? value - m->allowed : m->allowed - value;
    m->soc = soc;
  }
}

void Ledger::fell_short(Limit limit, double share, double soc) {
  Margin* m = find(limit);
  if (!m) return;
  m->left = std::min(-full_enough, -share);
  m->soc = soc;
}

void Ledger::see(const StepSolution& step, double t, double soc) {
  const Point p = step.at(t);
  // The plain description knows no place: what it has is the potential of the one grain.
  see(Limit::plating,
      description_ != Description::plain ? p.terminal.separator_side
      : full_                            ? p.terminal.negative_potential + p.terminal.negative_overpotential
                                         : p.terminal.positive_potential + p.terminal.positive_overpotential,
      soc);
  see(Limit::voltage, p.terminal.voltage, soc);
  see(Limit::positive_surface, p.positive_surfaces.lowest, soc);
  see(Limit::negative_surface, full_ ? p.negative_surfaces.highest : p.positive_surfaces.highest, soc);
  see(Limit::temperature, p.temperature, soc);
  see(Limit::salt, p.lowest_salt / cell_.electrolyte.concentration, soc);
  see_stress(step, t, p, soc);
}

void Ledger::see_stress(const StepSolution& step, double t, const Point& p, double soc) {
  const Eigen::ArrayXd centre = Eigen::ArrayXd::Zero(1);
  const auto of_largest = [&](const model::Electrode& layer, bool positive) {
    const model::GrainModes& modes = model::GrainModes::of(8);  // for their nodes
    Eigen::ArrayXd rho(modes.nodes().size() + 2);
    rho << modes.nodes(), 0, 1;
    const Eigen::VectorXd x = positive ? step.positive_profile(t, rho) : step.negative_profile(t, rho);
    const double mean = modes.weights().matrix().dot(x.head(modes.nodes().size()));
    return model::grain_stress(*layer.host.stress, layer.host.maximum_concentration, mean, x[x.size() - 1],
                               x[x.size() - 2])
        .largest_tension();
  };
  const auto tension = [&](const model::Host& host, double mean, double surface, double at_centre) {
    return model::grain_stress(*host.stress, host.maximum_concentration, mean, surface, at_centre).largest_tension();
  };
  if (cell_.positive.host.stress) {  // in a half cell this may be the electrode that takes lithium up
    see(emptied_ ? Limit::positive_stress : Limit::negative_stress,
        !cell_.positive.classes.empty()
            ? of_largest(cell_.positive, true)
            : tension(cell_.positive.host, p.positive_mean, p.positive_surface, step.positive_profile(t, centre)[0]),
        soc);
  }
  if (full_ && cell_.negative->host.stress) {
    see(Limit::negative_stress,
        !cell_.negative->classes.empty()
            ? of_largest(*cell_.negative, false)
            : tension(cell_.negative->host, p.negative_mean, p.negative_surface, step.negative_profile(t, centre)[0]),
        soc);
  }
}

const Margin& Ledger::tightest() const {
  const Margin* least = &margins_.front();
  for (const Margin& m : margins_) {
    if (m.slack() < least->slack() || std::isnan(m.slack())) least = &m;
  }
  return *least;
}

}  // namespace onegrain::solver
