#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "app/answer/results.hpp"
#include "solver/step/losses.hpp"

/// Where capacity and energy go at a rate, and which change at the bench would win most back.
namespace onegrain::app {

/// A change that can be made at the bench, tried at the same C-rate of the cell that it makes.
struct Lever {
  std::string change;       ///< "grains of the negative half as large: 4 um"
  std::string side_effect;  ///< what it costs
  double share;             ///< of its own equilibrium capacity that the changed cell gives or takes [1]
  double gained_share;      ///< minus that of the cell as it is [1]
  double capacity;          ///< per plate area [C/m2]
  double energy;            ///< per plate area [J/m2]
  bool possible = true;     ///< false: no such cell; `side_effect` says why
};

struct LossReport {
  std::string rate;  ///< as asked for
  NamedCurve curve;  ///< of the cell as it is
  solver::LossBudget budget;
  std::vector<Lever> levers;  ///< the best first
};

/// @throws CommandLineError unless the request names one rate
LossReport find_losses(const Request& request, const Job& job);

std::string name_of(solver::Loss loss, const model::Cell& cell);
std::string losses_headline(const Job& job, const LossReport& report);
nlohmann::json losses_json(const Job& job, const LossReport& report);

}  // namespace onegrain::app
