#pragma once

#include <optional>
#include <string>
#include <vector>

#include "app/study/fitted.hpp"

/// How the two electrodes of a cell lie over each other, read from one slow curve.
namespace onegrain::app::study {

/// What `balance` estimates: capacities and lithium; diffusion and kinetics, as far as the sheet leaves them open; and
/// a contact resistance that makes up for what else costs voltage.
std::vector<std::string> balance_parameters(const Job& job);

/// A number with its interval, and what the sheet has.
struct AgainstSheet {
  Derived now;
  double sheet;
  /// What is there now less than on the sheet, as a share; negative where there is more.
  Derived loss() const { return {1 - now.value / sheet, 1 - now.upper / sheet, 1 - now.lower / sheet}; }
};

struct ElectrodeBalance {
  std::string key;           ///< of the sheet
  AgainstSheet capacity;     ///< full minus empty [C/m2]
  AgainstSheet full, empty;  ///< stoichiometries, the cell full and empty
  double all_in, all_out;    ///< charge since full at which the electrode would hold all its lithium, and none [C/m2]
};

struct Balance {
  std::vector<ElectrodeBalance> electrodes;  ///< positive (half cell: working) first
  std::optional<AgainstSheet> lithium;       ///< that both share [C/m2]; full cells, as the next
  std::optional<AgainstSheet> ratio;         ///< N/P
  AgainstSheet cell_capacity;                ///< at rest between the cut-offs [C/m2]
};
Balance balance(const Job& job, const Estimation& estimation);

/// Potentials at rest over the charge that the cell has given since it was full [C/m2], NaN where a host ends.
struct Potentials {
  std::vector<double> charge, positive, negative, cell;  ///< negative: empty for half cells; cell: within the cut-offs
  std::vector<char> positive_known, negative_known;  ///< within the range of the card; half cells: the second all true
  std::vector<double> measured_charge, measured;     ///< the voltage of the first curve, under current
};
/// @param reach  to either side of the window, as a share of its charge
Potentials potentials(const Job& job, const Estimation& estimation, double reach = 0.45);

}  // namespace onegrain::app::study
