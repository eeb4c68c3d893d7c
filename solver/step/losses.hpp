#pragma once

#include <string>
#include <vector>

#include "solver/step/curves.hpp"

/// Where capacity and energy go at a rate.
namespace onegrain::solver {

/// What can be switched off in a calculation, though never at a bench.
enum class Loss {
  positive_diffusion,  ///< inside the grains of the positive (half cell: of the working electrode)
  positive_charge_transfer,
  negative_diffusion,        ///< full cells only
  negative_charge_transfer,  ///< half cell: at the lithium metal
  electrolyte,               ///< ohmic drop and uneven salt
  resistance,                ///< contacts and the solid of the layers
  uneven_reaction            ///< that the reaction crowds somewhere in the depth of the layers
};
constexpr int loss_count = 7;

/// The losses that this cell has at all, as far as a description of its reaction knows them.
std::vector<Loss> losses_of(const model::Cell& cell, model::Reaction reaction);

/// The cell with some losses made negligible: diffusivities and exchange currents times 1e4, salt transport times 1e6,
/// resistances none. An uneven reaction is made even by the description alone.
model::Cell without(const model::Cell& cell, const std::vector<Loss>& losses);

/// The Shapley value: how the worth of all players together is shared out so that the order in which they join does not
/// matter, sum_i phi_i = worth(all) - worth(none).
///
///     phi_i = sum over sets S without i of |S|! (n - |S| - 1)! / n!  (worth(S + i) - worth(S))
///
/// @param worth  of every set, 2^n values; bit i of the index says that player i is in it
/// Source: L. S. Shapley, Contributions to the Theory of Games II (1953) 307.
std::vector<double> shapley_values(int players, const std::vector<double>& worth);

/// One loss at one rate.
struct LossShare {
  Loss loss;
  double capacity;  ///< what is missing because of it; the shares add up to LossBudget::missing_capacity [C/m2]
  double energy;    ///< [J/m2]
};

struct LossBudget {
  double capacity, energy;              ///< at the rate, as the cell is [C/m2], [J/m2]
  double ideal_capacity, ideal_energy;  ///< with every loss switched off
  double missing_capacity,
      missing_energy;  ///< ideal minus real. On charge the energy of a loss is taken up in addition: negative
  std::vector<LossShare> shares;  ///< in the order of losses_of
  bool trusted = true;            ///< as judged for the cell as it is
};

/// Runs every combination, 2^n curves from the state that the real cell would start in to the same cut-off.
/// @param current  nonzero [A/m2]
LossBudget loss_budget(const model::Cell& cell, const model::Window& window, double current, Workspace& workspace,
                       model::ElectrolyteModel electrolyte, model::Reaction reaction = model::Reaction::even);

}  // namespace onegrain::solver
