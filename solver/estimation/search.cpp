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

LeastSquaresOptions rough() {
  LeastSquaresOptions o;
  o.most_iterations = 60;
  o.function_tolerance = 1e-5;
  o.parameter_tolerance = 1e-5;
  return o;
}

/// Residuals are known to about 1e-5 of themselves: a sum of squares that changes by less has settled.
LeastSquaresOptions fine() {
  LeastSquaresOptions o;
  o.most_iterations = 400;
  o.function_tolerance = 1e-7;
  o.gradient_tolerance = 1e-10;
  o.parameter_tolerance = 1e-6;
  return o;
}

/// One estimate on its way: each step leaves behind what the next one starts from.
class Search {
 public:
  Search(const CellFit& problem, const FitOptions& options)
      : problem_(problem),
        options_(options),
        given_(problem.given()),
        deviation_(given_.curves.size(), first_deviation),
        weighted_(problem.weighted(deviation_)) {
    identifiability_.scale = useful_scale(given_, problem.size());
    result_.evaluations = 0;
  }

  void from_every_start();
  void settle_lowest();
  void settle_reaction();
  void weigh();
  void assess();
  void profile();
  FitResult told();

 private:
  void say(const std::string& what) const {
    if (options_.progress) options_.progress(what);
  }
  bool stopped() const { return options_.interrupted && options_.interrupted(); }
  LeastSquaresResult solved(const LeastSquaresProblem& p, const Eigen::VectorXd& start, const LeastSquaresOptions& o) {
    LeastSquaresResult r = least_squares(p, start, o);
    result_.evaluations += r.evaluations;
    return r;
  }
  bool hold_all_but_contents(const Eigen::VectorXd& start, LeastSquaresProblem& holding) const;
  void keep_misfits(const Eigen::VectorXd& difference);
  Estimate estimate(int k) const;
  int parameters() const { return static_cast<int>(given_.free.size()); }

  const CellFit& problem_;
  const FitOptions& options_;
  const FitProblem& given_;
  std::vector<double> deviation_;  ///< of each curve, as `weighted_` has it [V]
  LeastSquaresProblem weighted_;
  IdentifiabilityOptions identifiability_;
  std::vector<LeastSquaresResult> reached_;  ///< from each start
  LeastSquaresResult best_;
  Noise noise_;
  std::vector<ProfileInterval> profiles_;
  FitResult result_;
  bool reaction_settled_ = true;
};

/// Leaves free what each electrode holds, and where curves begin; false where none of that is asked for.
bool Search::hold_all_but_contents(const Eigen::VectorXd& start, LeastSquaresProblem& holding) const {
  bool any = false;
  holding.lower = holding.upper = start;
  for (std::size_t k = 0; k < given_.free.size(); ++k) {
    const auto at = static_cast<Eigen::Index>(k);
    const FreeQuantity q = given_.free[k].quantity;
    if (q != FreeQuantity::capacity && q != FreeQuantity::lithium && q != FreeQuantity::start) continue;
    holding.lower[at] = weighted_.lower[at];
    holding.upper[at] = weighted_.upper[at];
    any = true;
  }
  return any;
}

/// Roughly: first what each electrode holds, as a cell that holds too little says nothing of the rest.
void Search::from_every_start() {
  if (given_.reaction == model::Reaction::uneven)
    problem_.resolve_reaction(Eigen::VectorXd::Zero(problem_.size()), false);
  LeastSquaresProblem holding = weighted_;
  std::vector<Eigen::VectorXd> starts = options_.starts;
  starts.insert(starts.begin(), Eigen::VectorXd::Zero(problem_.size()));
  for (const Eigen::VectorXd& start : starts) {
    if (stopped()) break;
    try {
      const bool holds = hold_all_but_contents(start, holding);
      const Eigen::VectorXd from = holds ? solved(holding, start, rough()).parameters : start;
      reached_.push_back(solved(weighted_, from, rough()));
    } catch (const NoAnswer&) {  // nothing to start from
    }
    say("start " + std::to_string(reached_.size()) + " of " + std::to_string(starts.size()));
  }
  if (reached_.empty()) {
    throw std::runtime_error(
        "the model cannot follow the measured current from any start: the electrodes of the sheet hold less charge "
        "than was passed, or the start of the test is not the one assumed");
  }
  result_.starts = static_cast<int>(starts.size());
}

/// The three lowest sums, finely; and how many starts have led to the lowest.
void Search::settle_lowest() {
  std::stable_sort(reached_.begin(), reached_.end(),
                   [](const auto& x, const auto& y) { return x.sum_of_squares < y.sum_of_squares; });
  best_ = reached_.front();
  for (std::size_t k = 0; k < std::min<std::size_t>(3, reached_.size()) && !stopped(); ++k) {
    reached_[k] = solved(weighted_, reached_[k].parameters, fine());
    if (reached_[k].sum_of_squares < best_.sum_of_squares) best_ = reached_[k];
  }
  result_.starts_agreeing = static_cast<int>(std::count_if(reached_.begin(), reached_.end(), [&](const auto& r) {
    return r.sum_of_squares < best_.sum_of_squares * 1.02 + 1e-3;
  }));
}

void Search::keep_misfits(const Eigen::VectorXd& difference) {
  result_.misfits.clear();
  Eigen::Index row = 0;
  for (std::size_t c = 0; c < given_.curves.size(); ++c) {
    const auto part = difference.segment(row, given_.curves[c].voltage.size());
    result_.misfits.push_back({given_.curves[c].name, std::sqrt(part.squaredNorm() / static_cast<double>(part.size())),
                               part.mean(), part.cwiseAbs().maxCoeff(), noise_.correlation[c]});
    row += part.size();
  }
}

/// Where the reaction is resolved: what it adds, looked up at the best values, moves them, until it is as foretold.
void Search::settle_reaction() {
  constexpr int most_rounds = 15;
  constexpr double settled = 1e-4;  // V rms; what the points over the depth leave open
  if (given_.reaction == model::Reaction::even) return;
  reaction_settled_ = false;
  for (int round = 0; round < most_rounds && !stopped() && !reaction_settled_; ++round) {
    say("resolved reaction, round " + std::to_string(round + 1));
    reaction_settled_ = problem_.resolve_reaction(best_.parameters) < settled;
    best_ = solved(weighted_, best_.parameters, fine());
  }
}

/// Each curve by what is left of it, until weights and estimates agree.
void Search::weigh() {
  for (int round = 0; round < options_.rounds && !stopped(); ++round) {
    best_ = solved(weighted_, best_.parameters, fine());
    settle_reaction();
    Eigen::VectorXd difference;
    if (!problem_.voltages(best_.parameters, difference, nullptr)) break;
    noise_ = noise_of(given_, difference, problem_.size());
    keep_misfits(difference);
    double change = 0;
    for (std::size_t c = 0; c < deviation_.size(); ++c)
      change = std::max(change, std::abs(std::log(noise_.deviation[c] / deviation_[c])));
    if (change < 0.02) break;
    deviation_ = noise_.deviation;
    weighted_ = problem_.weighted(deviation_);
    say("weights, round " + std::to_string(round + 1));
  }
  best_ = solved(weighted_, best_.parameters, fine());
  settle_reaction();
  Eigen::VectorXd left;
  if (given_.reaction == model::Reaction::uneven && problem_.voltages(best_.parameters, left, nullptr))
    keep_misfits(left);  // what the resolved reaction adds has been looked up since
  result_.noise = noise_.standard_deviation;
  result_.independent_points = noise_.independent;
  result_.degrees_of_freedom = std::max(2.0, noise_.independent - static_cast<double>(problem_.size()));
  result_.deviation = deviation_;
}

/// What the linearised model says of the best.
void Search::assess() {
  result_.uncertainty = linearised(best_, result_.degrees_of_freedom, options_.confidence, identifiability_);
}

/// Intervals of the parameters from refits; one that finds a lower minimum starts all of them again from there.
void Search::profile() {
  ProfileOptions quick;  // ends within 3 % of their distance: intervals are shown with three digits at most
  quick.accuracy = 0.03;
  quick.most_refits = 8;
  for (int k = 0; options_.profiles && k < parameters() && !stopped(); ++k) {
    say("interval of " + given_.free[static_cast<std::size_t>(k)].name);
    ProfileInterval interval =
        profile_interval(weighted_, best_, k, result_.degrees_of_freedom, options_.confidence, quick);
    if (interval.better.size() > 0 && interval.better_sum_of_squares < best_.sum_of_squares - 0.1) {
      best_ = least_squares(weighted_, interval.better, fine());
      assess();
      profiles_.clear();
      k = -1;  // each time the sum falls by 0.1 at least
      continue;
    }
    profiles_.push_back(std::move(interval));
  }
}

Estimate Search::estimate(int k) const {
  const auto at = static_cast<std::size_t>(k);
  const FreeParameter& p = given_.free[at];
  const double z = best_.parameters[k];
  const Interval& linear = result_.uncertainty.intervals[at];
  Estimate e{p.name, p.value(z), {p.value(linear.lower), p.value(linear.upper)}, {}, 0, false};
  e.profile.lower = e.linearised.lower;
  e.profile.upper = e.linearised.upper;
  if (at < profiles_.size()) {
    e.profile = profiles_[at];
    e.profile.lower = p.value(e.profile.lower);
    e.profile.upper = p.value(e.profile.upper);
  }
  const double se = result_.uncertainty.standard_error[k];
  e.prior_share = std::isfinite(p.prior) ? std::min(1.0, se * se / (p.prior * p.prior)) : 0.0;
  e.at_bound = z <= p.coordinate(p.lower) + 1e-6 || z >= p.coordinate(p.upper) - 1e-6;
  return e;
}

FitResult Search::told() {
  result_.z = best_.parameters;
  result_.converged = best_.converged && reaction_settled_;
  result_.ended_by = reaction_settled_ ? best_.ended_by : "what the resolved reaction adds has not settled";
  // What was known of the potentials beforehand holds them together where no data are; that of the parameters is left
  // out.
  LeastSquaresResult data_only = best_;
  data_only.jacobian.middleRows(problem_.voltage_count(), parameters()).setZero();
  for (Direction& d : linearised(data_only, result_.degrees_of_freedom, options_.confidence, identifiability_).untold) {
    if (d.weights.head(parameters()).norm() > 0.3) result_.untold.push_back(std::move(d));
  }
  for (int k = 0; k < parameters(); ++k) result_.estimates.push_back(estimate(k));
  return result_;
}

}  // namespace

FitResult fit(const CellFit& problem, const FitOptions& options) {
  Search search(problem, options);
  search.from_every_start();
  search.settle_lowest();
  search.weigh();
  search.assess();
  search.profile();
  return search.told();
}

}  // namespace onegrain::solver
