// What the numerical settings buy and what they cost: error beside time, at the defaults and around them, for
// discharges of the published NMC811 | graphite-SiOx cell from the charged state to 2.5 V.
//
//   discretisation [ROUNDS]      times are medians over so many turns (default 15), all rows of a table in turn

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <functional>
#include <limits>
#include <string>
#include <vector>

#include "benchmarks/exact_series.hpp"
#include "benchmarks/measure.hpp"
#include "solver/step/simulator.hpp"
#include "tests/published_cells.hpp"

namespace {

using namespace onegrain;
using namespace onegrain::benchmarks;
using model::ElectrolyteModel;
using solver::Accuracy;

constexpr double as_it_is = 1e3;  // V; a bound on the truncation that is always met: the number of modes stays
constexpr int even = 100;

struct Setting {
  std::string words;
  Accuracy accuracy{};
  ElectrolyteModel electrolyte = ElectrolyteModel::uniform;
};

struct Rate {
  const char* words;
  double current;  // A/m2
};
const Rate slow{"C/20", -tests::published_one_c / 20}, one_c{"1C", -tests::published_one_c},
    double_rate{"2C", -2 * tests::published_one_c}, fast{"5C", -5 * tests::published_one_c};

/// Voltages at any moment, and the moment of the cut-off: what a setting is held against.
struct Reference {
  std::function<double(double)> voltage;
  double end;
};

/// Moments in the first hundredth of a discharge, denser at its start, and moments spread evenly over the rest.
std::vector<double> early_moments(double end) {
  std::vector<double> t;
  for (int k = 0; k <= 40; ++k) t.push_back(end * std::pow(10, -6 + 0.1 * k));
  return t;
}
std::vector<double> later_moments(double end) {
  std::vector<double> t;
  for (int k = 1; k < even; ++k) t.push_back(end * (0.01 + 0.99 * k / even));
  return t;
}

solver::StepSolution discharge(const model::Cell& cell, double current, const Setting& setting,
                               solver::Workspace& workspace) {
  solver::Simulator simulator(cell, workspace, setting.accuracy, setting.electrolyte);
  model::Ends until;
  until.voltage = cell.lower_voltage;
  return simulator.run(simulator.at_rest(0), {model::CurrentDrive{current}, until, "discharge"});
}

double largest_error(const solver::StepSolution& run, const Reference& reference, const std::vector<double>& moments) {
  double worst = 0;
  for (const double t : moments) {
    if (t <= run.duration()) worst = std::max(worst, std::abs(run.at(t).terminal.voltage - reference.voltage(t)));
  }
  return worst;
}

/// One row for each setting; the first is what time ratios refer to. `limit`: largest later error of that row [V].
void table(const model::Cell& cell, const Rate& rate, const Reference& reference, const std::vector<Setting>& settings,
           double limit, int rounds, Verdict& verdict) {
  solver::Workspace workspace;
  std::vector<std::function<void()>> works;
  for (const Setting& setting : settings) {
    works.push_back([&cell, &rate, &workspace, &setting] {
      const solver::StepSolution run = discharge(cell, rate.current, setting, workspace);
      for (int k = 1; k <= even; ++k) run.at(run.duration() * k / even);
    });
  }
  const std::vector<double> ms =
      median_ms_in_turns(rounds, works, processor_milliseconds<const std::function<void()>&>);
  std::printf("\n%s, ends after %.4g s\n  %-34s %5s %11s %11s %11s %6s %8s %7s  %s\n", rate.words, reference.end, "",
              "modes", "jump mV", "later mV", "capacity %", "steps", "ms", "ratio", "ended by");
  for (std::size_t k = 0; k < settings.size(); ++k) {
    const solver::StepSolution run = discharge(cell, rate.current, settings[k], workspace);
    const double jump = largest_error(run, reference, early_moments(reference.end));
    const double later = largest_error(run, reference, later_moments(reference.end));
    const double capacity = std::abs(run.duration() / reference.end - 1);
    std::printf("  %-34s %5d %11.2e %11.2e %11.2e %6ld %8.3f %7.2f  %s\n", settings[k].words.c_str(),
                run.model().positive().count(), 1e3 * jump, 1e3 * later, 100 * capacity, run.counts().steps, ms[k],
                ms[k] / ms[0], solver::name_of(run.ended_by()).c_str());
    if (k == 0) {
      const std::string what = std::string(rate.words) + ", default settings";
      verdict.expect(later, limit, (what + ", later error [V]").c_str());
      verdict.expect(jump, 5 * limit, (what + ", error after the jump [V]").c_str());
    }
  }
}

std::string words(const char* format, double value) {
  char text[80];
  std::snprintf(text, sizeof text, format, value);
  return text;
}

void constant_diffusivity(int rounds, Verdict& verdict) {
  std::puts("\n== Constant diffusivity; errors against the exact eigenmode series of the sphere");
  const model::Cell cell = tests::nmc811_graphite_siox();
  std::vector<Setting> settings{{"default", {}}};
  for (const int modes : {3, 6, 12, 24, 48}) {
    settings.push_back({words("%.0f modes", modes), {1e-5, 2, as_it_is, modes}});
  }
  for (const double relative : {1e-3, 1e-7}) {
    settings.push_back({words("12 modes, tolerance %.0e", relative), {relative, relative / 5e-6, as_it_is, 12}});
  }
  const model::SingleParticle particle(cell, 2, 2);  // the series has no modes of ours: any number
  for (const Rate& rate : {slow, one_c, fast}) {
    const Reference exact{[&](double t) { return exact_voltage(particle, rate.current, t); },
                          exact_cut_off(particle, rate.current)};
    table(cell, rate, exact, settings, 1e-6, rounds, verdict);
  }
}

void varying_diffusivity(int rounds, Verdict& verdict) {
  std::puts("\n== Diffusivities that vary by e^2 across the window; errors against 72 modes at tolerance 1e-10");
  const model::Cell cell = tests::published_cell(true);
  std::vector<Setting> settings{{"default", {}}};
  for (const double truncation : {5e-4, 5e-6}) {
    settings.push_back({words("modes by estimate, %.3g mV", 1e3 * truncation), {1e-5, 2, truncation, 6}});
  }
  for (const int modes : {6, 12, 18, 27, 40}) {
    settings.push_back({words("%.0f modes", modes), {1e-5, 2, as_it_is, modes}});
  }
  for (const double relative : {1e-3, 1e-4, 1e-6, 1e-7}) {
    settings.push_back({words("27 modes, tolerance %.0e", relative), {relative, relative / 5e-6, as_it_is, 27}});
  }
  solver::Workspace workspace;
  for (const Rate& rate : {slow, one_c, fast}) {
    const solver::StepSolution finest = discharge(cell, rate.current, {"", {1e-10, 1e-4, as_it_is, 72}}, workspace);
    const solver::StepSolution less = discharge(cell, rate.current, {"", {1e-9, 1e-3, as_it_is, 56}}, workspace);
    const Reference reference{[&](double t) { return finest.at(std::min(t, finest.duration())).terminal.voltage; },
                              finest.duration()};
    const double unsure = std::max(largest_error(less, reference, early_moments(reference.end)),
                                   largest_error(less, reference, later_moments(reference.end)));
    table(cell, rate, reference, settings, 1e-4, rounds, verdict);
    std::printf("  (the reference differs from 56 modes at 1e-9 by %.1e mV)\n", 1e3 * unsure);
    verdict.expect(unsure, 1e-5, "convergence of the reference [V]");
  }
}

void resolved_electrolyte(int rounds, Verdict& verdict) {
  std::puts(
      "\n== Resolved electrolyte, constant diffusivity in the grains; errors against salt degree 20 at tolerance "
      "1e-10");
  const model::Cell cell = tests::nmc811_graphite_siox();
  constexpr auto resolved = ElectrolyteModel::resolved;
  std::vector<Setting> settings{{"default (salt degree 8)", {}, resolved}, {"uniform electrolyte, for its cost", {}}};
  for (const int degree : {2, 3, 4, 6, 8, 12, 16}) {
    Accuracy accuracy{1e-5, 2, as_it_is, 12, degree};
    settings.push_back({words("salt degree %.0f", degree), accuracy, resolved});
  }
  for (const double relative : {1e-4, 1e-6, 1e-7}) {
    settings.push_back(
        {words("salt degree 8, tolerance %.0e", relative), {relative, relative / 5e-6, as_it_is, 12, 8}, resolved});
  }
  solver::Workspace workspace;
  for (const Rate& rate : {slow, one_c, double_rate, fast}) {
    const solver::StepSolution finest =
        discharge(cell, rate.current, {"", {1e-10, 1e-4, as_it_is, 24, 20}, resolved}, workspace);
    const Reference reference{[&](double t) { return finest.at(std::min(t, finest.duration())).terminal.voltage; },
                              finest.duration()};
    table(cell, rate, reference, settings, 1e-4, rounds, verdict);
    std::printf("  (salt between %.0f and %.0f mol/m3 at the end%s)\n", finest.last().lowest_salt,
                finest.last().highest_salt,
                finest.last().lowest_salt < 5 ? ": used up in a part of the pores, where the model itself ends" : "");
  }
}

}  // namespace

int main(int count, char** arguments) {
  const int rounds = count > 1 ? std::max(1, std::atoi(arguments[1])) : 15;
  std::puts(
      "Discharges of the published NMC811 | graphite-SiOx cell, charged to 2.5 V, a simulator made anew for each, 100 "
      "voltages.\n"
      "  jump      largest error of the voltage in the first 1 % of the discharge, from a millionth of it on\n"
      "  later     largest error of the voltage from there to the cut-off\n"
      "  capacity  error of the moment of the end. Where a surface fills up, a step ends 1e-6 short of full, the "
      "series at 2.5 V\n"
      "  ms        processor time, median\n"
      "  ratio     over the first row; rows are timed in turns");
  Verdict verdict;
  try {
    constant_diffusivity(rounds, verdict);
    varying_diffusivity(rounds, verdict);
    resolved_electrolyte(rounds, verdict);
  } catch (const std::exception& failure) {
    std::fprintf(stderr, "discretisation: %s\n", failure.what());
    return 1;
  }
  return verdict.exit_status();
}
