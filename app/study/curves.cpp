#include "app/study/curves.hpp"

#include <algorithm>
#include <cmath>

namespace onegrain::app {

NamedCurve named(const Job& job, const std::string& label, double c_rate, solver::ConstantCurrentCurve curve) {
  NamedCurve result{label, c_rate, std::move(curve)};
  study::PlatingWatch watch(job);
  result.side = watch.see(result.curve.step);
  if (result.side) result.plating = watch.judge(*result.side, result.curve.step);
  result.opinion = watch.opinion();
  result.trust = study::trust_of(result.curve.step, result.opinion);
  return result;
}

}  // namespace onegrain::app

namespace onegrain::app::study {

namespace {

solver::State start(solver::Simulator& simulator, const Job& job, std::optional<double> from_soc, bool charge) {
  return from_soc ? simulator.at_rest(model::at_state_of_charge(job.bench.window, *from_soc))
                  : solver::start_of(simulator, job.bench.window, charge);
}

}  // namespace

std::vector<NamedCurve> constant_currents(const Job& job, const CurvesAsked& asked) {
  solver::Workspace workspace;
  solver::Simulator simulator = job.simulator(workspace);
  std::vector<NamedCurve> curves;
  for (const bool charge : {false, true}) {
    if (charge ? !asked.charge : !asked.discharge) continue;
    const solver::State from = start(simulator, job, asked.from_soc, charge);
    for (const params::Rate& rate : asked.rates) {
      const double current = charge ? rate.current_density : -rate.current_density;
      curves.push_back(named(job, rate.written, rate.c_rate, solver::constant_current(simulator, from, current)));
    }
  }
  return curves;
}

void follow(const Job& job, const model::Protocol& protocol, std::optional<double> from_soc,
            const std::function<void(const solver::ProtocolStep&)>& see) {
  solver::Workspace workspace;
  solver::Simulator simulator = job.simulator(workspace);
  solver::run_protocol(simulator, start(simulator, job, from_soc, solver::starts_with_charge(protocol, job.cell)),
                       protocol, see);
}

}  // namespace onegrain::app::study
