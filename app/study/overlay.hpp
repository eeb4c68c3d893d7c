#pragma once

#include <limits>
#include <optional>
#include <vector>

#include "app/study/derivatives.hpp"
#include "app/study/plating.hpp"
#include "app/study/recorded.hpp"
#include "solver/step/losses.hpp"
#include "solver/step/trust.hpp"

/// Measured over predicted: the model under the measured current, step by step, beside what needs no model.
namespace onegrain::app::study {

inline constexpr double goes_as_far = 0.6;  ///< of the largest capacity of its direction: a slow curve holds as much
inline constexpr double not_a_number = std::numeric_limits<double>::quiet_NaN();

/// How far a curve lies from the measured one, calculated minus measured, weighted with time [V, or K].
struct Distance {
  double rms = 0, mean = 0, largest = 0;
  std::size_t rows = 0;
};

/// One step of a record that took part.
struct OverlaidStep {
  std::size_t number;  ///< in the file, from 0
  params::RecordedStep recorded;
  double c_rate;                      ///< 0: rest
  std::optional<double> temperature;  ///< mean of what was measured [K]
  std::vector<double> time, charge, measured, model,
      current;  ///< rows: [s] since the start of the run, [C] since that of the step, V, V (NaN: beyond the model), A
  Distance distance;
  /// Where the sheet has a heat balance and the record a temperature of the cell: both, row by row [K].
  std::vector<double> measured_temperature, model_temperature;
  std::optional<Distance> temperature_distance;
  double capacity;  ///< measured, magnitude [C]
  double begins;    ///< charge from the sheet's lithium to where the step begins, charging positive [C]
  std::optional<double>
      model_capacity;  ///< until the voltage at which the measured step ended [C]; where that can be told
  std::optional<solver::Ended> model_ended_by;  ///< where the model stopped before the measured step did
  double resolution = 0;                        ///< step of the recorder [V]
  solver::Trust trust;                          ///< of the first part of the step that is not trusted, else of any
  // Against what needs no model, over the share of capacity that both hold
  std::optional<double> resistance_rms, model_rms_there;  ///< [V]
  bool resistance_fitted_here = false;
  std::optional<double>
      lowest_separator_side;                 ///< by the model, while it takes lithium up; of cells that can plate [V]
  std::optional<Plating> plating;            ///< where that falls below what is to be kept
  std::optional<double> resolved_less_even;  ///< of an even reaction: where the resolved one is furthest from it [V]
  std::optional<double> between_cells_rms;   ///< [V]; other files with the same step
  std::optional<Derivatives> measured_derivatives, model_derivatives;  ///< of charges and discharges

  bool is_sweep() const { return recorded.is_sweep(); }
  bool predicts_temperature() const { return temperature_distance.has_value(); }
  bool discharges() const { return recorded.kind == params::StepKind::discharge; }
};

struct OverlaidRun {
  Recording recording;
  std::vector<OverlaidStep> steps;
  std::size_t rows_not_reached = 0;  ///< beyond the end of the model
  /// Where the model is far off: another start that would bring it to less than half of that.
  std::optional<Beginning> better_start;
};

/// A step among those of an overlay.
struct StepAt {
  std::size_t run, step;
};

/// What needs no model: the slow curve less one constant resistance, for one direction. Slow and fast begin in the same
/// state, and the slow one goes as far: what is left in a cell after a fast discharge is no slow curve.
struct Yardstick {
  bool discharge;
  double resistance;    ///< of the cell [ohm]
  StepAt slow, fitted;  ///< the slow curve, and the faster one that gave the resistance
};

/// Why the fastest discharge gave less than the slowest.
struct WhyLess {
  StepAt fast, slow;
  double fast_energy, slow_energy;  ///< measured [J]
  solver::LossBudget budget;        ///< of the model at the fast rate
  double temperature;               ///< that it was made at [K]
};

struct Overlay {
  std::vector<OverlaidRun> runs;
  bool recognised = false;               ///< the recognised protocol was run instead of the measured current
  double voltage_width, capacity_share;  ///< of the smoothing: [V], share of the step's capacity
  std::vector<Yardstick> yardsticks;     ///< discharge before charge, where there is one
  std::optional<WhyLess> why;

  const OverlaidStep& at(StepAt place) const { return runs[place.run].steps[place.step]; }
  const Yardstick* yardstick(bool discharge) const;
  /// Both begin within 3 % of the larger capacity of each other.
  bool same_start(StepAt a, StepAt b) const;
};

/// @param smoothing  half-width of the window of the derivatives, as a share of the voltage window and of the capacity
/// @throws as load_recording()
Overlay make_overlay(const Request& request, const Channels& channels, Job& job, double smoothing);

/// Fills in what needs no model: yardsticks and what is read against them, and how far cells differ.
void compare_without_model(Overlay& overlay);

}  // namespace onegrain::app::study
