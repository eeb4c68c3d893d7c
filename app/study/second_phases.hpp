#pragma once

#include <optional>
#include <string>
#include <vector>

#include "app/job.hpp"

namespace onegrain::app::study {

/// What the second phases of a powder cost: the cell as it is beside one whose powder is the host alone, coated as
/// heavy and as thick.
struct SecondPhasesCost {
  std::string key;                            ///< of the electrode
  double host_share, host_volume_share;       ///< of the powder, by mass and by volume
  std::optional<double> powder, pure_powder;  ///< capacity between the cut-offs per mass of powder [C/kg]
  double areal, pure_areal;                   ///< the same per plate area [C/m2]
  double porosity, pure_porosity;
  std::string rate;                                 ///< asked for; both cells at the same current
  std::optional<double> delivered, pure_delivered;  ///< on discharge [C]; nothing where a calculation has no end
};

/// One for each electrode with second phases.
std::vector<SecondPhasesCost> second_phases(const Job& job, const params::Rate& rate);

}  // namespace onegrain::app::study
