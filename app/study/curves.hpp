#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "app/job.hpp"
#include "solver/step/curves.hpp"

namespace onegrain::app {

/// A curve with its name.
struct NamedCurve {
  std::string label;  ///< "C/10", "2 mA"
  double c_rate;      ///< > 0
  solver::Curve curve;
};

namespace study {

struct CurvesAsked {
  std::vector<params::Rate> rates;
  bool discharge = true, charge = false;
  std::optional<double> from_soc;  ///< otherwise a discharge starts full, a charge empty
};

/// Discharges, then charges, each at every rate in the order asked for.
/// @throws solver::IntegrationFailure
std::vector<NamedCurve> constant_currents(const Job& job, const CurvesAsked& asked);

/// The numerics that constant_currents() and follow() use.
solver::Accuracy accuracy();

/// A stretch of a charge over which the negative lies below 0 V against lithium at its separator side.
struct Plating {
  double first_time;    ///< since the start of the step [s]
  double first_charge;  ///< passed in the step by then [C/m2]
  double lowest;        ///< potential [V], < 0
};

/// The same for a step of a full cell, looked at in `even` moments and the early ones; nothing for half cells,
/// discharges and rests, and where the potential stays at or above 0 V.
std::optional<Plating> plating(const solver::StepSolution& step, int even = 200);

/// Runs a protocol in flat memory: each step is handed over when it is done and then let go.
void follow(const Job& job, const model::Protocol& protocol, std::optional<double> from_soc,
            const std::function<void(const solver::ProtocolStep&)>& see);

}  // namespace study
}  // namespace onegrain::app
