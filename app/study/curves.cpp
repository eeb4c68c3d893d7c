#include "app/study/curves.hpp"

#include <algorithm>
#include <cmath>

namespace onegrain::app::study {

solver::Accuracy accuracy() { return {}; }

namespace {

solver::State start(solver::Simulator& simulator, const Job& job, std::optional<double> from_soc, bool charge) {
  return from_soc ? simulator.at_rest(model::at_state_of_charge(job.bench.window, *from_soc))
                  : solver::start_of(simulator, job.bench.window, charge);
}

}  // namespace

std::vector<NamedCurve> constant_currents(const Job& job, const CurvesAsked& asked) {
  solver::Workspace workspace;
  solver::Simulator simulator(job.cell, workspace, accuracy(), job.electrolyte);
  std::vector<NamedCurve> curves;
  for (const bool charge : {false, true}) {
    if (charge ? !asked.charge : !asked.discharge) continue;
    const solver::State from = start(simulator, job, asked.from_soc, charge);
    for (const params::Rate& rate : asked.rates) {
      const double current = charge ? rate.current_density : -rate.current_density;
      curves.push_back({rate.written, rate.c_rate, solver::constant_current(simulator, from, current)});
    }
  }
  return curves;
}

std::optional<Plating> plating(const solver::StepSolution& step, int even) {
  if (!step.model().cell().is_full_cell() || !(step.duration() > 0)) return std::nullopt;
  const double before = step.first().charge;
  std::optional<Plating> found;
  double last_time = 0, last_potential = NAN;
  for (const double t : solver::moments(step, even, true)) {
    const solver::Point p = step.at(t);
    const double potential = p.terminal.separator_side;
    if (p.current > 0 && potential < 0) {
      if (!found) {
        // between two moments the potential is taken for a straight line
        const double share = last_potential > 0 ? last_potential / (last_potential - potential) : 1;
        const double first = std::isfinite(last_potential) ? last_time + share * (t - last_time) : t;
        found = Plating{first, step.at(first).charge - before, potential};
      }
      found->lowest = std::min(found->lowest, potential);
    }
    last_time = t;
    last_potential = potential;
  }
  return found;
}

void follow(const Job& job, const model::Protocol& protocol, std::optional<double> from_soc,
            const std::function<void(const solver::ProtocolStep&)>& see) {
  solver::Workspace workspace;
  solver::Simulator simulator(job.cell, workspace, accuracy(), job.electrolyte);
  solver::run_protocol(simulator, start(simulator, job, from_soc, solver::starts_with_charge(protocol, job.cell)),
                       protocol, see);
}

}  // namespace onegrain::app::study
