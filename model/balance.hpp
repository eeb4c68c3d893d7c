#pragma once

#include <optional>
#include <stdexcept>

#include "model/cell.hpp"

namespace onegrain::model {

/// Why two electrodes cannot make the cell that the sheet describes. `what()` is a sentence for the user.
struct ImpossibleBalance : std::runtime_error {
  using std::runtime_error::runtime_error;
};

/// As close to 0 and to 1 as a host comes at rest: its capacity counts to there.
constexpr double nearest_at_rest = 1e-6;

/// The end of a host that is met, at rest, before a cut-off is: the cell rests there, and a run goes on to the cut-off
/// at the surfaces of grains that are full (or empty) already.
struct HostEnd {
  bool of_positive;  ///< the positive (of a half cell: the working electrode), or else the negative
  bool host_full;    ///< 1 - x = nearest_at_rest, or else x = nearest_at_rest
  double voltage;    ///< of the cell at rest there [V]
};

/// Stoichiometries at both cut-offs at rest, and the charge between them.
struct Window {
  Stoichiometries full;                      ///< at the upper cut-off, or where the host ends before it
  Stoichiometries empty;                     ///< at the lower cut-off, or where the host ends before it
  double capacity;                           ///< [C/m2]
  std::optional<HostEnd> before_upper = {};  ///< what ends before the upper cut-off is met
  std::optional<HostEnd> before_lower = {};  ///< what ends before the lower cut-off is met
};

/// Equilibrium voltage U_p(x_p, T) - U_n(x_n, T); a half cell: U_p(x_p, T)   [V].
double equilibrium_voltage(const Cell& cell, Stoichiometries x, double T);

/// Lithium conservation plus the two cut-off voltages. Moves charge q from `cell.inventory`,
/// x_p = x_p0 - q / Q_p, x_n = x_n0 + q / Q_n, until the equilibrium voltage meets each cut-off, or until one of the
/// hosts ends, whichever comes first. Capacity is a continuous function of the cut-offs.
/// @throws ImpossibleBalance where the stated stoichiometries leave no lithium to move, where both cut-offs lie above,
/// or both below, what the two hosts reach, and where less than `least_window` of the smaller host lies between them:
/// at an end of a host its potential is steep and mostly extrapolated, and neither a capacity nor a C-rate can rest on
/// it.
Window equilibrium_window(const Cell& cell);
constexpr double least_window = 0.01;

/// The lowest and the highest voltage that the hosts reach at rest with the lithium of the cell, whatever its cut-offs.
struct RestRange {
  double lowest, highest;  ///< [V]
};
/// @throws ImpossibleBalance where the stated stoichiometries leave no lithium to move
RestRange rest_range(const Cell& cell);

/// State `soc` in 0..1 between empty and full, by charge.
Stoichiometries at_state_of_charge(const Window& window, double soc);

/// Lithium that is left after the first charge of powders as made (positive full, negative empty) when the share
/// `formation_loss` of that charge is bound for good in the film on the negative:
/// returns the stoichiometries at the end of that first charge, at the upper cut-off or where a host ends before it.
/// @throws ImpossibleBalance where the upper cut-off lies below the voltage of the cell as assembled
/// @param positive_as_made  stoichiometry of the positive as made (1 for a lithiated oxide)
Stoichiometries after_formation(const Cell& cell, double formation_loss, double positive_as_made = 1);

/// Charge that 1C passes in an hour: the rated capacity where given, otherwise that of the window  [C/m2].
double one_hour_charge(const Cell& cell, const Window& window);

/// N/P: lithium that the negative can take over the lithium that the positive gives up when charged to the upper
/// cut-off, Q_n / ( Q_p (1 - x_p,full) )  [1]. Below 1 the negative is full before the cell is. Full cells only.
double capacity_ratio(const Cell& cell, const Window& window);

}  // namespace onegrain::model
