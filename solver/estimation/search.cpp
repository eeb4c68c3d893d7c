#include <algorithm>
#include <cmath>
#include <stdexcept>

#include "solver/estimation/fit.hpp"
#include "solver/estimation/noise.hpp"

// Least squares from every start, weights, intervals.
namespace onegrain::solver {

namespace {

constexpr double first_deviation = 0.005;  // V; of the first round

/// What a change of each z must be to matter: a factor of 2 either way within two standard errors, 20 mV of a
/// potential.
Eigen::VectorXd useful_scale(const FitProblem& p, int size) {
  Eigen::VectorXd scale = Eigen::VectorXd::Constant(size, 0.02);  // V, of a potential
  for (std::size_t k = 0; k < p.free.size(); ++k) {
    const FreeParameter& f = p.free[k];
    scale[static_cast<Eigen::Index>(k)] = f.logarithmic ? 0.35 : 1.0;
  }
  return scale;
}

}  // namespace

FitResult fit(const CellFit& problem, const FitOptions& options) {
  const FitProblem& given = problem.given();
  const Eigen::Index size = problem.size();
  const auto say = [&](const std::string& what) {
    if (options.progress) options.progress(what);
  };
  const auto stop = [&] { return options.interrupted && options.interrupted(); };
  FitResult result;

  // From every start, roughly: first what each electrode holds, as a cell that holds too little says nothing of the
  // rest.
  std::vector<double> deviation(given.curves.size(), first_deviation);
  LeastSquaresProblem weighted = problem.weighted(deviation), holding = weighted;
  std::vector<Eigen::VectorXd> starts = options.starts;
  starts.insert(starts.begin(), Eigen::VectorXd::Zero(size));
  LeastSquaresOptions rough;
  rough.most_iterations = 60;
  rough.function_tolerance = 1e-5;
  rough.parameter_tolerance = 1e-5;
  bool holds = false;
  std::vector<LeastSquaresResult> reached;
  result.evaluations = 0;
  for (const Eigen::VectorXd& start : starts) {
    if (stop()) break;
    try {
      holding.lower = holding.upper = start;
      for (std::size_t k = 0; k < given.free.size(); ++k) {
        const auto at = static_cast<Eigen::Index>(k);
        const Quantity q = given.free[k].quantity;
        if (q != Quantity::capacity && q != Quantity::lithium) continue;
        holding.lower[at] = weighted.lower[at];
        holding.upper[at] = weighted.upper[at];
        holds = true;
      }
      LeastSquaresResult tried;
      tried.parameters = start;
      if (holds) {
        tried = least_squares(holding, start, rough);
        result.evaluations += tried.evaluations;
      }
      reached.push_back(least_squares(weighted, tried.parameters, rough));
      result.evaluations += reached.back().evaluations;
    } catch (const NoAnswer&) {  // nothing to start from
    }
    say("start " + std::to_string(reached.size()) + " of " + std::to_string(starts.size()));
  }
  if (reached.empty()) {
    throw std::runtime_error(
        "the model cannot follow the measured current from any start: the electrodes of the sheet hold less charge "
        "than was passed, or the start of the test is not the one assumed");
  }
  std::stable_sort(reached.begin(), reached.end(),
                   [](const auto& x, const auto& y) { return x.sum_of_squares < y.sum_of_squares; });
  // Residuals are known to about 1e-5 of themselves: a sum of squares that changes by less has settled.
  LeastSquaresOptions fine;
  fine.most_iterations = 400;
  fine.function_tolerance = 1e-7;
  fine.gradient_tolerance = 1e-10;
  fine.parameter_tolerance = 1e-6;
  LeastSquaresResult best = reached.front();
  for (std::size_t k = 0; k < std::min<std::size_t>(3, reached.size()) && !stop(); ++k) {
    reached[k] = least_squares(weighted, reached[k].parameters, fine);
    result.evaluations += reached[k].evaluations;
    if (reached[k].sum_of_squares < best.sum_of_squares) best = reached[k];
  }
  result.starts = static_cast<int>(starts.size());
  result.starts_agreeing = static_cast<int>(std::count_if(reached.begin(), reached.end(), [&](const auto& r) {
    return r.sum_of_squares < best.sum_of_squares * 1.02 + 1e-3;
  }));

  Noise noise;
  for (int round = 0; round < options.rounds && !stop(); ++round) {
    best = least_squares(weighted, best.parameters, fine);
    result.evaluations += best.evaluations;
    Eigen::VectorXd difference;
    if (!problem.voltages(best.parameters, difference, nullptr)) break;
    noise = noise_of(given, difference, size);
    double change = 0;
    for (std::size_t c = 0; c < deviation.size(); ++c)
      change = std::max(change, std::abs(std::log(noise.deviation[c] / deviation[c])));
    result.misfits.clear();
    Eigen::Index row = 0;
    for (std::size_t c = 0; c < given.curves.size(); ++c) {
      const auto part = difference.segment(row, given.curves[c].voltage.size());
      result.misfits.push_back({given.curves[c].name, std::sqrt(part.squaredNorm() / static_cast<double>(part.size())),
                                part.mean(), part.cwiseAbs().maxCoeff(), noise.correlation[c]});
      row += part.size();
    }
    if (change < 0.02) break;
    deviation = noise.deviation;
    weighted = problem.weighted(deviation);
    say("weights, round " + std::to_string(round + 1));
  }
  best = least_squares(weighted, best.parameters, fine);
  result.evaluations += best.evaluations;
  result.noise = noise.standard_deviation;
  result.independent_points = noise.independent;
  result.degrees_of_freedom = std::max(2.0, noise.independent - static_cast<double>(size));
  result.deviation = deviation;

  IdentifiabilityOptions identifiability;
  identifiability.scale = useful_scale(given, static_cast<int>(size));
  const auto assess = [&] {
    result.uncertainty = linearised(best, result.degrees_of_freedom, options.confidence, identifiability);
  };
  assess();
  std::vector<ProfileInterval> profiles;
  const auto parameters = static_cast<int>(given.free.size());
  for (int k = 0; options.profiles && k < parameters && !stop(); ++k) {
    say("interval of " + given.free[static_cast<std::size_t>(k)].name);
    ProfileOptions quick;  // ends within 3 % of their distance: intervals are shown with three digits at most
    quick.accuracy = 0.03;
    quick.most_refits = 8;
    ProfileInterval interval =
        profile_interval(weighted, best, k, result.degrees_of_freedom, options.confidence, quick);
    if (interval.better.size() > 0 && interval.better_sum_of_squares < best.sum_of_squares - 0.1) {
      best = least_squares(weighted, interval.better, fine);
      assess();
      profiles.clear();
      k = -1;  // all over again from the lower minimum; each time the sum falls by 0.1 at least
      continue;
    }
    profiles.push_back(std::move(interval));
  }

  result.z = best.parameters;
  result.converged = best.converged;
  result.ended_by = best.ended_by;
  LeastSquaresResult data_only = best;
  // What was known of the potentials beforehand holds them together where no data are; that of the parameters is left
  // out.
  data_only.jacobian.middleRows(problem.voltage_count(), parameters).setZero();
  for (Direction& d : linearised(data_only, result.degrees_of_freedom, options.confidence, identifiability).untold) {
    if (d.weights.head(parameters).norm() > 0.3) result.untold.push_back(std::move(d));
  }
  for (int k = 0; k < parameters; ++k) {
    const FreeParameter& p = given.free[static_cast<std::size_t>(k)];
    const double z = result.z[k];
    const Interval& linear = result.uncertainty.intervals[static_cast<std::size_t>(k)];
    Estimate e{p.name, p.value(z), {p.value(linear.lower), p.value(linear.upper)}, {}, 0, false};
    e.profile.lower = e.linearised.lower;
    e.profile.upper = e.linearised.upper;
    if (static_cast<std::size_t>(k) < profiles.size()) {
      e.profile = profiles[static_cast<std::size_t>(k)];
      e.profile.lower = p.value(e.profile.lower);
      e.profile.upper = p.value(e.profile.upper);
    }
    const double se = result.uncertainty.standard_error[k];
    e.prior_share = std::isfinite(p.prior) ? std::min(1.0, se * se / (p.prior * p.prior)) : 0.0;
    e.at_bound = z <= p.coordinate(p.lower) + 1e-6 || z >= p.coordinate(p.upper) - 1e-6;
    result.estimates.push_back(e);
  }
  return result;
}

}  // namespace onegrain::solver
