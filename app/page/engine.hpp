#pragma once

#include <string>
#include <vector>

#include "model/making.hpp"
#include "solver/step/simulator.hpp"

/// The solver behind a page: rows of numbers in, rows of numbers out, for a caller that knows neither C++ nor a sheet.
/// Compiled to WebAssembly by app/page/build.sh (engine_c.cpp is the door), and natively for tests. Not for several
/// threads.
namespace onegrain::page {

/// What is asked, as a row of numbers. NaN: nothing is changed, nothing is asked for.
///
///     0..4    temperature [K], lower and upper cut-off [V], contact resistance [ohm m2], exchange current of the
///             lithium of a half cell, times that of the cell
///     5..9    positive: radius [m], diffusivity and exchange current times those of the cell, thickness times that of
///             the cell, porosity; 10..14 the negative
///     15      electrolyte: 0 salt at rest, 1 resolved;  16 reaction: 0 even, 1 uneven
///     17      state of charge at the start [1]; NaN: full where the first step discharges, empty where it charges
///     18      moments per step;  19 the same spacing with some more after the start (1) or not (0)
///     20..22  points along a radius, grains over the depth of a layer, places of the salt
///     23      steps; then for each of them
///       +0    what is driven: 0 current in C (of the cell as changed, > 0 charges), 1 rest, 2 voltage [V],
///             3 current [A/m2]
///       +1    its value
///       +2    until this voltage [V]; NaN: of a current the cut-off of its direction
///       +3    until this time [s];  +4 until the current falls to this [C];  +5 until this charge [C/m2]
constexpr int asked_before_steps = 24, asked_per_step = 6;

/// The answer, as a row of numbers.
///
///     0..5    steps, moments, numbers per step, numbers per moment, then points along a radius, grains over the depth,
///     6       places of the salt
///     7..     of the cell: 1C charge [C/m2], plate area [m2], charge between the cut-offs at rest [C/m2]; positive,
///             negative stoichiometries when full, when empty; capacities of both hosts [C/m2]; thickness of negative,
///             separator, positive [m]; porosity of the three; active fraction of negative, positive; radius of
///             negative, positive [m]; temperature [K]; cut-offs [V]; salt at rest [mol/m3]; diffusivity at half
///             filling of negative, positive [m2/s]; mean voltage at rest over the window [V]
///     steps   start [s], duration [s], Ended, charge passed [C/m2], energy passed [J/m2], moments, 1 where the result
///             is to be believed, 1 where the step was passed over
///     moments step, time since the start [s], current [A/m2], charge passed since the start [C/m2], voltage, potential
///             of positive and negative against lithium at rest of their surfaces, overpotentials of both, ohmic drop
///             of the electrolyte, uneven salt, contacts, potential at the separator side [V]; surface and mean of the
///             positive, of the negative; temperature [K]; lowest and highest salt [mol/m3]; then the grains of the
///             positive from the foil to the separator, each from centre to surface; the same of the negative; the
///             share of the reaction at those depths of both; the salt from the negative's foil
constexpr int answer_head = 7, answer_cell = 28, answer_per_step = 8, answer_before_profiles = 20;

class Engine {
 public:
  /// @throws std::invalid_argument
  void take(std::span<const double> numbers);
  /// @throws std::invalid_argument, model::ImpossibleBalance, solver::IntegrationFailure; the last answer stays
  const std::vector<double>& run(std::span<const double> asked);
  const std::vector<double>& answer() const { return answer_; }

 private:
  std::optional<model::MadeCell> made_;
  solver::Workspace workspace_;
  std::vector<double> answer_;
};

}  // namespace onegrain::page
