#include "solver/charge/ceiling.hpp"

#include <algorithm>
#include <cmath>

#include "model/stress.hpp"
#include "solver/charge/staircase.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"
#include "tests/reference_table.hpp"

using namespace onegrain;
using namespace onegrain::solver;

namespace {

struct Subject {
  model::Cell cell;
  model::Window window;
  Workspace workspace;
  explicit Subject(model::Cell c) : cell(std::move(c)), window(model::equilibrium_window(cell)) {}
  ChargeStudy study(ChargeWindow soc, ChargeLimits limits, Description description = Description::uneven) {
    return ChargeStudy(cell, window, soc, limits, workspace, description);
  }
};

constexpr ChargeLimits plating_alone{.plating_margin = 0, .keep_voltage = false};

}  // namespace

TEST_CASE("the plating onset is that of a full porous-electrode calculation") {
  // tests/reference/porous_plating_onset.csv: finite volumes, IDA, extrapolated in the grid; made by
  // benchmarks/porous_electrode_table.cpp from the textbook equations (Doyle, Fuller, Newman 1993). Parameters of the
  // two published cells from memory. Never above by more than 2 %, never below by more than 15 %: what a recommendation
  // may cost.
  const tests::ReferenceTable table("porous_plating_onset.csv");
  for (const auto& row : table.rows) {
    Subject s(row[0] == 1 ? tests::nmc811_graphite_siox() : tests::lco_graphite());
    const double full = row[4];
    INFO(row[0] << ", to " << row[2] << ": " << full << " A/m2");
    const Ceiling uneven = s.study({row[1], row[2]}, plating_alone).ceiling(full);
    CHECK(uneven.charge.tightest == Limit::plating);
    CHECK(uneven.current < 1.01 * full);
    CHECK(uneven.current > 0.99 * full);
    // What the coarser descriptions are worth: the even one up to 17 % either way, the plain one up to twice too high.
    const Ceiling even = s.study({row[1], row[2]}, plating_alone, Description::even).ceiling(full);
    CHECK(even.current > 0.85 * full);
    CHECK(even.current < 1.2 * full);
    const Ceiling plain = s.study({row[1], row[2]}, plating_alone, Description::plain).ceiling(full);
    CHECK(plain.current > 1.2 * full);
  }
}

TEST_CASE("at the ceiling every limit is kept, and just above it one is not") {
  Subject s(tests::nmc811_graphite_siox());
  for (const ChargeWindow soc : {ChargeWindow{0, 0.8}, ChargeWindow{0.2, 0.5}, ChargeWindow{0, 0.95}}) {
    ChargeStudy study = s.study(soc, {});
    const Ceiling c = study.ceiling(20, 1e-3);
    REQUIRE(c.current > 0);
    CHECK(study.judge(c.current).slack >= 0);
    const JudgedCharge above = study.judge(1.003 * c.current);
    CHECK(above.slack < 0);
    CHECK(above.tightest == c.charge.tightest);
    CHECK(study.ceiling(200, 1e-3).current == Approx(c.current).epsilon(2e-3));  // whatever the guess
    CHECK(study.ceiling(0.5, 1e-3).current == Approx(c.current).epsilon(2e-3));
    for (const double off : {0.5, 0.97, 1.0, 1.02, 3.0})  // a guess that is near, and one that only claims to be
      CHECK(study.ceiling({off * c.current, true}, 1e-3).current == Approx(c.current).epsilon(2e-3));
  }
}

TEST_CASE("where no rate keeps a limit the ceiling is none, and where none is met it is unlimited") {
  Subject s(tests::nmc811_graphite_siox());
  s.cell.thermal = model::Thermal{50, 1, s.cell.temperature};  // J/(m2 K), W/(m2 K)
  const Ceiling none = s.study({0, 0.5}, {.highest_temperature = s.cell.temperature}).ceiling(20);
  CHECK(none.current == 0);
  CHECK_FALSE(none.unlimited);
  CHECK(none.charge.tightest == Limit::temperature);
  // A window so narrow that the voltage alone bounds it, and the voltage is not asked.
  ChargeLimits few{.plating_margin = -10, .highest_temperature = 1000, .lowest_salt_share = -1, .keep_voltage = false};
  const Ceiling all = s.study({0.4, 0.4 + 1e-5}, few, Description::plain).ceiling(20);
  CHECK(all.unlimited);
  CHECK(all.current > 0);
}

TEST_CASE("a wider window, a larger margin and a colder cell allow less") {
  Subject s(tests::nmc811_graphite_siox());
  const auto allowed = [&](ChargeWindow soc, double margin) {
    ChargeLimits limits = plating_alone;
    limits.plating_margin = margin;
    return s.study(soc, limits).ceiling(30).current;
  };
  CHECK(allowed({0, 0.7}, 0) > allowed({0, 0.8}, 0));
  CHECK(allowed({0, 0.8}, 0) > allowed({0, 0.8}, 0.01));
  CHECK(allowed({0, 0.8}, 0.01) > allowed({0, 0.8}, 0.03));
}

TEST_CASE("a charge to full has no ceiling: the voltage at rest is the limit itself") {
  Subject s(tests::nmc811_graphite_siox());
  const Ceiling c = s.study({0, 1}, {}).ceiling(10);
  CHECK(c.current == 0);
  CHECK(c.charge.tightest == Limit::voltage);
}

TEST_CASE("without limits in reach a ceiling says so") {
  model::Cell cell = tests::nmc811_graphite_siox();
  Subject s(cell);
  ChargeLimits limits = plating_alone;
  limits.plating_margin = -10;  // volts below lithium
  limits.lowest_salt_share = -1e9;
  const Ceiling c = s.study({0.4, 0.401}, limits, Description::plain).ceiling(10);
  CHECK(c.unlimited);
}

TEST_CASE("where cracking limits, the ceiling is that of the parabola in closed form") {
  // After a time of R^2/D the profile is a parabola: x_mean - x_surface = outflow R / (5 D) (Crank, ch. 6), so that the
  // tension at the surface of the positive reaches the strength at i = 5 D strength / (scale R outflow per current).
  model::Cell cell = tests::nmc811_graphite_siox();
  model::Electrode& p = cell.positive;
  p.host.diffusivity = model::Property::constant(4e-15);
  p.host.stress = model::Stress{3e-6, 140e9, 0.3, 10e6};
  Subject s(cell);
  const double scale = 3e-6 * 140e9 * p.host.maximum_concentration / (3 * (1 - 0.3));
  const double outflow = 1 / (p.roughness() * model::faraday_constant * p.host.maximum_concentration);
  const double expected = 5 * 4e-15 * 10e6 / (scale * p.particle_radius * outflow);
  ChargeLimits limits = plating_alone;
  limits.plating_margin = -1;
  const Ceiling c = s.study({0, 0.8}, limits, Description::even).ceiling(expected);
  CHECK(c.charge.tightest == Limit::positive_stress);
  CHECK(c.current == Approx(expected).epsilon(2e-3));
}

TEST_CASE("where heat limits, the ceiling is that of a resistor in closed form") {
  // A contact resistance that dwarfs everything: the steady rise is i^2 R / h; reached once the cell has had time.
  model::Cell cell = tests::nmc811_graphite_siox();
  cell.contact_resistance = 0.5;                 // ohm m2
  cell.thermal = model::Thermal{10, 5, 298.15};  // a time constant of 2 s
  Subject s(cell);
  ChargeLimits limits = plating_alone;
  limits.plating_margin = -1;
  limits.highest_temperature = 303.15;
  const Ceiling c = s.study({0, 0.5}, limits, Description::even).ceiling(5);
  CHECK(c.charge.tightest == Limit::temperature);
  CHECK(c.current == Approx(std::sqrt(5 * 5 / 0.5)).epsilon(0.02));
}

TEST_CASE("the reaction resolved across a layer that conducts well is the single-particle answer") {
  model::Cell cell = tests::nmc811_graphite_siox();
  cell.electrolyte.conductivity = model::Property::constant(1e4);
  cell.electrolyte.diffusivity = model::Property::constant(1e-6);
  cell.negative->electronic_conductivity = 1e6;
  Subject s(cell);
  const JudgedCharge uneven = s.study({0, 0.8}, plating_alone).judge(40);
  const JudgedCharge even = s.study({0, 0.8}, plating_alone, Description::even).judge(40);
  CHECK(std::abs(uneven.margin(Limit::plating)->worst - even.margin(Limit::plating)->worst) < 3e-4);
}

TEST_CASE("lithium and salt are conserved where the reaction is resolved across the layer") {
  Subject s(tests::nmc811_graphite_siox());
  ChargeStudy study = s.study({0, 0.8}, plating_alone);
  const JudgedCharge charge = study.judge(40);
  const Eigen::VectorXd& means = charge.end.negative_depth.means;
  const model::LayerPoints points(static_cast<int>(means.size()));
  const double mean = points.weights().matrix().dot(means);
  const double expected = s.window.empty.negative + 0.8 * study.whole() / s.cell.negative->capacity();
  CHECK(std::abs(mean - expected) < 1e-10);
  const model::Salt salt = model::Salt::of_count(s.cell, static_cast<int>(charge.end.salt.size()));
  const Eigen::VectorXd even = Eigen::VectorXd::Zero(salt.count());
  CHECK(salt.content(charge.end.salt) == Approx(salt.content(even)).epsilon(1e-10));
}

TEST_CASE("a staircase rides the limits, keeps them, and is quicker than the constant ceiling") {
  Subject s(tests::nmc811_graphite_siox());
  const ChargeLimits limits{};
  ChargeStudy study = s.study({0, 0.8}, limits), even = s.study({0, 0.8}, limits, Description::even);
  const Ceiling ceiling = study.ceiling(30);
  const double highest = 0.75 * limiting_current(s.cell, true, 298.15);
  const Ride ride = ride_limits(even, highest);
  REQUIRE(ride.soc.size() > 10);
  CHECK(ride.soc.front() == 0);
  CHECK(ride.soc.back() == Approx(0.8).epsilon(1e-6));
  const Staircase stairs = cut(study, ride, 6, highest);
  REQUIRE(stairs.complete);
  REQUIRE(stairs.steps.size() == 6);
  CHECK(stairs.duration() < ceiling.charge.duration);
  CHECK(stairs.duration() > 0.9 * ride.duration);  // the even line is an estimate of the uneven one, within a tenth
  State state = study.start();
  for (const StaircaseStep& step : stairs.steps) {  // run again: every step keeps every limit
    const JudgedCharge charge = study.judge(step.current, step.from, step.to, state);
    CHECK(charge.completed);
    CHECK(charge.slack >= 0);
    state = charge.end;
  }
  const Staircase slower = scaled(study, stairs, 0.8);
  CHECK(slower.duration() == Approx(stairs.duration() / 0.8).epsilon(1e-9));
  const double held = constant_current_constant_voltage(study, ceiling.current);
  CHECK(held >= ceiling.charge.duration * (1 - 1e-9));
}

TEST_CASE("the limit is held inside the integrator along a ride") {
  // Along the part where plating limits, the potential at the separator side is the margin itself.
  Subject s(tests::nmc811_graphite_siox());
  ChargeStudy even = s.study({0, 0.8}, {}, Description::even);
  model::Step step{model::CurrentDrive{60}, {}, "charge"};
  step.until.separator_side = 0.010;
  const StepSolution first = even.simulator().run(even.start(), step);
  REQUIRE(first.ended_by() == Ended::separator_side);
  model::Step hold{model::SeparatorSideDrive{0.010}, {}, "hold"};
  hold.until.capacity = 0.2 * even.whole();
  const StepSolution second = even.simulator().run(first.final_state(), hold);
  for (const double share : {0.0, 0.1, 0.5, 1.0}) {
    const Point p = second.at(share * second.duration());
    CHECK(std::abs(p.terminal.separator_side - 0.010) < 1e-7);
    CHECK(p.current <= 60 * (1 + 1e-6));
  }
}

TEST_CASE("a held temperature stays, and the current is that which the losses then shed") {
  // First law: i (V - U) + i T dU/dT = h (T - T_ambient); for a resistor that dwarfs everything i = sqrt(h dT / R).
  model::Cell cell = tests::nmc811_graphite_siox();
  cell.contact_resistance = 0.05;                 // ohm m2
  cell.thermal = model::Thermal{400, 5, 298.15};  // a time constant of 80 s
  cell.upper_voltage = 9;
  Workspace workspace;
  for (const bool resolved : {false, true}) {
    Simulator simulator(cell, workspace, {},
                        resolved ? model::ElectrolyteModel::resolved : model::ElectrolyteModel::uniform);
    model::Step warm{model::CurrentDrive{40}, {}, "warm up"};
    warm.until.temperature = 308.15;
    const StepSolution first =
        simulator.run(simulator.at_rest(model::equilibrium_window(tests::nmc811_graphite_siox()).empty), warm);
    REQUIRE(first.ended_by() == Ended::temperature);
    model::Step hold{model::TemperatureDrive{true}, {}, "hold"};
    hold.until.time = 1500;
    const StepSolution second = simulator.run(first.final_state(), hold);
    REQUIRE(second.ended_by() == Ended::time);
    for (const double t : {0.0, 1.0, 100.0, 700.0, 1500.0}) {
      const Point p = second.at(t);
      INFO(t);
      CHECK(std::abs(p.temperature - 308.15) < 2e-3);
      const double U = cell.positive.host.potential(p.positive_mean, p.temperature) -
                       cell.negative->host.potential(p.negative_mean, p.temperature);
      CHECK(p.current * (p.terminal.voltage - U) ==
            Approx(5 * (p.temperature - 298.15)).epsilon(1e-5));  // these cards have no dU/dT
      CHECK(p.current > 0);
      CHECK(p.current < std::sqrt(5 * 10 / 0.05));
    }
  }
  Simulator isothermal(tests::nmc811_graphite_siox(), workspace);
  CHECK_THROWS_AS(isothermal.run(isothermal.at_rest(0), {model::TemperatureDrive{true}, {.time = 1.0}, ""}),
                  IntegrationFailure);
}

TEST_CASE("a ride stays below what would crack a grain and below its temperature") {
  model::Cell cell = tests::nmc811_graphite_siox();
  cell.contact_resistance = 0.02;
  cell.thermal = model::Thermal{400, 5, 298.15};
  Subject s(cell);
  ChargeLimits limits{};
  limits.highest_temperature = 301.15;
  ChargeStudy even = s.study({0, 0.6}, limits, Description::even);
  const Ride ride = ride_limits(even, 60);
  REQUIRE(ride.soc.size() > 40);
  CHECK(ride.soc.back() == Approx(0.6).epsilon(1e-6));
  const Ceiling constant = even.ceiling(20);
  CHECK(ride.duration <= constant.charge.duration * 1.001);

  cell.positive.host.stress = model::Stress{3e-6, 140e9, 0.3, 10e6};
  Subject brittle(cell);
  const double scale = 3e-6 * 140e9 * cell.positive.host.maximum_concentration / (3 * (1 - 0.3));
  const double outflow =
      1 / (cell.positive.roughness() * model::faraday_constant * cell.positive.host.maximum_concentration);
  ChargeStudy study = brittle.study({0, 0.6}, limits, Description::even);
  const Ride slow = ride_limits(study, 60);
  CHECK(*std::max_element(slow.current.begin(), slow.current.end()) <=
        1.001 * 5 * 4e-15 * 10e6 / (scale * cell.positive.particle_radius * outflow));
}
