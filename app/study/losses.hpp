#pragma once

#include <string>
#include <vector>

#include "app/study/curves.hpp"
#include "solver/step/losses.hpp"

/// Where capacity and energy go at a rate, and which change at the bench would win most back.
namespace onegrain::app::study {

/// Changes that can be made at the bench.
enum class Change {
  finer_positive,  ///< grains half as large; half cell: of the working electrode
  finer_negative,
  thinner_coatings,  ///< a fifth, equally dense
  less_pressed,      ///< 5 points more porosity
  warmer,            ///< 10 K
  better_contact,    ///< half the contact resistance
  more_salt          ///< a fifth
};

/// A change, tried at the same C-rate of the cell that it makes.
struct Lever {
  Change change;
  bool possible = true;     ///< false: no such cell, or none that can be calculated
  std::string because;      ///< why not
  double share = 0;         ///< of its own equilibrium capacity that the changed cell gives or takes [1]
  double gained_share = 0;  ///< minus that of the cell as it is [1]
  double capacity = 0;      ///< per plate area [C/m2]
  double energy = 0;        ///< per plate area [J/m2]
};

struct LossesFound {
  NamedCurve curve;  ///< of the cell as it is
  double share;      ///< of its equilibrium capacity that it gives or takes [1]
  solver::LossBudget budget;
  std::vector<Lever> levers;  ///< the best first
};

/// @throws solver::IntegrationFailure  the cell as it is, or one without some of its losses, cannot be calculated
LossesFound find_losses(const Job& job, const params::Rate& rate, bool charge);

}  // namespace onegrain::app::study
