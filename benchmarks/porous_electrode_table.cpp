// Makes the reference tables (tests/reference/porous_*.csv) of the full porous-electrode calculation, or checks that
// calculation against closed forms, its own grid and the single-particle model that it must become when the electrolyte
// stands in nobody's way.
//
//   porous_electrode_table --check                    prints the checks; exit status 1 if one fails
//   porous_electrode_table FOLDER                     writes the tables of the two cells from papers and of the demo
//   cell porous_electrode_table FOLDER NAME SHEET          writes the tables of another cell, from its sheet

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <exception>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include "benchmarks/porous_cells.hpp"
#include "benchmarks/porous_electrode.hpp"
#include "model/balance.hpp"
#include "model/kinetics.hpp"
#include "solver/step/simulator.hpp"
#include "tests/published_cells.hpp"

namespace {

using namespace onegrain;
using namespace onegrain::benchmarks;

const Grid coarsest{20, 10, 20, 32, 0.5};
constexpr double tolerance = 1e-7;

std::string text(const char* format, double value) {
  char buffer[64];
  std::snprintf(buffer, sizeof buffer, format, value);
  return buffer;
}

std::string grid_words(const Grid& g) {
  return std::to_string(g.negative) + "/" + std::to_string(g.separator) + "/" + std::to_string(g.positive);
}

/// A row of a table as a list, so that three grids can be combined column by column.
std::vector<double> columns(const Point& p) {
  return {p.time,
          p.charge,
          p.voltage,
          p.separator_side_potential,
          p.lowest_salt,
          p.highest_salt,
          p.negative_unevenness,
          p.positive_unevenness};
}
const char* const column_names =
    "time_s,charge_C_per_m2,voltage_V,separator_side_potential_V,lowest_salt_mol_per_m3,highest_salt_mol_per_m3,"
    "negative_unevenness,positive_unevenness";
const char* const column_formats[] = {"%.10g", "%.10g", "%.7f", "%.7f", "%.3f", "%.3f", "%.4f", "%.4f"};

/// Early times, then even steps, then closer ones up to just before the end.
std::vector<double> table_times(double end) {
  std::vector<double> times;
  for (const double t : {0.1, 1.0, 3.0, 10.0, 30.0, 60.0}) {
    if (t < end / 55) times.push_back(t);
  }
  for (int k = 1; k < 50; ++k) times.push_back(std::round(end * k / 50 * 100) / 100);
  for (const double share : {0.985, 0.99, 0.995, 0.998}) times.push_back(std::round(end * share * 100) / 100);
  return times;
}

/// Voltage against time at one rate, from three grids; rows are the limit of the two finest.
void write_curve(const std::string& folder, const NamedCell& n, const std::string& rate_name, double c_rate) {
  const bool charging = c_rate > 0;
  const model::Window window = model::equilibrium_window(n.cell);
  Load load{c_rate * n.one_c(),
            n.start(charging),
            charging ? n.cell.upper_voltage : n.cell.lower_voltage,
            2 * window.capacity,
            {}};
  const Run first = porous_electrode(n.cell, load, coarsest.refined(2));
  load.times = table_times(first.points.back().time);
  // the narrow front that is left where the salt is used up needs more cells
  const int finest = first.points.back().lowest_salt > 5 ? 8 : 32;
  const Grid grids[] = {coarsest.refined(finest / 4), coarsest.refined(finest / 2), coarsest.refined(finest)};
  std::vector<Run> runs;
  for (const Grid& g : grids) runs.push_back(porous_electrode(n.cell, load, g, tolerance));

  const std::size_t shared = std::min({runs[0].points.size(), runs[1].points.size(), runs[2].points.size()}) - 1;
  std::vector<std::vector<double>> rows;
  double error = 0, at = 0, early_error = 0, separator_error = 0, saltiest = 0;
  for (std::size_t k = 0; k <= shared; ++k) {
    const bool last = k == shared;  // at the cut-off, each at its own time
    const auto pick = [&](std::size_t r) { return columns(last ? runs[r].points.back() : runs[r].points[k]); };
    const auto a = pick(0), b = pick(1), c = pick(2);
    std::vector<double> row(a.size());
    for (std::size_t m = 0; m < row.size(); ++m) row[m] = richardson(b[m], c[m]);
    if (c[4] < 5)
      std::copy(c.begin() + 4, c.end(), row.begin() + 4);  // a depleted front is not a smooth function of the grid
    rows.push_back(row);
    saltiest = std::max(saltiest, row[5]);
    const double difference = std::abs(row[2] - richardson(a[2], b[2]));
    if (!last && difference > error) {
      error = difference;
      at = row[0];
    }
    if (row[0] < 0.95 * runs[2].points.back().time) early_error = std::max(early_error, difference);
    separator_error = std::max(separator_error, std::abs(row[3] - richardson(a[3], b[3])));
  }
  const double end_error =
      std::abs(rows.back()[0] - richardson(runs[0].points.back().time, runs[1].points.back().time));

  std::ostringstream out;
  out << "# full porous-electrode calculation: " << (charging ? "charge" : "discharge") << " at " << rate_name << " to "
      << text("%.2f V", *load.voltage)
      << (charging ? ", from the equilibrium at the lower cut-off" : ", from the charged state") << "\n"
      << "# i > 0 charges the cell, per plate area; " << text("%.2f K", n.cell.temperature) << "\n";
  for (const std::string& line : n.source) out << "# " << line << "\n";
  out << "# start: x_n = " << text("%.12g", load.start.negative) << ", x_p = " << text("%.12g", load.start.positive)
      << "\n"
      << "# separator_side_potential: phi_s - phi_e at the separator side of the negative, against lithium;\n"
      << "#   lowest and highest salt in the whole cell; unevenness: largest local reaction over its mean in the "
         "layer\n"
      << "# made by porous_electrode_table: finite volumes, " << grid_words(grids[1]) << " and " << grid_words(grids[2])
      << " cells extrapolated, " << coarsest.modes << " modes per grain,\n#   IDA at " << text("%.0e", tolerance)
      << "; against the extrapolation from " << grid_words(grids[0]) << " and " << grid_words(grids[1])
      << " the voltage differs by at most\n#   grid_error_mV = " << text("%.2g", error * 1e3) << " (at "
      << text("%g", at) << " s; in the first 95 % of the time " << text("%.2g", early_error * 1e3)
      << "),\n#   the separator-side potential by " << text("%.2g", separator_error * 1e3) << " mV\n"
      << (saltiest > 3000 ? "# the salt exceeds 3 mol/L, beyond which its properties are held at their values there\n"
                          : "")
      << "# current_A_per_m2 = " << text("%.12g", load.current) << "\n"
      << "# c_rate = " << text("%.6g", std::abs(c_rate)) << "\n"
      << "# end_time_s = " << text("%.8g", rows.back()[0]) << "   (two extrapolations differ by "
      << text("%.1g", end_error) << ")\n"
      << "# end_charge_C_per_m2 = " << text("%.8g", rows.back()[1]) << "\n"
      << column_names << "\n";
  for (const auto& row : rows) {
    for (std::size_t m = 0; m < row.size(); ++m) out << (m ? "," : "") << text(column_formats[m], row[m]);
    out << "\n";
  }
  const std::string file =
      folder + "/porous_" + n.name + "_" + (charging ? "charge_" : "discharge_") + rate_name + ".csv";
  std::ofstream(file) << out.str();
  std::printf(
      "%s: %zu rows, end %.5g s, grid error %.2g mV (%.2g in the first 95 %%; end time %.2g s), lowest salt %.1f "
      "mol/m3\n",
      file.c_str(), rows.size(), rows.back()[0], error * 1e3, early_error * 1e3, end_error, rows.back()[4]);
}

/// Onset currents of plating for several windows of state of charge, from three grids.
void write_onsets(const std::string& file, const std::vector<NamedCell>& cells) {
  std::ostringstream out;
  out << "# full porous-electrode calculation: the largest constant charge current, from the equilibrium at the lower "
         "cut-off,\n"
      << "#   that keeps phi_s - phi_e at the separator side of the negative above 0 V against lithium until a state "
         "of charge\n"
      << "# state of charge: by charge between the equilibria at the cut-offs; the upper voltage limit is NOT kept: "
         "the largest\n"
      << "#   voltage on the way is given\n";
  for (const NamedCell& n : cells) {
    out << "# " << n.name << (n.set > 0 ? " (" + std::to_string(n.set) + ")" : "") << ":\n";
    for (const std::string& line : n.source) out << "#   " << line << "\n";
  }
  out << "# made by porous_electrode_table: finite volumes, " << grid_words(coarsest.refined(2)) << " and "
      << grid_words(coarsest.refined(4)) << " cells extrapolated;\n"
      << "#   grid_error: against the extrapolation from " << grid_words(coarsest) << " and "
      << grid_words(coarsest.refined(2)) << "\n"
      << "set,soc_from,soc_to,c_rate,current_A_per_m2,grid_error_percent,minutes,largest_voltage_V,lowest_salt_mol_per_"
         "m3,"
         "negative_unevenness\n";
  for (const NamedCell& n : cells) {
    const model::Window window = model::equilibrium_window(n.cell);
    double guess = n.one_c();
    for (const double soc : {0.6, 0.7, 0.8, 0.9}) {
      const double charge = soc * window.capacity;
      double i[3];
      for (int k = 0; k < 3; ++k) {
        i[k] = plating_onset_current(n.cell, window.empty, charge, coarsest.refined(1 << k), guess);
        guess = i[k];
      }
      const double limit = richardson(i[1], i[2]);
      const double error = std::abs(limit / richardson(i[0], i[1]) - 1);
      const Run run = porous_electrode(n.cell, {limit, window.empty, {}, charge, {}}, coarsest.refined(2));
      double voltage = 0, salt = n.cell.electrolyte.concentration, uneven = 0;
      for (const Point& p : run.points) {
        voltage = std::max(voltage, p.voltage);
        salt = std::min(salt, p.lowest_salt);
        uneven = std::max(uneven, p.negative_unevenness);
      }
      out << n.set << ",0," << text("%g", soc) << "," << text("%.5f", limit / n.one_c()) << "," << text("%.5f", limit)
          << "," << text("%.2g", error * 100) << "," << text("%.3f", charge / limit / 60) << ","
          << text("%.4f", voltage) << "," << text("%.1f", salt) << "," << text("%.3f", uneven) << "\n";
      std::printf(
          "%s, 0 to %g: %.5f C (grid error %.2g %%), largest voltage %.3f V, lowest salt %.0f mol/m3, unevenness "
          "%.2f\n",
          n.name.c_str(), soc, limit / n.one_c(), error * 100, voltage, salt, uneven);
    }
  }
  std::ofstream(file) << out.str();
}

void write_tables(const std::string& folder, const std::vector<NamedCell>& cells, const std::string& onset_name) {
  struct Rate {
    const char* name;
    double c_rate;
  };
  for (const NamedCell& n : cells) {
    for (const Rate& r : {Rate{"C10", -0.1}, {"C2", -0.5}, {"1C", -1}, {"2C", -2}, {"3C", -3}, {"1C", 1}}) {
      write_curve(folder, n, r.name, r.c_rate);
    }
  }
  write_onsets(folder + "/" + onset_name, cells);
}

// ---- checks ----

bool all_pass = true;
void verdict(const std::string& what, double error, double limit) {
  const bool pass = error <= limit;
  all_pass = all_pass && pass;
  std::printf("%-4s %-78s %9.2e (allowed %.0e)\n", pass ? "ok" : "FAIL", what.c_str(), error, limit);
}

model::Cell without_resistance(model::Cell cell, double factor) {
  cell.electrolyte.conductivity = cell.electrolyte.conductivity.scaled(factor);
  cell.electrolyte.diffusivity = cell.electrolyte.diffusivity.scaled(factor);
  cell.positive.electronic_conductivity *= factor;
  if (cell.negative) cell.negative->electronic_conductivity *= factor;
  return cell;
}

model::Cell half_cell(const model::Electrode& working, const model::Cell& full) {
  model::Cell cell = full;
  cell.positive = working;
  cell.negative.reset();
  cell.counter = model::LithiumMetal{model::Property::constant(10)};
  cell.charged_state.reset();
  return cell;
}

/// Largest difference from the single-particle model over a whole discharge or charge from 0.1 s on (before, the modes
/// of the grains do not resolve the layer under the surface), without the last 1 % where the voltage falls [V].
double distance_from_single_particle(const model::Cell& cell, double i, model::Stoichiometries start, double voltage) {
  const Run run = porous_electrode(cell, {i, start, voltage, 1e7, {}}, coarsest, tolerance);
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace,
                              {.relative_tolerance = 1e-7, .absolute_factor = 0.1, .truncation = 1e-6});
  model::Step step{model::CurrentDrive{i}, {}, ""};
  step.until.voltage = voltage;
  const auto single = simulator.run(simulator.at_rest(start), step);
  double worst = 0;
  for (const Point& p : run.points) {
    if (p.time >= 0.1 && p.time < 0.99 * single.duration()) {
      worst = std::max(worst, std::abs(p.voltage - single.at(p.time).terminal.voltage));
    }
  }
  return worst;
}

/// With all conductivities large every grain of a layer does the same: the single-particle model.
void check_collapse() {
  for (const NamedCell& n : cells_from_papers()) {
    const auto window = model::equilibrium_window(n.cell);
    for (const double c_rate : {-1.0, -2.0, 1.0}) {
      for (const double factor : {1e2, 1e4}) {
        const double error = distance_from_single_particle(without_resistance(n.cell, factor), c_rate * n.one_c(),
                                                           c_rate < 0 ? *n.cell.charged_state : window.empty,
                                                           c_rate < 0 ? n.cell.lower_voltage : n.cell.upper_voltage);
        verdict("collapse onto the single-particle model [V]: " + n.name + ", " + text("%+gC", c_rate) +
                    ", conductivities x" + text("%.0e", factor),
                error, factor < 1e3 ? 1e-2 : 1e-4);
      }
    }
  }
  const model::Cell full = tests::nmc811_graphite_siox();
  model::Cell varying = without_resistance(full, 1e4);
  varying.positive.host.diffusivity = tests::published_cell(true).positive.host.diffusivity;
  varying.negative->host.diffusivity = tests::published_cell(true).negative->host.diffusivity;
  verdict("collapse onto the single-particle model [V]: nmc811, -1C, diffusivities that vary with filling",
          distance_from_single_particle(varying, -48, *varying.charged_state, 2.5), 1e-4);
  const model::Cell graphite = without_resistance(half_cell(*full.negative, full), 1e4);
  verdict("collapse onto the single-particle model [V]: graphite-SiOx half cell, lithiated at 1C",
          distance_from_single_particle(graphite, -48, {0.05, 0}, 0.02), 1e-4);
  const model::Cell oxide = without_resistance(half_cell(full.positive, full), 1e4);
  verdict("collapse onto the single-particle model [V]: NMC811 half cell, delithiated at 1C",
          distance_from_single_particle(oxide, 48, {0.85, 0}, 4.3), 1e-4);
}

/// At t = 0+ and small current the kinetics are linear and the salt even; the distribution of the reaction then has a
/// closed form: J. Newman, C. W. Tobias, J. Electrochem. Soc. 109, 1183 (1962). With k = kappa/(kappa + sigma),
/// nu^2 = a L^2 (F i0 / R T) (1/kappa + 1/sigma), y from the collector:
///     i_n / mean = nu [ k (cosh nu(1-y) - cosh nu y) + cosh nu y ] / sinh nu
///     drop from the collector to the electrolyte at the separator
///         = i L / (kappa + sigma) [ 1 + (2 + (sigma/kappa + kappa/sigma) cosh nu) / (nu sinh nu) ].
struct LinearElectrode {
  double resistance, at_separator, at_collector,
      charge_transfer;  // [ohm m2], [1], [1], R T / (F i0) [ohm m2 of surface]
};
LinearElectrode linear_electrode(const model::Electrode& e, double x, const model::Electrolyte& s, double T) {
  const double kappa = s.conductivity(s.concentration, T) * e.porosity / e.tortuosity,
               sigma = e.electronic_conductivity;
  const double r = model::gas_constant * T /
                   (model::faraday_constant * model::exchange_current_density(e.host, x, s.concentration, T).value);
  const double nu = e.thickness * std::sqrt(e.specific_surface() / r * (1 / kappa + 1 / sigma)),
               k = kappa / (kappa + sigma);
  const double coth = 1 / std::tanh(nu), csch = 1 / std::sinh(nu);
  return {e.thickness / (kappa + sigma) * (1 + (2 * csch + (sigma / kappa + kappa / sigma) * coth) / nu),
          nu * (k * (csch - coth) + coth), nu * (k * (coth - csch) + csch), r};
}

void check_linear_distribution() {
  model::Cell cell = tests::nmc811_graphite_siox();
  cell.positive.host.exchange_current_density = cell.positive.host.exchange_current_density.scaled(20);
  cell.negative->host.exchange_current_density = cell.negative->host.exchange_current_density.scaled(200);
  const model::Stoichiometries x{0.5, 0.5};
  const double i = 1e-3, T = cell.temperature;
  const LinearElectrode n = linear_electrode(*cell.negative, x.negative, cell.electrolyte, T),
                        p = linear_electrode(cell.positive, x.positive, cell.electrolyte, T);
  const double separator = cell.separator.thickness * cell.separator.tortuosity /
                           (cell.electrolyte.conductivity(cell.electrolyte.concentration, T) * cell.separator.porosity);
  const Load load{i, x, {}, 1e-12, {}};
  const Point a = porous_electrode(cell, load, coarsest.refined(4)).points.front(),
              b = porous_electrode(cell, load, coarsest.refined(8)).points.front();
  const double resistance = (richardson(a.voltage, b.voltage) - model::equilibrium_voltage(cell, x, T)) / i;
  verdict("linear kinetics, t = 0+: resistance of the cell, relative",
          std::abs(resistance / (n.resistance + separator + p.resistance) - 1), 1e-4);
  verdict("linear kinetics, t = 0+: unevenness of the negative (" + text("%.2f", n.at_separator) + "), relative",
          std::abs(richardson(a.negative_unevenness, b.negative_unevenness) / n.at_separator - 1), 1e-3);
  const double largest = std::max(p.at_separator, p.at_collector);
  verdict("linear kinetics, t = 0+: unevenness of the positive (" + text("%.2f", largest) + "), relative",
          std::abs(richardson(a.positive_unevenness, b.positive_unevenness) / largest - 1), 1e-3);
  const double overpotential =
      cell.negative->host.potential(x.negative, T) - richardson(a.separator_side_potential, b.separator_side_potential);
  verdict("linear kinetics, t = 0+: overpotential at the separator side, relative",
          std::abs(overpotential / (i / cell.negative->roughness() * n.at_separator * n.charge_transfer) - 1), 1e-3);
}

/// Long after a small current is switched on, with an even reaction (slow kinetics, no potential of concentration), the
/// salt is piecewise parabolic and
///     c(0) - c(L) = -(1 - t+) (i / F) [ L_n / 2 D_n + L_s / D_s + L_p / 2 D_p ]  (i > 0 charges),
/// the flux balance of the salt integrated twice.
void check_steady_salt() {
  model::Cell cell = tests::nmc811_graphite_siox();
  const model::Electrolyte& s = cell.electrolyte;
  cell.electrolyte.conductivity = s.conductivity.scaled(1e4);
  cell.electrolyte.diffusivity = model::Property::constant(s.diffusivity(1000, cell.temperature));
  cell.electrolyte.thermodynamic_factor = model::Property::constant(1e-6);
  cell.positive.electronic_conductivity *= 1e4;
  for (model::Electrode* e : {&cell.positive, &*cell.negative}) {
    e->host.exchange_current_density = e->host.exchange_current_density.scaled(1e-3);
  }
  const double i = -0.05, D = s.diffusivity(1000, cell.temperature);
  const auto share = [&](double L, double porosity, double tortuosity) { return L * tortuosity / (porosity * D); };
  const double expected = (1 - s.transference_number(1000, cell.temperature)) * std::abs(i) / model::faraday_constant *
                          (share(cell.negative->thickness, cell.negative->porosity, cell.negative->tortuosity) / 2 +
                           share(cell.separator.thickness, cell.separator.porosity, cell.separator.tortuosity) +
                           share(cell.positive.thickness, cell.positive.porosity, cell.positive.tortuosity) / 2);
  const Load load{i, {0.4, 0.7}, {}, 4000 * std::abs(i), {}};
  double spread[2], drift = 0;
  for (int k = 0; k < 2; ++k) {
    const Run run = porous_electrode(cell, load, coarsest.refined(1 << k), tolerance);
    spread[k] = run.points.back().highest_salt - run.points.back().lowest_salt;
    drift = std::max(drift, std::abs(run.points.back().salt / run.points.front().salt - 1));
  }
  verdict("steady salt difference between the collectors (" + text("%.4f", expected) + " mol/m3), relative",
          std::abs(richardson(spread[0], spread[1]) / expected - 1), 1e-3);
  verdict("salt conserved, relative", drift, 1e-12);
}

/// Differences between grids, and what a calculation costs.
void check_refinement() {
  for (const NamedCell& n : cells_from_papers()) {
    for (const double c_rate : {-1.0, -2.0, 1.0}) {
      const auto window = model::equilibrium_window(n.cell);
      const Load once{c_rate * n.one_c(),
                      c_rate < 0 ? *n.cell.charged_state : window.empty,
                      c_rate < 0 ? n.cell.lower_voltage : n.cell.upper_voltage,
                      1e7,
                      {}};
      Load load = once;
      const double end = porous_electrode(n.cell, once, coarsest).points.back().time;
      for (int k = 1; k < 49; ++k) load.times.push_back(end * k / 50);
      std::vector<Run> runs;
      std::vector<double> seconds;
      for (const int factor : {1, 2, 4, 8}) {
        const auto before = std::chrono::steady_clock::now();
        runs.push_back(porous_electrode(n.cell, load, coarsest.refined(factor), tolerance));
        seconds.push_back(std::chrono::duration<double>(std::chrono::steady_clock::now() - before).count());
      }
      const auto worst = [&](auto value) {  // over the shared times, the cut-off excepted
        double largest = 0;
        for (std::size_t k = 0; k < load.times.size(); ++k) largest = std::max(largest, std::abs(value(k)));
        return largest;
      };
      const auto V = [&](std::size_t r, std::size_t k) { return runs[r].points[k].voltage; };
      for (std::size_t r = 0; r < 4; ++r) {
        const double error = worst([&](std::size_t k) { return V(r, k) - richardson(V(2, k), V(3, k)); });
        std::printf(
            "     %s %+gC, %s cells: %.1f uV from the limit, end %.3f s, %ld steps, %ld factorisations, %.2f s\n",
            n.name.c_str(), c_rate, grid_words(coarsest.refined(1 << r)).c_str(), error * 1e6,
            runs[r].points.back().time, runs[r].steps, runs[r].factorisations, seconds[r]);
      }
      verdict(n.name + text(" %+gC", c_rate) + ": extrapolation from 40/20/40 and 80/40/80 against the next [V]",
              worst([&](std::size_t k) { return richardson(V(1, k), V(2, k)) - richardson(V(2, k), V(3, k)); }), 1e-4);
      Grid more = coarsest.refined(2);
      more.modes = 64;
      const Run finer_grains = porous_electrode(n.cell, load, more, tolerance);
      verdict(n.name + text(" %+gC", c_rate) + ": 64 modes per grain against 32 [V]",
              worst([&](std::size_t k) { return finer_grains.points[k].voltage - V(1, k); }), 1e-5);
    }
  }
}

}  // namespace

int main(int count, char** arguments) {
  try {
    const std::vector<std::string> words(arguments + 1, arguments + count);
    if (words.size() == 1 && words[0] == "--check") {
      check_linear_distribution();
      check_steady_salt();
      check_collapse();
      check_refinement();
      return all_pass ? 0 : 1;
    }
    if (words.size() == 1) {
      write_tables(words[0], cells_from_papers(), "porous_plating_onset.csv");
      write_tables(words[0], {cell_of_sheet("demo", "demo")}, "porous_plating_onset_demo.csv");
      return 0;
    }
    if (words.size() == 3) {
      write_tables(words[0], {cell_of_sheet(words[1], words[2])}, "porous_plating_onset_" + words[1] + ".csv");
      return 0;
    }
    std::fprintf(stderr, "usage: porous_electrode_table --check | FOLDER [NAME SHEET]\n");
    return 2;
  } catch (const std::exception& e) {
    std::fprintf(stderr, "%s\n", e.what());
    return 1;
  }
}
