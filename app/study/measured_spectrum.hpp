#pragma once

#include <string>
#include <vector>

#include "app/study/spectrum.hpp"
#include "params/record/spectrum.hpp"
#include "solver/estimation/kramers_kronig.hpp"

/// A measured impedance spectrum beside the predicted one.
namespace onegrain::app::study {

struct MeasuredBeside {
  params::MeasuredSpectrum data;
  solver::KramersKronig test;  ///< whether it can be that of a cell at rest
  Spectrum predicted;          ///< at the measured frequencies
  double misfit = 0;      ///< root of the mean square of |Z_predicted - Z_measured| / |Z_measured|, of points that pass
  std::size_t worst = 0;  ///< the point that passes at which that is largest
  double series_measured = 0, series_predicted = 0;  ///< where the spectrum meets the real axis at high frequency [ohm]

  model::Complex measured(std::size_t k) const { return {data.real[k], data.imaginary[k]}; }
  double miss(std::size_t k) const { return std::abs(predicted.whole[k] - measured(k)) / std::abs(measured(k)); }
};

/// @param soc  at which it was taken
/// @throws NotCompleted  where no point can be that of a linear cell at rest, and where no cell rests at that state
MeasuredBeside beside_measured(const Job& job, params::MeasuredSpectrum data, double soc);

}  // namespace onegrain::app::study
