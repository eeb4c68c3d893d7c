#include "solver/step/curves.hpp"

#include <algorithm>
#include <cmath>
#include <string>

namespace onegrain::solver {

ConstantCurrentCurve constant_current(Simulator& simulator, const State& start, double current) {
  const model::Cell& cell = simulator.cell();
  model::Step step{model::CurrentDrive{current}, {}, current > 0 ? "charge" : "discharge"};
  step.until.voltage = current > 0 ? cell.upper_voltage : cell.lower_voltage;
  ConstantCurrentCurve curve{current, 0, 0, 0, simulator.run(start, step)};
  curve.capacity = std::abs(current) * curve.step.duration();
  curve.energy = std::abs(curve.step.energy());
  curve.mean_voltage = curve.capacity > 0 ? curve.energy / curve.capacity : curve.step.first().terminal.voltage;
  return curve;
}

State start_of(Simulator& simulator, const model::Window& window, bool charge) {
  if (charge) return simulator.at_rest(window.empty);
  return simulator.at_rest(simulator.cell().charged_state.value_or(window.full));
}

void run_protocol(Simulator& simulator, const State& start, const model::Protocol& protocol,
                  const std::function<void(ProtocolStep&&)>& see) {
  State state = start;
  double time = 0;
  const auto run = [&](std::size_t k, int repetition) {
    try {
      return simulator.run(state, protocol.steps[k]);
    } catch (const IntegrationFailure& failure) {
      const std::string which = protocol.repeat > 1 ? std::to_string(repetition + 1) + "." : "";
      throw IntegrationFailure("step " + which + std::to_string(k + 1) + ": " + failure.what());
    }
  };
  for (int repetition = 0; repetition < protocol.repeat; ++repetition) {
    for (std::size_t k = 0; k < protocol.steps.size(); ++k) {
      ProtocolStep done{static_cast<int>(k), repetition, time, run(k, repetition)};
      if (!done.passed_over()) {
        state = done.solution.final_state();
        time += done.solution.duration();
      }
      see(std::move(done));
    }
  }
}

std::vector<ProtocolStep> run_protocol(Simulator& simulator, const State& start, const model::Protocol& protocol) {
  std::vector<ProtocolStep> done;
  run_protocol(simulator, start, protocol, [&](ProtocolStep&& step) { done.push_back(std::move(step)); });
  return done;
}

bool starts_with_charge(const model::Protocol& protocol, const model::Cell& cell) {
  for (const model::Step& step : protocol.steps) {
    if (const auto* current = std::get_if<model::CurrentDrive>(&step.drive)) {
      if (current->current != 0) return current->current > 0;
    } else if (const auto* hold = std::get_if<model::VoltageDrive>(&step.drive)) {
      return hold->voltage > 0.5 * (cell.lower_voltage + cell.upper_voltage);
    } else {
      return cell
          .is_full_cell();  // a potential is held against lithium to charge the graphite, in a half cell by discharging
    }
  }
  return false;
}

std::vector<double> moments(const StepSolution& step, int even, bool with_early_ones) {
  std::vector<double> times{0};
  const double duration = step.duration();
  if (!(duration > 0)) return times;
  const double spacing = duration / std::max(1, even - 1);
  if (with_early_ones) {
    for (int k = 10; k >= 1; --k) times.push_back(spacing * std::ldexp(1.0, -k));
  }
  for (int k = 1; k < even; ++k) times.push_back(k == even - 1 ? duration : spacing * k);
  return times;
}

}  // namespace onegrain::solver
