#pragma once

#include <string>
#include <utility>

#include "solver/step/simulator.hpp"

namespace onegrain::tests {

/// One cell, and steps on it.
struct Bench {
  model::Cell cell;
  model::ElectrolyteModel electrolyte = model::ElectrolyteModel::uniform;
  solver::Workspace workspace{};
  solver::Simulator simulator{cell, workspace, {}, electrolyte};
  solver::StepSolution run(const solver::State& start, model::Drive drive, model::Ends until,
                           std::string label = "a step") {
    return simulator.run(start, {std::move(drive), until, std::move(label)});
  }
};

}  // namespace onegrain::tests
