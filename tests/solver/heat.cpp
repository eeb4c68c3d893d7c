// The lumped heat balance. Source of the equation: D. Bernardi, E. Pawlikowski, J. Newman, J. Electrochem. Soc. 132, 5
// (1985).

#include <cmath>

#include "solver/step/curves.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"
#include "tests/quadrature.hpp"

using namespace onegrain;
using model::Cell;
using model::CurrentDrive;
using model::Curve;
using model::ElectrolyteModel;
using model::Property;
using model::VoltageDrive;
using solver::Ended;
using solver::StepSolution;

namespace {

constexpr double one_c = tests::published_one_c;
constexpr double ambient = 298.15;

/// The temperature itself is what CVODE integrates, so that a relative tolerance of 1e-5 allows 3 mK in every step; 13
/// mK were the most that was measured at the end of one. A tighter tolerance must bring it down in proportion.
struct Level {
  solver::Accuracy accuracy;
  double kelvin;
};
const Level usual{{}, 0.02}, tight{{1e-8, 1e-3}, 1e-4};

/// A working electrode of one potential, 3.7 V and dU/dT = `entropic` everywhere, against lithium; charge transfer and
/// salt cost nothing, so that all of the loss is in `contact` [ohm m2].
Cell flat_cell(double plate_area, double contact, double entropic, model::Thermal thermal) {
  Cell cell = tests::published_cell();
  cell.plate_area = plate_area;
  cell.negative.reset();
  cell.counter = model::LithiumMetal{Property::constant(1e12)};
  cell.positive.host.potential = model::OpenCircuitPotential(
      Curve::approximation([](double) { return 3.7; }, 0, 1, 1e-12, Curve::Beyond::hold), Curve::constant(entropic));
  cell.positive.host.exchange_current_density = Property::constant(1e12);
  cell.electrolyte.conductivity = Property::constant(1e12);
  cell.contact_resistance = contact;
  cell.temperature = ambient;
  cell.thermal = thermal;
  cell.inventory.positive = 0.5;
  cell.lower_voltage = 1;
  cell.upper_voltage = 5;
  return cell;
}

double entropic_positive(double x) { return 1e-4 * (x - 0.7); }            // invented, V/K
double entropic_negative(double x) { return 1e-4 * (0.2 - x) * (1 + x); }  // invented, V/K

/// The published cell with properties that move with temperature, invented where the papers give none.
Cell warm_cell(bool varying, model::Thermal thermal) {
  Cell cell = tests::published_cell(varying);
  const auto potential = [](double (*U)(double), double (*entropic)(double)) {
    return model::OpenCircuitPotential(Property(Curve::approximation(U, 0, 1, 1e-10, Curve::Beyond::tangent)),
                                       Curve::approximation(entropic, 0, 1, 1e-13, Curve::Beyond::tangent));
  };
  cell.positive.host.potential = potential(tests::nmc811_potential, entropic_positive);
  cell.negative->host.potential = potential(tests::graphite_siox_potential, entropic_negative);
  const auto activated = [](const Property& p, double energy) { return Property(p.curve(), energy); };
  cell.positive.host.diffusivity = activated(cell.positive.host.diffusivity, 25e3);
  cell.negative->host.diffusivity = activated(cell.negative->host.diffusivity, 30.3e3);
  cell.positive.host.exchange_current_density = activated(cell.positive.host.exchange_current_density, 17.8e3);
  cell.negative->host.exchange_current_density = activated(cell.negative->host.exchange_current_density, 35e3);
  cell.electrolyte.conductivity = activated(cell.electrolyte.conductivity, 14e3);
  cell.electrolyte.diffusivity = activated(cell.electrolyte.diffusivity, 17e3);
  cell.temperature = ambient;
  cell.thermal = thermal;
  return cell;
}

/// int f(t) dt over a step, with points crowded towards the start: t = duration u^4.
template <class Function>
double over(const StepSolution& step, Function f) {
  const double d = step.duration();
  return tests::integral([&](double u) { return f(step.at(d * u * u * u * u)) * 4 * d * u * u * u; }, 0, 1, 200);
}

/// Bernardi's heat by hand: i (V - U) + i T dU/dT, U at the mean fillings [W/m2].
double heat(const solver::Point& p) {
  const double dUdT = entropic_positive(p.positive_mean) - entropic_negative(p.negative_mean);
  const double U = tests::nmc811_potential(p.positive_mean) - tests::graphite_siox_potential(p.negative_mean) +
                   (p.temperature - 298.15) * dUdT;
  return p.current * (p.terminal.voltage - U) + p.current * p.temperature * dUdT;
}

}  // namespace

TEST_CASE("a cell that loses 0.2 V at 5 A with -0.1 mV/K gives off 1.149 W", "[solver][heat]") {
  // Bernardi et al., worked by hand: 5 A (0.2 V) - 5 A (298.15 K) (-0.1 mV/K) = 1.000 + 0.149 W on discharge; on charge
  // the second term turns round: 1.000 - 0.149 W. The area must not matter.
  const double area = GENERATE(0.1027, 2.0);
  const double sense = GENERATE(-1.0, 1.0);
  CAPTURE(area, sense);
  const double C = 70 / area, i = sense * 5 / area;  // 70 J/K
  const Cell cell = flat_cell(area, 0.2 / (5 / area), -1e-4, {C, 0, ambient});
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace);
  const auto step = simulator.run(simulator.at_rest(0), {CurrentDrive{i}, {.time = 0.05}, ""});
  REQUIRE(step.ended_by() == Ended::time);
  CHECK_THAT(step.first().terminal.voltage, WithinAbs(3.7 + sense * 0.2, 1e-9));
  const double watts = (step.last().temperature - step.first().temperature) / 0.05 * C * area;
  CHECK_THAT(watts, WithinAbs(sense < 0 ? 1.149 : 0.851, 5e-4));
}

TEST_CASE("a cell without cooling warms along the closed solution of its heat balance", "[solver][heat]") {
  // C dT/dt = P + i dU/dT T with constant P = i^2 r: T = (T0 + P/k) exp(k t / C) - P/k, k = i dU/dT; by hand.
  const Level level = GENERATE(usual, tight);
  const double C = 700, i = -40, r = 5e-3, entropic = GENERATE(-3e-4, 3e-4);
  solver::Workspace workspace;
  solver::Simulator simulator(flat_cell(0.1027, r, entropic, {C, 0, ambient}), workspace, level.accuracy);
  const auto step = simulator.run(simulator.at_rest(0), {CurrentDrive{i}, {.time = 1500}, ""});
  REQUIRE(step.ended_by() == Ended::time);
  const double P = i * i * r, k = i * entropic;
  for (const double t : {1.0, 100.0, 700.0, 1500.0}) {
    CAPTURE(t);
    CHECK_THAT(step.at(t).temperature, WithinAbs((ambient + P / k) * std::exp(k * t / C) - P / k, level.kelvin));
    const double U = 3.7 + entropic * (step.at(t).temperature - 298.15);
    CHECK_THAT(step.at(t).terminal.voltage, WithinAbs(U + i * r, 1e-8));
  }
}

TEST_CASE("a cooled cell settles at ambient plus heat over h A, as an exponential", "[solver][heat]") {
  // Newton's law of cooling: T = T_amb + (P / h) (1 - exp(-h t / C)), by hand.
  const Level level = GENERATE(usual, tight);
  const double C = 700, h = 20, i = GENERATE(-40.0, 25.0), r = 5e-3, surroundings = GENERATE(283.15, 298.15);
  CAPTURE(i, surroundings);
  Cell cell = flat_cell(0.1027, r, 0, {C, h, surroundings});
  cell.temperature = surroundings;
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace, level.accuracy);
  const auto step = simulator.run(simulator.at_rest(0), {CurrentDrive{i}, {.time = 2000}, ""});
  REQUIRE(step.ended_by() == Ended::time);
  const double rise = i * i * r / h;
  for (const double t : {2.0, 35.0, 100.0, 2000.0}) {
    CAPTURE(t);
    CHECK_THAT(step.at(t).temperature, WithinAbs(surroundings + rise * (1 - std::exp(-h * t / C)), level.kelvin));
  }
  CHECK_THAT(step.last().temperature, WithinAbs(surroundings + rise, level.kelvin));
  // left alone it cools down again the same way
  const auto rest = simulator.run(step.final_state(), {CurrentDrive{0}, {.time = 500}, ""});
  for (const double t : {0.0, 35.0, 120.0, 500.0})
    CHECK_THAT(rest.at(t).temperature, WithinAbs(surroundings + rise * std::exp(-h * t / C), level.kelvin));
}

TEST_CASE("without cooling the temperature rises by the integral of Bernardi's heat over m c_p", "[solver][heat]") {
  const bool varying = GENERATE(false, true);
  const auto electrolyte = GENERATE(ElectrolyteModel::uniform, ElectrolyteModel::resolved);
  CAPTURE(varying, electrolyte == ElectrolyteModel::resolved);
  const Level level = GENERATE(usual, tight);
  const double C = 1500;
  const Cell cell = warm_cell(varying, {C, 0, ambient});
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace, level.accuracy, electrolyte);
  for (const double rate : {-1.5, -0.3, 0.5}) {
    CAPTURE(rate);
    const auto start =
        simulator.at_rest(model::at_state_of_charge(model::equilibrium_window(cell), rate < 0 ? 0.95 : 0.1));
    const auto step = simulator.run(start, {CurrentDrive{rate * one_c}, {.voltage = rate < 0 ? 3.0 : 4.1}, ""});
    const double taken_up = over(step, heat);
    CHECK_THAT(step.last().temperature, WithinAbs(ambient + taken_up / C, 2 * level.kelvin));
    if (rate < -1) CHECK(step.last().temperature > ambient + 5);
  }
}

TEST_CASE("energy balances: electrical work, heat given off and heat kept add up to a function of state",
          "[solver][heat][conservation]") {
  // First law for the lumped balance: i V - h (T - T_amb) - C dT/dt = i (U - T dU/dT). With U linear in T the right
  // side is i times the enthalpy per charge H = U(298.15 K) - 298.15 K dU/dT, which depends on the filling alone.
  const bool varying = GENERATE(false, true);
  const auto electrolyte = GENERATE(ElectrolyteModel::uniform, ElectrolyteModel::resolved);
  CAPTURE(varying, electrolyte == ElectrolyteModel::resolved);
  const double C = 1500, h = 8;
  const Cell cell = warm_cell(varying, {C, h, ambient});
  const double Q_p = cell.positive.capacity(), Q_n = cell.negative->capacity();
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace, {1e-7, 0.02}, electrolyte);
  solver::State state = simulator.at_rest(0);
  double work = 0, given_off = 0;
  for (const model::Step& step : {model::Step{CurrentDrive{-1.5 * one_c}, {.time = 900}, "discharge"},
                                  {CurrentDrive{0}, {.time = 100}, "rest"},
                                  {CurrentDrive{0.5 * one_c}, {.time = 800}, "charge"},
                                  {VoltageDrive{4.0}, {.time = 1000}, "hold"},
                                  {CurrentDrive{0}, {.time = 500}, "rest"}}) {
    CAPTURE(step.label);
    const auto solution = simulator.run(state, step);
    work += over(solution, [](const solver::Point& p) { return p.current * p.terminal.voltage; });
    given_off += over(solution, [&](const solver::Point& p) { return h * (p.temperature - ambient); });
    state = solution.final_state();
    const double enthalpy = tests::integral(
        [&](double q) {
          const double y = cell.inventory.positive - q / Q_p, x = cell.inventory.negative + q / Q_n;
          return tests::nmc811_potential(y) - tests::graphite_siox_potential(x) -
                 298.15 * (entropic_positive(y) - entropic_negative(x));
        },
        0, state.charge, 200);
    const double kept = C * (state.temperature - ambient);
    CAPTURE(work, given_off, kept, enthalpy);
    CHECK_THAT(work - given_off - kept, WithinAbs(enthalpy, 5.0));  // J/m2, of 1.5e5 that went through
    CHECK(given_off > 0);
  }
  CHECK(given_off + C * (state.temperature - ambient) > 1e4);  // what closes is not nothing
}

TEST_CASE("a warm start shows in a rest: the heat of a relaxing cell is only what leaves it", "[solver][heat]") {
  // No current, no heat in this balance (mixing terms are left out): a rest cools by exp(-h t / C) whatever the grains
  // do.
  const double C = 1500, h = 30;
  const Cell cell = warm_cell(true, {C, h, ambient});
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace, {}, ElectrolyteModel::resolved);
  const auto hot = simulator.run(simulator.at_rest(0), {CurrentDrive{-2 * one_c}, {.time = 300}, ""});
  const double rise = hot.last().temperature - ambient;
  REQUIRE(rise > 1);
  const auto rest = simulator.run(hot.final_state(), {CurrentDrive{0}, {.time = 300}, ""});
  CHECK(rest.first().temperature == hot.last().temperature);
  for (const double t : {10.0, 50.0, 300.0})
    CHECK_THAT(rest.at(t).temperature, WithinAbs(ambient + rise * std::exp(-h * t / C), usual.kelvin));
}

TEST_CASE("a step ends when the temperature has come to its limit from where it started", "[solver][heat]") {
  // T = T_amb + (P / h)(1 - exp(-h t / C)), so 3 K of 4 are reached after (C / h) ln 4, at 1 K h / C per second; by
  // hand.
  const Level level = GENERATE(usual, tight);
  const double C = 700, h = 2, i = -40, r = 5e-3;
  solver::Workspace workspace;
  solver::Simulator simulator(flat_cell(0.1027, r, 0, {C, h, ambient}), workspace, level.accuracy);
  const auto warming =
      simulator.run(simulator.at_rest(0), {CurrentDrive{i}, {.time = 1e4, .temperature = ambient + 3}, ""});
  CHECK(warming.ended_by() == Ended::temperature);
  CHECK_THAT(warming.duration(), WithinAbs(C / h * std::log(4.0), level.kelvin / (1 * h / C)));
  CHECK_THAT(warming.last().temperature, WithinAbs(ambient + 3, 1e-6));
  const auto cooling =
      simulator.run(warming.final_state(), {CurrentDrive{0}, {.time = 1e5, .temperature = ambient + 1}, ""});
  CHECK(cooling.ended_by() == Ended::temperature);
  CHECK_THAT(cooling.duration(), WithinAbs(C / h * std::log(3.0), level.kelvin / (1 * h / C)));
  CHECK_THAT(cooling.last().temperature, WithinAbs(ambient + 1, 1e-6));
  CHECK(solver::name_of(cooling.ended_by()) == "temperature");
}

TEST_CASE("a cell that is cooled hard behaves as one that keeps its temperature", "[solver][heat]") {
  const auto electrolyte = GENERATE(ElectrolyteModel::uniform, ElectrolyteModel::resolved);
  CAPTURE(electrolyte == ElectrolyteModel::resolved);
  const Cell cooled = warm_cell(true, {1500, 1e7, ambient});
  Cell isothermal = cooled;
  isothermal.thermal.reset();
  solver::Workspace workspace;
  solver::Simulator one(cooled, workspace, {}, electrolyte), other(isothermal, workspace, {}, electrolyte);
  for (const model::Step& step :
       {model::Step{CurrentDrive{-one_c}, {.time = 1000}, "discharge"}, {VoltageDrive{3.9}, {.time = 1000}, "hold"}}) {
    CAPTURE(step.label);
    const auto a = one.run(one.at_rest(0), step), b = other.run(other.at_rest(0), step);
    for (const double t : {0.0, 1.0, 100.0, 1000.0}) {
      CHECK_THAT(a.at(t).temperature, WithinAbs(ambient, 1e-3));
      CHECK_THAT(a.at(t).terminal.voltage, WithinAbs(b.at(t).terminal.voltage, 2e-5));
      CHECK_THAT(a.at(t).current, WithinRel(b.at(t).current, 1e-3));
    }
  }
}

TEST_CASE("warmth helps: a cell that keeps its heat delivers more at high rate", "[solver][heat]") {
  // Arrhenius' law raises every rate constant here, so the sign is certain.
  const Cell warm = warm_cell(false, {1500, 0, ambient});
  Cell cold = warm;
  cold.thermal.reset();
  solver::Workspace workspace;
  solver::Simulator one(warm, workspace), other(cold, workspace);
  const auto keeps = solver::constant_current(one, one.at_rest(0), -2 * one_c),
             loses = solver::constant_current(other, other.at_rest(0), -2 * one_c);
  CHECK(keeps.capacity > loses.capacity);
  CHECK(keeps.mean_voltage > loses.mean_voltage);
  CHECK(keeps.step.last().temperature > ambient + 10);
}
