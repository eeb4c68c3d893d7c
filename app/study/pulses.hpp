#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "app/job.hpp"
#include "params/record/measured.hpp"
#include "solver/estimation/pulses.hpp"

/// Measured pulses and interruptions: resistance, and diffusion in the grains of the working electrode of a half cell.
namespace onegrain::app {

/// Half-width of a 95 % interval in standard uncertainties of independent errors.
inline constexpr double normal_95 = 1.96;

/// Resistance from the jump of the voltage between two rows, one with current and one without.
struct Jump {
  double resistance;  ///< [ohm]
  double within;      ///< time between the two rows [s]
};

/// A number with the interval that holds it with 95 %: from value / factor to value * factor.
struct WithinFactor {
  double value, factor;
};

struct MeasuredPulse {
  std::string file;
  int number = 0;             ///< from 1, in its file
  bool interruption = false;  ///< a rest after a long step: no pulse between two rests that lie close together
  double start = 0;           ///< time of the record [s]
  double duration = 0;        ///< [s]
  double current = 0;         ///< positive charges [A]
  double charge = 0;          ///< [C]
  std::optional<double> before, after;  ///< potentials at rest [V]
  double change_uncertainty = 0;        ///< of after - before, standard [V]
  std::optional<double>
      stoichiometry;                ///< of the working electrode, half way through the pulse; interruption: at its rest
  double stoichiometry_spread = 0;  ///< half-width of about 95 %
  std::string stoichiometry_from;   ///< in words
  std::optional<Jump> on, off;
  std::optional<double> relaxation;  ///< from the first row of the rest to its end: concentrations evening out [V]
  std::optional<WithinFactor> by_square_root;  ///< D / R^2 by the square-root law [1/s]
  std::optional<double> by_two_points;         ///< D / R^2 by the sphere, from the same two numbers [1/s]
  std::optional<WithinFactor> by_fit;          ///< D / R^2 by the sphere, from the whole transient [1/s]
  std::optional<double> fitted_resistance;     ///< what follows the current until the fit begins [ohm]
  std::vector<std::string> reasons;            ///< why no diffusion coefficient is offered; empty where one is
  std::vector<std::string> notes;
  solver::PulseRows rows;  ///< what was fitted
  solver::PulseFit fit;

  /// That of which the rows lie closer together.
  std::optional<Jump> closest_jump() const { return on && (!off || on->within <= off->within) ? on : off; }
};

struct PulseReport {
  std::vector<MeasuredPulse> pulses;
  double resolution = 0;     ///< step of the recorder [V], the largest of the files
  double salt_settles = 0;   ///< by the sheet [s]
  double radius = 0;         ///< of the grains [m]; 0 in a full cell
  double radius_factor = 1;  ///< R is known within this factor
  bool full_cell = false;
};

/// Finds the pulses and interruptions of a record and evaluates them; adds them to the report.
/// @throws UnsoundInput where the record has neither
void add_pulses(PulseReport& report, const Job& job, const std::string& file, const params::Record& record);

/// D [m2/s] from D / R^2; the interval also holds that of the radius.
WithinFactor diffusivity(const PulseReport& report, const WithinFactor& per_second);

std::string pulses_headline(const PulseReport& report);
/// What was done, in sentences for the reader of the table.
std::vector<std::string> pulses_method(const PulseReport& report);
nlohmann::json pulses_json(const Job& job, const PulseReport& report);
/// pulses.csv: one row a pulse.
std::string pulses_table(const Job& job, const PulseReport& report);

}  // namespace onegrain::app
