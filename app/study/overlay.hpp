#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "app/study/recorded.hpp"
#include "solver/step/losses.hpp"

/// Measured over predicted: the model under the measured current, step by step, beside what needs no model.
namespace onegrain::app {

/// How far a curve lies from the measured one, calculated minus measured, weighted with time [V].
struct Distance {
  double rms = 0, mean = 0, largest = 0;
  std::size_t rows = 0;
};

/// Derivative of one quantity with respect to another by a kernel that conserves their sum,
///
///     dy/dx (x) = sum_k (y_{k+1} - y_k) K((x - x_k') / w) / sum_k |x_{k+1} - x_k| K((x - x_k') / w),   K(u) = 1 - |u|,
///     |u| < 1
///
/// with x_k' halfway between two rows: noise that goes up and down cancels, nothing has to be monotonic.
struct Derivative {
  std::vector<double> x, value;  ///< NaN where no row lies within w
};
/// @param width  w; half the base of the triangle
Derivative kernel_derivative(const std::vector<double>& x, const std::vector<double>& y, double width, int points);

/// One step of a record that took part.
struct OverlaidStep {
  std::size_t number;  ///< in the file, from 0
  params::RecordedStep recorded;
  double c_rate;                      ///< 0: rest
  std::optional<double> temperature;  ///< mean of what was measured [K]
  std::vector<double> time, charge, measured, model,
      current;  ///< rows: [s] since the start of the run, [C] since that of the step, V, V (NaN: beyond the model), A
  Distance distance;
  double capacity;  ///< measured, magnitude [C]
  std::optional<double>
      model_capacity;          ///< until the voltage at which the measured step ended [C]; where that can be told
  std::string model_ended_by;  ///< where the model stopped before the measured step did
  bool trusted = true;
  std::string untrusted_because;
  // Against what needs no model, over the share of capacity that both hold
  std::optional<double> resistance_rms, model_rms_there;  ///< [V]
  bool resistance_fitted_here = false;
  std::optional<double> between_cells_rms;  ///< [V]; other files with the same step
};

struct OverlaidRun {
  Recording recording;
  std::vector<OverlaidStep> steps;
  std::size_t rows_not_reached = 0;  ///< beyond the end of the model
};

/// Why the fastest discharge gave less than the slowest.
struct WhyLess {
  std::string fast, slow;                                         ///< names of the rates
  double fast_capacity, slow_capacity, fast_energy, slow_energy;  ///< measured [C], [J]
  solver::LossBudget budget;  ///< of the model at the fast rate, at the mean measured temperature
  double temperature;         ///< [K]
};

struct Overlay {
  std::vector<OverlaidRun> runs;
  bool recognised = false;               ///< the recognised protocol was run instead of the measured current
  double voltage_width, capacity_share;  ///< of the smoothing: [V], share of the step's capacity
  std::optional<double> resistance;      ///< of the yardstick, per cell [ohm]
  std::string slow_name, fitted_name;    ///< steps that it was made from
  std::optional<WhyLess> why;
};

Overlay make_overlay(const Request& request, const Channels& channels, Job& job);

std::string overlay_headline(const Overlay& overlay);
/// Why less came at the fast rate, in sentences; empty where there is nothing to compare.
std::string why_text(const Job& job, const Overlay& overlay);
nlohmann::json overlay_json(const Job& job, const Overlay& overlay);

}  // namespace onegrain::app
