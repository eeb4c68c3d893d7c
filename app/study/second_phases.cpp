#include "app/study/second_phases.hpp"

#include <cmath>

#include "params/sheet/phases.hpp"
#include "solver/step/curves.hpp"

namespace onegrain::app::study {

namespace {

std::optional<double> delivered(const Job& job, const params::Sheet& sheet, double current_density) {
  try {
    const model::Cell cell = params::to_cell(sheet);
    const model::Window window = model::equilibrium_window(cell);
    solver::Workspace workspace;
    solver::Simulator simulator(cell, workspace, job.electrolyte, job.reaction);
    const solver::State full = solver::start_of(simulator, window, false);
    return solver::constant_current(simulator, full, -current_density).capacity * cell.plate_area;
  } catch (const solver::IntegrationFailure&) {
    return std::nullopt;
  } catch (const model::ImpossibleBalance&) {
    return std::nullopt;
  }
}

}  // namespace

std::vector<SecondPhasesCost> second_phases(const Job& job, const params::Rate& rate) {
  std::vector<SecondPhasesCost> costs;
  const auto add = [&](params::Sheet& pure, params::ElectrodeSheet& electrode, const params::ElectrodeBench& as_is,
                       bool of_positive) {
    if (!electrode.phases) return;
    SecondPhasesCost cost{.key = electrode.key,
                          .host_share = electrode.phases->host_share(),
                          .host_volume_share = electrode.host_volume_share(),
                          .powder = {},
                          .pure_powder = {},
                          .areal = as_is.areal_capacity_in_window.value,
                          .pure_areal = 0,
                          .porosity = as_is.porosity.value,
                          .pure_porosity = 0,
                          .rate = rate.written,
                          .delivered = {},
                          .pure_delivered = {}};
    const std::optional<double> loading = electrode.powder_loading(job.plate_area());
    electrode.phases.reset();
    const params::Bench other = params::bench(pure, {});
    const params::ElectrodeBench& host_alone = of_positive ? other.positive : *other.negative;
    cost.pure_areal = host_alone.areal_capacity_in_window.value;
    cost.pure_porosity = host_alone.porosity.value;
    if (loading) {
      cost.powder = cost.areal / *loading;
      cost.pure_powder = cost.pure_areal / *electrode.powder_loading(job.plate_area());
    }
    cost.delivered = delivered(job, job.sheet, rate.current_density);
    cost.pure_delivered = delivered(job, pure, rate.current_density);
    costs.push_back(std::move(cost));
  };
  params::Sheet pure = job.sheet;
  add(pure, pure.positive, job.bench.positive, true);
  if (job.sheet.negative) {
    pure = job.sheet;
    add(pure, *pure.negative, *job.bench.negative, false);
  }
  return costs;
}

}  // namespace onegrain::app::study
