#pragma once

#include <optional>
#include <string>
#include <vector>

#include "app/answer/answer.hpp"
#include "app/study/spectrum.hpp"

/// Sentences and plots of predicted impedance, for answer_spectrum.cpp.
namespace onegrain::app::answer {

/// "1.2 kHz", "3.4 mHz", two significant digits.
std::string hertz(double frequency);

/// "charge transfer at the negative", of a half cell "charge transfer at the lithium".
std::string name_of(model::ImpedancePart part, const Job& job);
/// As a spectrum shows it: "an arc", "a shift along the real axis".
std::string seen_as(const study::Spectrum& s, model::ImpedancePart part);

/// Parts that this cell has, those of high frequency first: what shifts the spectrum, then by their own frequency.
std::vector<model::ImpedancePart> parts_in_order(const study::Spectrum& s);

std::string soc_percent(double soc);

/// Whether the numbers can be believed, each rule once for all states (see examination.hpp).
std::vector<Finding> spectrum_findings(const Job& job, const std::vector<study::Spectrum>& spectra);

/// Negative imaginary part over real part on equal axes; and both against frequency.
Plot nyquist_plot(const std::vector<const study::Spectrum*>& spectra);
Plot frequency_plot(const std::vector<const study::Spectrum*>& spectra);
/// What every part would draw alone, side by side, against the whole; and their imaginary parts against frequency.
Plot arcs_plot(const Job& job, const study::Spectrum& s);
Plot parts_plot(const Job& job, const study::Spectrum& s);

}  // namespace onegrain::app::answer
