#include "model/balance.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <string>

namespace onegrain::model {

namespace {

constexpr double closest = 1e-12;  // of a stoichiometry to 0 and 1

/// Root of a function that changes sign on [a, b]: bisection with a secant inside, to round-off in q.
double root_between(const std::function<double(double)>& f, double a, double b) {
  double fa = f(a), fb = f(b);
  for (int k = 0; k < 200 && std::abs(b - a) > 1e-15 * (std::abs(a) + std::abs(b)); ++k) {
    double m = 0.5 * (a + b);
    if (k % 3 != 0 && fa != fb) m = std::clamp(a - fa * (b - a) / (fb - fa), std::min(a, b), std::max(a, b));
    if (m == a || m == b) m = 0.5 * (a + b);
    if (m == a || m == b) break;
    const double fm = f(m);
    if (fm == 0) return m;
    if ((fm < 0) == (fa < 0)) {
      a = m;
      fa = fm;
    } else {
      b = m;
      fb = fm;
    }
  }
  return 0.5 * (a + b);
}

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
    lowest = -(1 - closest - from.positive) * positive_capacity;
    highest = (from.positive - closest) * positive_capacity;
    negative_capacity = 0;
    if (c.negative) {
      negative_capacity = c.negative->capacity();
      lowest = std::max(lowest, -(from.negative - closest) * negative_capacity);
      highest = std::min(highest, (1 - closest - from.negative) * negative_capacity);
    }
  }

  Stoichiometries at(double q) const {
    return {start.positive - q / positive_capacity, cell.negative ? start.negative + q / negative_capacity : 0.0};
  }
  double voltage(double q) const { return equilibrium_voltage(cell, at(q), cell.temperature); }

  /// Charge at which the equilibrium voltage meets `target`.
  double meeting(double target, const char* which) const {
    if (!(lowest < highest)) throw ImpossibleBalance("the stated stoichiometries leave no lithium to move");
    const double low = voltage(lowest), high = voltage(highest);
    if (target < low || target > high) {
      const bool at_top = target > high;
      const Stoichiometries end = at(at_top ? highest : lowest);
      const bool positive_ends = at_top ? end.positive < 1e-6 : end.positive > 1 - 1e-6;
      const std::string electrode = positive_ends ? (cell.negative ? "positive" : "working electrode") : "negative";
      const char* state = (at_top == positive_ends) ? "empty" : "full";
      throw ImpossibleBalance(std::string("the ") + which + " cut-off " + volts(target) + " cannot be reached: the " +
                              electrode + " is " + state + " already at " + volts(at_top ? high : low));
    }
    return root_between([&](double q) { return voltage(q) - target; }, lowest, highest);
  }
};

}  // namespace

double equilibrium_voltage(const Cell& cell, Stoichiometries x, double T) {
  const double positive = cell.positive.host.potential(x.positive, T);
  return cell.negative ? positive - cell.negative->host.potential(x.negative, T) : positive;
}

Window equilibrium_window(const Cell& cell) {
  const Line line(cell, cell.inventory);
  const double full = line.meeting(cell.upper_voltage, "upper");
  const double empty = line.meeting(cell.lower_voltage, "lower");
  if (!(full > empty)) throw ImpossibleBalance("no charge lies between the two cut-offs");
  return {line.at(full), line.at(empty), full - empty};
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
  const double least = closest * negative_capacity;
  const double most = std::min((positive_as_made - closest) * positive_capacity,
                               (1 - closest) * negative_capacity / std::max(arrives, 1e-6));
  if (excess(least) > 0) {
    throw ImpossibleBalance("the upper cut-off " + volts(cell.upper_voltage) +
                            " lies below the voltage of the cell as assembled");
  }
  if (excess(most) < 0) {
    const bool negative_full = state(most).negative > 1 - 1e-6;
    throw ImpossibleBalance("the upper cut-off " + volts(cell.upper_voltage) +
                            " cannot be reached on the first charge: the " +
                            (negative_full ? "negative is full" : "positive is empty") + " already at " +
                            volts(cell.upper_voltage + excess(most)));
  }
  return state(root_between(excess, least, most));
}

double one_hour_charge(const Cell& cell, const Window& window) {
  return cell.rated_capacity > 0 ? cell.rated_capacity : window.capacity;
}

double capacity_ratio(const Cell& cell, const Window& window) {
  return cell.negative->capacity() / (cell.positive.capacity() * (1 - window.full.positive));
}

}  // namespace onegrain::model
