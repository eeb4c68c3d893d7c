#include "solver/charge/ceiling.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <stdexcept>

#include "solver/step/curves.hpp"

namespace onegrain::solver {

namespace {

constexpr double slowest = 1.0 / 200, fastest = 50;  // C, of the charge over the whole state of charge

/// Hundreds of charges are tried: a few tenths of a millivolt will do, 0.1 % of a rate.
constexpr Accuracy searching{
    .relative_tolerance = 1e-3, .absolute_factor = 20, .truncation = 5e-4, .fewest_modes = 6, .salt_degree = 5};

/// Six points over the depth, of which the onset of plating is known within 0.5 % (five: 1 %); more where their error
/// is seen to be above 2 mV. Tolerances of a ten-thousandth of a filling move it by less than 0.1 %.
constexpr Accuracy searching_uneven{.relative_tolerance = 2e-3,
                                    .absolute_factor = 20,
                                    .truncation = 5e-4,
                                    .fewest_modes = 6,
                                    .salt_degree = 6,
                                    .fewest_points = 6,
                                    .depth = 2e-3};

model::ElectrolyteModel electrolyte_of(Description d) {
  return d == Description::plain ? model::ElectrolyteModel::uniform : model::ElectrolyteModel::resolved;
}

model::Reaction reaction_of(Description d) {
  return d == Description::uneven ? model::Reaction::uneven : model::Reaction::even;
}

}  // namespace

Accuracy charge_accuracy(model::Reaction reaction) {
  return reaction == model::Reaction::uneven ? searching_uneven : searching;
}

const Margin* JudgedCharge::margin(Limit limit) const {
  for (const Margin& m : margins) {
    if (m.limit == limit) return &m;
  }
  return nullptr;
}

ChargeStudy::ChargeStudy(const model::Cell& cell, const model::Window& window, ChargeWindow soc, ChargeLimits limits,
                         Workspace& workspace, Description description, std::optional<Accuracy> accuracy)
    : cell_(cell),
      soc_(soc),
      limits_(limits),
      description_(description),
      simulator_(cell, workspace, accuracy.value_or(charge_accuracy(reaction_of(description))),
                 electrolyte_of(description), reaction_of(description)),
      sign_(cell.is_full_cell() || soc.empties ? 1 : -1) {
  if (description == Description::uneven)
    even_.emplace(cell, workspace, searching, model::ElectrolyteModel::resolved, model::Reaction::even);
  // Charge counts from `inventory`; the positive tells it in either arrangement.
  const double Q = cell.positive.capacity();
  const double at_empty = (cell.inventory.positive - window.empty.positive) * Q;
  const double at_full = (cell.inventory.positive - window.full.positive) * Q;
  whole_ = std::abs(at_full - at_empty);
  start_charge_ = sign_ > 0 ? at_empty : at_full;
}

State ChargeStudy::start() const { return simulator_.at_rest(start_charge_ + sign_ * soc_.from * whole_); }

JudgedCharge ChargeStudy::judge(double current) { return judge(current, soc_.from, soc_.to, start()); }

JudgedCharge ChargeStudy::judge(double current, double from, double to, const State& start) {
  return judge(simulator_, current, from, to, start);
}

JudgedCharge ChargeStudy::judge(Simulator& simulator, double current, double from, double to, const State& start) {
  model::Step step{model::CurrentDrive{sign_ * current}, {}, "charge"};
  step.until.capacity = (to - from) * whole_;
  simulator.start_coarse();  // a charge is judged alike whatever was judged before
  const StepSolution solution = simulator.run(start, step);

  JudgedCharge result;
  result.current = current;
  result.end = solution.final_state();
  const double duration = solution.duration();
  const Ended ended = solution.ended_by();
  const auto soc_at = [&](double t) { return from + current * t / whole_; };

  Ledger ledger(cell_, limits_, description_, from, soc_.empties);
  const bool coarse = even_ && &simulator == &*even_;
  for (const double t : moments(solution, coarse ? 13 : 25, true)) ledger.see(solution, t, soc_at(t));
  result.duration = duration;
  result.completed = ended == Ended::capacity;
  if (!result.completed) {
    const bool positive =
        soc_.empties ||
        (sign_ > 0 && (ended == Ended::positive_surface_empty || ended == Ended::positive_surface_full));
    const Limit met = ended == Ended::salt_used_up ? Limit::salt
                      : positive                   ? Limit::positive_surface
                                                   : Limit::negative_surface;
    const double done = current * duration / whole_;
    ledger.fell_short(met, 1 - done / (to - from), from + done);
  }
  result.margins = ledger.margins();
  result.tightest = ledger.tightest().limit;
  result.slack = ledger.tightest().slack();
  return result;
}

Ceiling ChargeStudy::ceiling(const Guess& guess, double tolerance) {
  return ceiling(guess, tolerance, soc_.from, soc_.to, start());
}

namespace {

/// What a search for a ceiling remembers.
struct Search {
  JudgedCharge kept, broken;  ///< the fastest charge that keeps every limit, the slowest that does not
  double slope = -2;          ///< d slack / d ln(current) near the ceiling
  bool found = false;         ///< as near as asked for
};

constexpr double most_slack = 3, steepest_of_flat = -0.02, longest_step = 1.2;  // of a slack; of ln(current)

/// Which limit two charges let expect to be met first, as ln(current): each limit on the straight line through its two
/// slacks, since the least of them has a bend wherever another limit takes over. Limits that do not tell a slope (none
/// to speak of, or seen by one charge alone) have `slope`.
/// @param slope  in: of limits that tell none; out: of the limit in question
double expected_zero(const JudgedCharge* before, const JudgedCharge& now, double aim, double& slope) {
  const double x = std::log(now.current), fallback = slope;
  double zero = std::numeric_limits<double>::infinity();
  const auto expect = [&](double slack, double its_slope) {
    const double at = x + std::clamp((slack + aim * its_slope) / -its_slope, -longest_step, longest_step);
    if (at >= zero) return;
    zero = at;
    slope = its_slope;
  };
  for (const Margin& m : now.margins) {
    const double slack = m.slack();
    const Margin* other = before ? before->margin(m.limit) : nullptr;
    const double s = other && std::abs(slack) < most_slack && std::abs(other->slack()) < most_slack
                         ? (slack - other->slack()) / (x - std::log(before->current))
                         : 0;
    // A grain that is nearly full has hardly any slack and hardly any slope, and is still some way from full.
    if (s < (m.limit == now.tightest ? 0 : steepest_of_flat))
      expect(slack, s);
    else if (m.limit == now.tightest)
      expect(slack, fallback);
  }
  if (zero == std::numeric_limits<double>::infinity()) expect(std::clamp(now.slack, -most_slack, most_slack), fallback);
  return zero;
}

/// The largest current that keeps every limit, from below and within `tolerance`: from each charge on to the limit
/// that is expected to be met first, kept inside the signs met so far; bisection where that does not help, longer steps
/// where a sign is still missing. `judge` throws IntegrationFailure where there is no solution.
template <class Judge>
Search find_ceiling(Judge judge, const Guess& guess, double tolerance, double least, double most) {
  Search search;
  search.slope = guess.slope;
  const double lowest = std::log(least), highest = std::log(most), aim = 0.3 * tolerance;
  double x = std::clamp(std::log(guess.current) - (guess.near ? aim : 0), lowest, highest), stride = 0;
  JudgedCharge before, now;
  int unhelpful = 0;
  for (int round = 0; round < 80; ++round) {
    try {
      now = judge(std::exp(x));
    } catch (const IntegrationFailure& failure) {  // what cannot be calculated keeps no limit
      now = {};
      now.slack = -most_slack;
      now.tightest = Limit::unsolved;
      now.unsolved_because = failure.what();
    }
    now.current = std::exp(x);
    const bool keeps = now.slack >= 0;
    const double width = search.kept.current > 0 && search.broken.current > 0
                             ? std::log(search.broken.current / search.kept.current)
                             : std::numeric_limits<double>::infinity();
    if (keeps && now.current > search.kept.current)
      search.kept = now;
    else if (!keeps && (search.broken.current == 0 || now.current < search.broken.current))
      search.broken = now;
    double next = expected_zero(round > 0 ? &before : nullptr, now, aim, search.slope);
    if (keeps && (round > 0 || guess.near) && now.slack <= 0.7 * tolerance * -search.slope) {
      search.found = true;
      return search;
    }
    if (search.kept.current > 0 && search.broken.current > 0) {
      const double a = std::log(search.kept.current), b = std::log(search.broken.current);
      if (b - a <= tolerance) {
        search.found = true;
        return search;
      }
      unhelpful = b - a > 0.5 * width ? unhelpful + 1 : 0;
      if (!(next > a && next < b) || unhelpful >= 2) {
        next = 0.5 * (a + b);
        unhelpful = 0;
      }
      next = std::clamp(next, a + 0.02 * (b - a), b - 0.02 * (b - a));
    } else {  // at least twice as far as the last time, or a limit that no rate keeps is approached for ever
      const double step = std::max(std::abs(next - x), round > 0 ? std::min(2 * stride, longest_step) : 0);
      next = keeps ? x + step : x - step;
      stride = step;
    }
    next = std::clamp(next, lowest, highest);
    if (next == x) return search;  // at an end of the range
    x = next;
    before = std::move(now);
  }
  throw std::logic_error("the search for a ceiling has not settled");  // three rounds halve what is left
}

}  // namespace

Ceiling ChargeStudy::ceiling(const Guess& guess, double tolerance, double from, double to, const State& start) {
  const double one_hour = whole_ / 3600, least = slowest * one_hour, most = fastest * one_hour;
  Guess near = guess;
  if (even_ && !guess.near) {  // the cheap description first: it comes close
    const auto even = [&](double current) { return judge(*even_, current, from, to, start); };
    const Search found = find_ceiling(even, guess, 2 * tolerance, least, most);
    near = {found.kept.current > 0 ? found.kept.current : least, true, found.slope};
  }
  const Search search =
      find_ceiling([&](double current) { return judge(current, from, to, start); }, near, tolerance, least, most);
  Ceiling result;
  result.unlimited = !search.found && search.kept.current > 0 && search.broken.current == 0;
  result.current = search.kept.current;
  result.slope = search.slope;
  result.charge = search.kept.current > 0 ? search.kept : search.broken;
  if (search.found && search.broken.current > 0 && search.broken.current < 1.05 * search.kept.current) {
    result.charge.tightest = search.broken.tightest;  // what limits: the first that breaks just beyond
  }
  return result;
}

}  // namespace onegrain::solver
