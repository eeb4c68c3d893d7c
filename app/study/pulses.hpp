#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "app/job.hpp"
#include "params/record/measured.hpp"
#include "solver/estimation/pulses.hpp"

/// Measured pulses and interruptions: resistance, and diffusion in the grains of the working electrode of a half cell.
namespace onegrain::app::study {

/// Half-width of a 95 % interval in standard uncertainties of independent errors.
inline constexpr double normal_95 = 1.96;

/// Resistance from the jump of the voltage between two rows, one with current and one without.
struct JumpResistance {
  double resistance;  ///< [ohm]
  double within;      ///< time between the two rows [s]
};

/// A number with the interval that holds it with 95 %: from value / factor to value * factor.
struct WithinFactor {
  double value, factor;
};

/// Why no diffusion coefficient is offered, or what else has to be known of a pulse; `numbers` in SI as named beside.
struct PulseRemark {
  enum class What {
    full_cell,
    no_rest_after,
    no_rest_before,
    current_varies,
    rows_apart,        ///< between the rows around a switch of the current, and the pulse [s]
    rest_short,        ///< the rest, the pulse [s]
    rest_moves,        ///< in its second half, and what the pulse moves from rest to rest [V]
    potential_flat,    ///< from rest to rest, known within, step of the recorder, drift [V]
    rows_few,          ///< that count, from when on [s], that are needed
    no_sphere,         ///< the pulse [s]
    noise,             ///< scatter about the fit, what the pulse moves [V]
    two_spheres,       ///< D/R2 of the pulse, of the relaxation [1/s]
    potential_bends,   ///< factor within which D/R2 would be known
    pulse_long,        ///< the pulse, R2/D [s]
    uncertain,         ///< factor within which D/R2 would be known
    no_slope,          ///< of an interruption: too few rows before it
    slope_flat,        ///< the voltage before it does not move with the current
    slope_bends,       ///< the voltage before it has no one slope
    relaxation_short,  ///< the rest [s], in its second half [V], all of it [V]
    // remarks that forbid nothing
    row_for_rest,      ///< the record begins with the pulse
    salt_not_settled,  ///< time in which it settles [s]
    relaxation_alone   ///< an interruption: with the slope that the voltage had before
  } what;
  std::array<double, 4> numbers{};
  bool operator==(const PulseRemark&) const = default;
};

/// The pulse of the same file at the rest of which the potential of the card is steep; charge is counted from there.
struct Anchor {
  int pulse = 0;         ///< its number; 0: there is none, and the stoichiometry is not known
  double potential = 0;  ///< at its rest [V]
  bool own = false;      ///< it is the pulse itself
  bool beyond = false;   ///< the charge counted from there leaves 0 to 1, and the stoichiometry is not known
  bool operator==(const Anchor&) const = default;
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
  Anchor stoichiometry_from;
  std::optional<JumpResistance> on, off;
  std::optional<double> relaxation;  ///< from the first row of the rest to its end: concentrations evening out [V]
  std::optional<WithinFactor> by_square_root;  ///< D / R^2 by the square-root law [1/s]
  std::optional<double> by_two_points;         ///< D / R^2 by the sphere, from the same two numbers [1/s]
  std::optional<WithinFactor> by_fit;          ///< D / R^2 by the sphere, from the whole transient [1/s]
  std::optional<double> fitted_resistance;     ///< what follows the current until the fit begins [ohm]
  std::vector<PulseRemark> reasons;            ///< why no diffusion coefficient is offered; empty where one is
  std::vector<PulseRemark> notes;
  solver::PulseRows rows;  ///< what was fitted
  solver::PulseFit fit;

  /// That of which the rows lie closer together.
  std::optional<JumpResistance> closest_jump() const { return on && (!off || on->within <= off->within) ? on : off; }
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

/// The pulse that tells its diffusion coefficient most closely; nullptr where none does.
const MeasuredPulse* best_told(const PulseReport& report);

}  // namespace onegrain::app::study
