#pragma once

#include <stdexcept>

#include "model/cell.hpp"

namespace onegrain::model {

/// Why two electrodes cannot make the cell that the sheet describes. `what()` is a sentence for the user.
struct ImpossibleBalance : std::runtime_error {
  using std::runtime_error::runtime_error;
};

/// Stoichiometries at both cut-offs at rest, and the charge between them.
struct Window {
  Stoichiometries full;   ///< at the upper cut-off
  Stoichiometries empty;  ///< at the lower cut-off
  double capacity;        ///< [C/m2]
};

/// Equilibrium voltage U_p(x_p, T) - U_n(x_n, T); a half cell: U_p(x_p, T)   [V].
double equilibrium_voltage(const Cell& cell, Stoichiometries x, double T);

/// Lithium conservation plus the two cut-off voltages. Moves charge q from `cell.inventory`,
/// x_p = x_p0 - q / Q_p, x_n = x_n0 + q / Q_n, until the equilibrium voltage meets each cut-off.
/// @throws ImpossibleBalance if a cut-off lies outside what the two hosts can reach.
Window equilibrium_window(const Cell& cell);

/// State `soc` in 0..1 between empty and full, by charge.
Stoichiometries at_state_of_charge(const Window& window, double soc);

/// Lithium that is left after the first charge of powders as made (positive full, negative empty) when the share
/// `formation_loss` of that charge is bound for good in the film on the negative:
/// returns the stoichiometries at the end of that first charge, at the upper cut-off.
/// @param positive_as_made  stoichiometry of the positive as made (1 for a lithiated oxide)
Stoichiometries after_formation(const Cell& cell, double formation_loss, double positive_as_made = 1);

/// Charge that 1C passes in an hour: the rated capacity where given, otherwise that of the window  [C/m2].
double one_hour_charge(const Cell& cell, const Window& window);

/// N/P: lithium that the negative can take over the lithium that the positive gives up when charged to the upper
/// cut-off, Q_n / ( Q_p (1 - x_p,full) )  [1]. Below 1 the negative is full before the cell is. Full cells only.
double capacity_ratio(const Cell& cell, const Window& window);

}  // namespace onegrain::model
