// A cell whose salt moves: against the full porous-electrode calculation, against exact profiles, against itself.

#include <cmath>
#include <utility>

#include "solver/step/curves.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"
#include "tests/quadrature.hpp"
#include "tests/reference_table.hpp"

using namespace onegrain;
using model::Cell;
using model::CurrentDrive;
using model::ElectrolyteModel;
using model::Property;
using model::VoltageDrive;
using solver::Simulator;
using solver::StepSolution;

namespace {

constexpr double one_c = tests::published_one_c;
constexpr double F = 96485.33212331001;  // CODATA 2018, exact

struct Layer {
  double start, thickness, porosity, transport;
  int side;
};

std::vector<Layer> layers_of(const Cell& cell) {
  std::vector<Layer> layers;
  double at = 0;
  const auto add = [&](double thickness, double porosity, double tortuosity, int side) {
    layers.push_back({at, thickness, porosity, porosity / tortuosity, side});
    at += thickness;
  };
  if (cell.negative) add(cell.negative->thickness, cell.negative->porosity, cell.negative->tortuosity, -1);
  add(cell.separator.thickness, cell.separator.porosity, cell.separator.tortuosity, 0);
  add(cell.positive.thickness, cell.positive.porosity, cell.positive.tortuosity, +1);
  return layers;
}

double salt_at(const StepSolution& step, double t, double x) {
  return step.salt_profile(t, Eigen::ArrayXd::Constant(1, x))[0];
}

double salt_content(const StepSolution& step, double t) {
  double sum = 0;
  for (const Layer& l : layers_of(step.model().cell())) {
    for (const auto& [from, to] :
         {std::pair{0.0, 0.01}, std::pair{0.01, 0.1}, std::pair{0.1, 1.0}}) {  // where polynomials may meet
      sum += l.porosity * tests::integral([&](double x) { return salt_at(step, t, x); }, l.start + from * l.thickness,
                                          l.start + to * l.thickness, 12);
    }
  }
  return sum;
}

Property scaled_constant(const Property& p, double factor) { return Property::constant(factor * p(1000, 298.15)); }

Cell half_cell() {  // the published positive against lithium; 8.1 A/m2 for lithium is invented for 1 mol/L
  Cell cell = tests::nmc811_graphite_siox();
  cell.negative.reset();
  cell.counter = model::LithiumMetal{Property::constant(8.1)};
  cell.charged_state.reset();
  cell.lower_voltage = 3.5;
  cell.upper_voltage = 4.25;
  return cell;
}

solver::ConstantCurrentCurve curve_of(const Cell& cell, double current, ElectrolyteModel electrolyte,
                                      solver::Workspace& workspace, solver::Accuracy accuracy = {}) {
  Simulator simulator(cell, workspace, accuracy, electrolyte);
  return solver::constant_current(simulator, solver::start_of(simulator, model::equilibrium_window(cell), current > 0),
                                  current);
}

/// Root mean square over the time from the start to 95 % of what both have in common [V].
struct Distance {
  double voltage, separator_side;
};
Distance rms(const StepSolution& step, const tests::ReferenceTable& table) {
  const double until = 0.95 * std::min(step.duration(), table.rows.back()[0]);
  double voltage = 0, separator_side = 0, time = 0, last_t = 0, last_v = 0, last_e = 0;
  for (const auto& row : table.rows) {
    if (row[0] > until) break;
    const solver::Point p = step.at(row[0]);
    const double v = std::pow(p.terminal.voltage - row[2], 2), e = std::pow(p.terminal.separator_side - row[3], 2);
    voltage += 0.5 * (v + last_v) * (row[0] - last_t);
    separator_side += 0.5 * (e + last_e) * (row[0] - last_t);
    time = last_t = row[0];
    last_v = v;
    last_e = e;
  }
  return {std::sqrt(voltage / time), std::sqrt(separator_side / time)};
}

}  // namespace

TEST_CASE("with salt that moves the voltage stays close to the full porous-electrode calculation",
          "[solver][resolved]") {
  // Tables of tests/reference made by benchmarks/porous_electrode_table.cpp: finite volumes, reaction free to be
  // uneven, electronic drop resolved; their own grid error is below 0.01 mV. `voltage` and `separator_side` are what a
  // calculation with even reaction is known to miss, about a quarter more than was measured: it grows with the square
  // of the rate.
  struct Row {
    const char* table;
    double voltage, separator_side, end;
  };  // mV, mV, relative error of the time to the end
  const auto row = GENERATE(values<Row>({
      {"porous_nmc811_discharge_C10.csv", 0.5, 0.5, 1e-4},
      {"porous_nmc811_discharge_C2.csv", 2.1, 2.1, 1e-4},
      {"porous_nmc811_discharge_1C.csv", 6.4, 6.1, 3e-4},
      {"porous_nmc811_discharge_2C.csv", 31, 19, 6e-3},
      {"porous_nmc811_charge_1C.csv", 7.6, 7.6, 0.02},
      {"porous_lco_discharge_C10.csv", 0.25, 0.25, 1e-4},
      {"porous_lco_discharge_C2.csv", 1.9, 1.5, 1e-4},
      {"porous_lco_discharge_1C.csv", 4.1, 2.8, 2e-4},
      {"porous_lco_discharge_2C.csv", 9.7, 4.8, 5e-4},
      {"porous_lco_discharge_3C.csv", 17, 6.2, 1e-3},
      {"porous_lco_charge_1C.csv", 3.1, 3.2, 3e-4},
  }));
  CAPTURE(row.table);
  const tests::ReferenceTable table(row.table);
  const Cell cell =
      std::string(row.table).find("_lco_") != std::string::npos ? tests::lco_graphite() : tests::nmc811_graphite_siox();
  const double current = table.stated("current_A_per_m2");
  solver::Workspace workspace;
  const auto resolved = curve_of(cell, current, ElectrolyteModel::resolved, workspace);
  const Distance distance = rms(resolved.step, table);
  CHECK(1e3 * distance.voltage < row.voltage);
  CHECK(1e3 * distance.separator_side < row.separator_side);
  CHECK_THAT(resolved.step.duration(), WithinRel(table.stated("end_time_s"), row.end));
  // what even salt leaves out is most of what there is to miss
  const auto uniform = curve_of(cell, current, ElectrolyteModel::uniform, workspace);
  CHECK(distance.voltage < 0.45 * rms(uniform.step, table).voltage);
  CHECK(uniform.capacity > resolved.capacity);
}

TEST_CASE("the voltage at the default degree is within 0.05 mV of a much finer one",
          "[solver][resolved][convergence]") {
  // Measured: below 13 uV wherever no salt runs out; at the end of a 2C discharge, where 11 % of it is left, 36 uV.
  struct Row {
    const char* name;
    Cell cell;
    double current, allowed;
  };
  const Row rows[] = {
      {"nmc811, C/10", tests::nmc811_graphite_siox(), -0.1 * one_c, 5e-6},
      {"nmc811, 1C", tests::nmc811_graphite_siox(), -one_c, 5e-6},
      {"nmc811, 1.5C", tests::nmc811_graphite_siox(), -1.5 * one_c, 2e-5},
      {"nmc811, 2C", tests::nmc811_graphite_siox(), -2 * one_c, 1.5e-4},
      {"nmc811, charge at 1C", tests::nmc811_graphite_siox(), one_c, 2e-5},
      {"lco, 1C", tests::lco_graphite(), -24, 5e-6},
      {"lco, 3C", tests::lco_graphite(), -72, 1e-5},
      {"lco, charge at 1C", tests::lco_graphite(), 24, 5e-6},
      {"half cell, 1C", half_cell(), -one_c, 2e-5},
      {"half cell, charge at 1C", half_cell(), one_c, 5e-5},
  };
  solver::Workspace workspace;
  for (const Row& row : rows) {
    CAPTURE(row.name);
    const auto usual = curve_of(row.cell, row.current, ElectrolyteModel::resolved, workspace);
    const auto fine = curve_of(row.cell, row.current, ElectrolyteModel::resolved, workspace, {1e-8, 1e-3, 1e3, 32, 20});
    CHECK_THAT(usual.capacity, WithinRel(fine.capacity, 1e-5));
    double worst = 0, at = 0;
    for (const double t : solver::moments(fine.step, 120, true)) {
      if (t > usual.step.duration()) break;
      const double error = std::abs(usual.step.at(t).terminal.voltage - fine.step.at(t).terminal.voltage);
      if (error > worst) at = t;
      worst = std::max(worst, error);
    }
    CAPTURE(at);
    CHECK(worst < row.allowed);
  }
}

TEST_CASE(
    "in a thick separator the salt beside lithium starts like a square root, and the default degree has it after "
    "seconds",
    "[solver][resolved][convergence]") {
  // c(0, t) - c0 goes with sqrt(t) (Sand), which polynomials over 200 um of glass fibre follow slowly. Measured at 1C
  // against degree 40: up to 0.35 mV in the first 0.1 s of a charge, below 7 uV from 10 s on; stated here so that it
  // cannot grow unseen.
  Cell cell = half_cell();
  cell.separator = {200e-6, 0.47, 1 / std::sqrt(0.47)};
  const double current = GENERATE(-one_c, one_c);
  solver::Workspace workspace;
  Simulator usual(cell, workspace, {}, ElectrolyteModel::resolved);
  Simulator fine(cell, workspace, {1e-8, 1e-3, 1e3, 32, 40}, ElectrolyteModel::resolved);
  const model::Step step{CurrentDrive{current}, {.time = 300}, ""};
  const auto a = usual.run(usual.at_rest(model::Stoichiometries{0.55, 0}), step),
             b = fine.run(fine.at_rest(model::Stoichiometries{0.55, 0}), step);
  for (double t = 1e-3; t < 300; t *= 1.3) {
    CAPTURE(current, t);
    CHECK_THAT(a.at(t).terminal.voltage, WithinAbs(b.at(t).terminal.voltage, t < 10 ? 5e-4 : 2e-5));
  }
}

TEST_CASE("salt that moves without resistance leaves the cell as if it did not move", "[solver][resolved]") {
  // D so large that no difference of concentration is left: D -> oo of the salt's equation.
  const bool half = GENERATE(false, true);
  const double factor = GENERATE(1.0, 1e6);  // of the conductivity as well
  CAPTURE(half, factor);
  Cell cell = half ? half_cell() : tests::nmc811_graphite_siox();
  cell.electrolyte.diffusivity = scaled_constant(cell.electrolyte.diffusivity, 1e7);
  cell.electrolyte.conductivity = scaled_constant(cell.electrolyte.conductivity, factor);
  solver::Workspace workspace;
  Simulator resolved(cell, workspace, {}, ElectrolyteModel::resolved), uniform(cell, workspace);
  solver::State a = resolved.at_rest(0), b = uniform.at_rest(0);
  const model::Step steps[] = {{CurrentDrive{-2 * one_c}, {.time = 500}, "discharge"},
                               {CurrentDrive{0}, {.time = 200}, "rest"},
                               {CurrentDrive{one_c}, {.time = 300}, "charge"}};
  for (const model::Step& step : steps) {
    CAPTURE(step.label);
    const auto moving = resolved.run(a, step), still = uniform.run(b, step);
    for (const double t : {0.0, 0.01, 1.0, 50.0, step.until.time.value()}) {
      CHECK_THAT(moving.at(t).terminal.voltage, WithinAbs(still.at(t).terminal.voltage, 1e-7));
      CHECK_THAT(moving.at(t).terminal.separator_side, WithinAbs(still.at(t).terminal.separator_side, 1e-7));
      CHECK_THAT(moving.at(t).lowest_salt, WithinAbs(1000, 1e-3));
    }
    a = moving.final_state();
    b = still.final_state();
  }
}

TEST_CASE("when the current is switched on the salt has not moved yet", "[solver][resolved]") {
  const Cell cell = tests::nmc811_graphite_siox();
  solver::Workspace workspace;
  Simulator resolved(cell, workspace, {}, ElectrolyteModel::resolved), uniform(cell, workspace);
  const model::Step step{CurrentDrive{-2 * one_c}, {.time = 30}, ""};
  const auto moving = resolved.run(resolved.at_rest(0), step), still = uniform.run(uniform.at_rest(0), step);
  CHECK_THAT(moving.first().terminal.voltage, WithinAbs(still.first().terminal.voltage, 1e-8));
  // spread evenly over a layer, the reaction takes (1 - t+) i / (F L eps) per second out of the positive, at first
  // everywhere alike: salt balance by hand, at the foil, where the separator is felt last
  const double per_second = (1 - 0.2594) * 2 * one_c / (F * 75.6e-6 * 0.335);
  for (const double t : {0.1, 0.5, 2.0})
    CHECK_THAT(salt_at(moving, t, 172.8e-6), WithinAbs(1000 - t * per_second, 0.004 * per_second));
  CHECK(moving.last().terminal.voltage < still.last().terminal.voltage);
  CHECK(moving.last().terminal.concentration < 0);  // works against a discharge
  // switched off, the salt stays where it is for the moment
  const auto off = resolved.run(moving.final_state(), {CurrentDrive{0}, {.time = 2000}, "rest"});
  CHECK_THAT(off.first().lowest_salt, WithinRel(moving.last().lowest_salt, 1e-12));
  CHECK_THAT(off.first().terminal.concentration, WithinRel(moving.last().terminal.concentration, 1e-10));
  CHECK_THAT(off.last().lowest_salt, WithinAbs(1000, 1e-2));  // and evens out: 2000 s are 20 times L^2 / (pi^2 D)
  CHECK_THAT(off.last().highest_salt, WithinAbs(1000, 1e-2));
}

TEST_CASE("salt is conserved through charge, hold, rest and discharge", "[solver][resolved][conservation]") {
  const bool half = GENERATE(false, true);
  CAPTURE(half);
  const Cell cell = half ? half_cell() : tests::nmc811_graphite_siox();
  double filled_in = 0;
  for (const Layer& l : layers_of(cell)) filled_in += 1000 * l.porosity * l.thickness;
  solver::Workspace workspace;
  Simulator simulator(cell, workspace, {}, ElectrolyteModel::resolved);
  const model::Window window = model::equilibrium_window(cell);
  solver::State state = simulator.at_rest(model::at_state_of_charge(window, 0.5));
  const double top = half ? 4.2 : 4.15;
  const model::Step steps[] = {
      {CurrentDrive{one_c}, {.voltage = top}, "charge"},    {VoltageDrive{top}, {.current = one_c / 10}, "hold"},
      {CurrentDrive{0}, {.time = 20}, "short rest"},        {CurrentDrive{-2 * one_c}, {.time = 600}, "discharge"},
      {CurrentDrive{one_c}, {.time = 20}, "counter pulse"}, {CurrentDrive{0}, {.time = 1e5}, "long rest"},
  };
  for (const model::Step& step : steps) {
    CAPTURE(step.label);
    const auto solution = simulator.run(state, step);
    REQUIRE(solution.duration() > 0);
    for (const double part : {0.0, 1e-3, 0.3, 1.0}) {
      CAPTURE(part);
      CHECK_THAT(salt_content(solution, part * solution.duration()), WithinRel(filled_in, 1e-12));  // promised 1e-10
      if (step.label == "hold")
        CHECK_THAT(solution.at(part * solution.duration()).terminal.voltage, WithinAbs(top, 1e-10));
    }
    state = solution.final_state();
  }
}

TEST_CASE("a long discharge ends with the steady profile of Kirchhoff's transformation", "[solver][resolved]") {
  // D = D0 exp(-k c) (Capiglia et al. 1999): exp(-k c) is linear in the steady profile of constant D; Crank, The
  // Mathematics of Diffusion, 2nd ed., ch. 9. The level follows from the salt content. 3000 s are 80 times L^2 / (pi^2
  // D).
  const Cell cell = tests::lco_graphite();
  const double i = -24, k = 0.65e-3;
  solver::Workspace workspace;
  Simulator simulator(cell, workspace, {}, ElectrolyteModel::resolved);
  const auto step = simulator.run(simulator.at_rest(0), {CurrentDrive{i}, {.time = 3000}, ""});
  const auto straight = [&](double x) {
    double level = 0;
    for (const Layer& l : layers_of(cell)) {
      const double s = std::clamp((x - l.start) / l.thickness, 0.0, 1.0);
      level += 0.6 * i / (F * 5.34e-10) * l.thickness / l.transport *
               (l.side < 0   ? s * s / 2
                : l.side > 0 ? s - s * s / 2
                             : s);
    }
    return level;
  };
  const auto content = [&](double A) {
    double sum = 0;
    for (const Layer& l : layers_of(cell)) {
      sum += l.porosity * tests::integral([&](double x) { return -std::log(A - k * straight(x)) / k; }, l.start,
                                          l.start + l.thickness, 20);
    }
    return sum;
  };
  double low = 1e-9, high = 3;
  for (int n = 0; n < 100; ++n)
    (content(0.5 * (low + high)) > 1000 * (0.3 * 200e-6 + 25e-6) ? low : high) = 0.5 * (low + high);
  for (double x = 0; x < 226e-6; x += 25e-6) {
    CAPTURE(x);
    CHECK_THAT(salt_at(step, 3000, std::min(x, 225e-6)), WithinAbs(-std::log(low - k * straight(x)) / k, 0.01));
  }
}

TEST_CASE("on its way the salt agrees with finite volumes and the method of Runge and Kutta", "[solver][resolved]") {
  // A second method that shares nothing: cells of equal width in each layer, fluxes through half cells in series,
  // classical Runge-Kutta steps; two grids extrapolated for second order.
  const Cell cell = tests::nmc811_graphite_siox();
  const auto finite_volumes = [&](int per_layer, double i, double until) {
    const auto layers = layers_of(cell);
    const std::size_t N = 3 * static_cast<std::size_t>(per_layer);
    std::vector<double> width(N), porosity(N), transport(N),
        share(N + 1);  // share at the right face of a cell, from index 1
    for (std::size_t n = 0; n < N; ++n) {
      const Layer& l = layers[n / static_cast<std::size_t>(per_layer)];
      width[n] = l.thickness / per_layer;
      porosity[n] = l.porosity;
      transport[n] = l.transport;
      const double s = static_cast<double>(n % static_cast<std::size_t>(per_layer) + 1) / per_layer;
      share[n + 1] = l.side < 0 ? s : l.side > 0 ? 1 - s : 1;
    }
    using State = std::vector<double>;
    const auto rate = [&](const State& c) {
      State result(N), flux(N + 1, 0.0);
      const auto resistance = [&](std::size_t n) {
        const double m = c[n] / 1000;  // Nyman et al., Electrochim. Acta 53, 6356 (2008), from memory
        return width[n] / (2 * transport[n] * (8.794e-11 * m * m - 3.972e-10 * m + 4.862e-10));
      };
      for (std::size_t n = 1; n < N; ++n) {
        flux[n] = -(c[n] - c[n - 1]) / (resistance(n - 1) + resistance(n)) + (1 - 0.2594) * i / F * share[n];
      }
      for (std::size_t n = 0; n < N; ++n) result[n] = (flux[n] - flux[n + 1]) / (width[n] * porosity[n]);
      return result;
    };
    State c(N, 1000.0);
    const double smallest = 12e-6 / per_layer;
    const auto steps = static_cast<int>(std::ceil(until / (0.5 * smallest * smallest / 5e-10)));
    const double dt = until / steps;
    const auto plus = [N](const State& a, double h, const State& b) {
      State r(N);
      for (std::size_t n = 0; n < N; ++n) r[n] = a[n] + h * b[n];
      return r;
    };
    for (int k = 0; k < steps; ++k) {
      const State k1 = rate(c), k2 = rate(plus(c, dt / 2, k1)), k3 = rate(plus(c, dt / 2, k2)),
                  k4 = rate(plus(c, dt, k3));
      for (std::size_t n = 0; n < N; ++n) c[n] += dt / 6 * (k1[n] + 2 * k2[n] + 2 * k3[n] + k4[n]);
    }
    return std::array<double, 3>{
        (9 * c[0] - c[1]) / 8, (9 * c[N - 1] - c[N - 2]) / 8,  // parabolas without slope at the ends
        c[static_cast<std::size_t>(per_layer / 2)] / 2 + c[static_cast<std::size_t>(per_layer / 2) - 1] / 2};
  };
  const double i = GENERATE(-one_c, one_c);
  const double until = GENERATE(2.0, 20.0);
  const auto coarse = finite_volumes(8, i, until), fine = finite_volumes(16, i, until);
  solver::Workspace workspace;
  Simulator simulator(cell, workspace, {}, ElectrolyteModel::resolved);
  const auto step = simulator.run(simulator.at_rest(model::at_state_of_charge(model::equilibrium_window(cell), 0.5)),
                                  {CurrentDrive{i}, {.time = 30}, ""});
  const double places[] = {0, 172.8e-6, 42.6e-6};
  for (std::size_t k = 0; k < 3; ++k) {
    CAPTURE(i, until, places[k], coarse[k], fine[k]);
    CHECK_THAT(salt_at(step, until, places[k]), WithinAbs(fine[k] + (fine[k] - coarse[k]) / 3, 0.5));
  }
}

TEST_CASE("a discharge mirrored into a charge mirrors the salt", "[solver][resolved][symmetry]") {
  // Constant D and t+: c - c0 is linear in the current.
  const Cell cell = tests::published_cell();
  solver::Workspace workspace;
  Simulator simulator(cell, workspace, {}, ElectrolyteModel::resolved);
  const auto start = simulator.at_rest(model::at_state_of_charge(model::equilibrium_window(cell), 0.5));
  const auto out = simulator.run(start, {CurrentDrive{-0.6 * one_c}, {.time = 200}, ""});
  const auto in = simulator.run(start, {CurrentDrive{1.2 * one_c}, {.time = 200}, ""});
  for (const double t : {0.3, 4.0, 200.0}) {
    for (const double x : {0.0, 60e-6, 91e-6, 140e-6, 172.8e-6}) {
      CHECK_THAT(salt_at(in, t, x) - 1000, WithinAbs(-2 * (salt_at(out, t, x) - 1000), 1e-9));
    }
  }
  CHECK(salt_at(out, 200, 0) > 1000);  // on discharge lithium leaves the negative into the pores
  CHECK(salt_at(out, 200, 172.8e-6) < 1000);
}
