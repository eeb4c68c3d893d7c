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

bool at_constant_current(const solver::StepSolution& step) {
  const double first = step.first().current;
  const auto same = [&](double t) { return std::abs(step.at(t).current - first) < 1e-9 * std::abs(first); };
  return first != 0 && same(0.37 * step.duration()) && same(step.duration());
}

SeparatorSide even_reaction(const solver::StepSolution& step, const std::vector<double>& moments) {
  SeparatorSide side;
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
      layer_(job.cell, workspace_),
      takes_up_(comes_near(job.cell.is_full_cell() ? *job.cell.negative : job.cell.positive, job.cell.temperature)) {}

/// Puts the resolved potential in the place of the even one, or the lower one of both where the past is not known.
void PlatingWatch::resolve(const solver::StepSolution& step, SeparatorSide& side) {
  solver::UnevenState start;
  if (past_ == Past::followed)
    start = state_;
  else
    start.salt = step.salt_amplitudes(0);
  try {
    const solver::UnevenStep spread = layer_.follow(step, start);
    SeparatorSide resolved{spread.times, spread.separator_side, true};
    const auto seen = std::min_element(resolved.potentials.begin(), resolved.potentials.end());
    *seen = std::min(*seen, spread.lowest_separator_side);
    if (past_ == Past::unknown) {
      for (std::size_t k = 0; k < side.times.size(); ++k)
        if (side.times[k] <= spread.duration)
          side.potentials[k] = std::min(side.potentials[k], resolved.at(side.times[k]));
      side.resolved = true;
    } else {
      // what comes after the layer has ended early is known of the even reaction alone
      for (std::size_t k = 0; k < side.times.size(); ++k) {
        if (side.times[k] <= resolved.times.back() * (1 + 1e-12)) continue;
        resolved.times.push_back(side.times[k]);
        resolved.potentials.push_back(std::min(side.potentials[k], resolved.potentials.back()));
      }
      side = std::move(resolved);
      past_ = spread.ended_early ? Past::unknown : Past::followed;
    }
    state_ = spread.end;
  } catch (const solver::IntegrationFailure&) {  // the even reaction has to do
    past_ = Past::unknown;
  }
}

bool PlatingWatch::takes_up(const solver::Point& p) const {
  return takes_up_ && (job_.cell.is_full_cell() ? p.current > 0 : p.current < 0);
}

std::optional<SeparatorSide> PlatingWatch::see(const solver::StepSolution& step, int even) {
  if (!takes_up_ || !(step.duration() > 0)) return std::nullopt;
  const std::vector<double> moments = solver::moments(step, even, true);
  const bool any = std::any_of(moments.begin(), moments.end(), [&](double t) { return takes_up(step.at(t)); });
  if (!any) {
    const bool rests = std::all_of(moments.begin(), moments.end(), [&](double t) { return step.at(t).current == 0; });
    if (!rests || past_ != Past::none) past_ = Past::unknown;  // a rest in the beginning changes nothing
    last_difference_ = 0;
    return std::nullopt;
  }
  SeparatorSide side = even_reaction(step, moments);
  const double end_of_even = side.potentials.back();
  if (at_constant_current(step)) {
    resolve(step, side);
    last_difference_ = side.potentials.back() - end_of_even;
    last_current_ = step.last().current;
    return side;
  }
  if (last_difference_ != 0)
    for (std::size_t k = 0; k < side.times.size(); ++k)
      side.potentials[k] += last_difference_ * std::clamp(step.at(side.times[k]).current / last_current_, 0.0, 1.0);
  past_ = Past::unknown;
  last_difference_ = 0;
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
