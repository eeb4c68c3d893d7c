#pragma once

#include <functional>
#include <limits>
#include <optional>
#include <string>
#include <vector>

#include "app/study/design.hpp"
#include "model/single_particle.hpp"
#include "solver/charge/ceiling.hpp"
#include "solver/step/simulator.hpp"

/// What many designs of a cell give: capacity, energy and power at rates, and how fast they may be charged. Design k
/// depends on its number alone, however the work is cut into parts and threads.
namespace onegrain::app::study {

constexpr double unknown = std::numeric_limits<double>::quiet_NaN();

/// Half of each foil counts to a coating, which its other side shares.
struct Foils {
  double positive = 15e-6, negative = 10e-6;  ///< thickness [m]
};

/// The charge that every design is asked for.
struct ChargeAsked {
  solver::ChargeWindow window;
  solver::ChargeLimits limits;
  int samples = 512;  ///< plausible cells of each design at most; 0: the design as it is alone
};

struct SurveyAsked {
  std::string rates;  ///< discharges; a C-rate is that of each design
  model::ElectrolyteModel electrolyte = model::ElectrolyteModel::resolved;
  model::Reaction reaction = model::Reaction::even;
  Foils foils;
  std::optional<ChargeAsked> charge;
  std::uint64_t seed = 1;
};

/// A coating as it is drawn; of a cell that cannot be, unknown.
struct DrawnCoating {
  double thickness = unknown, porosity = unknown, loading = unknown;  ///< [m], [1], dry [kg/m2]
};

struct DischargeTold {
  double capacity = unknown, energy = unknown;  ///< delivered, per plate area [C/m2], [J/m2]
  double duration = unknown;                    ///< [s]
  double hottest = unknown;                     ///< [K]; of a sheet that knows the heat of its cell
  bool trusted = false;
  double mean_power() const { return energy / duration; }  ///< [W/m2]
};

struct ChargeTold {
  double current = unknown;    ///< of the design as it is [A/m2]
  double confident = unknown;  ///< what `confident_share` of its plausible cells survive, lower end [A/m2]
  double duration = unknown;   ///< of the window at that [s]
};

/// One design with all that came of it.
struct Surveyed {
  int number = -1;                   ///< from 0
  std::string left_out;              ///< why there is no such cell; the rest is then unknown
  double n_to_p = unknown;           ///< of a full cell
  double one_hour_charge = unknown;  ///< of 1C [C/m2]
  DrawnCoating positive, negative;   ///< positive: of a half cell the working electrode
  double thickness = unknown;        ///< of the stack: coatings, separator, half of each foil; full cells [m]
  double mass = unknown;             ///< of the same, with the electrolyte in all pores [kg/m2]
  std::vector<DischargeTold> discharges;
  std::optional<ChargeTold> charge;

  /// Every number in a fixed order, for a file.
  std::vector<double> numbers() const;
  /// The other way. @throws std::invalid_argument where they are too few or too many
  static Surveyed from_numbers(int number, const std::vector<double>& numbers, std::size_t discharges, bool charge);
};

/// @param workspace  of the calling thread
/// @throws CommandLineError  a rate that is none
Surveyed survey_design(const Designs& designs, int k, const SurveyAsked& asked, solver::Workspace& workspace);

/// Densities that no sheet states, for the mass of the stack; said beside every result [kg/m3].
/// Foils: CRC Handbook of Chemistry and Physics (from memory); the others are common practice.
constexpr double aluminium = 2700, copper = 8960, wet_electrolyte = 1200, separator_polymer = 950,
                 carbon_and_binder = 1850;

}  // namespace onegrain::app::study
