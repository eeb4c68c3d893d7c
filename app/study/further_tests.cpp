#include <algorithm>
#include <cmath>

#include "app/study/fitted.hpp"

// What a test that was not made would tell, by the sensitivities of the fitted model.
namespace onegrain::app::study {

namespace {

using solver::FreeParameter;
using solver::FreeQuantity;

/// A step of a constant current from a state of charge, for no longer than `most` (0: to the cut-off), then a rest;
/// compared at even times. Nothing where it is over at once.
struct Tested {
  double current;
  double from = 1;  ///< state of charge
  double most = 0, rest = 0;
};

class Trials {
 public:
  Trials(const Job& job, const Estimation& estimation)
      : job_(job), estimation_(estimation), cell_(estimation.fitted_cell()) {}

  double one_c() const { return job_.base.one_hour_charge / 3600; }

  void full(FurtherTest test, const Tested& tested) {
    try {
      const auto curve = curve_of(cell_, tested);
      if (!curve) return;
      solver::FitProblem problem = estimation_.fitting.problem;
      problem.curves = {*curve};
      for (FreeParameter& p : problem.free) p.curve = problem.curves.size();  // no start of it is free
      judge(std::move(test), std::move(problem), estimation_.result.z);
    } catch (const std::runtime_error&) {  // a test that this cell cannot do
    }
  }

  void half(bool negative, const model::Cell& half) {
    solver::FitProblem problem{estimation_.fitting.problem.cell, job_.electrolyte, {}, {}, {}};
    const Eigen::VectorXd z = of_one_electrode(negative, problem);
    problem.cell = half;
    try {
      const solver::CellFit made({half, job_.electrolyte, {}, problem.free, problem.potentials});
      for (const double rate : {1.0 / 20, 1.0}) {
        if (const auto curve = curve_of(made.cell(z), {-rate * one_c()})) problem.curves.push_back(*curve);
      }
      if (!problem.curves.empty()) judge({FurtherTest::Kind::half_cell, 0, negative}, std::move(problem), z);
    } catch (const std::runtime_error&) {  // the same
    }
  }

  /// One electrode of the cell against lithium, between the potentials that it has in the cell.
  model::Cell half_cell(bool negative, const model::LithiumMetal& lithium) const {
    model::Cell half = estimation_.fitting.problem.cell;
    if (negative) half.positive = *half.negative;
    half.negative.reset();
    half.counter = lithium;
    half.inventory = {0.5, 0};
    half.charged_state.reset();
    const model::OpenCircuitPotential& U = (negative ? cell_.negative->host : cell_.positive.host).potential;
    const model::Window& w = job_.bench.window;
    half.upper_voltage = negative ? U(w.empty.negative, half.temperature) : U(w.full.positive, half.temperature);
    half.lower_voltage = negative ? U(w.full.negative, half.temperature) : U(w.empty.positive, half.temperature);
    return half;
  }

  std::vector<FurtherTest> tests;

 private:
  void judge(FurtherTest test, solver::FitProblem problem, const Eigen::VectorXd& z) {
    const solver::FitResult& result = estimation_.result;
    const Eigen::VectorXd then =
        solver::standard_errors_with(*estimation_.problem, result, solver::CellFit(std::move(problem)), z);
    for (std::size_t k = 0; k < estimation_.free().size(); ++k) {
      const auto index = static_cast<Eigen::Index>(k);
      const double now = result.uncertainty.standard_error[index];
      test.narrower.push_back(std::isfinite(then[index]) && then[index] > 0 ? std::max(1.0, now / then[index]) : 1.0);
    }
    tests.push_back(std::move(test));
  }

  std::optional<solver::FitCurve> curve_of(const model::Cell& cell, const Tested& tested) {
    solver::Simulator simulator(cell, workspace_, {}, job_.electrolyte);
    const model::Window window = model::equilibrium_window(cell);
    const model::Stoichiometries start = model::at_state_of_charge(window, tested.from);
    solver::FitCurve c;
    c.start.rest_voltage = model::equilibrium_voltage(cell, start, cell.temperature);
    model::Step step{model::CurrentDrive{tested.current}, {}, ""};
    step.until.voltage = tested.current > 0 ? cell.upper_voltage : cell.lower_voltage;
    if (tested.most > 0) step.until.time = tested.most;
    solver::State state = simulator.at_rest(start);
    const double duration = simulator.run(state, step).duration();
    if (!(duration > 20)) return std::nullopt;
    step.until = {.time = duration};
    c.run.stretches.push_back({step, 0});
    if (tested.rest > 0) c.run.stretches.push_back({{model::CurrentDrive{0}, {.time = tested.rest}, ""}, duration});
    const int asked_points = 150;
    for (int k = 1; k < asked_points; ++k)
      c.run.times.push_back(std::max(1.0, (duration + tested.rest) * k / asked_points));
    c.voltage = Eigen::VectorXd::Zero(static_cast<Eigen::Index>(c.run.times.size()));
    return c;
  }

  /// Puts what is free of one electrode into the problem of a half cell. @return where it stands now
  Eigen::VectorXd of_one_electrode(bool negative, solver::FitProblem& problem) const {
    Eigen::VectorXd z(estimation_.problem->size());
    Eigen::Index count = 0;
    for (std::size_t k = 0; k < estimation_.free().size(); ++k) {
      FreeParameter p = estimation_.free()[k];
      if (p.quantity == FreeQuantity::lithium || p.quantity == FreeQuantity::contact_resistance ||
          p.quantity == FreeQuantity::start || p.quantity == FreeQuantity::other || p.negative != negative)
        continue;
      p.negative = false;
      problem.free.push_back(p);
      z[count++] = estimation_.result.z[static_cast<Eigen::Index>(k)];
    }
    auto from = static_cast<Eigen::Index>(estimation_.free().size());
    for (const solver::FreePotential& p : estimation_.fitting.problem.potentials) {
      if (p.negative == negative) {
        problem.potentials.push_back(p);
        problem.potentials.back().negative = false;
        z.segment(count, p.coefficients()) = estimation_.result.z.segment(from, p.coefficients());
        count += p.coefficients();
      }
      from += p.coefficients();
    }
    return z.head(count);
  }

  const Job& job_;
  const Estimation& estimation_;
  model::Cell cell_;
  solver::Workspace workspace_;
};

double fastest_current(const solver::FitProblem& problem) {
  double fastest = 0;
  for (const solver::FitCurve& c : problem.curves)
    for (const solver::Stretch& s : c.run.stretches)
      if (const auto* drive = std::get_if<model::CurrentDrive>(&s.step.drive))
        fastest = std::max(fastest, std::abs(drive->current));
  return fastest;
}

}  // namespace

std::vector<FurtherTest> further_tests(const Job& job, const Estimation& estimation) {
  using Kind = FurtherTest::Kind;
  Trials trials(job, estimation);
  const double one_c = trials.one_c();
  const double faster = std::max(2.0, std::round(2 * fastest_current(estimation.fitting.problem) / one_c));
  trials.full({Kind::discharge, 1.0 / 30}, {-one_c / 30});
  trials.full({Kind::discharge, faster}, {-faster * one_c});
  trials.full({Kind::pulse}, {-one_c, 0.5, 600, 3600});
  if (!job.cell.is_full_cell()) return trials.tests;
  const auto lithium = params::load_lithium_metal("lithium_metal");
  if (!lithium.value) return trials.tests;
  for (const bool negative : {false, true}) {
    model::Cell half = trials.half_cell(negative, lithium.value->to_model({job.cell.temperature, false}));
    trials.half(negative, half);
  }
  return trials.tests;
}

}  // namespace onegrain::app::study
