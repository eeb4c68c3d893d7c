#pragma once

#include <vector>

#include "solver/charge/ceiling.hpp"

/// The fastest charge that rides the limits, and what a cycler can be given of it.
namespace onegrain::solver {

/// The current at which the first limit is just kept as the cell fills: the potential at the separator side at its
/// margin, the voltage at its cut-off, or the temperature at its limit, each held inside the integrator; never above
/// `highest`, nor above what would crack a grain in the steady state.
struct Ride {
  std::vector<double> soc, current;  ///< [1], [A/m2]; soc ascending
  double duration = 0;               ///< [s]
};
Ride ride_limits(ChargeStudy& study, double highest);

struct StaircaseStep {
  double from, to;  ///< state of charge
  double current;   ///< [A/m2]
  double duration;  ///< [s]
  Limit limited_by;
  double slack;  ///< as JudgedCharge
};

struct Staircase {
  std::vector<StaircaseStep> steps;
  bool complete = false;  ///< reaches the end of the window
  double duration() const;
};

/// Cuts a ride into `count` steps of constant current, each as large as the limits allow from where the step before
/// ended, in the description of the study.
Staircase cut(ChargeStudy& study, const Ride& ride, int count, double highest);

/// The same steps at other currents: every current times `factor`. Judged anew.
Staircase scaled(ChargeStudy& study, const Staircase& staircase, double factor);

/// Constant current until the voltage cut-off, then held there until the end of the window; its duration [s], infinite
/// if the end is not reached in 100 h.
double constant_current_constant_voltage(ChargeStudy& study, double current);

}  // namespace onegrain::solver
