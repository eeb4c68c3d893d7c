#pragma once

#include <vector>

#include "app/job.hpp"
#include "solver/step/simulator.hpp"

namespace onegrain::app::study {

/// What takes voltage between equilibrium and the terminals.
enum class VoltageLoss {
  positive_diffusion,  ///< half cell: of the working electrode
  positive_transfer,
  negative_diffusion,
  negative_transfer,  ///< half cell: at the lithium
  electrolyte,
  salt,
  electronic,
  contact
};

struct VoltagePart {
  VoltageLoss loss;
  double volts;  ///< positive where it is a loss
};

/// The parts at one moment. Which parts there are depends on the cell and its electrolyte alone, never on the moment.
/// Their sum is the equilibrium voltage of the mean stoichiometries less the terminal voltage, on charge the negative
/// of it.
std::vector<VoltagePart> voltage_parts(const Job& job, const solver::Point& point);

/// The parts averaged over the charge of a step at constant current, from `even` moments.
std::vector<VoltagePart> mean_voltage_parts(const Job& job, const solver::StepSolution& step, int even = 21);

}  // namespace onegrain::app::study
