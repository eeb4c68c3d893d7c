#pragma once

#include "app/answer/answer.hpp"
#include "app/job.hpp"
#include "app/study/plating.hpp"
#include "solver/step/simulator.hpp"

namespace onegrain::app::answer {

/// Columns of curves.csv for calculated steps: those of the Battery Data Format first, then what is inside the cell.
CurvesTable calculated_curves(const Job& job);

/// Adds the rows of one step at these moments; time goes on from `start_time` [s].
/// @param index  number of the curve or step, from 1
/// @param side   where the potential at the separator side is known better than the step has it
void add_step(CurvesTable& course, const Job& job, const solver::StepSolution& step, const std::vector<double>& moments,
              double start_time, int index, const study::SeparatorSide* side = nullptr);

}  // namespace onegrain::app::answer
