#include "solver/step/losses.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include "solver/step/trust.hpp"

namespace onegrain::solver {

std::vector<Loss> losses_of(const model::Cell& cell, model::Reaction reaction) {
  std::vector<Loss> losses = {Loss::positive_diffusion, Loss::positive_charge_transfer};
  if (cell.negative) losses.push_back(Loss::negative_diffusion);
  losses.push_back(Loss::negative_charge_transfer);
  losses.push_back(Loss::electrolyte);
  const bool solid =
      cell.positive.electronic_conductivity > 0 || (cell.negative && cell.negative->electronic_conductivity > 0);
  if (solid || cell.contact_resistance > 0) losses.push_back(Loss::resistance);
  if (reaction == model::Reaction::uneven) losses.push_back(Loss::uneven_reaction);
  return losses;
}

model::Cell without(const model::Cell& cell, const std::vector<Loss>& losses) {
  constexpr double quick = 1e4, easy = 1e6;
  model::Cell result = cell;
  for (const Loss loss : losses) {
    switch (loss) {
      case Loss::positive_diffusion:
        result.positive.host.diffusivity = result.positive.host.diffusivity.scaled(quick);
        break;
      case Loss::positive_charge_transfer:
        result.positive.host.exchange_current_density = result.positive.host.exchange_current_density.scaled(quick);
        break;
      case Loss::negative_diffusion:
        if (result.negative) result.negative->host.diffusivity = result.negative->host.diffusivity.scaled(quick);
        break;
      case Loss::negative_charge_transfer:
        if (result.negative)
          result.negative->host.exchange_current_density = result.negative->host.exchange_current_density.scaled(quick);
        if (result.counter)
          result.counter->exchange_current_density = result.counter->exchange_current_density.scaled(quick);
        break;
      case Loss::electrolyte:
        result.electrolyte.conductivity = result.electrolyte.conductivity.scaled(easy);
        result.electrolyte.diffusivity = result.electrolyte.diffusivity.scaled(easy);
        break;
      case Loss::resistance:
        result.contact_resistance = 0;
        result.positive.electronic_conductivity = 0;
        if (result.negative) result.negative->electronic_conductivity = 0;
        break;
      case Loss::uneven_reaction:
        break;
    }
  }
  return result;
}

std::vector<double> shapley_values(int players, const std::vector<double>& worth) {
  if (players < 0 || players > 20 || worth.size() != (std::size_t{1} << players)) {
    throw std::invalid_argument("a game of n players has 2^n worths");
  }
  // weight[k] = k! (n - k - 1)! / n!
  std::vector<double> weight(static_cast<std::size_t>(std::max(players, 1)));
  for (int k = 0; k < players; ++k) {
    double w = 1.0 / players;
    for (int j = 1; j <= k; ++j) w *= static_cast<double>(j) / (players - j);
    weight[static_cast<std::size_t>(k)] = w;
  }
  std::vector<double> values(static_cast<std::size_t>(players), 0.0);
  for (std::size_t set = 0; set < worth.size(); ++set) {
    int members = 0;
    for (std::size_t bits = set; bits; bits &= bits - 1) ++members;
    for (int i = 0; i < players; ++i) {
      const std::size_t bit = std::size_t{1} << i;
      if (set & bit) continue;
      values[static_cast<std::size_t>(i)] +=
          weight[static_cast<std::size_t>(members)] * (worth[set | bit] - worth[set]);
    }
  }
  return values;
}

LossBudget loss_budget(const model::Cell& cell, const model::Window& window, double current, Workspace& workspace,
                       model::ElectrolyteModel electrolyte, model::Reaction reaction) {
  const std::vector<Loss> losses = losses_of(cell, reaction);
  const auto players = static_cast<int>(losses.size());
  std::vector<double> capacity(std::size_t{1} << players), energy(capacity.size());
  LossBudget budget{};
  for (std::size_t set = 0; set < capacity.size(); ++set) {
    std::vector<Loss> off;
    for (int i = 0; i < players; ++i) {
      if (set >> i & 1) off.push_back(losses[static_cast<std::size_t>(i)]);
    }
    const bool uneven =
        reaction == model::Reaction::uneven && std::find(off.begin(), off.end(), Loss::uneven_reaction) == off.end();
    Simulator simulator(without(cell, off), workspace, electrolyte,
                        uneven ? model::Reaction::uneven : model::Reaction::even);
    const ConstantCurrentCurve curve = constant_current(simulator, start_of(simulator, window, current > 0), current);
    capacity[set] = curve.capacity;
    energy[set] = curve.energy;
    if (set == 0) budget.trusted = judge(curve.step).trusted();
  }
  budget.capacity = capacity.front();
  budget.energy = energy.front();
  budget.ideal_capacity = capacity.back();
  budget.ideal_energy = energy.back();
  budget.missing_capacity = budget.ideal_capacity - budget.capacity;
  budget.missing_energy = budget.ideal_energy - budget.energy;
  const std::vector<double> by_capacity = shapley_values(players, capacity),
                            by_energy = shapley_values(players, energy);
  for (std::size_t k = 0; k < losses.size(); ++k) budget.shares.push_back({losses[k], by_capacity[k], by_energy[k]});
  return budget;
}

}  // namespace onegrain::solver
