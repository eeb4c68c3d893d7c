#pragma once

#include "app/study/ceiling.hpp"
#include "app/study/ceiling_search.hpp"
#include "app/study/uncertain_cell.hpp"

/// How many of the plausible cells survive the steps of a staircase as they are given to a cycler: the same currents
/// and charges in mA and mAh for every cell, from rest at the state of charge where its own window begins.
namespace onegrain::app::study {

/// Whether one cell keeps every limit through all steps at `factor` times their currents. A cell that reaches its
/// cut-off before a step has passed its charge counts as one that does not. Judged with the reaction even where that is
/// clear, and resolved where it is not.
bool survives(const CellMaker& make, const solver::Staircase& steps, const Subject& nominal, double factor,
              CeilingSearch& search, int thread);

/// The largest factor of a fixed row, at most `highest`, at which `confident_share` of the plausible cells survive as
/// far as counting tells (`least_share`). The cells are those of another seed than the recommendation's.
/// @param steps  scaled to the recommendation
/// @return nothing where even a twentieth is too much
std::optional<CountedSteps> counted_steps(const UncertainCell& cells, const solver::Staircase& steps,
                                          const Subject& nominal, double highest, CeilingSearch& search);

}  // namespace onegrain::app::study
