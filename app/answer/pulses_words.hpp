#pragma once

#include <string>
#include <vector>

#include "app/answer/answer.hpp"
#include "app/study/pulses.hpp"

/// Sentences and plots of measured pulses, for answer_pulses.cpp.
namespace onegrain::app::answer {

inline constexpr params::Kind per_second_kind{{0, 0, -1}, "a rate", "1/s"};

/// "incomplete rest: it lasts 5.00 min, the pulse 10.0 min".
std::string words_of(const study::PulseRemark& remark);
/// Where the stoichiometry of a pulse comes from.
std::string words_of(const study::Anchor& anchor);

std::string pulses_headline(const study::PulseReport& report);
/// What was done, in sentences for the reader of the tables.
std::vector<std::string> pulses_method(const study::PulseReport& report);

/// D against stoichiometry by both methods; nothing where no pulse tells it.
std::optional<Plot> diffusion_plot(const study::PulseReport& report);
/// One pulse, the rest after it and the fit.
Plot pulse_plot(const study::MeasuredPulse& pulse);

/// Rows of a pulse and of three times as long after it, and the fit at them.
struct FittedRows {
  std::vector<double> time, voltage, fitted;
};
FittedRows fitted_rows(const study::MeasuredPulse& pulse);

}  // namespace onegrain::app::answer
