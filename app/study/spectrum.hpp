#pragma once

#include <string>
#include <vector>

#include "app/job.hpp"
#include "model/impedance.hpp"

/// Impedance of the cell of a sheet, at states of charge and frequencies asked for.
namespace onegrain::app::study {

/// At one state of charge; everything for the whole cell, in ohm and F and Hz.
struct Spectrum {
  double soc;                     ///< between the equilibria at the cut-offs
  model::Stoichiometries at;      ///< where the electrodes rest
  double voltage;                 ///< of the cell there [V]
  model::Impedance impedance;     ///< per plate area
  std::vector<double> frequency;  ///< descending, as spectra are taken [Hz]
  std::vector<model::Complex> whole;
  std::vector<model::PartImpedances> parts;
  std::array<model::PartFigure, model::impedance_parts> figures;  ///< resistances [ohm]

  const model::PartFigure& figure(model::ImpedancePart part) const { return figures[static_cast<std::size_t>(part)]; }
  /// The sum of all parts at low frequency [ohm].
  double resistance() const;
  /// False where a potential rises with the lithium in its host: no cell rests there, and nothing is calculated.
  bool stable() const { return impedance.positive_slope() <= 0 && impedance.negative_slope() <= 0; }
};

/// "0.2,0.5,0.8" as numbers from 0 to 1. @throws CommandLineError
std::vector<double> states_of_charge(const std::string& text);

/// "1e-3..1e5" with so many in every decade, evenly in the logarithm and both ends among them, or a list "0.1,1,10";
/// descending [Hz]. @throws CommandLineError
std::vector<double> frequencies(const std::string& text, int per_decade);

std::vector<Spectrum> spectra(const Job& job, const std::vector<double>& states, const std::vector<double>& frequency);

/// The largest |Z_even - Z_uneven| / |Z_uneven| over the frequencies, where the other description is asked.
struct OtherReaction {
  double share, frequency;
};
OtherReaction other_reaction(const Job& job, const Spectrum& spectrum);

}  // namespace onegrain::app::study
