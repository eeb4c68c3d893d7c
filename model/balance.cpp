#include "model/balance.hpp"

#include <algorithm>
#include <cmath>
#include <string>

#include "model/root_search.hpp"

namespace onegrain::model {

namespace {

std::string volts(double V) {
  std::string text = std::to_string(std::round(V * 1000) / 1000);
  return text.substr(0, text.size() - 3) + " V";
}

/// A cell on the line of states that lithium conservation allows: q [C/m2] charged into it since `start`.
struct Line {
  const Cell& cell;
  Stoichiometries start;
  double positive_capacity, negative_capacity, lowest, highest;

  Line(const Cell& c, Stoichiometries from) : cell(c), start(from) {
    positive_capacity = c.positive.capacity();
    lowest = -(1 - nearest_at_rest - from.positive) * positive_capacity;
    highest = (from.positive - nearest_at_rest) * positive_capacity;
    negative_capacity = 0;
    if (c.negative) {
      negative_capacity = c.negative->capacity();
      lowest = std::max(lowest, -(from.negative - nearest_at_rest) * negative_capacity);
      highest = std::min(highest, (1 - nearest_at_rest - from.negative) * negative_capacity);
    }
    if (!(lowest < highest)) throw ImpossibleBalance("the stated stoichiometries leave no lithium to move");
  }

  Stoichiometries at(double q) const {
    return {start.positive - q / positive_capacity, cell.negative ? start.negative + q / negative_capacity : 0.0};
  }
  double voltage(double q) const { return equilibrium_voltage(cell, at(q), cell.temperature); }

  /// Charge at which the equilibrium voltage meets `target`, which lies between those at lowest and highest.
  double meeting(double target) const {
    return bracketed_root([&](double q) { return voltage(q) - target; }, lowest, highest, 1e-16 * positive_capacity);
  }

  /// Which host ends at `highest` (where charging stops) or at `lowest`.
  HostEnd end(bool at_highest) const {
    const double q = at_highest ? highest : lowest;
    const Stoichiometries x = at(q);
    const double positive_room = at_highest ? x.positive : 1 - x.positive;
    const double negative_room = at_highest ? 1 - x.negative : x.negative;
    const bool of_positive = !cell.negative || positive_room < negative_room;
    return {of_positive, of_positive != at_highest, voltage(q)};
  }
};

std::string name_of(const HostEnd& end, const Cell& cell) {
  return end.of_positive ? (cell.negative ? "positive" : "working electrode") : "negative";
}

/// "the positive is empty"
std::string told(const HostEnd& end, const Cell& cell) {
  return "the " + name_of(end, cell) + " is " + (end.host_full ? "full" : "empty");
}

}  // namespace

double equilibrium_voltage(const Cell& cell, Stoichiometries x, double T) {
  const double positive = cell.positive.host.potential(x.positive, T);
  return cell.negative ? positive - cell.negative->host.potential(x.negative, T) : positive;
}

Window equilibrium_window(const Cell& cell) {
  const Line line(cell, cell.inventory);
  if (!(cell.lower_voltage < cell.upper_voltage)) throw ImpossibleBalance("no charge lies between the two cut-offs");
  const auto [bottom, top] = rest_range(cell);
  if (cell.lower_voltage > top) {
    throw ImpossibleBalance("the lower cut-off " + volts(cell.lower_voltage) +
                            " cannot be reached: " + told(line.end(true), cell) + " already at " + volts(top));
  }
  if (cell.upper_voltage < bottom) {
    throw ImpossibleBalance("the upper cut-off " + volts(cell.upper_voltage) + " lies below every voltage at rest: " +
                            told(line.end(false), cell) + " still at " + volts(bottom));
  }
  Window window{};
  double full = line.highest, empty = line.lowest;
  if (cell.upper_voltage > top)
    window.before_upper = line.end(true);
  else
    full = line.meeting(cell.upper_voltage);
  if (cell.lower_voltage < bottom)
    window.before_lower = line.end(false);
  else
    empty = line.meeting(cell.lower_voltage);
  if (!(full > empty)) throw ImpossibleBalance("no charge lies between the two cut-offs");
  const double smaller =
      cell.negative ? std::min(line.positive_capacity, line.negative_capacity) : line.positive_capacity;
  if (!(full - empty >= least_window * smaller)) {
    const bool positive = smaller == line.positive_capacity;
    throw ImpossibleBalance("between the cut-offs " + volts(cell.lower_voltage) + " and " + volts(cell.upper_voltage) +
                            " lies less than 1 % of the capacity of the " +
                            (!cell.negative ? "working electrode"
                             : positive     ? "positive"
                                            : "negative"));
  }
  window.full = line.at(full);
  window.empty = line.at(empty);
  window.capacity = full - empty;
  return window;
}

RestRange rest_range(const Cell& cell) {
  const Line line(cell, cell.inventory);
  return {line.voltage(line.lowest), line.voltage(line.highest)};
}

Stoichiometries at_state_of_charge(const Window& window, double soc) {
  return {window.empty.positive + soc * (window.full.positive - window.empty.positive),
          window.empty.negative + soc * (window.full.negative - window.empty.negative)};
}

Stoichiometries after_formation(const Cell& cell, double formation_loss, double positive_as_made) {
  if (!cell.negative) throw std::invalid_argument("formation loss belongs to a full cell");
  // Charge q leaves the positive; only (1 - loss) q arrives in the negative: a line of its own.
  const double positive_capacity = cell.positive.capacity(), negative_capacity = cell.negative->capacity();
  const double arrives = 1 - formation_loss;
  const auto state = [&](double q) {
    return Stoichiometries{positive_as_made - q / positive_capacity, arrives * q / negative_capacity};
  };
  const auto excess = [&](double q) {
    return equilibrium_voltage(cell, state(q), cell.temperature) - cell.upper_voltage;
  };
  const double least = 1e-12 * negative_capacity;
  const double most = std::min((positive_as_made - nearest_at_rest) * positive_capacity,
                               (1 - nearest_at_rest) * negative_capacity / std::max(arrives, 1e-6));
  if (excess(least) > 0) {
    throw ImpossibleBalance("the upper cut-off " + volts(cell.upper_voltage) +
                            " lies below the voltage of the cell as assembled");
  }
  if (excess(most) <= 0) return state(most);  // a host ends before the cut-off is met
  return state(bracketed_root(excess, least, most, 1e-16 * positive_capacity));
}

double one_hour_charge(const Cell& cell, const Window& window) {
  return cell.rated_capacity > 0 ? cell.rated_capacity : window.capacity;
}

double capacity_ratio(const Cell& cell, const Window& window) {
  return cell.negative->capacity() / (cell.positive.capacity() * (1 - window.full.positive));
}

}  // namespace onegrain::model
