#include "app/study/measured_spectrum.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

namespace onegrain::app::study {

MeasuredBeside beside_measured(const Job& job, params::MeasuredSpectrum data, double soc) {
  std::vector<Spectrum> predicted = spectra(job, {soc}, data.frequency);
  MeasuredBeside beside{std::move(data), {}, std::move(predicted.front())};
  const std::size_t count = beside.data.size();
  std::vector<model::Complex> measured;
  for (std::size_t k = 0; k < count; ++k) measured.push_back(beside.measured(k));
  try {
    beside.test = solver::kramers_kronig(beside.data.frequency, measured);
  } catch (const std::invalid_argument&) {
    throw NotCompleted(beside.data.name + ": a point of this spectrum has no impedance (0 ohm): take it out");
  }
  if (2 * static_cast<std::size_t>(beside.test.failing()) > count)
    throw NotCompleted(beside.data.name + ": " + std::to_string(beside.test.failing()) + " of " +
                       std::to_string(count) +
                       " points cannot be those of a linear cell that stays as it is (Kramers-Kronig): the cell was "
                       "not at rest, the amplitude was too "
                       "large, or a contact was loose; let it rest for hours and measure again with 5 to 10 mV");
  if (!beside.predicted.stable())
    throw NotCompleted("at the state of charge of " + beside.data.name +
                       " a potential of the sheet rises with its lithium: no cell rests there");
  double sum = 0, most = -1;
  for (std::size_t k = 0; k < count; ++k) {
    if (!beside.test.passes[k]) continue;
    const double miss = beside.miss(k);
    sum += miss * miss;
    if (miss > most) {
      most = miss;
      beside.worst = k;
    }
  }
  beside.misfit = std::sqrt(sum / static_cast<double>(count - static_cast<std::size_t>(beside.test.failing())));
  // Where the line meets the real axis: the last point before it turns capacitive, from the side of high frequency.
  const auto crossing = [&](const auto& at) {
    for (std::size_t k = 0; k + 1 < count; ++k) {
      const model::Complex a = at(k), b = at(k + 1);
      if (a.imag() >= 0 && b.imag() < 0) return a.real() + (b.real() - a.real()) * a.imag() / (a.imag() - b.imag());
    }
    return at(0).real();
  };
  beside.series_measured = crossing([&](std::size_t k) { return beside.measured(k); });
  beside.series_predicted = crossing([&](std::size_t k) { return beside.predicted.whole[k]; });
  return beside;
}

}  // namespace onegrain::app::study
