#include "app/study/plating.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "solver/charge/limits.hpp"
#include "solver/step/curves.hpp"

namespace onegrain::app::study {

namespace {

/// A staircase that keeps the margin exactly must not be warned of: rates are searched to 0.1 %, potentials to 0.1 mV.
constexpr double worth_a_word = 5e-4;  // V

/// Whether lithium that goes into this electrode can bring it near to lithium's potential before its grains are full.
bool comes_near(const model::Electrode& e, double T) {
  constexpr double nearly_full = 0.95, far_above = 0.5;  // V; no current lowers a potential by that (judgement)
  return e.host.potential(nearly_full, T) < far_above;
}

SeparatorSide told_by(const solver::StepSolution& step, const std::vector<double>& moments) {
  SeparatorSide side{{}, {}, step.reaction() == model::Reaction::uneven};
  for (const double t : moments) {
    side.times.push_back(t);
    side.potentials.push_back(step.at(t).terminal.separator_side);
  }
  return side;
}

}  // namespace

double SeparatorSide::at(double time) const {
  const auto right = std::lower_bound(times.begin(), times.end(), time);
  if (right == times.begin()) return potentials.front();
  if (right == times.end()) return potentials.back();
  const auto k = static_cast<std::size_t>(right - times.begin());
  const double share = (time - times[k - 1]) / (times[k] - times[k - 1]);
  return potentials[k - 1] + share * (potentials[k] - potentials[k - 1]);
}

double SeparatorSide::lowest() const { return *std::min_element(potentials.begin(), potentials.end()); }

double plating_margin(const model::Cell& cell) {
  return cell.is_full_cell() ? solver::ChargeLimits{}.plating_margin : 0;
}

PlatingWatch::PlatingWatch(const Job& job)
    : job_(job),
      second_(job),
      takes_up_(comes_near(job.cell.is_full_cell() ? *job.cell.negative : job.cell.positive, job.cell.temperature)) {}

bool PlatingWatch::takes_up(const solver::Point& p) const {
  return takes_up_ && (job_.cell.is_full_cell() ? p.current > 0 : p.current < 0);
}

std::optional<SeparatorSide> PlatingWatch::see(const solver::StepSolution& step, int even) {
  const solver::StepSolution* finer = second_.see(step);
  if (!takes_up_ || !(step.duration() > 0)) return std::nullopt;
  const std::vector<double> moments = solver::moments(step, even, true);
  const bool any = std::any_of(moments.begin(), moments.end(), [&](double t) { return takes_up(step.at(t)); });
  if (!any) return std::nullopt;
  SeparatorSide side = told_by(step, moments);
  if (!finer) return side;
  for (std::size_t k = 0; k < moments.size(); ++k) {
    if (moments[k] <= finer->duration())
      side.potentials[k] = finer->at(moments[k]).terminal.separator_side;
    else
      side.potentials[k] = std::min(side.potentials[k], finer->last().terminal.separator_side);
  }
  side.resolved = true;
  return side;
}

std::optional<Plating> PlatingWatch::judge(const SeparatorSide& side, const solver::StepSolution& step) const {
  const double kept = plating_margin(job_.cell), before = step.first().charge;
  std::vector<char> counts;  // moments in which lithium goes in
  Plating found{kept, std::numeric_limits<double>::infinity(), 0, 0, {}};
  for (std::size_t k = 0; k < side.times.size(); ++k) {
    counts.push_back(takes_up(step.at(side.times[k])));
    if (counts.back()) found.lowest = std::min(found.lowest, side.potentials[k]);
  }
  if (!(found.lowest < kept - worth_a_word)) return std::nullopt;
  const auto falls_below = [&](double level) {
    std::size_t k = 0;
    while (!counts[k] || !(side.potentials[k] < level)) ++k;
    if (k == 0 || !counts[k - 1]) return side.times[k];
    const double above = side.potentials[k - 1] - level, share = above / (side.potentials[k - 1] - side.potentials[k]);
    return side.times[k - 1] + share * (side.times[k] - side.times[k - 1]);
  };
  const auto charge_at = [&](double time) { return std::abs(step.at(time).charge - before); };
  found.first_time = falls_below(kept);
  found.first_charge = charge_at(found.first_time);
  if (found.can_plate()) found.charge_at_lithium = charge_at(falls_below(0));
  return found;
}

}  // namespace onegrain::app::study
