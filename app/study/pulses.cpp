#include "app/study/pulses.hpp"

#include <cmath>
#include <utility>

#include "app/study/pulse_steps.hpp"
#include "params/text/printable.hpp"

namespace onegrain::app::study {

namespace {

/// Time in which a jump of the salt's profile has died down to 5 %: three times that of the slowest mode of a slab as
/// long as the path of diffusion is, (3 / pi^2) (sum_k L_k sqrt(tau_k / D))^2   [s].
double salt_settling_time(const model::Cell& cell) {
  const double D = cell.electrolyte.diffusivity(cell.electrolyte.concentration, cell.temperature);
  double path = cell.separator.thickness * std::sqrt(cell.separator.tortuosity / D);
  path += cell.positive.thickness * std::sqrt(cell.positive.tortuosity / D);
  if (cell.negative) path += cell.negative->thickness * std::sqrt(cell.negative->tortuosity / D);
  return 3 / (M_PI * M_PI) * path * path;
}

}  // namespace

PulseSteps::PulseSteps(const params::Record& r)
    : record(r), list(params::recorded_steps(r)), resolution(solver::recorder_resolution(r.voltage)) {
  join_rests();
  double sum = 0;
  for (const params::RecordedStep& s : list) {
    charge_before.push_back(sum);
    sum += s.charge;
  }
}

/// A protocol may rest twice in a row.
void PulseSteps::join_rests() {
  std::vector<params::RecordedStep> joined;
  for (const params::RecordedStep& s : list) {
    if (!joined.empty() && s.kind == params::StepKind::rest && joined.back().kind == params::StepKind::rest) {
      params::RecordedStep& rest = joined.back();
      rest.last = s.last;
      rest.duration = record.time[s.last] - rest.start;
      rest.charge += s.charge;
      rest.last_voltage = s.last_voltage;
    } else {
      joined.push_back(s);
    }
  }
  list = std::move(joined);
}

solver::RestingPotential PulseSteps::rest_end(std::size_t k) const {
  const auto [first, last] =
      std::pair(static_cast<std::ptrdiff_t>(list[k].first), static_cast<std::ptrdiff_t>(list[k].last + 1));
  return solver::rest_end({record.time.begin() + first, record.time.begin() + last},
                          {record.voltage.begin() + first, record.voltage.begin() + last}, resolution);
}

void add_pulses(PulseReport& report, const Job& job, const std::string& file, const params::Record& record) {
  report.full_cell = job.cell.is_full_cell();
  report.salt_settles = salt_settling_time(job.cell);
  if (!report.full_cell) {
    report.radius = job.cell.positive.particle_radius;
    const params::Spread& spread = job.sheet.positive.particle_radius.spread;
    if (spread.form == params::Spread::Form::absolute) report.radius_factor = std::exp(spread.size / report.radius);
    if (spread.form == params::Spread::Form::factor) report.radius_factor = spread.size;
  }
  const PulseSteps steps(record);
  report.resolution = std::max(report.resolution, steps.resolution);
  const std::size_t first = report.pulses.size();
  std::vector<std::size_t> origin;
  for (std::size_t s = 0; s < steps.list.size(); ++s) {
    if (!steps.is_driven(s) || !(steps.is_rest(s + 1) || (s > 0 && steps.is_rest(s - 1)))) continue;
    MeasuredPulse pulse = evaluated(report, job, steps, s);
    pulse.file = params::one_line(file);
    pulse.number = static_cast<int>(origin.size()) + 1;
    report.pulses.push_back(std::move(pulse));
    origin.push_back(s);
  }
  if (origin.empty()) {
    throw UnsoundInput(file + ": no pulse: no charge or discharge has a rest before or after it; 'onegrain check " +
                       file + "' prints the steps\n");
  }
  place_pulses(job, steps, origin, report.pulses, first);
}

WithinFactor diffusivity(const PulseReport& report, const WithinFactor& per_second) {
  return {per_second.value * report.radius * report.radius,
          std::exp(std::hypot(std::log(per_second.factor), 2 * std::log(report.radius_factor)))};
}

const MeasuredPulse* best_told(const PulseReport& report) {
  const MeasuredPulse* best = nullptr;
  for (const MeasuredPulse& p : report.pulses)
    if (p.by_fit && !p.interruption && (best == nullptr || p.by_fit->factor < best->by_fit->factor)) best = &p;
  return best;
}

}  // namespace onegrain::app::study
