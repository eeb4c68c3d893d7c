#pragma once

#include "app/answer/answer.hpp"
#include "app/job.hpp"

/// What follows from a sheet before any integration; every answer about a cell has it on its page.
namespace onegrain::app::answer {

/// The figures of the cell, then of its electrodes, at "bench" in the summary.
std::vector<Block> cell_figures(const Job& job);

/// Which current is which C-rate, at "bench.rates".
Table currents(const Job& job);

/// The layers to scale, and every value of the sheet with its spread and source.
Section what_went_in(const Job& job);

/// Whether the sheet says that its numbers are invented.
bool invented(const Job& job);

/// "+-" of a figure of the bench.
Figure figure(std::string key, std::string label, const params::BenchFigure& from, const char* unit = nullptr);

}  // namespace onegrain::app::answer
