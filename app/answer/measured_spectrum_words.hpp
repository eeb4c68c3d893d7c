#pragma once

#include <string>
#include <vector>

#include "app/answer/answer.hpp"
#include "app/study/measured_spectrum.hpp"

/// What a measured spectrum says beside the predicted one.
namespace onegrain::app::answer {

/// Reads the data files of a request, each at its state of charge.
/// @throws UnsoundInput, CommandLineError
std::vector<study::MeasuredBeside> measured_spectra(const Request& request, const Channels& channels, Job& job,
                                                    const std::vector<double>& states);

/// Points that cannot be, states that were not told, signs that were turned.
void examine(const std::vector<study::MeasuredBeside>& measured, bool state_told, Answer& said);
/// One sentence for each file.
std::string measured_words(const Job& job, const std::vector<study::MeasuredBeside>& measured);
/// Measured and predicted over each other, and in numbers.
Section measured_section(const std::vector<study::MeasuredBeside>& measured);
/// Every point, for measured.csv.
CurvesTable measured_points(const std::vector<study::MeasuredBeside>& measured);

}  // namespace onegrain::app::answer
