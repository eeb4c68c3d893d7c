// What the single-particle descriptions are worth: their distance from the full porous-electrode calculation for the
// two cells from papers and the shipped demo cell, by rate, and the onset of plating in the three descriptions of a
// charge.
//
//   single_particle_table
//
// The full results are those of tests/reference/porous_*.csv, made by porous_electrode_table. That they belong to the
// cells of today is checked by calculating some of them again on a coarse grid. Exit status 1 where they do not, or
// where what the product promises is not kept: trusted results with the resolved electrolyte within 25 mV RMS, ceilings
// with the reaction resolved never more than 2 % above and 15 % below.

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <exception>
#include <string>
#include <vector>

#include "benchmarks/measure.hpp"
#include "benchmarks/porous_cells.hpp"
#include "benchmarks/porous_electrode.hpp"
#include "solver/charge/ceiling.hpp"
#include "solver/step/curves.hpp"
#include "solver/step/trust.hpp"
#include "tests/reference_table.hpp"

namespace {

using namespace onegrain;
using namespace onegrain::benchmarks;
using model::ElectrolyteModel;
using solver::Description;

constexpr double compared_share = 0.95;  // of the shorter run: at the cut-off a shift in time is a jump in voltage
constexpr double promised_mV = 25, promised_above = 0.02, promised_below = 0.15;
const Grid coarse{20, 10, 20, 32, 0.5};

/// Time-weighted RMS and largest difference of the voltage [mV].
struct Distance {
  double rms, largest;
};

template <class Voltage>  // at a moment [V]
Distance distance(const tests::ReferenceTable& table, double end, const Voltage& voltage) {
  double squares = 0, last = 0, largest = 0;
  for (std::size_t k = 0; k + 1 < table.rows.size() && table.rows[k][0] <= compared_share * end; ++k) {
    const double error = 1e3 * std::abs(voltage(k) - table.rows[k][2]);
    squares += error * error * (table.rows[k][0] - last);
    last = table.rows[k][0];
    largest = std::max(largest, error);
  }
  return {std::sqrt(squares / last), largest};
}

/// The full result of a cell at a rate, if it starts and runs as the cell of today does.
tests::ReferenceTable full_result(const NamedCell& n, const std::string& load, double c_rate, Verdict& verdict) {
  const std::string name = "porous_" + n.name + "_" + load + ".csv";
  const tests::ReferenceTable table(name);
  const model::Stoichiometries start = n.start(c_rate > 0);
  verdict.expect(std::abs(table.stated("current_A_per_m2") / (c_rate * n.one_c()) - 1), 1e-9,
                 (name + ", current").c_str());
  verdict.expect(std::abs(table.stated("x_n") - start.negative), 1e-9, (name + ", start of the negative").c_str());
  verdict.expect(std::abs(table.stated("x_p") - start.positive), 1e-9, (name + ", start of the positive").c_str());
  return table;
}

void by_rate(const NamedCell& n, Verdict& verdict) {
  struct Rate {
    const char *words, *load;
    double c_rate;
  };
  const Rate rates[] = {{"C/10 discharge", "discharge_C10", -0.1}, {"C/2 discharge", "discharge_C2", -0.5},
                        {"1C discharge", "discharge_1C", -1},      {"2C discharge", "discharge_2C", -2},
                        {"3C discharge", "discharge_3C", -3},      {"1C charge", "charge_1C", 1}};
  std::printf("\n  %s (1C = %.3f A/m2)\n  %-15s %9s | %8s %8s %8s %8s | %8s %8s %8s %8s\n", n.name.c_str(), n.one_c(),
              "", "full", "plain", "", "", "", "resolved", "", "", "");
  std::printf("  %-15s %9s", "", "C/m2");
  for (int k = 0; k < 2; ++k) std::printf(" | %8s %8s %8s %8s", "RMS mV", "most mV", "charge", "trusted");
  std::puts("");
  solver::Workspace workspace;
  for (const Rate& rate : rates) {
    const tests::ReferenceTable table = full_result(n, rate.load, rate.c_rate, verdict);
    const double end = table.stated("end_time_s"), charge = table.stated("end_charge_C_per_m2");
    std::printf("  %-15s %9.0f", rate.words, charge);
    for (const auto electrolyte : {ElectrolyteModel::uniform, ElectrolyteModel::resolved}) {
      solver::Simulator simulator(n.cell, workspace, {}, electrolyte);
      const solver::ConstantCurrentCurve curve = solver::constant_current(
          simulator, simulator.at_rest(n.start(rate.c_rate > 0)), table.stated("current_A_per_m2"));
      const Distance d = distance(table, std::min(end, curve.step.duration()),
                                  [&](std::size_t k) { return curve.step.at(table.rows[k][0]).terminal.voltage; });
      const bool trusted = solver::judge(curve.step).trusted();
      std::printf(" | %8.2f %8.2f %+7.2f%% %8s", d.rms, d.largest, 100 * (curve.capacity / charge - 1),
                  trusted ? "yes" : "no");
      if (trusted && electrolyte == ElectrolyteModel::resolved) {
        verdict.expect(d.rms, promised_mV, (n.name + ", " + rate.words + ": trusted, RMS [mV]").c_str());
      }
    }
    std::puts("");
    if (rate.c_rate > 0) {  // does the table belong to this cell?
      Load load{rate.c_rate * n.one_c(), n.start(true), n.cell.upper_voltage, 1e7, {}};
      for (const auto& row : table.rows) {
        if (row[0] > 0 && row[0] < end) load.times.push_back(row[0]);
      }
      const Run again = porous_electrode(n.cell, load, coarse);
      const Distance d = distance(table, std::min(end, again.points.back().time),
                                  [&](std::size_t k) { return again.points[k].voltage; });
      std::printf("  the table calculated again on a coarse grid: RMS %.3f mV, largest %.3f mV\n", d.rms, d.largest);
      verdict.expect(d.largest, 1, (n.name + ": the tables are not of this cell, charge at 1C [mV]").c_str());
    }
  }
}

const char* words_of(solver::Limit limit) {
  switch (limit) {
    case solver::Limit::plating:
      return "";
    case solver::Limit::salt:
      return " salt";
    case solver::Limit::positive_surface:
    case solver::Limit::negative_surface:
      return " full";
    default:
      return " other";
  }
}

void plating_onset(const NamedCell& n, Verdict& verdict) {
  const tests::ReferenceTable table(n.set == 0 ? "porous_plating_onset_" + n.name + ".csv"
                                               : "porous_plating_onset.csv");
  const model::Window window = model::equilibrium_window(n.cell);
  solver::Workspace workspace;
  const auto ceiling = [&](double from, double to, Description description, double guess) {
    const solver::ChargeLimits limits{.plating_margin = 0, .keep_voltage = false};
    return solver::ChargeStudy(n.cell, window, {from, to}, limits, workspace, description).ceiling(guess, 1e-4);
  };
  double soc = 0, full = 0;
  for (const auto& row : table.rows) {
    if (row[0] != n.set) continue;
    soc = row[2];
    full = row[4];
    std::printf("  %-6s %3.0f to %2.0f %%  %8.3f C", n.name.c_str(), 100 * row[1], 100 * row[2], full / n.one_c());
    for (const Description description : {Description::plain, Description::even, Description::uneven}) {
      const solver::Ceiling c = ceiling(row[1], row[2], description, full);
      const double difference = c.current / full - 1;
      std::printf(" | %8.3f C %+7.2f %%%-5s", c.current / n.one_c(), 100 * difference, words_of(c.charge.tightest));
      if (description == Description::uneven) {
        verdict.expect(difference, promised_above, (n.name + ": ceiling above the full calculation").c_str());
        verdict.expect(-difference, promised_below, (n.name + ": ceiling below the full calculation").c_str());
      }
    }
    std::puts("");
  }
  // does the table belong to this cell?
  const double again = plating_onset_current(n.cell, window.empty, soc * window.capacity, coarse, full) / full - 1;
  std::printf("  the last of these calculated again on a coarse grid: %+.3f %%\n", 100 * again);
  verdict.expect(std::abs(again), 0.01, (n.name + ": the onsets are not of this cell").c_str());
}

}  // namespace

int main() {
  Verdict verdict;
  try {
    std::vector<NamedCell> cells = cells_from_papers();
    cells.push_back(cell_of_sheet("demo", "demo"));
    std::puts(
        "Single particles against the full porous-electrode calculation. plain: salt at its starting concentration.\n"
        "Differences of voltage at equal times, over the first 95 % of the shorter run; charge at the cut-off.");
    for (const NamedCell& n : cells) by_rate(n, verdict);
    std::printf(
        "\nLargest charge current without plating (zero margin, from the empty equilibrium, no limit of voltage)\n"
        "  %-6s %-11s  %10s | %-24s | %-24s | %s\n",
        "", "window", "full", "plain", "even", "uneven");
    for (const NamedCell& n : cells) plating_onset(n, verdict);
  } catch (const std::exception& failure) {
    std::fprintf(stderr, "single_particle_table: %s\n", failure.what());
    return 1;
  }
  return verdict.exit_status();
}
