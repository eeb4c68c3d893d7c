#pragma once

#include <limits>
#include <optional>
#include <span>
#include <vector>

#include "model/cell.hpp"
#include "model/coating.hpp"

/// A cell together with how it was made, so that it can be made anew with some values of the bench changed.
namespace onegrain::model {

struct ElectrodeMaking {
  Coating coating;
  double accessible = 1;         ///< share of the host that takes part [1]
  bool usual_tortuosity = true;  ///< it follows from the porosity; otherwise stated, and stays
};

struct MadeCell {
  Cell cell;
  ElectrodeMaking positive;  ///< working electrode of a half cell
  ElectrodeMaking negative;  ///< means nothing in a half cell
  std::optional<double> formation_loss;
};

/// The lithium of a cell, from which its windows follow: as its `charged_state` says, or after the first charge of
/// powders as made, or, of a half cell, the middle of the range in which the potential is known.
/// @throws ImpossibleBalance
Stoichiometries lithium_of(const Cell& cell, std::optional<double> formation_loss);

/// Fractions, thickness and tortuosity as the coating has them.
void fill_layer(Electrode& electrode, const ElectrodeMaking& making);

/// What is changed; nothing where a number is NaN.
struct Changes {
  static constexpr double none = std::numeric_limits<double>::quiet_NaN();
  struct OfElectrode {
    double particle_radius = none;   ///< [m]
    double diffusivity = none;       ///< times that of the cell [1]
    double exchange_current = none;  ///< times that of the cell [1]
    double thickness = none;         ///< times that of the cell, as much heavier, of the same porosity [1]
    double porosity = none;          ///< by pressing: the solids stay, the thickness follows [1]
  };
  double temperature = none;                          ///< [K]
  double lower_voltage = none, upper_voltage = none;  ///< [V]
  double contact_resistance = none;                   ///< [ohm m2]
  double counter_exchange_current = none;             ///< of the lithium of a half cell, times that of the cell [1]
  OfElectrode positive, negative;
};

/// @throws ImpossibleBalance, std::invalid_argument for a number that no cell can have
Cell remade(const MadeCell& made, const Changes& changes);

/// All numbers of a cell and of its making; curves piece for piece. What impedance alone feels and stress are left out.
std::vector<double> numbers_of(const MadeCell& made);
/// The same cell. @throws std::invalid_argument where they are none
MadeCell cell_of(std::span<const double> numbers);

}  // namespace onegrain::model
