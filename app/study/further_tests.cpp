#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/study/fitting.hpp"

// What a test that was not made would tell, by the sensitivities of the fitted model.
namespace onegrain::app {

using solver::FreeParameter;
using solver::Quantity;

std::vector<FurtherTest> further_tests(const Job& job, const Fitting& fitting, const solver::CellFit& fit,
                                       const solver::FitResult& result) {
  model::Cell cell = fit.cell(result.z);
  solver::Workspace workspace;
  std::vector<FurtherTest> tests;
  double fastest = 0;
  for (const solver::FitCurve& c : fitting.problem.curves) {
    for (const solver::Stretch& s : c.run.stretches) {
      if (const auto* drive = std::get_if<model::CurrentDrive>(&s.step.drive))
        fastest = std::max(fastest, std::abs(drive->current));
    }
  }
  const double one_c = job.base.one_hour_charge / 3600;

  const auto judge = [&](const std::string& name, solver::FitProblem problem, const Eigen::VectorXd& z) {
    const Eigen::VectorXd then = solver::standard_errors_with(fit, result, solver::CellFit(std::move(problem)), z);
    FurtherTest test{name, {}};
    for (std::size_t k = 0; k < fitting.problem.free.size(); ++k) {
      const auto index = static_cast<Eigen::Index>(k);
      const double now = result.uncertainty.standard_error[index];
      test.narrower.push_back(std::isfinite(then[index]) && then[index] > 0 ? std::max(1.0, now / then[index]) : 1.0);
    }
    tests.push_back(std::move(test));
  };
  // A step of a constant current to the cut-off, then rest; compared at even times.
  const auto curve_of = [&](const model::Cell& which, double current, double most,
                            double rest) -> std::optional<solver::FitCurve> {
    solver::Simulator simulator(which, workspace, {}, job.electrolyte);
    const model::Window window = model::equilibrium_window(which);
    const double from = current < 0 ? (most > 0 ? 0.5 : 1.0) : (most > 0 ? 0.5 : 0.0);
    solver::FitCurve c;
    c.start.rest_voltage =
        model::equilibrium_voltage(which, model::at_state_of_charge(window, from), which.temperature);
    solver::State state = simulator.at_rest(model::at_state_of_charge(window, from));
    model::Step step{model::CurrentDrive{current}, {}, ""};
    step.until.voltage = current > 0 ? which.upper_voltage : which.lower_voltage;
    if (most > 0) step.until.time = most;
    const double duration = simulator.run(state, step).duration();
    if (!(duration > 20)) return std::nullopt;
    step.until = {.time = duration};
    c.run.stretches.push_back({step, 0});
    if (rest > 0) c.run.stretches.push_back({{model::CurrentDrive{0}, {.time = rest}, ""}, duration});
    const int points = 150;
    for (int k = 1; k < points; ++k) c.run.times.push_back(std::max(1.0, (duration + rest) * k / points));
    c.voltage = Eigen::VectorXd::Zero(static_cast<Eigen::Index>(c.run.times.size()));
    return c;
  };
  const auto full_test = [&](const std::string& name, double current, double most, double rest) {
    try {
      const auto curve = curve_of(cell, current, most, rest);
      if (!curve) return;
      solver::FitProblem problem = fitting.problem;
      problem.curves = {*curve};
      judge(name, std::move(problem), result.z);
    } catch (const std::runtime_error&) {  // a test that this cell cannot do
    }
  };
  full_test("a discharge at C/30 from full", -one_c / 30, 0, 0);
  const double faster = std::max(2 * one_c, std::round(2 * fastest / one_c) * one_c);
  full_test(fmt::format("a discharge at {} from full", params::rate_name(faster / one_c)), -faster, 0, 0);
  full_test("a pulse of ten minutes at 1C from half charge, and an hour of rest", -one_c, 600, 3600);
  if (!cell.is_full_cell()) return tests;

  const auto lithium = params::load_lithium_metal("lithium_metal");
  if (!lithium.value) return tests;
  for (const bool negative : {false, true}) {
    const params::ElectrodeSheet& e = negative ? *fitting.sheet.negative : fitting.sheet.positive;
    solver::FitProblem problem{fitting.problem.cell, job.electrolyte, {}, {}, {}};
    Eigen::VectorXd z(fit.size());
    Eigen::Index count = 0;
    for (std::size_t k = 0; k < fitting.problem.free.size(); ++k) {
      FreeParameter p = fitting.problem.free[k];
      if (p.quantity == Quantity::lithium || p.quantity == Quantity::contact_resistance ||
          p.quantity == Quantity::other || p.negative != negative)
        continue;
      p.negative = false;
      problem.free.push_back(p);
      z[count++] = result.z[static_cast<Eigen::Index>(k)];
    }
    auto from = static_cast<Eigen::Index>(fitting.problem.free.size());
    for (const solver::FreePotential& p : fitting.problem.potentials) {
      if (p.negative == negative) {
        problem.potentials.push_back(p);
        problem.potentials.back().negative = false;
        z.segment(count, p.coefficients()) = result.z.segment(from, p.coefficients());
        count += p.coefficients();
      }
      from += p.coefficients();
    }
    model::Cell& half = problem.cell;
    if (negative) half.positive = *half.negative;
    half.negative.reset();
    half.counter = lithium.value->to_model({half.temperature, false});
    half.inventory = {0.5, 0};
    half.charged_state.reset();
    const model::OpenCircuitPotential& U = (negative ? cell.negative->host : cell.positive.host).potential;
    const model::Window& w = job.bench.window;
    half.upper_voltage = negative ? U(w.empty.negative, half.temperature) : U(w.full.positive, half.temperature);
    half.lower_voltage = negative ? U(w.full.negative, half.temperature) : U(w.empty.positive, half.temperature);
    try {
      for (const double rate : {1.0 / 20, 1.0}) {
        model::Cell tested = half;
        solver::CellFit made({half, job.electrolyte, {}, problem.free, problem.potentials});
        tested = made.cell(z.head(count));
        if (const auto curve = curve_of(tested, -rate * one_c, 0, 0)) problem.curves.push_back(*curve);
      }
      if (!problem.curves.empty())
        judge(fmt::format("a half cell of the {} against lithium, at C/20 and 1C", e.key), problem, z.head(count));
    } catch (const std::runtime_error&) {
    }
  }
  return tests;
}

}  // namespace onegrain::app
