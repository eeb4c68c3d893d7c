#include "model/impedance.hpp"

#include <numbers>

#include "model/gauss.hpp"
#include "solver/step/curves.hpp"
#include "solver/step/simulator.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"

// The impedance in closed form against the program's own integration in time: what is linear in the current must be the
// same. Double layers are none here, since no step knows them.

using namespace onegrain;
using model::Complex, model::Reaction;

namespace {

constexpr double turn = 2 * std::numbers::pi;

model::Cell half_cell() {
  model::Cell cell = tests::nmc811_graphite_siox();
  cell.contact_resistance = 1e-3;
  cell.negative.reset();
  cell.counter = model::LithiumMetal{.exchange_current_density = model::Property::constant(20)};
  return cell;
}
model::Cell full_cell() {
  model::Cell cell = tests::nmc811_graphite_siox();
  cell.contact_resistance = 1e-3;
  return cell;
}

solver::Accuracy fine() {
  solver::Accuracy accuracy;
  accuracy.relative_tolerance = 1e-8;
  accuracy.absolute_factor = 1e-4;
  accuracy.salt_degree = 20;
  accuracy.fewest_points = 14;
  accuracy.fewest_modes = 24;
  return accuracy;
}

struct Case {
  const char* name;
  model::Cell cell;
  Reaction reaction;
};
std::vector<Case> cases() {
  return {{"full, even", full_cell(), Reaction::even},
          {"full, uneven", full_cell(), Reaction::uneven},
          {"half, even", half_cell(), Reaction::even},
          {"half, uneven", half_cell(), Reaction::uneven}};
}

model::Stoichiometries half_charged(const model::Cell& cell) {
  return model::at_state_of_charge(model::equilibrium_window(cell), 0.5);
}

}  // namespace

TEST_CASE("a small step of the current, transformed, is the impedance", "[solver][impedance]") {
  // Z = i omega int v exp(-i omega t) dt of the response v to a unit step: straight lines between moments that grow in
  // the logarithm, each transformed exactly, and one to infinity where all has decayed. The odd part of charge and
  // discharge has no quadratic error.
  for (Case& c : cases()) {
    const double i = 1e-3 * tests::published_one_c, duration = 8000;
    solver::Workspace workspace;
    solver::Simulator simulator(c.cell, workspace, fine(), model::ElectrolyteModel::resolved, c.reaction);
    const solver::State start = simulator.at_rest(half_charged(c.cell));
    const auto run = [&](double current) {
      return simulator.run(start, {model::CurrentDrive{current}, {.time = duration}, "a small step"});
    };
    const solver::StepSolution up = run(i), down = run(-i);
    const auto response = [&](double t) { return (up.at(t).terminal.voltage - down.at(t).terminal.voltage) / (2 * i); };
    std::vector<double> time{0}, v{response(0)};
    for (double t = 1e-8; t < duration; t *= 1.01) {
      time.push_back(t);
      v.push_back(response(t));
    }
    time.push_back(duration);
    v.push_back(response(duration));
    const model::Impedance Z(c.cell, half_charged(c.cell), model::ElectrolyteModel::resolved, c.reaction);
    for (const double frequency : {1e-3, 1e-2, 0.1, 1.0, 10.0, 100.0}) {
      const Complex s(0, turn * frequency);
      Complex sum = v[0];  // i omega int v exp(-st) = v(0) + int v' exp(-st)
      double slope = 0;
      for (std::size_t k = 0; k + 1 < time.size(); ++k) {
        slope = (v[k + 1] - v[k]) / (time[k + 1] - time[k]);
        sum += slope * (std::exp(-s * time[k]) - std::exp(-s * time[k + 1])) / s;
      }
      sum += slope * std::exp(-s * duration) / s;
      const double off = std::abs(sum - Z(frequency)) / std::abs(Z(frequency));
      CAPTURE(c.name, frequency, sum, Z(frequency), off);
      CHECK(off < 1e-3);
    }
  }
}

TEST_CASE("a small sine in a protocol meets the impedance at its frequency", "[solver][impedance]") {
  // 48 steps of constant current a period; current and voltage taken apart into harmonics over the last period, the
  // voltage by Gauss's rule in every step, less a straight drift.
  for (Case& c : cases()) {
    const model::Impedance Z(c.cell, half_charged(c.cell), model::ElectrolyteModel::resolved, c.reaction);
    for (const double frequency : {2e-3, 0.1, 20.0}) {
      constexpr int stairs = 48, periods = 3;
      const double i = 1e-2 * tests::published_one_c, stair = 1 / (frequency * stairs);
      model::Protocol protocol;
      for (int k = 0; k < stairs; ++k)
        protocol.steps.push_back(
            {model::CurrentDrive{i * std::cos(turn * (k + 0.5) / stairs)}, {.time = stair}, "a stair"});
      protocol.repeat = periods;
      solver::Workspace workspace;
      solver::Accuracy accuracy = fine();
      accuracy.relative_tolerance = 1e-6;
      accuracy.fewest_points = 10;
      solver::Simulator simulator(c.cell, workspace, accuracy, model::ElectrolyteModel::resolved, c.reaction);
      const model::Gauss rule = model::gauss_legendre(12);
      double first = 0, last = 0;
      Complex voltage = 0, current = 0, ramp = 0;
      solver::run_protocol(simulator, simulator.at_rest(half_charged(c.cell)), protocol,
                           [&](const solver::ProtocolStep& step) {
                             if (step.repetition == periods - 2 && step.step == stairs - 1)
                               first = step.solution.last().terminal.voltage;
                             if (step.repetition == periods - 1 && step.step == stairs - 1)
                               last = step.solution.last().terminal.voltage;
                             if (step.repetition != periods - 1) return;
                             for (Eigen::Index q = 0; q < rule.nodes.size(); ++q) {
                               const double root = 0.5 * (1 + rule.nodes[q]);  // in the square root of time
                               const double t = stair * root * root, weight = stair * root * rule.weights[q];
                               const double at = (step.step * stair + t) * frequency;  // of the period
                               const Complex wave = weight * std::exp(Complex(0, -turn * at));
                               const solver::Point p = step.solution.at(t);
                               voltage += wave * p.terminal.voltage;
                               current += wave * p.current;
                               ramp += wave * at;
                             }
                           });
      const Complex found = (voltage - (last - first) * ramp) / current;
      const double off = std::abs(found - Z(frequency)) / std::abs(Z(frequency));
      CAPTURE(c.name, frequency, found, Z(frequency), off);
      CHECK(off < 1e-3);
    }
  }
}
