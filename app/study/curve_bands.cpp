#include "app/study/curve_bands.hpp"

#include <algorithm>
#include <cmath>
#include <new>

#include "app/study/ensemble.hpp"
#include "app/study/sampled_quantile.hpp"
#include "app/study/uncertain_cell.hpp"
#include "solver/charge/ceiling.hpp"

namespace onegrain::app::study {

namespace {

constexpr double outside = 0.025;    // on either side
constexpr int moments_of_band = 81;  // along a curve

/// What one cell gives under the currents of all curves.
struct OneCell {
  bool solved = false;
  std::string because;
  std::vector<double> capacity;              // [C], of each curve
  std::vector<std::vector<double>> voltage;  // of each curve at its moments
};

}  // namespace

std::pair<double, double> CurveBand::at(double charge_passed) const {
  const auto right = std::lower_bound(charge.begin(), charge.end(), charge_passed);
  if (right == charge.begin()) return {low.front(), high.front()};
  if (right == charge.end()) return {low.back(), high.back()};
  const auto b = static_cast<std::size_t>(right - charge.begin()), a = b - 1;
  const double w = (charge_passed - charge[a]) / (charge[b] - charge[a]);
  return {low[a] + w * (low[b] - low[a]), high[a] + w * (high[b] - high[a])};
}

CurveBands add_bands(const Job& job, const CurvesAsked& asked, const BandsAsked& bands, std::vector<NamedCurve>& curves,
                     const std::function<void(int, int)>& progress) {
  const InterruptGuard guard;
  const UncertainCell uncertain(job.sheet);
  CurveBands told;
  if (uncertain.count() == 0) return told;
  told.cells = std::max(bands.cells, least_band_cells);
  std::vector<std::vector<double>> moments;
  for (const NamedCurve& c : curves) moments.push_back(solver::moments(c.curve.step, moments_of_band, true));

  const int threads = bands.threads > 0 ? bands.threads : core_count();
  std::vector<solver::Workspace> workspaces(static_cast<std::size_t>(threads));
  std::vector<OneCell> cells(static_cast<std::size_t>(told.cells));
  in_parallel(
      told.cells, threads,
      [&](int k, int thread) {
        OneCell& one = cells[static_cast<std::size_t>(k)];
        try {
          const model::Cell cell = uncertain.cell(plausible_deviations(bands.seed, k, uncertain.count()));
          const model::Window window = model::equilibrium_window(cell);
          solver::Simulator simulator(cell, workspaces[static_cast<std::size_t>(thread)],
                                      solver::charge_accuracy(job.reaction), job.electrolyte, job.reaction);
          const double plates = job.cell.plate_area / cell.plate_area;  // the same mA
          for (std::size_t n = 0; n < curves.size(); ++n) {
            const solver::ConstantCurrentCurve& nominal = curves[n].curve;
            const bool charge = nominal.is_charge();
            const solver::State start = asked.from_soc
                                            ? simulator.at_rest(model::at_state_of_charge(window, *asked.from_soc))
                                            : solver::start_of(simulator, window, charge);
            const solver::ConstantCurrentCurve curve =
                solver::constant_current(simulator, start, nominal.current * plates);
            one.capacity.push_back(curve.capacity * cell.plate_area);
            std::vector<double> voltage;
            for (const double t : moments[n])
              voltage.push_back(t <= curve.step.duration() ? curve.step.at(t).terminal.voltage
                                : charge                   ? cell.upper_voltage
                                                           : cell.lower_voltage);
            one.voltage.push_back(std::move(voltage));
          }
          one.solved = true;
        } catch (const std::bad_alloc&) {
          throw;
        } catch (const std::exception& why) {  // no such cell, or none that can be calculated
          one.because = why.what();
        }
      },
      [&](int done) { progress(done, told.cells); });
  if (interrupted()) throw NotCompleted("interrupted; nothing was written");

  for (const OneCell& one : cells)
    if (!one.solved && told.unsolved++ == 0) told.unsolved_because = one.because;
  std::erase_if(cells, [](const OneCell& one) { return !one.solved; });
  if (cells.empty())
    throw NotCompleted("none of the plausible cells could be calculated; the first: " + told.unsolved_because);
  for (std::size_t n = 0; n < curves.size(); ++n) {
    CurveBand band{};
    std::vector<double> some;
    const auto interval = [&](const auto& value) {
      some.clear();
      for (const OneCell& one : cells) some.push_back(value(one));
      std::sort(some.begin(), some.end());
      return std::pair(quantile_of(some, outside), quantile_of(some, 1 - outside));
    };
    std::tie(band.least_capacity, band.most_capacity) = interval([&](const OneCell& one) { return one.capacity[n]; });
    for (std::size_t m = 0; m < moments[n].size(); ++m) {
      const auto [low, high] = interval([&](const OneCell& one) { return one.voltage[n][m]; });
      band.charge.push_back(std::abs(curves[n].curve.current) * moments[n][m] * job.cell.plate_area);
      band.low.push_back(low);
      band.high.push_back(high);
    }
    curves[n].band = std::move(band);
  }
  return told;
}

}  // namespace onegrain::app::study
