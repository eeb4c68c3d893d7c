// How often the intervals of a fit hold the truth, and what a fit costs. Curves are calculated for a published cell,
// with noise made here, so that the truth is known.

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <random>
#include <string>
#include <vector>

#include "benchmarks/measure.hpp"
#include "solver/estimation/fit.hpp"
#include "tests/published_cells.hpp"

using namespace onegrain;
using solver::FreeQuantity;

namespace {

constexpr double one_c = tests::published_one_c;
constexpr int parameters = 6;

struct What {
  const char* name;
  FreeQuantity quantity;
  bool negative;
};
constexpr What all[parameters] = {
    {"positive diffusion time", FreeQuantity::diffusion_time, false},
    {"negative diffusion time", FreeQuantity::diffusion_time, true},
    {"positive exchange current density", FreeQuantity::exchange_current_density, false},
    {"negative exchange current density", FreeQuantity::exchange_current_density, true},
    {"positive capacity", FreeQuantity::capacity, false},
    {"negative capacity", FreeQuantity::capacity, true},
};

double value_in(const model::Cell& cell, const What& what) {
  const model::Electrode& e = what.negative ? *cell.negative : cell.positive;
  if (what.quantity == FreeQuantity::capacity) return e.capacity();
  if (what.quantity == FreeQuantity::exchange_current_density) return e.host.exchange_current_density(0, 298.15);
  return e.particle_radius * e.particle_radius / e.host.diffusivity(0.5, 298.15);
}

/// The cell with diffusion times and exchange current densities off by `kinetics` and capacities by `capacity`, up and
/// down.
model::Cell guessed(model::Cell cell, double kinetics, double capacity) {
  const auto change = [](model::Electrode& e, double time, double exchange, double Q) {
    e.host.diffusivity = e.host.diffusivity.scaled(1 / time);
    e.host.exchange_current_density = e.host.exchange_current_density.scaled(exchange);
    e.active_fraction *= Q;
  };
  change(cell.positive, 1 + kinetics, 1 - kinetics, 1 - capacity);
  change(*cell.negative, 1 - kinetics, 1 + kinetics, 1 + capacity);
  return cell;
}

/// Discharges at four rates with rests, their voltages as the true cell shows them.
std::vector<solver::FitCurve> clean_curves(const model::Cell& truth, int points) {
  constexpr double start = 4.1, rest = 1200;
  solver::Workspace workspace;
  solver::Simulator simulator(truth, workspace,
                              {.relative_tolerance = 1e-8, .absolute_factor = 1e-3, .truncation = 1e-6},
                              model::ElectrolyteModel::resolved);
  std::vector<solver::FitCurve> curves;
  for (const double rate : {0.1, 0.4, 0.8, 1.2}) {
    const double duration = (rate < 1 ? 0.75 : 0.45) * 3600 / rate;
    solver::Run run{{{{model::CurrentDrive{-rate * one_c}, {.time = duration}, ""}, 0},
                     {{model::CurrentDrive{0}, {.time = rest}, ""}, duration}},
                    {}};
    for (int k = 1; k <= points; ++k) run.times.push_back((duration + rest) * k / points);
    const solver::Replay done =
        solver::replay(simulator, simulator.at_rest(solver::starting_charge(truth, {start})), run);
    Eigen::VectorXd voltage(points);
    for (int k = 0; k < points; ++k) voltage[k] = done.at(run.times[static_cast<std::size_t>(k)]).terminal.voltage;
    curves.push_back({"discharge", run, voltage, {start}});
  }
  return curves;
}

solver::FitProblem problem_for(const model::Cell& guess, std::vector<solver::FitCurve> curves) {
  solver::FitProblem problem{guess, model::ElectrolyteModel::resolved, std::move(curves), {}, {}};
  for (const What& what : all) {
    const double value = value_in(guess, what);
    problem.free.push_back({what.name, what.quantity, what.negative, value, value / 100, value * 100});
  }
  return problem;
}

/// First-order autoregressive noise of standard deviation 1 mV; white for phi = 0.
void add_noise(std::vector<solver::FitCurve>& curves, double phi, std::mt19937& engine) {
  constexpr double deviation = 1e-3;
  std::normal_distribution<double> normal;
  for (solver::FitCurve& curve : curves) {
    double e = normal(engine);
    for (double& v : curve.voltage) {
      v += deviation * e;
      e = phi * e + std::sqrt(1 - phi * phi) * normal(engine);
    }
  }
}

/// @return the largest share of intervals, of any parameter and kind, that miss the truth
double coverage(const char* title, double phi, int points, int seeds) {
  const model::Cell truth = tests::published_cell(), guess = guessed(truth, 0.1, 0.02);
  const auto clean = clean_curves(truth, points);
  int linearised[parameters] = {}, profile[parameters] = {};
  double widths[parameters] = {}, errors[parameters] = {}, noise = 0, correlation = 0;
  int failed = 0;
  for (int seed = 1; seed <= seeds; ++seed) {
    std::mt19937 engine(static_cast<unsigned>(seed));
    auto curves = clean;
    add_noise(curves, phi, engine);
    const solver::FitResult result = solver::fit(solver::CellFit(problem_for(guess, std::move(curves))));
    failed += !result.converged;
    noise += result.noise / seeds;
    for (const auto& misfit : result.misfits)
      correlation += misfit.correlation_time / static_cast<double>(result.misfits.size()) / seeds;
    for (std::size_t k = 0; k < parameters; ++k) {
      const solver::Estimate& e = result.estimates[k];
      const double expected = value_in(truth, all[k]);
      linearised[k] += e.linearised.lower < expected && expected < e.linearised.upper;
      profile[k] += e.profile.lower < expected && expected < e.profile.upper;
      widths[k] += std::pow(result.uncertainty.standard_error[static_cast<Eigen::Index>(k)], 2) / seeds;
      errors[k] += std::pow(std::log(e.value / expected), 2) / seeds;
    }
  }
  std::printf(
      "\n%s: %d seeds, 4 curves of %d points, 1 mV; found: noise %.3f mV, correlation %.2f points (true %.2f), %d not "
      "converged\n",
      title, seeds, points, 1e3 * noise, correlation, (1 + phi) / (1 - phi), failed);
  std::printf("%-34s  %-16s  %-16s  %-14s  %-14s\n", "", "linearised, %", "profile, %", "error (rms), %",
              "its estimate, %");
  double missed = 0;
  for (std::size_t k = 0; k < parameters; ++k) {
    const auto share = [&](int inside) { return static_cast<double>(inside) / seeds; };
    const auto error = [&](int inside) { return std::sqrt(share(inside) * (1 - share(inside)) / seeds); };
    std::printf("%-34s  %5.1f +- %-7.1f  %5.1f +- %-7.1f  %-14.3g  %-14.3g\n", all[k].name, 100 * share(linearised[k]),
                100 * error(linearised[k]), 100 * share(profile[k]), 100 * error(profile[k]),
                100 * std::sqrt(errors[k]), 100 * std::sqrt(widths[k]));
    missed = std::max({missed, 1 - share(linearised[k]), 1 - share(profile[k])});
  }
  std::fflush(stdout);
  return missed;
}

/// Processor time of fits from starts 30 % off.
double time_of_fit(const char* title, bool varying, bool profiles, int repeats) {
  const model::Cell truth = tests::published_cell(varying), guess = guessed(truth, 0.3, 0.1);
  const auto clean = clean_curves(truth, 500);
  std::vector<double> times, evaluations;
  double worst = 0;
  for (int seed = 1; seed <= repeats; ++seed) {
    std::mt19937 engine(static_cast<unsigned>(seed));
    auto curves = clean;
    add_noise(curves, 0, engine);
    const solver::FitProblem problem = problem_for(guess, std::move(curves));
    solver::FitResult result;
    times.push_back(benchmarks::processor_milliseconds(
        [&] { result = solver::fit(solver::CellFit(problem), {.profiles = profiles}); }));
    evaluations.push_back(result.evaluations);
    for (std::size_t k = 0; k < parameters; ++k) {
      worst = std::max(worst, std::abs(std::log(result.estimates[k].value / value_in(truth, all[k]))) /
                                  result.uncertainty.standard_error[static_cast<Eigen::Index>(k)]);
    }
  }
  const double ms = benchmarks::median(times);
  std::printf("%-62s  %8.2f s  %5.0f\n", title, 1e-3 * ms, benchmarks::median(evaluations));
  std::fflush(stdout);
  return worst;
}

}  // namespace

/// Six parameters of a full cell: the share of 95 % intervals that hold the truth, under white noise and under noise
/// that hangs together, and the time of one fit. The first argument is another number of seeds, the second of timed
/// fits.
int main(int argc, char** argv) {
  const int seeds = argc > 1 ? std::atoi(argv[1]) : 200, repeats = argc > 2 ? std::atoi(argv[2]) : 5;
  benchmarks::Verdict verdict;
  std::printf(
      "Six parameters, four curves of 500 points, starts 30 %% (capacities 10 %%) off, one core, median of %d\n",
      repeats);
  std::printf("%-62s  %10s  %s\n", "", "time", "evaluations of the search");
  // an estimate of six, five times: beyond 5 standard errors once in ten thousand
  verdict.expect(time_of_fit("constant diffusivities, linearised intervals", false, false, repeats), 5,
                 "estimates off by more than their errors");
  verdict.expect(time_of_fit("constant diffusivities, profile intervals", false, true, repeats), 5,
                 "estimates off by more than their errors");
  verdict.expect(time_of_fit("diffusivities with composition, linearised intervals", true, false, repeats), 5,
                 "estimates off by more than their errors");
  if (seeds <= 0) return verdict.exit_status();
  std::printf("\nShare of nominal 95 %% intervals that hold the truth, with its binomial error\n");
  const double allowed = 0.05 + 4 * std::sqrt(0.05 * 0.95 / seeds);  // the worst of twelve
  verdict.expect(coverage("white noise", 0, 100, seeds), allowed, "white noise: intervals miss the truth too often");
  // where the correlation has to be learnt from 21 independent points per curve, nobody promises 95 %
  verdict.expect(coverage("noise that hangs together, phi = 0.9", 0.9, 400, seeds), 0.2,
                 "correlated noise: intervals miss the truth too often");
  return verdict.exit_status();
}
