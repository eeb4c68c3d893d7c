// What two electrodes can do together: windows between cut-offs, formation, capacity ratio.

#include "model/balance.hpp"

#include <cmath>

#include "tests/catch.hpp"
#include "tests/published_cell.hpp"

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
  cell.upper_voltage = 5;
  CHECK_THROWS_WITH(equilibrium_window(cell),
                    "the upper cut-off 5.000 V cannot be reached: the working electrode is empty already at 4.400 V");
  cell.upper_voltage = 4;
  cell.lower_voltage = 3.2;
  CHECK_THROWS_WITH(equilibrium_window(cell),
                    "the lower cut-off 3.200 V cannot be reached: the working electrode is full already at 3.400 V");
}

TEST_CASE("a cut-off that the hosts cannot reach is named with the electrode that ends first", "[model][balance]") {
  Cell cell = textbook_cell({0.5, 0.25});
  cell.upper_voltage = 4.5;  // y = 0 at q = 0.5, where x = 0.5: 4.4 - 0.2 = 4.2 V
  CHECK_THROWS_AS(equilibrium_window(cell), ImpossibleBalance);
  CHECK_THROWS_WITH(equilibrium_window(cell),
                    "the upper cut-off 4.500 V cannot be reached: the positive is empty already at 4.200 V");
  cell = textbook_cell({0.9, 0.8});
  cell.upper_voltage = 4.5;  // x = 1 at q = 0.4, where y = 0.5: 3.9 - 0.1 = 3.8 V
  CHECK_THROWS_WITH(equilibrium_window(cell),
                    "the upper cut-off 4.500 V cannot be reached: the negative is full already at 3.800 V");
  cell = textbook_cell({0.9, 0.8});
  cell.upper_voltage = 3.7;
  cell.lower_voltage = 2.0;  // y = 1 at q = -0.1, where x = 0.75: 3.4 - 0.15 = 3.25 V
  CHECK_THROWS_WITH(equilibrium_window(cell),
                    "the lower cut-off 2.000 V cannot be reached: the positive is full already at 3.250 V");
  cell = textbook_cell({0.5, 0.1});
  cell.lower_voltage = 2.0;  // x = 0 at q = -0.2, where y = 0.7: 3.7 - 0.3 = 3.4 V
  CHECK_THROWS_WITH(equilibrium_window(cell),
                    "the lower cut-off 2.000 V cannot be reached: the negative is empty already at 3.400 V");
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

TEST_CASE("a first charge that cannot end at the cut-off is named", "[model][balance]") {
  Cell cell = textbook_cell({0, 0});
  cell.upper_voltage = 3.0;  // as assembled: 4.4 - 1 - 0.3 = 3.1 V
  CHECK_THROWS_WITH(after_formation(cell, 0.1),
                    "the upper cut-off 3.000 V lies below the voltage of the cell as assembled");
  cell.upper_voltage = 4.5;  // y = 0 at q = 1, where x = 0.5 (no loss): 4.4 - 0.2 = 4.2 V
  CHECK_THROWS_WITH(
      after_formation(cell, 0),
      "the upper cut-off 4.500 V cannot be reached on the first charge: the positive is empty already at 4.200 V");
  cell.negative->host.maximum_concentration =
      10000;  // half as much as the positive: x = 1 at q = 0.5, 3.9 - 0.1 = 3.8 V
  CHECK_THROWS_WITH(
      after_formation(cell, 0),
      "the upper cut-off 4.500 V cannot be reached on the first charge: the negative is full already at 3.800 V");
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
