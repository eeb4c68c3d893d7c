#pragma once

#include <algorithm>
#include <cmath>
#include <vector>

#include "benchmarks/measure.hpp"
#include "benchmarks/porous_cells.hpp"
#include "solver/step/curves.hpp"

/// How curves of several descriptions are compared.
namespace onegrain::benchmarks {

inline constexpr double from_share = 0.01, to_share = 0.95;  // of the charge

/// RMS and largest difference of two voltages [mV] over times, weighted by time.
struct Distance {
  double rms = 0, largest = 0;
};

template <class Voltage, class Other>
Distance distance(const std::vector<double>& times, double end, const Voltage& a, const Other& b) {
  double squares = 0, weight = 0, last = 0;
  Distance d;
  for (std::size_t k = 0; k < times.size(); ++k) {
    const double passed = times[k] - last;
    last = times[k];
    if (last < from_share * end || last > to_share * end) continue;
    const double error = 1e3 * std::abs(a(k) - b(k));
    squares += passed * error * error;
    weight += passed;
    d.largest = std::max(d.largest, error);
  }
  d.rms = std::sqrt(squares / std::max(weight, 1e-300));
  return d;
}

inline solver::StepSolution run(const NamedCell& n, double current, model::Reaction reaction,
                                solver::Workspace& workspace, const solver::Accuracy& accuracy) {
  solver::Simulator simulator(n.cell, workspace, accuracy, model::ElectrolyteModel::resolved, reaction);
  return solver::constant_current(simulator, simulator.at_rest(n.start(current > 0)), current).step;
}

/// The least processor time of some calls [ms]: what the machine does besides only adds.
template <class Work>
double least_ms(int repeats, Work&& work) {
  double least = 1e300;
  for (int k = 0; k < repeats; ++k) least = std::min(least, processor_milliseconds(work));
  return least;
}

inline solver::StepSolution run(const NamedCell& n, double current, model::Reaction reaction,
                                solver::Workspace& workspace) {
  return run(n, current, reaction, workspace, solver::usual_accuracy(reaction));
}

}  // namespace onegrain::benchmarks
