// What two electrodes can do together: windows between cut-offs, formation, capacity ratio.

#include "model/balance.hpp"

#include <cmath>

#include "tests/catch.hpp"
#include "tests/published_cells.hpp"

using namespace onegrain::model;
using onegrain::tests::published_cell;

namespace {
/// A cell whose every equilibrium follows by hand: U_p = 4.4 V - y, U_n = 0.3 V - 0.2 x, known from 0 to 1, so that no
/// logarithm comes in; the negative holds twice as much as the positive.
Cell textbook_cell(Stoichiometries inventory) {
  Cell cell = published_cell();
  const auto line = [](double at_empty, double slope) {
    return OpenCircuitPotential(Property(Curve::pieces({0, 1}, {{at_empty, slope}}, Curve::Beyond::tangent)));
  };
  cell.positive.host.potential = line(4.4, -1);
  cell.negative->host.potential = line(0.3, -0.2);
  cell.positive.active_fraction = cell.negative->active_fraction = 0.5;
  cell.positive.thickness = cell.negative->thickness = 50e-6;
  cell.positive.host.maximum_concentration = 20000;
  cell.negative->host.maximum_concentration = 40000;
  cell.lower_voltage = 3.6;
  cell.upper_voltage = 4.0;
  cell.inventory = inventory;
  return cell;
}
}  // namespace

TEST_CASE("the published cell moves 5.153 Ah between 4.2 and 2.5 V at rest", "[model][balance]") {
  // C.-H. Chen et al., J. Electrochem. Soc. 167, 080534 (2020), parameters from memory; window computed apart from this
  // code from the printed initial concentrations (7.6107 Ah of lithium), printed with six decimals of x and four of Ah.
  const Cell cell = published_cell();
  const Window window = equilibrium_window(cell);
  CHECK_THAT(window.full.negative, WithinAbs(0.910618, 1e-6));
  CHECK_THAT(window.full.positive, WithinAbs(0.263845, 1e-6));
  CHECK_THAT(window.empty.negative, WithinAbs(0.026346, 1e-6));
  CHECK_THAT(window.empty.positive, WithinAbs(0.853975, 1e-6));
  const double ampere_hours = 3600 / cell.plate_area;
  CHECK_THAT(window.capacity / ampere_hours, WithinAbs(5.1532, 1e-4));
  CHECK_THAT(cell.positive.capacity() / ampere_hours, WithinAbs(8.7323, 1e-4));
  CHECK_THAT(cell.negative->capacity() / ampere_hours, WithinAbs(5.8276, 1e-4));
}

TEST_CASE("at both ends of the window the cell rests at its cut-offs", "[model][balance]") {
  Cell cell = published_cell();
  cell.temperature = GENERATE(273.15, 298.15, 318.15);
  const Window window = equilibrium_window(cell);
  // the curve of the positive is 2 V per unit at its steepest: 1e-12 V is round-off of x
  CHECK_THAT(equilibrium_voltage(cell, window.full, cell.temperature), WithinAbs(4.2, 1e-11));
  CHECK_THAT(equilibrium_voltage(cell, window.empty, cell.temperature), WithinAbs(2.5, 1e-11));
}

TEST_CASE("lithium is conserved along the window", "[model][balance]") {
  const Cell cell = published_cell();
  const Window window = equilibrium_window(cell);
  const auto lithium = [&](Stoichiometries x) {
    return x.positive * cell.positive.capacity() + x.negative * cell.negative->capacity();
  };
  for (const double soc : {0.0, 0.25, 0.5, 0.8, 1.0}) {
    CHECK_THAT(lithium(at_state_of_charge(window, soc)), WithinRel(lithium(cell.inventory), 1e-13));
  }
  const Stoichiometries half = at_state_of_charge(window, 0.5);
  CHECK_THAT((half.negative - window.empty.negative) * cell.negative->capacity(),
             WithinRel(window.capacity / 2, 1e-12));
}

TEST_CASE("it does not matter in which state of charge the inventory is stated", "[model][balance]") {
  Cell cell = published_cell();
  const Window once = equilibrium_window(cell);
  cell.inventory = at_state_of_charge(once, 0.3);
  const Window again = equilibrium_window(cell);
  CHECK_THAT(again.full.positive, WithinAbs(once.full.positive, 1e-13));
  CHECK_THAT(again.empty.negative, WithinAbs(once.empty.negative, 1e-13));
  CHECK_THAT(again.capacity, WithinRel(once.capacity, 1e-12));
}

TEST_CASE("straight potentials give a window that follows by hand", "[model][balance]") {
  // V = 4.4 - y - 0.3 + 0.2 x with y = 0.6 - q, x = 0.2 + q / 2 (q per positive capacity): V = 3.54 + 1.1 q
  const Cell cell = textbook_cell({0.6, 0.2});
  const Window window = equilibrium_window(cell);
  const double q_full = 0.46 / 1.1, q_empty = 0.06 / 1.1;
  CHECK_THAT(window.full.positive, WithinAbs(0.6 - q_full, 1e-13));
  CHECK_THAT(window.full.negative, WithinAbs(0.2 + q_full / 2, 1e-13));
  CHECK_THAT(window.empty.positive, WithinAbs(0.6 - q_empty, 1e-13));
  CHECK_THAT(window.capacity, WithinRel((q_full - q_empty) * cell.positive.capacity(), 1e-12));
  // N/P by its definition: what the negative holds over what the positive has given up when full
  CHECK_THAT(capacity_ratio(cell, window), WithinRel(2 / (1 - (0.6 - q_full)), 1e-12));
}

TEST_CASE("a half cell is full and empty where its potential meets the cut-offs", "[model][balance]") {
  Cell cell = textbook_cell({0.5, 0});
  cell.negative.reset();
  cell.counter = LithiumMetal{Property::constant(8)};
  const Window window = equilibrium_window(cell);  // 4.4 - y = 4.0 and 3.6
  CHECK_THAT(window.full.positive, WithinAbs(0.4, 1e-13));
  CHECK_THAT(window.empty.positive, WithinAbs(0.8, 1e-13));
  CHECK(window.full.negative == 0);
  CHECK_THAT(window.capacity, WithinRel(0.4 * cell.positive.capacity(), 1e-12));
  CHECK(!window.before_upper);
  CHECK(!window.before_lower);
}

TEST_CASE("a half cell whose host ends before a cut-off is met rests at the end of the host", "[model][balance]") {
  Cell cell = textbook_cell({0.5, 0});
  cell.negative.reset();
  cell.counter = LithiumMetal{Property::constant(8)};
  cell.upper_voltage = 5;  // y = 1e-6: 4.4 - 1e-6 V
  Window window = equilibrium_window(cell);
  CHECK_THAT(window.full.positive, WithinAbs(1e-6, 1e-15));
  CHECK_THAT(window.capacity, WithinRel((0.8 - 1e-6) * cell.positive.capacity(), 1e-12));
  REQUIRE(window.before_upper);
  CHECK(window.before_upper->of_positive);
  CHECK(!window.before_upper->host_full);
  CHECK_THAT(window.before_upper->voltage, WithinAbs(4.4 - 1e-6, 1e-12));
  CHECK(!window.before_lower);
  cell.lower_voltage = 3.2;  // y = 1 - 1e-6: 3.4 + 1e-6 V
  window = equilibrium_window(cell);
  CHECK_THAT(window.empty.positive, WithinAbs(1 - 1e-6, 1e-15));
  CHECK_THAT(window.capacity, WithinRel((1 - 2e-6) * cell.positive.capacity(), 1e-12));
  REQUIRE(window.before_lower);
  CHECK(window.before_lower->host_full);
  CHECK_THAT(window.before_lower->voltage, WithinAbs(3.4 + 1e-6, 1e-12));
}

TEST_CASE("the range of rest voltages is that of full and empty hosts, whatever the cut-offs", "[model][balance]") {
  const Cell cell = textbook_cell({0.5, 0.25});  // V = 4.4 - y - 0.3 + 0.2 x: y = 0 where x = 0.5, x = 0 where y = 1
  CHECK_THAT(rest_range(cell).highest, WithinAbs(4.2, 3e-6));
  CHECK_THAT(rest_range(cell).lowest, WithinAbs(3.1, 3e-6));
  CHECK_THROWS_WITH(rest_range(textbook_cell({1, 1})), "the stated stoichiometries leave no lithium to move");
}

TEST_CASE("in a full cell the electrode that runs out first is where rest is then", "[model][balance]") {
  struct Row {
    Stoichiometries inventory;
    double lower, upper;
    bool at_upper, of_positive, host_full;
    double voltage;
  };
  // V = 4.4 - y - 0.3 + 0.2 x; the negative holds twice what the positive holds
  const Row row = GENERATE(Row{{0.5, 0.25}, 3.6, 4.5, true, true, false, 4.2},    // y = 0 where x = 0.5
                           Row{{0.9, 0.8}, 3.4, 4.5, true, false, true, 3.8},     // x = 1 where y = 0.5
                           Row{{0.9, 0.8}, 2.0, 3.7, false, true, true, 3.25},    // y = 1 where x = 0.75
                           Row{{0.5, 0.1}, 2.0, 4.0, false, false, false, 3.4});  // x = 0 where y = 0.7
  Cell cell = textbook_cell(row.inventory);
  cell.lower_voltage = row.lower;
  cell.upper_voltage = row.upper;
  const Window window = equilibrium_window(cell);
  const auto& end = row.at_upper ? window.before_upper : window.before_lower;
  REQUIRE(end);
  CHECK(!(row.at_upper ? window.before_lower : window.before_upper));
  CHECK(end->of_positive == row.of_positive);
  CHECK(end->host_full == row.host_full);
  CHECK_THAT(end->voltage, WithinAbs(row.voltage, 3e-6));  // the host is 1e-6 of its capacity short of its end
  const Stoichiometries x = row.at_upper ? window.full : window.empty;
  CHECK_THAT(row.of_positive ? x.positive : x.negative, WithinAbs(row.host_full ? 1 - 1e-6 : 1e-6, 1e-13));
  // the other host by conservation of lithium
  CHECK_THAT(x.positive + 2 * x.negative, WithinRel(row.inventory.positive + 2 * row.inventory.negative, 1e-12));
}

TEST_CASE("capacity moves continuously while a cut-off moves past what the hosts reach", "[model][balance]") {
  // hosts whose potentials are known in part only, so that logarithms of steep slope make the ends
  const bool upper = GENERATE(true, false), half = GENERATE(true, false);
  Cell cell = published_cell();
  const auto part = [](double (*f)(double), double from, double to) {
    return OpenCircuitPotential(Property(Curve::approximation(f, from, to, 1e-10, Curve::Beyond::tangent)));
  };
  cell.positive.host.potential = part(onegrain::tests::nmc811_potential, 0.26, 0.91);
  cell.negative->host.potential = part(onegrain::tests::graphite_siox_potential, 0.05, 0.9);
  if (half) {
    cell.negative.reset();
    cell.counter = LithiumMetal{Property::constant(8)};
  }
  double& cut_off = upper ? cell.upper_voltage : cell.lower_voltage;
  cut_off = upper ? 9 : -3;
  const Window beyond = equilibrium_window(cell);
  REQUIRE((upper ? beyond.before_upper : beyond.before_lower));
  const double last = (upper ? beyond.before_upper : beyond.before_lower)->voltage;
  double before = 0;
  for (int k = -20; k <= 20; ++k) {
    cut_off = last + (upper ? 1e-3 : -1e-3) * k;
    const Window window = equilibrium_window(cell);
    CHECK((upper ? window.before_upper : window.before_lower).has_value() == (k > 0));
    CHECK_THAT(window.capacity, WithinAbs(beyond.capacity, (k < 0 ? 1e-5 : 1e-12) * beyond.capacity));
    CHECK(window.capacity >= before * (1 - 1e-13));  // a wider window never holds less
    before = window.capacity;
  }
  for (const double nearer : {1e-6, 1e-9}) {  // from 1e-6 of a volt before it on, 1e-6 of capacity at most
    cut_off = last + (upper ? -nearer : nearer);
    CHECK_THAT(equilibrium_window(cell).capacity, WithinRel(beyond.capacity, 1e-6));
  }
}

TEST_CASE("a cell seen upside down, 1 - x for x and 4 V - U for U, has the same window upside down",
          "[model][balance]") {
  const double lower = GENERATE(2.0, 3.5, 3.6), upper = GENERATE(3.9, 4.3, 4.6);
  Cell cell = textbook_cell({0.5, 0});
  cell.negative.reset();
  cell.counter = LithiumMetal{Property::constant(8)};
  cell.lower_voltage = lower;
  cell.upper_voltage = upper;
  Cell mirrored = cell;
  mirrored.positive.host.potential =  // 4 - (4.4 - (1 - x))
      OpenCircuitPotential(Property(Curve::pieces({0, 1}, {{0.6, -1}}, Curve::Beyond::tangent)));
  mirrored.lower_voltage = 4 - upper;
  mirrored.upper_voltage = 4 - lower;
  const Window one = equilibrium_window(cell), other = equilibrium_window(mirrored);
  CHECK_THAT(other.capacity, WithinRel(one.capacity, 1e-12));
  CHECK_THAT(other.full.positive, WithinAbs(1 - one.empty.positive, 1e-12));
  CHECK_THAT(other.empty.positive, WithinAbs(1 - one.full.positive, 1e-12));
  REQUIRE(other.before_upper.has_value() == one.before_lower.has_value());
  REQUIRE(other.before_lower.has_value() == one.before_upper.has_value());
  if (one.before_lower) CHECK(other.before_upper->host_full != one.before_lower->host_full);
}

TEST_CASE("cut-offs between which the hosts hold nothing are refused, with what they are at", "[model][balance]") {
  Cell cell = textbook_cell({0.5, 0.25});  // 3.45 - 2e-6 .. V at y = 1 - 1e-6 (x = 1e-6 before: 3.1) up to 4.2 V
  cell.lower_voltage = 4.5;
  cell.upper_voltage = 5;
  CHECK_THROWS_WITH(equilibrium_window(cell),
                    "the lower cut-off 4.500 V cannot be reached: the positive is empty already at 4.200 V");
  cell.lower_voltage = 0.01;
  cell.upper_voltage = 1.5;  // y = 1 at q = -0.5, where x = 0: 3.1 V
  CHECK_THROWS_WITH(equilibrium_window(cell),
                    HasText("the upper cut-off 1.500 V lies below every voltage at rest: the "));
  CHECK_THROWS_WITH(equilibrium_window(cell), HasText("still at 3.100 V"));
  cell.lower_voltage = 3.700;  // 1.1 V per positive capacity: 1 % of it is 11 mV
  cell.upper_voltage = 3.710;
  CHECK_THROWS_WITH(equilibrium_window(cell),
                    "between the cut-offs 3.700 V and 3.710 V lies less than 1 % of the capacity of the positive");
  cell.upper_voltage = 3.712;
  CHECK_THAT(equilibrium_window(cell).capacity, WithinRel(0.012 / 1.1 * cell.positive.capacity(), 1e-11));
}

TEST_CASE("an inventory that leaves nothing to move, and crossed cut-offs, are named", "[model][balance]") {
  CHECK_THROWS_WITH(equilibrium_window(textbook_cell({1, 1})), "the stated stoichiometries leave no lithium to move");
  Cell cell = textbook_cell({0.6, 0.2});
  std::swap(cell.lower_voltage, cell.upper_voltage);
  CHECK_THROWS_WITH(equilibrium_window(cell), "no charge lies between the two cut-offs");
}

TEST_CASE("after formation, lithium is where it was or bound for good in the film", "[model][balance]") {
  const Cell cell = published_cell();
  const double loss = GENERATE(0.15, 0.2, 0.35);  // with less, these grains of graphite are full before 4.2 V
  const double as_made = GENERATE(1.0, 0.97);
  CAPTURE(loss, as_made);
  const Stoichiometries x = after_formation(cell, loss, as_made);
  CHECK_THAT(equilibrium_voltage(cell, x, cell.temperature), WithinAbs(cell.upper_voltage, 1e-10));
  const double given = (as_made - x.positive) * cell.positive.capacity();
  CHECK_THAT(x.negative * cell.negative->capacity(), WithinRel((1 - loss) * given, 1e-12));
}

TEST_CASE("formation of a cell with straight potentials follows by hand", "[model][balance]") {
  // V = 4.4 - (1 - q) - 0.3 + 0.2 (1 - loss) q / 2 = 4.0 at q = 0.9 / (1 + 0.1 (1 - loss))
  const double loss = GENERATE(0.0, 0.1, 0.5);
  const Stoichiometries x = after_formation(textbook_cell({0, 0}), loss);
  const double q = 0.9 / (1 + 0.1 * (1 - loss));
  CHECK_THAT(x.positive, WithinAbs(1 - q, 1e-13));
  CHECK_THAT(x.negative, WithinAbs((1 - loss) * q / 2, 1e-13));
}

TEST_CASE("a first charge ends with the host that runs out where the cut-off lies beyond", "[model][balance]") {
  Cell cell = textbook_cell({0, 0});
  cell.upper_voltage = 4.5;  // y = 0 at q = 1, where x = 0.5 without loss: 4.4 - 0.2 = 4.2 V
  const double loss = GENERATE(0.0, 0.2);
  Stoichiometries x = after_formation(cell, loss);
  CHECK_THAT(x.positive, WithinAbs(1e-6, 1e-14));
  CHECK_THAT(x.negative, WithinAbs((1 - loss) * (1 - 1e-6) / 2, 1e-14));
  cell.inventory = x;
  REQUIRE(equilibrium_window(cell).before_upper);
  CHECK(equilibrium_window(cell).before_upper->of_positive);
  // a negative that holds half of what the positive holds: x = 1 at (1 - loss) q = 0.5
  cell.negative->host.maximum_concentration = 10000;
  x = after_formation(cell, loss);
  CHECK_THAT(x.negative, WithinAbs(1 - 1e-6, 1e-14));
  CHECK_THAT(x.positive, WithinAbs(1 - 0.5 * (1 - 1e-6) / (1 - loss), 1e-14));
  cell.inventory = x;
  REQUIRE(equilibrium_window(cell).before_upper);
  CHECK(!equilibrium_window(cell).before_upper->of_positive);
  CHECK(equilibrium_window(cell).before_upper->host_full);
}

TEST_CASE("a first charge that cannot begin is named", "[model][balance]") {
  Cell cell = textbook_cell({0, 0});
  cell.upper_voltage = 3.0;  // as assembled: 4.4 - 1 - 0.3 = 3.1 V
  CHECK_THROWS_WITH(after_formation(cell, 0.1),
                    "the upper cut-off 3.000 V lies below the voltage of the cell as assembled");
  cell.negative.reset();
  CHECK_THROWS_WITH(after_formation(cell, 0.1), "formation loss belongs to a full cell");
}

TEST_CASE("1C passes the rated capacity in an hour, or that of the window where none is given", "[model][balance]") {
  Cell cell = published_cell();
  const Window window = equilibrium_window(cell);
  CHECK_THAT(one_hour_charge(cell, window) / 3600, WithinAbs(48.685, 5e-4));  // 5 A over 0.1027 m2
  cell.rated_capacity = 0;
  CHECK(one_hour_charge(cell, window) == window.capacity);
}
