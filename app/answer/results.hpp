#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "app/job.hpp"
#include "params/record/measured.hpp"
#include "solver/step/curves.hpp"
#include "solver/step/trust.hpp"

/// From solutions in SI per plate area to what is printed, written and drawn: mA, mAh, V, whole cell.
namespace onegrain::app {

/// A curve with its name.
struct NamedCurve {
  std::string label;  ///< "C/10", "2 mA"
  double c_rate;      ///< > 0
  solver::Curve curve;
};

/// One step of a protocol, named as the user wrote it.
struct NamedStep {
  std::string label;
  solver::ProtocolStep run;
};

/// A number for JSON, of 10 significant digits; null if not finite.
nlohmann::json number(double value);

/// The keys of a point of `rates --json`.
nlohmann::json point_json(const Job& job, const NamedCurve& curve);
/// The same with the arrays of `curve --json`, `points` moments evenly spaced in charge.
nlohmann::json curve_json(const Job& job, const NamedCurve& curve, int points);
nlohmann::json step_json(const Job& job, const NamedStep& step);
/// What `bench` found, SI turned into the units that the keys name.
nlohmann::json bench_json(const Job& job);
/// Program, version, options, files with SHA-256: the head of every summary.
nlohmann::json provenance_json(const Request& request, const params::Sheet& sheet);

/// Columns of curves.csv for one step; time goes on from `start_time` [s].
class CurveTable {
 public:
  explicit CurveTable(const Job& job);
  /// @param index  number of the curve or step, from 1
  void add(const solver::StepSolution& step, const std::vector<double>& moments, double start_time, int index);
  std::string text() const { return params::delimited_text(columns_); }

 private:
  const Job& job_;
  std::vector<params::Column> columns_;
};

/// "voltage cut-off", or what else ended it, in words.
std::string ended_by(const solver::StepSolution& step);
/// The reasons not to believe a step, in one line; empty if there is none.
std::string untrusted(const solver::Trust& trust);

}  // namespace onegrain::app
