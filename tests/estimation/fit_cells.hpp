#pragma once

#include <cmath>
#include <random>

#include "solver/estimation/fit.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"

/// Cells, runs and calculated voltages from which tests estimate. All measured curves are invented: calculated, with
/// random noise where it says so.
namespace fit_test {

using namespace onegrain;
using namespace onegrain::solver;
using Eigen::MatrixXd;
using Eigen::VectorXd;
using model::Cell;
using Q = solver::FreeQuantity;

inline constexpr double one_c = tests::published_one_c;
inline const Accuracy tight{.relative_tolerance = 1e-9, .absolute_factor = 1e-4, .truncation = 1, .fewest_modes = 40};

/// The positive of the literature against lithium, half full.
inline Cell half_cell() {
  Cell cell = tests::published_cell();
  cell.negative.reset();
  cell.counter = model::LithiumMetal{model::Property::constant(20.0)};
  cell.inventory = {0.4, 0};
  return cell;
}

/// A current for some time, then a rest; `points` moments, evenly spaced over both.
inline Run pulse(double current, double duration, double rest, int points) {
  Run run;
  run.stretches.push_back({{model::CurrentDrive{current}, {.time = duration}, ""}, 0});
  if (rest > 0) run.stretches.push_back({{model::CurrentDrive{0}, {.time = rest}, ""}, duration});
  for (int k = 1; k <= points; ++k) run.times.push_back((duration + rest) * k / points);
  return run;
}

/// What the cell itself shows in that run, by the simulator with everything in one.
inline VectorXd simulated(Cell cell, const Run& run, const Start& start, model::ElectrolyteModel electrolyte) {
  Workspace workspace;
  Simulator simulator(cell, workspace, tight, electrolyte);
  const Replay done = replay(simulator, simulator.at_rest(starting_charge(cell, start)), run);
  CAPTURE(done.end, done.cut_short ? name_of(*done.cut_short) : "");
  REQUIRE_FALSE(done.cut_short);
  VectorXd voltage(static_cast<Eigen::Index>(run.times.size()));
  for (std::size_t k = 0; k < run.times.size(); ++k)
    voltage[static_cast<Eigen::Index>(k)] = done.at(run.times[k]).terminal.voltage;
  return voltage;
}

inline double lithium_in(const Cell& c) {
  return c.inventory.positive * c.positive.capacity() + c.inventory.negative * c.negative->capacity();
}

inline double value_in(const Cell& c, Q quantity, bool negative) {
  const model::Electrode& e = negative && c.negative ? *c.negative : c.positive;
  switch (quantity) {
    case Q::diffusion_time:
      return e.particle_radius * e.particle_radius / e.host.diffusivity(0.5, 298.15);
    case Q::exchange_current_density:
      return negative && c.counter ? c.counter->exchange_current_density(0, 298.15)
                                   : e.host.exchange_current_density(0, 298.15);
    case Q::capacity:
      return e.capacity();
    case Q::lithium:
      return lithium_in(c);
    default:
      return c.contact_resistance;
  }
}

/// A parameter with wide bounds; nominal as in the cell.
inline FreeParameter free_in(const Cell& cell, const char* name, Q quantity, bool negative = false) {
  if (quantity == Q::contact_resistance) return {name, quantity, false, cell.contact_resistance, 0, 0.1, false, 1e-3};
  const double value = value_in(cell, quantity, negative);
  return {name, quantity, negative, value, value / 1000, value * 1000};
}

/// The cell with some values changed by these factors.
struct Factors {
  double positive_time = 1, negative_time = 1, positive_exchange = 1, negative_exchange = 1, positive_capacity = 1,
         negative_capacity = 1;
};
inline Cell changed(Cell cell, const Factors& f) {
  cell.positive.host.diffusivity = cell.positive.host.diffusivity.scaled(1 / f.positive_time);
  cell.positive.host.exchange_current_density = cell.positive.host.exchange_current_density.scaled(f.positive_exchange);
  cell.positive.active_fraction *= f.positive_capacity;
  if (cell.negative) {
    cell.negative->host.diffusivity = cell.negative->host.diffusivity.scaled(1 / f.negative_time);
    cell.negative->host.exchange_current_density =
        cell.negative->host.exchange_current_density.scaled(f.negative_exchange);
    cell.negative->active_fraction *= f.negative_capacity;
  } else {
    cell.counter->exchange_current_density = cell.counter->exchange_current_density.scaled(f.negative_exchange);
  }
  return cell;
}

inline VectorXd with_noise(VectorXd voltage, double deviation, std::mt19937& engine) {
  std::normal_distribution<double> noise(0, deviation);
  for (double& v : voltage) v += noise(engine);
  return voltage;
}

}  // namespace fit_test
