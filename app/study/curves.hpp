#pragma once

#include <functional>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "app/job.hpp"
#include "app/study/plating.hpp"
#include "solver/step/curves.hpp"

namespace onegrain::app {

namespace study {

/// Pointwise intervals of 95 % of what a cell of this sheet may give under the current of one curve.
struct CurveBand {
  double least_capacity, most_capacity;   ///< [C]
  std::vector<double> charge, low, high;  ///< passed along the curve itself [C]; voltage there [V]
  /// Between two places on the straight line.
  std::pair<double, double> at(double charge_passed) const;
};

}  // namespace study

/// A curve with its name.
struct NamedCurve {
  std::string label;  ///< "C/10", "2 mA"
  double c_rate;      ///< > 0
  solver::ConstantCurrentCurve curve;
  std::optional<study::SeparatorSide> side{};  ///< of a charge (half cell: of a lithiation): near to plating or not
  std::optional<study::Plating> plating{};
  std::optional<study::Opinion> opinion{};  ///< where the reaction is taken as even
  solver::Trust trust{};
  std::optional<study::CurveBand> band{};
};

/// A curve from rest with its verdicts: how near to plating it comes, and whether it is to be believed.
NamedCurve named(const Job& job, const std::string& label, double c_rate, solver::ConstantCurrentCurve curve);

namespace study {

struct CurvesAsked {
  std::vector<params::Rate> rates;
  bool discharge = true, charge = false;
  std::optional<double> from_soc;  ///< otherwise a discharge starts full, a charge empty
};

/// Discharges, then charges, each at every rate in the order asked for.
/// @throws solver::IntegrationFailure
std::vector<NamedCurve> constant_currents(const Job& job, const CurvesAsked& asked);

/// Runs a protocol in flat memory: each step is handed over when it is done and then let go.
void follow(const Job& job, const model::Protocol& protocol, std::optional<double> from_soc,
            const std::function<void(const solver::ProtocolStep&)>& see);

}  // namespace study
}  // namespace onegrain::app
