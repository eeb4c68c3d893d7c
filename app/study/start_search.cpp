#include <algorithm>
#include <cmath>
#include <map>

#include "app/study/beginning.hpp"
#include "app/study/recorded.hpp"
#include "solver/estimation/fit.hpp"

// The state in which a record begins where nothing tells it but the curve itself.

namespace onegrain::app {

namespace {

constexpr std::size_t enough_rows = 150;
constexpr double not_reached = 0.3;    // [V] what counts for a row beyond the end of the model
constexpr double beyond = 0.02;        // of the state of charge, past full and empty, is searched too
constexpr int coarse = 26, fine = 14;  // trials

/// Misfit of a run against the state in which it begins.
class Misfit {
 public:
  Misfit(const Job& job, const Recording& r) : job_(job), rest_(job), r_(r) {
    const std::size_t every = std::max<std::size_t>(1, r.rows.size() / enough_rows);
    std::vector<double> charge;
    for (std::size_t k = 0; k < r.rows.size(); k += every) {
      time_.push_back(r.run.times[k]);
      voltage_.push_back(r.measured.record.voltage[r.rows[k]]);
      charge.push_back(r.charge[k]);
    }
    weight_ = solver::weights_by_slope(
        charge, Eigen::Map<const Eigen::VectorXd>(voltage_.data(), static_cast<Eigen::Index>(voltage_.size())));
  }

  /// Root of the weighted mean square [V].
  double operator()(double soc) {
    const auto known = tried_.find(soc);
    if (known != tried_.end()) return known->second;
    solver::Simulator simulator = job_.simulator(workspace_);
    const solver::State start = r_.starting_state(simulator, solver::starting_charge(job_.cell, {rest_.voltage(soc)}));
    double sum = 0, weights = 0;
    const solver::Replay done = solver::replay(simulator, start, r_.run);
    for (std::size_t k = 0; k < time_.size(); ++k) {
      const double w = weight_[static_cast<Eigen::Index>(k)];
      const double e = time_[k] <= done.end + 1e-6 ? done.at(time_[k]).terminal.voltage - voltage_[k] : not_reached;
      sum += w * w * e * e;
      weights += w * w;
    }
    return tried_[soc] = std::sqrt(sum / weights);
  }
  const std::map<double, double>& tried() const { return tried_; }
  const AtRest& rest() const { return rest_; }
  /// Of the voltages [V].
  double range() const {
    const auto [low, high] = std::minmax_element(voltage_.begin(), voltage_.end());
    return *high - *low;
  }

 private:
  const Job& job_;
  AtRest rest_;
  const Recording& r_;
  solver::Workspace workspace_;
  std::vector<double> time_, voltage_;
  Eigen::VectorXd weight_;
  std::map<double, double> tried_;
};

}  // namespace

double misfit_from(const Job& job, const Recording& recording, double state_of_charge) {
  return Misfit(job, recording)(state_of_charge);
}

Beginning fitted_beginning(const Job& job, const Recording& recording) {
  Misfit misfit(job, recording);
  const double low = -beyond, high = 1 + beyond;
  for (int k = 0; k < coarse; ++k) misfit(low + (high - low) * k / (coarse - 1));
  const auto best = [&] {
    return std::min_element(misfit.tried().begin(), misfit.tried().end(),
                            [](const auto& a, const auto& b) { return a.second < b.second; });
  };
  // The golden section of the bracket around the best trial.
  double a = std::max(low, best()->first - (high - low) / (coarse - 1)),
         b = std::min(high, best()->first + (high - low) / (coarse - 1));
  const double golden = 0.5 * (std::sqrt(5.0) - 1);
  for (int k = 0; k < fine; ++k) {
    const double x = b - golden * (b - a), y = a + golden * (b - a);
    (misfit(x) < misfit(y) ? b : a) = misfit(x) < misfit(y) ? y : x;
  }
  const double soc = best()->first, rms = std::max(best()->second, 1e-4);
  const double most = rms * rms * met_alike;  // all states that the curve leaves open
  double spread = 0.002;
  for (const double side : {-1.0, 1.0}) {
    for (double off = 0.002; off < 1 && soc + side * off > low && soc + side * off < high; off *= 2) {
      const double there = misfit(soc + side * off);
      if (there * there > most) break;
      spread = std::max(spread, 2 * off);
    }
  }
  Beginning found = recording.beginning;
  found.from = Beginning::From::fitted;
  found.state_of_charge = soc;
  found.voltage = found.taken_as = misfit.rest().voltage(soc);
  // What the model misses the curve by may lie in the start: twice that over the mean slope of the curve.
  const auto [least, most_passed] = std::minmax_element(recording.charge.begin(), recording.charge.end());
  const double passed = (*most_passed - *least) / (job.bench.window.capacity * job.plate_area());
  if (passed > 0 && misfit.range() > 0) spread = std::hypot(spread, 2 * rms * passed / misfit.range());
  found.spread = spread;
  found.rms = rms;
  found.at_end = soc < low + 1e-3 || soc > high - 1e-3;
  return found;
}

}  // namespace onegrain::app
