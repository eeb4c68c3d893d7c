#pragma once

#include <string>
#include <vector>

#include "params/card/card.hpp"

/// Measured impedance spectra as delimited text: the columns of the Battery Data Format, an open standard, `Frequency /
/// Hz`, `Real Impedance / ohm` and `Imaginary Impedance / ohm` (negative when capacitive) or `Absolute Impedance / ohm`
/// and `Phase / deg`; and what instruments write in their place: f, Re(Z), -Im(Z), Z', -Z'', |Z|.
namespace onegrain::params {

struct MeasuredSpectrum {
  std::string name;                     ///< of the file
  std::vector<double> frequency;        ///< descending [Hz]
  std::vector<double> real, imaginary;  ///< negative when capacitive [ohm]
  std::vector<int> line;                ///< of each point, in the file, from 1
  std::string columns;                  ///< "f/Hz, Re(Z)/Ohm, -Im(Z)/Ohm": what was taken for what
  bool turned = false;                  ///< the imaginary part stood there with the other sign than its title says
  int rows_read = 0, left_out = 0;      ///< left out: without a number, or not above 0 Hz
  int further_sweeps = 0;               ///< of the same file, which are not taken

  std::size_t size() const { return frequency.size(); }
};

/// @param columns  "frequency=TITLE", "real=TITLE", "imaginary=-TITLE", "magnitude=TITLE", "phase=TITLE", each with a
/// unit
///                 behind a colon where the title lacks it; those that are not named are looked for
Loaded<MeasuredSpectrum> load_spectrum(const std::string& path, const std::vector<std::string>& columns);
Loaded<MeasuredSpectrum> read_spectrum(const std::string& text, const std::string& file,
                                       const std::vector<std::string>& columns);

/// Whether the header of a delimited text names a frequency and an impedance.
bool looks_like_spectrum(const std::string& text);

}  // namespace onegrain::params
