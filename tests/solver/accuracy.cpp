// How the error of a voltage curve falls: with the tolerance, with the number of modes; and what must not matter.

#include <cmath>

#include "solver/step/simulator.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"

using namespace onegrain;
using model::CurrentDrive;
using model::VoltageDrive;
using solver::Accuracy;
using tests::published_cell;

namespace {
constexpr double one_c = tests::published_one_c;

/// Voltages at 60 moments of a discharge, a pulse the other way and a hold.
std::vector<double> voltages(const model::Cell& cell, Accuracy accuracy, solver::Workspace& workspace) {
  std::vector<double> result;
  solver::Simulator simulator(cell, workspace, accuracy);
  solver::State state = simulator.at_rest(0);
  const model::Step steps[] = {{CurrentDrive{-2 * one_c}, {.time = 700}, "discharge"},
                               {CurrentDrive{one_c}, {.time = 100}, "counter pulse"},
                               {CurrentDrive{0}, {.time = 400}, "rest"}};
  for (const model::Step& step : steps) {
    const auto solution = simulator.run(state, step);
    for (int k = 0; k < 20; ++k) {
      result.push_back(
          solution.at(solution.duration() * std::pow(k / 19.0, 3)).terminal.voltage);  // denser at the start
    }
    state = solution.final_state();
  }
  return result;
}

double largest_difference(const std::vector<double>& a, const std::vector<double>& b) {
  double worst = 0;
  for (std::size_t k = 0; k < a.size(); ++k) worst = std::max(worst, std::abs(a[k] - b[k]));
  return worst;
}

constexpr double as_it_is = 1e3;  // a bound on the truncation that is always met: the number of modes stays
const Accuracy finest{1e-11, 1e-5, as_it_is, 48};
}  // namespace

TEST_CASE("a tighter tolerance gives a better voltage", "[solver][convergence]") {
  const model::Cell cell = published_cell(true);
  solver::Workspace workspace;
  const auto exact = voltages(cell, finest, workspace);
  double last = 1;
  for (const double relative : {1e-3, 1e-4, 1e-5, 1e-6, 1e-7}) {
    const double error =
        largest_difference(voltages(cell, {relative, relative / 5e-6, as_it_is, 48}, workspace), exact);
    CAPTURE(relative, error);
    CHECK(error < 0.5 * last);  // a variable order does not give a power law, but ten times the effort must show
    last = error;
  }
  CHECK(last < 2e-7);
}

TEST_CASE("once a profile is smooth, its error falls faster than any power of the number of modes",
          "[solver][convergence]") {
  // From 100 s after the jump on, when the layer under the surface has spread over half the grain: a method of order p
  // would divide the error by 2^p per doubling, always.
  const model::Cell cell = published_cell(true);
  solver::Workspace workspace;
  const model::Step discharge{CurrentDrive{-2 * one_c}, {.time = 700}, "discharge"};
  solver::Simulator reference(cell, workspace, finest);
  const auto exact = reference.run(reference.at_rest(0), discharge);
  double last_error = 0, last_order = 0;
  for (const int modes : {2, 4, 8, 16}) {
    solver::Simulator coarse(cell, workspace, {1e-11, 1e-5, as_it_is, modes});
    const auto solution = coarse.run(coarse.at_rest(0), discharge);
    double error = 0;
    for (double t = 100; t <= 700; t += 5)
      error = std::max(error, std::abs(solution.at(t).terminal.voltage - exact.at(t).terminal.voltage));
    CAPTURE(modes, error, last_error);
    if (last_error > 0) {
      const double order = std::log2(last_error / error);
      CHECK(order > last_order + 0.5);
      last_order = order;
    }
    last_error = error;
  }
  CHECK(last_order > 5);
}

TEST_CASE("just after a jump with varying diffusivity the error falls like a power, from 0.3 mV with twelve modes",
          "[solver][convergence]") {
  // The layer that the modes do not resolve yet is added with the diffusivity frozen at the surface.
  const model::Cell cell = published_cell(true);
  solver::Workspace workspace;
  const auto exact = voltages(cell, finest, workspace);
  double last_error = 1;
  for (const int modes : {3, 6, 12, 24}) {
    const double error = largest_difference(voltages(cell, {1e-11, 1e-5, as_it_is, modes}, workspace), exact);
    CAPTURE(modes, error, last_error);
    CHECK(error < last_error / 3);
    last_error = error;
  }
  CHECK(last_error < 30e-6);
}

TEST_CASE("default settings keep the voltage within 0.05 mV with diffusivities that vary by e^2",
          "[solver][convergence]") {
  const model::Cell cell = published_cell(true);
  solver::Workspace workspace;
  CHECK(largest_difference(voltages(cell, {}, workspace), voltages(cell, finest, workspace)) < 50e-6);
}

TEST_CASE("the estimate of what too few modes cost is not below it", "[solver][convergence]") {
  const model::Cell cell = published_cell(true);
  solver::Workspace workspace;
  const model::Step discharge{CurrentDrive{-3 * one_c}, {.time = 600}, "discharge"};
  solver::Simulator reference(cell, workspace, finest);
  const auto exact = reference.run(reference.at_rest(0), discharge);
  for (const int modes : {3, 4, 6, 9}) {
    solver::Simulator coarse(cell, workspace, {1e-10, 1e-4, as_it_is, modes});
    const auto solution = coarse.run(coarse.at_rest(0), discharge);
    double error = 0;
    for (double t = 1; t <= 600; t += 1)
      error = std::max(error, std::abs(solution.at(t).terminal.voltage - exact.at(t).terminal.voltage));
    CAPTURE(modes, error, solution.truncation());
    CHECK(error <= solution.truncation());
  }
}

TEST_CASE("modes are added until the estimate is met, and the answer does not depend on where they began",
          "[solver][convergence]") {
  const model::Cell cell = published_cell(true);
  solver::Workspace workspace;
  const model::Step discharge{CurrentDrive{-3 * one_c}, {.time = 600}, "discharge"};
  solver::Simulator from_few(cell, workspace, {1e-8, 1e-3, 20e-6, 2}),
      from_many(cell, workspace, {1e-8, 1e-3, 20e-6, 60});
  const auto one = from_few.run(from_few.at_rest(0), discharge), other = from_many.run(from_many.at_rest(0), discharge);
  CHECK(one.truncation() <= 20e-6);
  CHECK(one.model().positive().count() > 2);
  CHECK(one.model().positive().count() < 60);
  for (double t = 0; t <= 600; t += 20)
    CHECK_THAT(one.at(t).terminal.voltage, WithinAbs(other.at(t).terminal.voltage, 20e-6));
}

TEST_CASE("two halves of a step are the whole: a restart loses nothing", "[solver][convergence]") {
  const bool varying = GENERATE(false, true);
  const double c_rate = GENERATE(-0.5, -3.0, 2.0);
  CAPTURE(varying, c_rate);
  const model::Cell cell = published_cell(varying);
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace);
  const auto window = model::equilibrium_window(cell);
  const auto start = simulator.at_rest(model::at_state_of_charge(window, c_rate < 0 ? 0.9 : 0.2));
  const double time = 900 / std::abs(c_rate);
  const auto whole = simulator.run(start, {CurrentDrive{c_rate * one_c}, {.time = time}, "whole"});
  for (const double cut : {1e-3, 0.7, 0.25 * time, 0.5 * time}) {
    CAPTURE(cut);
    const auto first = simulator.run(start, {CurrentDrive{c_rate * one_c}, {.time = cut}, "first part"});
    const auto second =
        simulator.run(first.final_state(), {CurrentDrive{c_rate * one_c}, {.time = time - cut}, "second part"});
    double worst = 0;
    for (double t = 0; t <= time - cut; t += time / 200) {
      worst = std::max(worst, std::abs(second.at(t).terminal.voltage - whole.at(cut + t).terminal.voltage));
    }
    // constant diffusivity: closed form either way; else the integrator's own error, twice
    CHECK(worst < (varying ? 20e-6 : 1e-9));
    CHECK_THAT(second.last().charge, WithinRel(whole.last().charge, 1e-12));
  }
}

TEST_CASE("a step of ten thousand pieces is still the whole", "[solver][convergence]") {
  const model::Cell cell = published_cell(false);
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace);
  const auto whole = simulator.run(simulator.at_rest(0), {CurrentDrive{-one_c}, {.time = 1000}, "whole"});
  solver::State state = simulator.at_rest(0);
  for (int k = 0; k < 10000; ++k)
    state = simulator.run(state, {CurrentDrive{-one_c}, {.time = 0.1}, "piece"}).final_state();
  const auto last = simulator.run(state, {CurrentDrive{-one_c}, {.time = 1}, ""});
  CHECK_THAT(last.first().terminal.voltage, WithinAbs(whole.last().terminal.voltage, 1e-9));
}

TEST_CASE("results do not depend on what an integrator did before", "[solver][reuse]") {
  solver::Workspace fresh, used;
  {  // other sizes, other cells, a hold, a step that ends by a root, one that fails
    solver::Simulator other(published_cell(false), used, {.fewest_modes = 7});
    other.run(other.at_rest(0), {VoltageDrive{3.9}, {.time = 500}, "hold"});
    solver::Simulator same_size(published_cell(true), used);
    same_size.run(same_size.at_rest(2e4), {CurrentDrive{-4 * one_c}, {.voltage = 3.0}, "discharge"});
    CHECK_THROWS_AS(same_size.run(same_size.at_rest(0), {CurrentDrive{0}, {.voltage = 9}, "rest"}),
                    solver::IntegrationFailure);
  }
  const auto one = voltages(published_cell(true), {}, fresh), two = voltages(published_cell(true), {}, used);
  const auto again = voltages(published_cell(true), {}, used);
  CHECK(one == two);  // every digit
  CHECK(one == again);
}
