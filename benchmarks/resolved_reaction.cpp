// What the reaction resolved over the depth of the layers is worth and costs, against the full porous-electrode
// calculation.
//
//   resolved_reaction [tables] [charges] [onset] [trust]    what is asked for; all of it without words
//   --cells N    varied cells of `charges` and `onset` (20), and of `trust` (50)
//   --seed S     of the varied cells
//
// Exit status 1 where what is asked of the description is not kept: see `asked`.

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <exception>
#include <string>
#include <vector>

#include "benchmarks/comparison.hpp"
#include "benchmarks/porous_electrode.hpp"
#include "benchmarks/varied_cells.hpp"
#include "solver/charge/ceiling.hpp"
#include "solver/step/trust.hpp"
#include "tests/reference_table.hpp"

namespace {

using namespace onegrain;
using namespace onegrain::benchmarks;
using model::ElectrolyteModel;
using model::Reaction;
using solver::StepSolution;

/// What is asked of the description.
namespace asked {
constexpr double slow_mV = 0.3, fast_mV = 1;  // RMS to 1C, and above
constexpr double end = 5e-4, end_of_front = 0.02;
constexpr double onset = 0.01, charge_mV = 2;
constexpr double times_even = 6;
constexpr double trusted_mV = 25;
}  // namespace asked

Verdict verdict;
// ---- the tables of tests/reference ----

struct Rate {
  const char* load;
  double c_rate;
};
constexpr Rate rates[] = {{"discharge_C10", -0.1}, {"discharge_C2", -0.5}, {"discharge_1C", -1},
                          {"discharge_2C", -2},    {"discharge_3C", -3},   {"charge_1C", 1}};

void tables() {
  std::puts("\nAgainst the tables of the full calculation, RMS over 1 to 95 % of the charge; least processor time");
  std::printf("  %-7s %-14s | %9s %9s %8s | %9s %9s %8s | %3s %6s %9s %9s\n", "", "", "even mV", "end %", "ms",
              "uneven mV", "end %", "ms", "K", "times", "largest", "estimate");
  solver::Workspace workspace;
  std::vector<NamedCell> cells = cells_from_papers();
  cells.push_back(cell_of_sheet("demo", "demo"));
  for (const NamedCell& n : cells) {
    for (const Rate& rate : rates) {
      const tests::ReferenceTable table("porous_" + n.name + "_" + rate.load + ".csv");
      const double current = table.stated("current_A_per_m2"), charge = table.stated("end_charge_C_per_m2");
      std::vector<double> times;
      for (const auto& row : table.rows) times.push_back(row[0]);
      std::printf("  %-7s %-14s", n.name.c_str(), rate.load);
      double ms[2];
      for (const Reaction reaction : {Reaction::even, Reaction::uneven}) {
        const bool uneven = reaction == Reaction::uneven;
        const StepSolution step = run(n, current, reaction, workspace);
        const Distance d = distance(
            times, std::min(step.duration(), times.back()),
            [&](std::size_t k) { return step.at(times[k]).terminal.voltage; },
            [&](std::size_t k) { return table.rows[k][2]; });
        const double end = step.duration() * std::abs(current) / charge - 1;
        ms[uneven] = least_ms(uneven ? 5 : 9, [&] { run(n, current, reaction, workspace); });
        std::printf(" | %9.3f %+9.4f %8.2f", d.rms, 100 * end, ms[uneven]);
        if (!uneven) continue;
        const bool front = n.name == "nmc811" && rate.c_rate < -2.5;
        const std::string what = n.name + " " + rate.load;
        std::printf(" | %3d %6.1f %9.3f %9.3f\n", static_cast<int>(step.final_state().positive_depth.means.size()),
                    ms[1] / ms[0], d.largest, 1e3 * step.depth_error());
        if (!front) verdict.expect(d.rms, std::abs(rate.c_rate) <= 1 ? asked::slow_mV : asked::fast_mV, what.c_str());
        verdict.expect(std::abs(end), front ? asked::end_of_front : asked::end, (what + ", end").c_str());
        if (rate.c_rate == -1)
          verdict.expect(ms[1] / ms[0], asked::times_even, (what + ", times the even one").c_str());
      }
    }
  }
}

// ---- charges to the cut-off ----

const Grid coarse{20, 10, 20, 24, 0.5};

/// The full calculation on two grids, extrapolated: voltages at times, and when it met the cut-off.
struct Full {
  std::vector<double> times, voltage;
  double end = 0, grid_error = 0, lowest_salt = 0;
};

Full full_run(const NamedCell& n, double current) {
  constexpr double tolerance = 1e-6;
  const model::Window window = model::equilibrium_window(n.cell);
  Load load{current,
            n.start(current > 0),
            current > 0 ? n.cell.upper_voltage : n.cell.lower_voltage,
            2 * window.capacity,
            {}};
  const double end = porous_electrode(n.cell, load, coarse, 1e-5).points.back().time;
  for (int k = 1; k < 60; ++k) load.times.push_back(end * k / 60);
  const Run one = porous_electrode(n.cell, load, coarse, tolerance),
            two = porous_electrode(n.cell, load, coarse.refined(2), tolerance);
  Full f;
  const std::size_t shared = std::min(one.points.size(), two.points.size()) - 1;
  for (std::size_t k = 1; k < shared; ++k) {
    f.times.push_back(two.points[k].time);
    f.voltage.push_back(richardson(one.points[k].voltage, two.points[k].voltage));
    if (f.times.back() < to_share * end)
      f.grid_error = std::max(f.grid_error, std::abs(f.voltage.back() - two.points[k].voltage));
  }
  f.end = richardson(one.points.back().time, two.points.back().time);
  f.lowest_salt = 1e300;
  for (const Point& p : two.points) f.lowest_salt = std::min(f.lowest_salt, p.lowest_salt);
  return f;
}

Distance from_full(const Full& f, const StepSolution& step) {
  return distance(
      f.times, std::min(f.end, step.duration()), [&](std::size_t k) { return step.at(f.times[k]).terminal.voltage; },
      [&](std::size_t k) { return f.voltage[k]; });
}

void charge_of(const NamedCell& n, double c_rate, solver::Workspace& workspace) {
  std::printf("  %-12s %+5.2fC", n.name.c_str(), c_rate);
  try {
    const double current = c_rate * n.one_c();
    const Full f = full_run(n, current);
    const StepSolution even = run(n, current, Reaction::even, workspace),
                       uneven = run(n, current, Reaction::uneven, workspace);
    const Distance e = from_full(f, even), u = from_full(f, uneven);
    std::printf(" | %7.2f %7.2f %+8.3f | %8.3f %8.3f %+8.4f | %2d %6.3f %6.3f %5.0f\n", e.rms, e.largest,
                100 * (even.duration() / f.end - 1), u.rms, u.largest, 100 * (uneven.duration() / f.end - 1),
                static_cast<int>(uneven.final_state().positive_depth.means.size()), 1e3 * uneven.depth_error(),
                1e3 * f.grid_error, f.lowest_salt);
    verdict.expect(u.largest, asked::charge_mV, (n.name + ": voltage on the way to the cut-off [mV]").c_str());
  } catch (const std::exception& failure) {
    std::printf(" | none: %s\n", failure.what());
  }
}

std::vector<NamedCell> all_cells(int count, std::uint64_t seed) {
  std::vector<NamedCell> cells = cells_from_papers();
  cells.push_back(cell_of_sheet("demo", "demo"));
  cells.push_back(lfp_graphite(60e-6, 60e-9));
  cells.push_back(lfp_graphite(100e-6, 40e-9));
  cells.back().name += "2";
  for (const NamedCell& n : varied_cells(count, seed)) cells.push_back(n);
  return cells;
}

void charges(int count, std::uint64_t seed) {
  std::puts(
      "\nConstant current to the cut-off: voltage at equal times over 1 to 95 % of the charge, and charge at the end\n"
      "                     |  even: RMS, most mV, end % | uneven: RMS, most mV, end %  | K, estimate, grid error mV, "
      "salt");
  solver::Workspace workspace;
  for (const NamedCell& n : all_cells(count, seed)) charge_of(n, 1, workspace);
  for (const NamedCell& n : cells_from_papers()) {
    for (const double c_rate : {-1.0, 1.0}) charge_of(half_cell_of(n), c_rate, workspace);
  }
  NamedCell lfp = cell_of_sheet("lfp|Li", "lfp_half_cell");
  if (!(lfp.cell.positive.electronic_conductivity > 0)) lfp.cell.positive.electronic_conductivity = 1e4;
  for (const double c_rate : {-1.0, 1.0}) charge_of(lfp, c_rate, workspace);
}

// ---- the onset of plating ----

/// Where the potential at the separator side first falls to zero, other limits not asked; near `guess`. 0: none there.
double onset_by(solver::ChargeStudy& study, double guess) {
  const auto worst = [&](double current) {
    const solver::JudgedCharge charge = study.judge(current);
    const solver::Margin* margin = charge.margin(solver::Limit::plating);
    return margin ? margin->worst : std::nan("");
  };
  double low = 0.98 * guess, high = 1.02 * guess, at_low = worst(low), at_high = worst(high);
  for (int k = 0; k < 30 && !(at_low > 0); ++k) at_low = worst(low *= 0.96);
  for (int k = 0; k < 30 && !(at_high < 0); ++k) at_high = worst(high *= 1.04);
  if (!(at_low > 0 && at_high < 0)) return 0;
  for (int k = 0; k < 40 && high - low > 1e-4 * guess; ++k) {
    const double secant = low + (high - low) * at_low / (at_low - at_high), middle = 0.5 * (low + high);
    const double next = k % 3 == 2 ? middle : std::clamp(secant, low + 0.02 * (high - low), high - 0.02 * (high - low));
    const double at = worst(next);
    (at > 0 ? low : high) = next;
    (at > 0 ? at_low : at_high) = at;
  }
  return 0.5 * (low + high);
}

void onset(int count, std::uint64_t seed) {
  std::puts(
      "\nLargest charge current without plating from the empty equilibrium, other limits not asked: C of the full\n"
      "calculation, resolved reaction and (even one) off by per cent;  >: another limit is met before it");
  solver::Workspace workspace;
  double worst = 0;
  for (const NamedCell& n : all_cells(count, seed)) {
    const model::Window window = model::equilibrium_window(n.cell);
    double guess = n.one_c();
    std::printf("  %-12s", n.name.c_str());
    for (const double soc : {0.6, 0.7, 0.8, 0.9}) {
      try {
        const double charge = soc * window.capacity;
        const double one = plating_onset_current(n.cell, window.empty, charge, coarse, guess),
                     two = plating_onset_current(n.cell, window.empty, charge, coarse.refined(2), one),
                     full = richardson(one, two);
        guess = full;
        const solver::ChargeLimits limits{.plating_margin = 0, .lowest_salt_share = -1, .keep_voltage = false};
        solver::ChargeStudy uneven(n.cell, window, {0, soc}, limits, workspace, solver::Description::uneven),
            even(n.cell, window, {0, soc}, limits, workspace, solver::Description::even);
        const double error = onset_by(uneven, full) / full - 1;
        const solver::JudgedCharge there = uneven.judge(0.99 * full);
        worst = std::max(worst, std::abs(error));
        std::printf(" | %6.3f %+6.2f (%+5.1f)%s%s", full / n.one_c(), 100 * error,
                    100 * (onset_by(even, full) / full - 1), there.slack < 0 ? ">" : "",
                    std::abs(two / one - 1) > 0.003 ? " grids differ" : "");
        verdict.expect(std::abs(error), asked::onset, (n.name + ": onset of plating").c_str());
      } catch (const std::exception& failure) {
        std::printf(" | none: %.30s", failure.what());
      }
    }
    std::puts("");
    std::fflush(stdout);
  }
  std::printf("  worst of the resolved reaction %.2f %%\n", 100 * worst);
}

// ---- who is believed ----

void trust(int count, std::uint64_t seed) {
  std::puts("\nTrusted or doubted, right or wrong: varied cells, C/2 to 4C; wrong: more than 25 mV RMS off");
  solver::Workspace workspace;
  EvenNumbers random(seed + 1);
  int even_by_uneven[2][2] = {}, even_by_full[2][2] = {}, uneven_by_full[2][2] = {};
  int failed = 0;
  for (const NamedCell& n : varied_cells(count, seed)) {
    const double c_rate = (random.share() < 0.5 ? -1 : 1) * random.log_between(0.5, 4);
    const double current = c_rate * n.one_c();
    const StepSolution even = run(n, current, Reaction::even, workspace),
                       uneven = run(n, current, Reaction::uneven, workspace);
    const bool even_doubted = !solver::judge(even).trusted(), uneven_doubted = !solver::judge(uneven).trusted();
    Full f;
    for (int k = 1; k < 60; ++k) f.times.push_back(uneven.duration() * k / 60);
    f.end = uneven.duration();
    for (const double t : f.times) f.voltage.push_back(uneven.at(t).terminal.voltage);
    const double apart = from_full(f, even).rms;
    ++even_by_uneven[even_doubted][apart > asked::trusted_mV];
    std::printf("  %-12s %+5.2fC even %s, %6.1f mV from the uneven one", n.name.c_str(), c_rate,
                even_doubted ? "doubted" : "trusted", apart);
    try {
      const Full full = full_run(n, current);
      const double e = from_full(full, even).rms, u = from_full(full, uneven).rms;
      ++even_by_full[even_doubted][e > asked::trusted_mV];
      ++uneven_by_full[uneven_doubted][u > asked::trusted_mV];
      std::printf(" | full: even %6.1f, uneven %s %7.3f mV, end %+.2f %%, salt %.0f\n", e,
                  uneven_doubted ? "doubted" : "trusted", u, 100 * (uneven.duration() / full.end - 1),
                  full.lowest_salt);
      if (!uneven_doubted) verdict.expect(u, asked::trusted_mV, (n.name + ": trusted, and wrong").c_str());
    } catch (const std::exception& failure) {
      ++failed;
      std::printf(" | full: none, uneven %s: %.60s\n", uneven_doubted ? "doubted" : "trusted", failure.what());
    }
    std::fflush(stdout);
  }
  std::printf("  %-44s %8s %8s %8s %8s\n", "", "trusted", "trusted", "doubted", "doubted");
  std::printf("  %-44s %8s %8s %8s %8s\n", "", "right", "wrong", "right", "wrong");
  const auto line = [](const char* what, const int(&table)[2][2]) {
    std::printf("  %-44s %8d %8d %8d %8d\n", what, table[0][0], table[0][1], table[1][0], table[1][1]);
  };
  line("the even reaction, by the resolved one", even_by_uneven);
  line("the even reaction, by the full calculation", even_by_full);
  line("the resolved reaction, by the full calculation", uneven_by_full);
  if (failed > 0) std::printf("  (%d without a full calculation)\n", failed);
}

}  // namespace

int main(int count, char** arguments) {
  std::vector<std::string> words;
  int cells = 0;
  std::uint64_t seed = 20261126;
  for (int k = 1; k < count; ++k) {
    if (std::strcmp(arguments[k], "--cells") == 0 && k + 1 < count)
      cells = std::atoi(arguments[++k]);
    else if (std::strcmp(arguments[k], "--seed") == 0 && k + 1 < count)
      seed = std::strtoull(arguments[++k], nullptr, 10);
    else
      words.emplace_back(arguments[k]);
  }
  const auto wanted = [&](const char* word) {
    return words.empty() || std::find(words.begin(), words.end(), word) != words.end();
  };
  try {
    if (wanted("tables")) tables();
    if (wanted("charges")) charges(cells > 0 ? cells : 20, seed);
    if (wanted("onset")) onset(cells > 0 ? cells : 20, seed);
    if (wanted("trust")) trust(cells > 0 ? cells : 50, seed);
  } catch (const std::exception& failure) {
    std::fprintf(stderr, "resolved_reaction: %s\n", failure.what());
    return 1;
  }
  return verdict.exit_status();
}
