#include <algorithm>
#include <cmath>

#include "app/study/ensemble.hpp"
#include "app/study/fitting.hpp"

// The search for estimates, and for where records begin.
namespace onegrain::app::study {

namespace {

using solver::FreeParameter;
using solver::FreeQuantity;

/// Starting points drawn from what the sheet leaves uncertain.
std::vector<Eigen::VectorXd> starts(const Fitting& fitting, int count) {
  const auto parameters = static_cast<Eigen::Index>(fitting.problem.free.size());
  Eigen::Index size = parameters;
  for (const solver::FreePotential& p : fitting.problem.potentials) size += p.coefficients();
  std::vector<Eigen::VectorXd> drawn;
  for (int s = 0; s + 1 < count; ++s) {
    const Eigen::VectorXd deviations = plausible_deviations(1, s, parameters);
    Eigen::VectorXd z = Eigen::VectorXd::Zero(size);
    for (Eigen::Index k = 0; k < parameters; ++k) {
      const FreeParameter& p = fitting.problem.free[static_cast<std::size_t>(k)];
      const double usual = p.quantity == FreeQuantity::capacity || p.quantity == FreeQuantity::lithium ? 0.02
                           : p.logarithmic                                                             ? 1.0
                                           : 0.3 * std::max(p.nominal / p.unit, 1.0);
      z[k] = std::clamp(deviations[k] * (std::isfinite(p.prior) ? std::min(p.prior, 1.5 * usual) : usual),
                        p.coordinate(p.lower) + 1e-6, p.coordinate(p.upper) - 1e-6);
    }
    drawn.push_back(std::move(z));
  }
  return drawn;
}

/// Puts a start that was estimated into its record.
void settle_start(Estimation& estimation, std::size_t index) {
  const FreeParameter& p = estimation.free()[index];
  const solver::Estimate& e = estimation.result.estimates[index];
  Recording& r = estimation.recordings[p.curve];
  r.start = estimation.fitting.problem.curves[p.curve].start;
  r.start.passed += e.value;
  Beginning& b = r.beginning;
  if (b.from != Beginning::From::fitted) return;
  const model::Cell cell = estimation.fitted_cell();
  const model::Window window = model::equilibrium_window(cell);
  const double from = solver::starting_charge(cell, r.start), Qp = cell.positive.capacity();
  b.state_of_charge = 1 + (from - (cell.inventory.positive - window.full.positive) * Qp) / window.capacity;
  b.rms = estimation.result.misfits[p.curve].rms;
  // What the model misses the curve by goes into the start too: over the mean slope of the curve.
  const Eigen::VectorXd& voltage = estimation.fitting.problem.curves[p.curve].voltage;
  const auto [low, high] = std::minmax_element(r.charge.begin(), r.charge.end());
  const double slope = (voltage.maxCoeff() - voltage.minCoeff()) * window.capacity * cell.plate_area / (*high - *low);
  b.spread = std::hypot(0.5 * (e.profile.upper - e.profile.lower) / window.capacity, b.rms / slope);
  b.at_end = e.at_bound;
  b.with_others = true;
  if (e.profile.lower_open || e.profile.upper_open) b.spread = 1;
}

/// Records in mid-charge of which no counter tells since when their current flows.
std::vector<std::size_t> without_history(const Estimation& estimation) {
  std::vector<std::size_t> some;
  for (std::size_t c = 0; c < estimation.recordings.size(); ++c) {
    const Recording& r = estimation.recordings[c];
    const params::RecordedStep& first = r.steps[r.beginning.at_step];
    const bool counted = r.beginning.unrecorded > 0 && !r.beginning.unrecorded_taken;
    if (r.beginning.from == Beginning::From::fitted && first.is_sweep() && first.constant && !counted)
      some.push_back(c);
  }
  return some;
}

/// Lets the current of a record flow for so long before its first row, from about full (a charge: empty) on.
void let_flow_before(Estimation& estimation, std::size_t c, double since) {
  Recording& r = estimation.recordings[c];
  const double more =
      (since - r.beginning.unrecorded) * r.steps[r.beginning.at_step].mean_current / estimation.plate_area;
  for (FreeParameter& p : estimation.fitting.problem.free) {
    if (p.quantity != FreeQuantity::start || p.curve != c) continue;
    for (double* value : {&p.nominal, &p.lower, &p.upper}) *value -= more;
  }
  Beginning earlier = r.beginning;
  earlier.unrecorded = since;
  earlier.unrecorded_taken = since > 0;
  begin_run(r, earlier, estimation.plate_area, estimation.most_rows);
  solver::FitCurve& curve = estimation.fitting.problem.curves[c];
  const solver::Start from = curve.start;
  curve = fit_curve(r);
  curve.start = from;
}

/// How long the current of a record has flowed since full (empty) in the fitted cell [s].
double flowed_since_end(const Estimation& estimation, std::size_t c) {
  const Recording& r = estimation.recordings[c];
  const model::Cell cell = estimation.fitted_cell();
  const model::Window window = model::equilibrium_window(cell);
  const double current = r.steps[r.beginning.at_step].mean_current / cell.plate_area;
  const double full = (cell.inventory.positive - window.full.positive) * cell.positive.capacity();
  const double end = current > 0 ? full - window.capacity : full;
  return r.beginning.unrecorded + (solver::starting_charge(cell, r.start) - end) / current;
}

double missed_by(const Estimation& estimation) {
  double sum = 0;
  for (const solver::CurveMisfit& m : estimation.result.misfits) sum += m.rms * m.rms;
  return sum;
}

void look(Estimation& estimation, const solver::FitOptions& options) {
  estimation.problem = std::make_unique<solver::CellFit>(estimation.fitting.problem);
  estimation.result = solver::fit(*estimation.problem, options);
  if (interrupted()) throw NotCompleted("interrupted");
  for (std::size_t k = 0; k < estimation.free().size(); ++k)
    if (estimation.free()[k].quantity == FreeQuantity::start) settle_start(estimation, k);
}

/// For how long the current of each of some records had flowed before its first row [s], and how the curves are met.
struct History {
  std::vector<double> since;
  double missed = INFINITY;   ///< sum of squares
  Eigen::VectorXd reached{};  ///< where the search ended
};

void let_flow_before(Estimation& estimation, const std::vector<std::size_t>& some, const History& history) {
  for (std::size_t k = 0; k < some.size(); ++k) let_flow_before(estimation, some[k], history.since[k]);
}

/// Tries what is known of no record: the current before its first row. None, and since full (a charge: since empty).
std::pair<History, History> histories(Estimation& estimation, const std::vector<std::size_t>& some,
                                      solver::FitOptions options) {
  constexpr int rounds = 3;         // of estimates and of how long the current has flowed by them
  constexpr double settled = 0.01;  // of that time
  options.profiles = false;
  std::vector<double> since(some.size(), 0);
  History none, long_since;
  for (int round = 0; round <= rounds; ++round) {
    let_flow_before(estimation, some, {since});
    look(estimation, options);
    options.starts.push_back(estimation.result.z);
    History& of_this_kind = round == 0 ? none : long_since;
    if (missed_by(estimation) < of_this_kind.missed) of_this_kind = {since, missed_by(estimation), estimation.result.z};
    double moved = 0;
    for (std::size_t k = 0; k < some.size(); ++k) {
      const double now = std::max(0.0, flowed_since_end(estimation, some[k]));
      moved = std::max(moved, std::abs(now - since[k]) / std::max(now, 1.0));
      since[k] = now;
    }
    if (moved < settled) break;
  }
  return {std::move(none), std::move(long_since)};
}

/// The intervals hold those of the other history too; starts as they are at the first row.
void widen(Estimation& estimation, const std::vector<std::size_t>& some, const History& told, const History& other) {
  for (std::size_t k = 0; k < estimation.free().size(); ++k) {
    const FreeParameter& p = estimation.free()[k];
    const solver::Estimate& theirs = estimation.other->result.estimates[k];
    solver::Estimate& ours = estimation.result.estimates[k];
    double shift = 0;
    for (std::size_t j = 0; j < some.size() && p.quantity == FreeQuantity::start; ++j) {
      const Recording& r = estimation.recordings[some[j]];
      if (p.curve == some[j])
        shift = (other.since[j] - told.since[j]) * r.steps[r.beginning.at_step].mean_current / estimation.plate_area;
    }
    ours.profile.lower = std::min(ours.profile.lower, theirs.profile.lower + shift);
    ours.profile.upper = std::max(ours.profile.upper, theirs.profile.upper + shift);
    ours.profile.lower_open = ours.profile.lower_open || theirs.profile.lower_open;
    ours.profile.upper_open = ours.profile.upper_open || theirs.profile.upper_open;
    if (p.quantity == FreeQuantity::start) settle_start(estimation, k);
  }
  for (const std::size_t c : some) estimation.recordings[c].beginning.either_history = true;
}

/// The better of two histories is told, the other kept where it is as good.
void search_histories(Estimation& estimation, const std::vector<std::size_t>& some, solver::FitOptions& options) {
  const auto [none, long_since] = histories(estimation, some, options);
  const bool flowed = long_since.missed < none.missed;
  const History &told = flowed ? long_since : none, &other = flowed ? none : long_since;
  const bool alike = other.missed <= met_alike * told.missed;
  if (alike) {
    let_flow_before(estimation, some, other);
    solver::FitOptions there = options;
    there.starts.push_back(other.reached);
    look(estimation, there);
    estimation.other = Alternative{std::move(estimation.problem), std::move(estimation.result)};
  }
  let_flow_before(estimation, some, told);
  options.starts.push_back(told.reached);
  look(estimation, options);
  if (alike) widen(estimation, some, told, other);
}

}  // namespace

void search(Estimation& estimation, const Request& request, bool profiles,
            const std::function<void(const std::string&)>& progress) {
  const InterruptGuard guard;
  solver::FitOptions options;
  options.starts = starts(estimation.fitting, request.fit_starts);
  options.profiles = profiles;
  options.interrupted = [] { return interrupted(); };
  options.progress = progress;
  const std::vector<std::size_t> some = without_history(estimation);
  if (some.empty())
    look(estimation, options);
  else
    search_histories(estimation, some, options);
  const solver::CellFit& fitted = *estimation.problem;
  estimation.reaction = fitted.added().empty() ? fitted.reaction(estimation.result.z) : fitted.added();
  if (progress) progress("");
}

solver::FitResult as_given(const Estimation& estimation) {
  solver::FitResult result{};
  result.z = Eigen::VectorXd::Zero(estimation.problem->size());
  for (const FreeParameter& p : estimation.free()) {
    solver::Estimate estimate{};
    estimate.name = p.name;
    estimate.value = p.value(0);
    estimate.profile.lower = p.lower;
    estimate.profile.upper = p.upper;
    result.estimates.push_back(std::move(estimate));
  }
  return result;
}

}  // namespace onegrain::app::study
