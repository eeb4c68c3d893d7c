#include "app/study/voltage_parts.hpp"

#include "solver/step/curves.hpp"

namespace onegrain::app::study {

std::vector<VoltagePart> voltage_parts(const Job& job, const solver::Point& p) {
  const model::Terminal& v = p.terminal;
  const double sign = p.current > 0 ? 1 : -1;  // on charge a higher voltage is the loss
  const model::Cell& cell = job.cell;
  const bool full = cell.is_full_cell();
  const double U_p = cell.positive.host.potential(p.positive_mean, p.temperature);
  std::vector<VoltagePart> parts = {{VoltageLoss::positive_diffusion, sign * (v.positive_potential - U_p)},
                                    {VoltageLoss::positive_transfer, sign * v.positive_overpotential}};
  if (full) {
    const double U_n = cell.negative->host.potential(p.negative_mean, p.temperature);
    parts.push_back({VoltageLoss::negative_diffusion, sign * (U_n - v.negative_potential)});
  }
  parts.push_back({VoltageLoss::negative_transfer, -sign * v.negative_overpotential});
  parts.push_back({VoltageLoss::electrolyte, sign * v.electrolyte});
  const bool solid = cell.positive.electronic_conductivity > 0 || (full && cell.negative->electronic_conductivity > 0);
  if (job.electrolyte == model::ElectrolyteModel::resolved)
    parts.push_back({VoltageLoss::salt, sign * v.concentration});
  if (solid) parts.push_back({VoltageLoss::electronic, sign * v.electronic});
  if (cell.contact_resistance > 0) parts.push_back({VoltageLoss::contact, sign * v.contact});
  return parts;
}

std::vector<VoltagePart> mean_voltage_parts(const Job& job, const solver::StepSolution& step, int even) {
  std::vector<VoltagePart> sums;
  for (const double t : solver::moments(step, even, false)) {
    const std::vector<VoltagePart> now = voltage_parts(job, step.at(t));
    if (sums.empty())
      sums = now;
    else
      for (std::size_t k = 0; k < now.size(); ++k) sums[k].volts += now[k].volts;
  }
  for (VoltagePart& part : sums) part.volts /= even;
  return sums;
}

}  // namespace onegrain::app::study
