#pragma once

#include <string>
#include <vector>

#include "app/answer/answer.hpp"
#include "app/study/fitted.hpp"

/// Words and sections of estimates from measured curves, which `fit` and `balance` share.
namespace onegrain::app::answer {

inline constexpr auto off_screen = static_cast<Places>(page | summary);

/// In which unit an estimate is shown.
Measure measure_of(const study::Estimation& estimation, std::size_t index);
/// "time of diffusion R²/D in the grains of the positive".
std::string label_of(const study::Estimation& estimation, std::size_t index);
/// What is to be said of an estimate; empty: nothing.
std::string remark(const study::Estimation& estimation, std::size_t index);
/// "positive.diffusion_time against positive.capacity".
std::string direction_words(const solver::Direction& direction, const study::Estimation& estimation);
/// "a discharge at C/30 from full".
std::string name_of(const study::FurtherTest& test, const study::Estimation& estimation);
/// For each poorly known parameter the test that helps most.
std::vector<std::string> advice(const study::Estimation& estimation, const std::vector<study::FurtherTest>& tests);

/// What was asked for and done otherwise.
std::vector<std::string> notes(const study::Estimation& estimation);
/// Searches, showing how far it is, and examines records and search: where each record begins, how each curve is met,
/// whether the search has settled, estimates that are none.
/// @throws NotCompleted where nothing can be told from it; UnsoundInput where a curve leaves open where it begins
std::vector<Finding> searched(const Request& request, const Channels& channels, const Job& job,
                              study::Estimation& estimation, bool profiles);

/// Table, intervals; "fit.parameters".
Section estimates_section(const study::Estimation& estimation, bool profiles);
/// Measured and calculated, how well each curve is met, how the search went; "fit.curves" and what stands beside it.
Section curves_section(const Job& job, const study::Estimation& estimation);
/// "fit.potentials"; no blocks on the page where no potential was free.
Section potentials_section(const study::Estimation& estimation);
/// "fit.correlation"
Section correlation_section(const study::Estimation& estimation);
/// "fit.untold", "fit.advice", "fit.further_tests"
Section further_section(const study::Estimation& estimation, const std::vector<study::FurtherTest>& tests);

/// What went in, in the answer of either verb: electrolyte and numerics.
void state_the_estimation(Answer& said, const Job& job, const study::Estimation& estimation);

}  // namespace onegrain::app::answer
