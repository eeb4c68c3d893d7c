// The equations of one step as the integrator sees them.

#include <cmath>

#include "solver/step/even.hpp"
#include "solver/step/simulator.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"

using namespace onegrain;
using model::CurrentDrive;
using model::VoltageDrive;
using solver::ConstVectorView;
using solver::EvenSegment;
using solver::State;
using solver::Vector;
using solver::VectorView;
using tests::published_cell;

namespace {
constexpr double one_c = tests::published_one_c;

/// A state some way into a discharge, with uneven grains.
State used_state(const model::Cell& cell, double longest = 700) {
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace);
  return simulator.run(simulator.at_rest(0), {CurrentDrive{-one_c}, {.time = longest}, ""}).final_state();
}

model::Cell half_cell(bool varying) {
  model::Cell cell = published_cell(varying);
  cell.negative.reset();
  cell.counter = model::LithiumMetal{model::Property::constant(8.1)};
  return cell;
}
}  // namespace

TEST_CASE("Newton's matrix of a step is the derivative of its equations", "[solver][segment]") {
  struct Row {
    const char* name;
    model::Cell cell;
    model::Drive drive;
  };
  const Row rows[] = {
      {"constant D, current", published_cell(false), CurrentDrive{-one_c}},
      {"varying D, current", published_cell(true), CurrentDrive{-2 * one_c}},
      {"constant D, hold", published_cell(false), VoltageDrive{3.9}},
      {"varying D, hold", published_cell(true), VoltageDrive{4.1}},
      {"half cell, varying D, current", half_cell(true), CurrentDrive{one_c}},
      {"half cell, varying D, hold", half_cell(true), VoltageDrive{3.8}},
  };
  for (const Row& row : rows) {
    const State start = used_state(row.cell);
    EvenSegment segment(std::make_shared<model::SingleParticle>(row.cell, 12, 9), start,
                        {row.drive, {.time = 100}, ""});
    const Eigen::Index n = segment.size();
    const double t = 20;
    for (int seed = 0; seed < 5; ++seed) {
      for (const double gamma : {0.01, 1.0, 30.0}) {
        CAPTURE(row.name, seed, gamma);
        Vector y(n), b(n);
        for (Eigen::Index k = 0; k < n; ++k) {
          const double scale = k == 0 ? 100.0 : 1e-3 / static_cast<double>(k);  // charge in C/m2, then amplitudes
          const double place = static_cast<double>(k);
          y[k] = scale * std::sin(3.1 * place + seed);
          b[k] = scale * std::cos(5.7 * place * place + seed);
        }
        REQUIRE(segment.linearise(t, ConstVectorView(y.data(), n)) == solver::Evaluation::ok);
        REQUIRE(segment.factor(gamma));
        Vector x = b;
        segment.solve(VectorView(x.data(), n));
        // J x by a central difference of the rate along x; its error is that of the step squared, and 1e-13 / step
        const double h = 1e-3;
        const Vector ahead = y + h * x, behind = y - h * x;
        Vector f_ahead(n), f_behind(n);
        segment.rate(t, ConstVectorView(ahead.data(), n), VectorView(f_ahead.data(), n));
        segment.rate(t, ConstVectorView(behind.data(), n), VectorView(f_behind.data(), n));
        const Vector residual = x - gamma * (f_ahead - f_behind) / (2 * h) - b;
        CHECK(std::abs(residual[0]) <
              1e-6 * (std::abs(b[0]) + std::abs(x[0]) + gamma * std::abs(f_ahead[0] - f_behind[0]) / (2 * h)));
        const Vector terms = x.cwiseAbs() + b.cwiseAbs() + gamma * (f_ahead - f_behind).cwiseAbs() / (2 * h);
        CHECK(residual.tail(n - 1).cwiseAbs().maxCoeff() < 1e-6 * terms.tail(n - 1).maxCoeff());
      }
    }
  }
}

TEST_CASE("constant diffusivities and current leave nothing for the integrator", "[solver][segment]") {
  const auto segment = [](bool varying, model::Drive drive) {
    const model::Cell cell = published_cell(varying);
    return EvenSegment(std::make_shared<model::SingleParticle>(cell, 12, 12), used_state(cell),
                       {drive, {.time = 100}, ""});
  };
  CHECK(segment(false, CurrentDrive{-one_c}).closed_form());
  CHECK(segment(false, CurrentDrive{0}).closed_form());
  CHECK_FALSE(segment(true, CurrentDrive{-one_c}).closed_form());
  CHECK_FALSE(segment(false, VoltageDrive{3.9}).closed_form());
  EvenSegment closed = segment(false, CurrentDrive{-one_c});
  const Vector zero = Vector::Zero(closed.size());
  Vector rate = Vector::Ones(closed.size());
  for (const double t : {0.0, 1.0, 99.0}) {
    CHECK(closed.rate(t, ConstVectorView(zero.data(), zero.size()), VectorView(rate.data(), rate.size())) ==
          solver::Evaluation::ok);
    CHECK(rate.cwiseAbs().maxCoeff() == 0);
  }
}

TEST_CASE("a state that is not a number is never accepted", "[solver][segment]") {
  const model::Cell cell = published_cell(true);
  EvenSegment segment(std::make_shared<model::SingleParticle>(cell, 12, 12), used_state(cell),
                      {CurrentDrive{-one_c}, {.time = 100}, ""});
  Vector y = Vector::Zero(segment.size()), rate(segment.size());
  y[3] = std::nan("");
  CHECK(segment.rate(1, ConstVectorView(y.data(), y.size()), VectorView(rate.data(), rate.size())) ==
        solver::Evaluation::retry_smaller_step);
}

TEST_CASE("the end of a step is the beginning of the next", "[solver][segment]") {
  for (const bool varying : {false, true}) {
    const model::Cell cell = published_cell(varying);
    solver::Workspace workspace;
    solver::Simulator simulator(cell, workspace);
    State state = simulator.at_rest(0);
    // steps of very different lengths, so that young layers under the surfaces are carried along
    for (const auto& [rate, time] :
         {std::pair{-1.0, 5.0}, {-1.0, 0.01}, {-1.0, 300.0}, {0.5, 2.0}, {0.5, 60.0}, {0.0, 1.0}, {0.0, 1.0}}) {
      CAPTURE(varying, rate, time);
      const auto step = simulator.run(state, {CurrentDrive{rate * one_c}, {.time = time}, ""});
      state = step.final_state();
      CHECK(state.current == rate * one_c);
      const solver::Point last = step.last();
      const auto same = simulator.run(state, {CurrentDrive{rate * one_c}, {.time = 1}, ""});
      const solver::Point first = same.first();
      CHECK_THAT(first.positive_surface, WithinAbs(last.positive_surface, 1e-12));
      CHECK_THAT(first.negative_surface, WithinAbs(last.negative_surface, 1e-12));
      CHECK_THAT(first.charge, WithinAbs(last.charge, 1e-9));
      CHECK_THAT(first.terminal.voltage, WithinAbs(last.terminal.voltage, 1e-11));
      const Eigen::ArrayXd rho = Eigen::ArrayXd::LinSpaced(21, 0, 1);
      CHECK((same.positive_profile(0, rho) - step.positive_profile(time, rho)).cwiseAbs().maxCoeff() < 1e-12);
      CHECK((same.negative_profile(0, rho) - step.negative_profile(time, rho)).cwiseAbs().maxCoeff() < 1e-12);
    }
  }
}

TEST_CASE("a held voltage is held at every moment", "[solver][segment]") {
  for (const bool varying : {false, true}) {
    const model::Cell cell = published_cell(varying);
    solver::Workspace workspace;
    solver::Simulator simulator(cell, workspace);
    const auto hold = simulator.run(simulator.at_rest(0), {VoltageDrive{3.7}, {.time = 2000}, "hold"});
    for (const double t : {0.0, 1e-3, 0.2, 5.0, 77.0, 1500.0, 2000.0}) {
      CHECK_THAT(hold.at(t).terminal.voltage, WithinAbs(3.7, 1e-12));
      CHECK(hold.at(t).current < 0);
    }
    CHECK(std::abs(hold.last().current) < std::abs(hold.first().current));
  }
}
