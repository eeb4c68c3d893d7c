#include "params/record/record.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "params/record/levels.hpp"

namespace onegrain::params {

namespace {

double trapezoid(const Record& record, std::size_t k) {
  return 0.5 * (record.current[k] + record.current[k + 1]) * (record.time[k + 1] - record.time[k]);
}

}  // namespace

bool bridged(const Record& record, std::size_t k) {
  const std::vector<double>& t = record.time;
  const double interval = t[k + 1] - t[k];
  double neighbours = 1;  // [s]
  for (std::size_t n = k > 3 ? k - 3 : 0; n < std::min(k + 4, record.size() - 1); ++n) {
    if (n != k) neighbours = std::max(neighbours, t[n + 1] - t[n]);
  }
  return interval <= 3 * neighbours;
}

double charge_between(const Record& record, std::size_t from, std::size_t to) {
  double charge = 0;
  for (std::size_t k = from; k < to; ++k) charge += trapezoid(record, k);
  return charge;
}

std::optional<CountedCharge> counted_charge(const Record& record, const RecordedStep& step) {
  if (record.capacity.empty()) return std::nullopt;
  const std::size_t first = std::min(step.first + 1, step.last);
  const CountedCharge found{std::abs(record.capacity[step.last] - record.capacity[first]),
                            std::abs(charge_between(record, first, step.last))};
  if (!std::isfinite(found.by_counter) || found.by_counter == 0) return std::nullopt;
  return found;
}

ChargeBalance charge_balance(const Record& record, const std::vector<RecordedStep>& steps) {
  ChargeBalance balance{0, 0, 0, std::nullopt};
  double largest = 0;
  for (const RecordedStep& step : steps) {
    balance.steps += step.charge;
    largest = std::max(largest, std::abs(step.charge));
  }
  std::size_t next = 0;
  for (std::size_t k = 0; k + 1 < record.size(); ++k) {
    while (next < steps.size() && steps[next].last < k) ++next;
    if (next < steps.size() && steps[next].last == k && !bridged(record, k)) continue;
    balance.integrated += trapezoid(record, k);
    balance.passed += std::abs(trapezoid(record, k));
  }
  for (const RecordedStep& step : steps) {
    if (std::abs(step.charge) < 0.01 * largest) continue;
    if (const auto counted = counted_charge(record, step)) {
      balance.largest_deviation =
          std::max(balance.largest_deviation.value_or(0), std::abs(counted->by_current / counted->by_counter - 1));
    }
  }
  return balance;
}

void examine(const Record& record, const std::vector<RecordedStep>& steps, Doubts& doubts) {
  const std::vector<double>&t = record.time, &V = record.voltage, &I = record.current;
  const std::size_t rows = record.size();
  const auto interval = [&](std::size_t k) { return t[k + 1] - t[k]; };
  std::size_t s = 0;
  for (std::size_t k = 0; k + 1 < rows; ++k) {
    while (s + 1 < steps.size() && steps[s].last < k) ++s;
    const bool between_steps = steps[s].last == k;
    const double dt = interval(k);
    if (dt == 0) {
      if (V[k] == V[k + 1] && I[k] == I[k + 1]) {
        doubts.add(DoubtKind::repeated_row, record.line[k + 1],
                   [&] { return fmt::format("the row at {} s once more", plain_number(t[k], 10)); });
      } else if (!between_steps) {
        doubts.add(DoubtKind::repeated_time, record.line[k + 1],
                   [&] { return fmt::format("{} s once more, with other values", plain_number(t[k], 10)); });
      }
    }
    // Two intervals on either side: where steps meet, one of them is often no time at all.
    const double before = k > 0 ? std::max(interval(k - 1), k > 1 ? interval(k - 2) : 0) : dt;
    const double after = k + 2 < rows ? std::max(interval(k + 1), k + 3 < rows ? interval(k + 2) : 0) : dt;
    const bool gap = dt > 60 && dt > 10 * before && dt > 10 * after;
    const bool pause = between_steps && !bridged(record, k) && (I[k] != 0 || I[k + 1] != 0);
    if (gap || pause) {
      doubts.add(DoubtKind::gap, record.line[k + 1], [&] {
        const double charge = trapezoid(record, k);
        std::string text = fmt::format("no row from {} s to {} s", plain_number(t[k], 10), plain_number(t[k + 1], 10));
        if (charge != 0 || pause) {
          text +=
              pause ? fmt::format("; the current changes from {} to {} somewhere in between, its charge is not counted",
                                  show(I[k], CurrentKind::kind), show(I[k + 1], CurrentKind::kind))
                    : fmt::format("; {} are counted for it", show(charge, ChargeKind::kind));
        }
        return text;
      });
    }
    const double jump = std::abs(V[k + 1] - V[k]);
    if (jump > 0.010 && k >= steps[s].first + 2 && !between_steps && !gap && steps[s].kind != StepKind::varied &&
        k + 2 < rows &&
        (steps[s].kind == StepKind::rest ||
         std::abs(I[k + 1] - I[k]) <= same_level * std::abs(I[k]) + 6 * steps[s].noise)) {
      // A spike is two jumps, there and back: the changes around both are looked at.
      const double quiet_before = std::max(std::abs(V[k] - V[k - 1]), std::abs(V[k - 1] - V[k - 2]));
      const double quiet_after =
          std::min(std::abs(V[k + 2] - V[k + 1]), k + 3 < rows ? std::abs(V[k + 3] - V[k + 2]) : INFINITY);
      if (jump > 10 * quiet_before && jump > 10 * quiet_after) {
        doubts.add(DoubtKind::voltage_jump, record.line[k + 1], [&] {
          return fmt::format("from {} V to {} V under the same current, {} s apart", plain_number(V[k], 6),
                             plain_number(V[k + 1], 6), plain_number(dt, 4));
        });
      }
    }
  }
  examine_direction(record, steps, doubts);
  examine_balance(record, steps, doubts);
}

}  // namespace onegrain::params
