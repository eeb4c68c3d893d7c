#pragma once

#include <optional>

#include "app/answer/answer.hpp"
#include "app/job.hpp"
#include "app/study/plating.hpp"
#include "solver/step/simulator.hpp"

namespace onegrain::app::answer {

/// Columns of curves.csv for calculated steps: those of the Battery Data Format first, then what is inside the cell.
/// @param repeated  a last one numbers the repetitions
CurvesTable calculated_curves(const Job& job, bool repeated = false);

/// Adds the rows of one step at these moments; time goes on from `start_time` [s].
/// @param index  number of the curve or step, from 1
/// @param side        where the potential at the separator side is known better than the step has it
/// @param repetition  from 1, where the course numbers them
void add_step(CurvesTable& course, const Job& job, const solver::StepSolution& step, const std::vector<double>& moments,
              double start_time, int index, const study::SeparatorSide* side = nullptr,
              std::optional<int> repetition = std::nullopt);

}  // namespace onegrain::app::answer
