#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "params/record/record.hpp"

namespace onegrain::params {

namespace {

constexpr double same_voltage = 5e-3;  // [V]
constexpr double same_current = 0.1;   // of the larger
constexpr double no_small_part = 0.2;  // of the largest sweep: loops within a cycle tell little
constexpr double too_much_out = 0.01;  // of what came out
constexpr double too_much_in = 0.05;   // of it

/// A step that leaves the cell in a state that it can come back to.
bool ends_alike(const RecordedStep& a, const RecordedStep& b) {
  if (a.kind != b.kind || a.kind == StepKind::rest || a.kind == StepKind::varied) return false;
  return std::abs(a.last_voltage - b.last_voltage) <= same_voltage &&
         std::abs(a.last_current - b.last_current) <=
             same_current * std::max(std::abs(a.last_current), std::abs(b.last_current));
}

/// What passed between two steps that end alike [C].
struct Loop {
  double in = 0, out = 0, seconds = 0;
  bool pause = false;  ///< not all of it was recorded
};

Loop between(const Record& record, const std::vector<RecordedStep>& steps, std::size_t from, std::size_t to) {
  Loop loop;
  for (std::size_t s = from + 1; s <= to; ++s) {
    (steps[s].charge > 0 ? loop.in : loop.out) += std::abs(steps[s].charge);
    loop.pause = loop.pause || !bridged(record, steps[s - 1].last);
  }
  loop.seconds = record.time[steps[to].last] - record.time[steps[from].last];
  return loop;
}

}  // namespace

void examine_balance(const Record& record, const std::vector<RecordedStep>& steps, Doubts& doubts) {
  double largest = 0;
  for (const RecordedStep& step : steps)
    if (step.is_sweep()) largest = std::max(largest, std::abs(step.charge));
  const auto first_charge =
      std::find_if(steps.begin(), steps.end(), [](const RecordedStep& s) { return s.kind == StepKind::charge; });
  for (std::size_t to = 1; to < steps.size(); ++to) {
    for (std::size_t from = to; from-- > 0;) {
      if (!ends_alike(steps[from], steps[to])) continue;
      const Loop loop = between(record, steps, from, to);
      const double more_out = loop.out - loop.in;
      // of the first charge much is bound for good; two discharges may have it between them
      const bool formation = first_charge - steps.begin() > static_cast<std::ptrdiff_t>(from);
      const bool bad = more_out > too_much_out * loop.out || (-more_out > too_much_in * loop.in && !formation);
      if (!loop.pause && bad && loop.in > no_small_part * largest && loop.out > no_small_part * largest) {
        doubts.add(DoubtKind::open_balance, record.line[steps[to].last], [&] {
          return fmt::format(
              "from the end of step {} to that of step {}, which is the same state, {} go in and {} come "
              "out: an offset of {} of the current sensor would do that",
              from + 1, to + 1, show(loop.in, ChargeKind::kind), show(loop.out, ChargeKind::kind),
              show(-more_out / loop.seconds, CurrentKind::kind));
        });
        return;  // once is enough
      }
      break;
    }
  }
}

}  // namespace onegrain::params
