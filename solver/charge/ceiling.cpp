#include "solver/charge/ceiling.hpp"

#include <algorithm>
#include <cmath>

#include "solver/step/curves.hpp"

namespace onegrain::solver {

namespace {

constexpr double slowest = 1.0 / 200, fastest = 50;  // C, of the charge over the whole state of charge

/// Hundreds of charges are tried: a few tenths of a millivolt will do, 0.1 % of a rate.
constexpr Accuracy searching{.relative_tolerance = 3e-4, .truncation = 5e-4, .fewest_modes = 10, .salt_degree = 6};

model::ElectrolyteModel electrolyte_of(Description d) {
  return d == Description::plain ? model::ElectrolyteModel::uniform : model::ElectrolyteModel::resolved;
}

}  // namespace

Accuracy charge_accuracy() { return searching; }

const Margin* JudgedCharge::margin(Limit limit) const {
  for (const Margin& m : margins) {
    if (m.limit == limit) return &m;
  }
  return nullptr;
}

ChargeStudy::ChargeStudy(const model::Cell& cell, const model::Window& window, ChargeWindow soc, ChargeLimits limits,
                         Workspace& workspace, Description description)
    : cell_(cell),
      soc_(soc),
      limits_(limits),
      // an electrode that is emptied cannot plate: nothing asks for its reaction to be resolved
      description_(soc.empties && description == Description::uneven ? Description::even : description),
      simulator_(cell, workspace, searching, electrolyte_of(description)),
      layer_(cell, workspace),
      sign_(cell.is_full_cell() || soc.empties ? 1 : -1) {
  // Charge counts from `inventory`; the positive tells it in either arrangement.
  const double Q = cell.positive.capacity();
  const double at_empty = (cell.inventory.positive - window.empty.positive) * Q;
  const double at_full = (cell.inventory.positive - window.full.positive) * Q;
  whole_ = std::abs(at_full - at_empty);
  start_charge_ = sign_ > 0 ? at_empty : at_full;
}

State ChargeStudy::start() const { return simulator_.at_rest(start_charge_ + sign_ * soc_.from * whole_); }

JudgedCharge ChargeStudy::judge(double current) { return judge(current, soc_.from, soc_.to, start(), {}); }

JudgedCharge ChargeStudy::judge(double current, double from, double to, const State& start, const UnevenState& uneven) {
  return judge(current, from, to, start, uneven, false);
}

JudgedCharge ChargeStudy::judge(double current, double from, double to, const State& start, const UnevenState& uneven,
                                bool as_even) {
  model::Step step{model::CurrentDrive{sign_ * current}, {}, "charge"};
  step.until.capacity = (to - from) * whole_;
  const StepSolution solution = simulator_.run(start, step);

  JudgedCharge result;
  result.current = current;
  result.end = solution.final_state();
  double duration = solution.duration();
  Ended ended = solution.ended_by();
  const auto soc_at = [&](double t) { return from + current * t / whole_; };

  Ledger ledger(cell_, limits_, description_, from, soc_.empties);
  for (const double t : moments(solution, as_even ? 13 : 25, true)) ledger.see(solution, t, soc_at(t));
  if (description_ == Description::uneven && !as_even) {
    const UnevenStep spread = layer_.follow(solution, uneven);
    result.uneven_end = spread.end;
    for (const double t : spread.times) result.soc.push_back(soc_at(t));
    result.separator_side = spread.separator_side;
    ledger.forget(Limit::plating);  // the finer answer takes the place of the even one
    ledger.forget(Limit::salt);
    ledger.see(Limit::plating, spread.lowest_separator_side, soc_at(spread.time_of_lowest));
    ledger.see(Limit::negative_surface, spread.highest_surface, soc_at(spread.duration));
    ledger.see(Limit::salt, spread.lowest_salt / cell_.electrolyte.concentration, soc_at(spread.time_of_lowest_salt));
    if (spread.ended_early) {
      ended = *spread.ended_early;
      duration = spread.duration;
    }
  }
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

Ceiling ChargeStudy::ceiling(double guess, double tolerance) {
  return ceiling(guess, tolerance, soc_.from, soc_.to, start(), {});
}

namespace {

/// What a search for a ceiling remembers.
struct Search {
  JudgedCharge kept, broken;  ///< the fastest charge that keeps every limit, the slowest that does not
  double slope = -2;          ///< d slack / d ln(current) near the ceiling
  bool found = false;
};

/// The zero of a slack that falls with ln(current), from below and within `tolerance`: secants, kept inside the signs
/// met so far, bisection where they do not help. `judge` throws IntegrationFailure where there is no solution.
template <class Judge>
Search find_ceiling(Judge judge, double guess, double slope, double tolerance, double least, double most) {
  Search search;
  search.slope = slope;
  double x = std::clamp(std::log(guess), std::log(least), std::log(most));
  double before_x = 0, before_f = 0;
  for (int round = 0; round < 60; ++round) {
    JudgedCharge charge;
    try {
      charge = judge(std::exp(x));
    } catch (const IntegrationFailure& failure) {  // what cannot be calculated keeps no limit
      charge.slack = -3;
      charge.tightest = Limit::unsolved;
      charge.unsolved_because = failure.what();
    }
    charge.current = std::exp(x);
    const double f = std::clamp(charge.slack, -3.0, 3.0);
    const bool keeps = f >= 0;
    if (keeps && charge.current > search.kept.current)
      search.kept = std::move(charge);
    else if (!keeps && (search.broken.current == 0 || charge.current < search.broken.current))
      search.broken = std::move(charge);
    const bool bracketed = search.kept.current > 0 && search.broken.current > 0;
    if (round > 0 && x != before_x) {
      const double secant = (f - before_f) / (x - before_x);
      if (secant < -0.02 && std::abs(f) < 2.9 && std::abs(before_f) < 2.9) search.slope = secant;
    }
    before_x = x;
    before_f = f;
    if (keeps && round > 0 && f <= 0.7 * tolerance * -search.slope) break;
    double next = x + std::clamp((f - 0.3 * tolerance * -search.slope) / -search.slope, -1.2, 1.2);
    if (bracketed) {
      const double a = std::log(search.kept.current), b = std::log(search.broken.current);
      if (b - a <= tolerance) break;
      if (!(next > a && next < b) || round % 6 == 5) next = 0.5 * (a + b);
      next = std::clamp(next, a + 0.02 * (b - a), b - 0.02 * (b - a));
    }
    x = std::clamp(next, std::log(least), std::log(most));
    if (x == before_x) return search;  // at an end of the range
  }
  search.found = true;
  return search;
}

}  // namespace

Ceiling ChargeStudy::ceiling(double guess, double tolerance, double from, double to, const State& start,
                             const UnevenState& uneven) {
  const double one_hour = whole_ / 3600, least = slowest * one_hour, most = fastest * one_hour;
  double slope = -2;
  if (description_ == Description::uneven) {  // the cheap description first: it comes close
    const auto even = [&](double current) { return judge(current, from, to, start, uneven, true); };
    const Search near = find_ceiling(even, guess, slope, 2 * tolerance, least, most);
    guess = near.kept.current > 0 ? near.kept.current : least;
    slope = near.slope;
  }
  const Search search = find_ceiling([&](double current) { return judge(current, from, to, start, uneven); }, guess,
                                     slope, tolerance, least, most);
  Ceiling result;
  result.unlimited = !search.found && search.kept.current > 0;
  result.current = search.kept.current;
  result.charge = search.kept.current > 0 ? search.kept : search.broken;
  if (search.found && search.broken.current > 0 && search.broken.current < 1.05 * search.kept.current) {
    result.charge.tightest = search.broken.tightest;  // what limits: the first that breaks just beyond
  }
  return result;
}

}  // namespace onegrain::solver
