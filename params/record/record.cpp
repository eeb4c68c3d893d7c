#include "params/record/record.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

namespace onegrain::params {

namespace {

constexpr double level_change = 0.05, same_level = 0.02;
constexpr double held_within = 2.5e-3;  // [V]: three times the coarsest usual recording step

StepKind sign_kind(double current, double zero) {
  return std::abs(current) <= zero ? StepKind::rest : current > 0 ? StepKind::charge : StepKind::discharge;
}

bool close(double a, double b, double tolerance) {
  return std::abs(a - b) <= tolerance * std::max(std::abs(a), std::abs(b));
}

/// Rows [first, last] of one kind.
struct Span {
  StepKind kind;
  std::size_t first, last;
  bool stated = false;  ///< the file itself says that a step begins here
  std::size_t rows() const { return last - first + 1; }
};

bool stated_change(const Record& record, std::size_t k) {
  const auto differs = [&](const auto& series) { return !series.empty() && series[k] != series[k - 1]; };
  return differs(record.step) || differs(record.state) || differs(record.cycle);
}

/// Cuts where the current or the file says so.
std::vector<Span> cut(const Record& record, double zero) {
  const std::vector<double>& I = record.current;
  std::vector<Span> spans;
  for (std::size_t k = 0; k < record.size(); ++k) {
    const StepKind kind = sign_kind(I[k], zero);
    const bool stated = k > 0 && stated_change(record, k);
    bool begins = k == 0 || stated || kind != spans.back().kind;
    if (!begins && kind != StepKind::rest && !close(I[k], I[k - 1], level_change) && k + 1 < record.size()) {
      const bool level_before = k >= spans.back().first + 2 && close(I[k - 1], I[k - 2], same_level);
      begins = level_before && close(I[k + 1], I[k], same_level);
    }
    if (begins) {
      spans.push_back({kind, k, k, stated});
    } else {
      spans.back().last = k;
    }
  }
  return spans;
}

/// A single row that opens a step before its current is there, or is caught while the current changes, goes to the step
/// that follows.
std::vector<Span> absorb_openings(const Record& record, const std::vector<Span>& spans) {
  std::vector<Span> out;
  for (std::size_t s = 0; s < spans.size(); ++s) {
    Span span = spans[s];
    while (span.rows() == 1 && s + 1 < spans.size() && !spans[s + 1].stated && spans[s + 1].kind != StepKind::rest &&
           spans[s + 1].rows() > 1) {
      const double here = record.current[span.first], next = record.current[spans[s + 1].first];
      const double before = span.first == 0 ? 0 : record.current[span.first - 1];
      const bool opening = (span.stated || s == 0) && std::abs(here) < level_change * std::abs(next);
      const bool between =
          span.kind != StepKind::rest && here > std::min(before, next) && here < std::max(before, next);
      if (!opening && !between) break;
      ++s;
      span = {spans[s].kind, span.first, spans[s].last, span.stated};
    }
    out.push_back(span);
  }
  return out;
}

/// The current keeps no level: fewer than half of the rows are alike with the row before them. Short rests are part of
/// a profile.
bool unsteady(const Record& record, const Span& span) {
  constexpr std::size_t few_rows = 3;
  if (span.kind == StepKind::rest) return span.rows() <= few_rows;
  std::size_t alike = 0;
  for (std::size_t k = span.first + 1; k <= span.last; ++k)
    alike += close(record.current[k], record.current[k - 1], same_level);
  return 2 * alike < span.rows();
}

std::vector<Span> join_varied(const Record& record, const std::vector<Span>& spans) {
  constexpr std::size_t many_steps = 8;
  std::vector<Span> out;
  for (std::size_t s = 0; s < spans.size();) {
    std::size_t end = s;
    while (end < spans.size() && unsteady(record, spans[end]) && (end == s || !spans[end].stated)) ++end;
    if (end >= s + many_steps) {
      out.push_back({StepKind::varied, spans[s].first, spans[end - 1].last, spans[s].stated});
      s = end;
    } else {
      out.push_back(spans[s++]);
    }
  }
  return out;
}

/// First row of the hold at the end of [first, last]; last + 1 if there is none.
std::size_t hold_start(const Record& record, const Span& span) {
  const std::vector<double>&V = record.voltage, &I = record.current;
  const std::size_t none = span.last + 1;
  if (span.rows() < 4) return none;
  // The held voltage: middle of the last rows, which a final row recorded after switching off does not move.
  const auto end = V.begin() + static_cast<std::ptrdiff_t>(span.last + 1);
  std::vector<double> tail(end - static_cast<std::ptrdiff_t>(std::min<std::size_t>(9, span.rows() / 2 + 1)), end);
  std::nth_element(tail.begin(), tail.begin() + static_cast<std::ptrdiff_t>(tail.size() / 2), tail.end());
  const double held = tail[tail.size() / 2];
  std::size_t start = none;
  while (start > span.first && std::abs(V[start - 1] - held) <= held_within) --start;
  if (start + 3 > none) return none;
  // Up to the row at which the current begins to fade, the voltage merely passes by.
  double level = std::abs(I[start]);
  for (std::size_t k = start; k < none; ++k) level = std::max(level, std::abs(I[k]));
  std::size_t fades = start;
  for (std::size_t k = start; k < none; ++k) {
    if (std::abs(I[k]) >= 0.99 * level) fades = k;
  }
  if (fades + 2 >= none || std::abs(I[span.last]) > (1 - level_change) * level) return none;
  // Fading, not stepping: no fall of half the level within one row, and never rising by much.
  for (std::size_t k = fades + 1; k < none; ++k) {
    if (std::abs(I[k]) > std::abs(I[k - 1]) + level_change * level) return none;
  }
  return fades == span.first ? fades : fades + 1 < none ? fades + 1 : none;
}

std::vector<Span> split_holds(const Record& record, const std::vector<Span>& spans) {
  std::vector<Span> out;
  for (const Span& span : spans) {
    const std::size_t hold =
        span.kind == StepKind::rest || span.kind == StepKind::varied ? span.last + 1 : hold_start(record, span);
    if (hold > span.last) {
      out.push_back(span);
    } else if (hold <= span.first + 1) {  // an opening row belongs to the hold
      out.push_back({StepKind::hold, span.first, span.last, span.stated});
    } else {
      out.push_back({span.kind, span.first, hold - 1, span.stated});
      out.push_back({StepKind::hold, hold, span.last, false});
    }
  }
  return out;
}

/// The interval from row k to the next, between two steps, is one in which the record goes on.
bool bridged(const Record& record, std::size_t k) {
  const std::vector<double>& t = record.time;
  const double interval = t[k + 1] - t[k];
  double neighbours = 1;  // [s]
  for (std::size_t n = k > 3 ? k - 3 : 0; n < std::min(k + 4, record.size() - 1); ++n) {
    if (n != k) neighbours = std::max(neighbours, t[n + 1] - t[n]);
  }
  return interval <= 3 * neighbours;
}

double trapezoid(const Record& record, std::size_t k) {
  return 0.5 * (record.current[k] + record.current[k + 1]) * (record.time[k + 1] - record.time[k]);
}

bool round_time(double seconds) {
  if (seconds < 9) return false;
  const double minutes = std::round(seconds / 60);
  if (minutes >= 1 && std::abs(seconds - 60 * minutes) <= 0.1) return true;
  return seconds <= 600 && std::abs(seconds - 10 * std::round(seconds / 10)) <= 0.02;
}

void find_ends(const Record& record, std::vector<RecordedStep>& steps) {
  constexpr double alike = 2e-3;  // [V]
  const auto extreme = [&](const RecordedStep& step) {
    const auto begin = record.voltage.begin() + static_cast<std::ptrdiff_t>(step.first);
    const auto end = record.voltage.begin() + static_cast<std::ptrdiff_t>(step.last + 1);
    return step.kind == StepKind::charge ? step.last_voltage >= *std::max_element(begin, end) - 1e-3
                                         : step.last_voltage <= *std::min_element(begin, end) + 1e-3;
  };
  std::vector<double> ends[2];  // of charges and discharges, sorted
  for (const RecordedStep& step : steps) {
    if (step.kind == StepKind::charge) ends[0].push_back(step.last_voltage);
    if (step.kind == StepKind::discharge) ends[1].push_back(step.last_voltage);
  }
  for (auto& list : ends) std::sort(list.begin(), list.end());
  for (std::size_t s = 0; s < steps.size(); ++s) {
    RecordedStep& step = steps[s];
    const bool timed = round_time(step.duration);
    if (step.kind == StepKind::hold) step.ended_by = timed ? StepEnd::time : StepEnd::current;
    if (step.kind == StepKind::rest && timed) step.ended_by = StepEnd::time;
    if (step.kind == StepKind::charge || step.kind == StepKind::discharge) {
      const auto& list = ends[step.kind == StepKind::charge ? 0 : 1];
      const auto shared = std::upper_bound(list.begin(), list.end(), step.last_voltage + alike) -
                          std::lower_bound(list.begin(), list.end(), step.last_voltage - alike);
      const bool then_held = s + 1 < steps.size() && steps[s + 1].kind == StepKind::hold &&
                             std::abs(steps[s + 1].last_voltage - step.last_voltage) <= 2 * held_within;
      const bool round = std::abs(step.last_voltage - 0.05 * std::round(step.last_voltage / 0.05)) <= alike;
      const bool at_extreme = extreme(step) && step.last > step.first + 1;
      if (at_extreme && (then_held || round || shared > 1) && !(timed && !then_held && !round)) {
        step.ended_by = StepEnd::voltage;
      } else if (timed) {
        step.ended_by = StepEnd::time;
      } else if (at_extreme && s + 1 < steps.size()) {
        step.ended_by = StepEnd::voltage;
      }
    }
    if (step.ended_by == StepEnd::unknown && s + 1 == steps.size()) step.ended_by = StepEnd::record;
  }
}

}  // namespace

const char* step_kind_name(StepKind kind) {
  constexpr const char* names[] = {"rest", "charge", "discharge", "hold", "varied"};
  return names[static_cast<int>(kind)];
}

double rest_current(const Record& record) {
  double largest = 0;
  for (const double current : record.current) largest = std::max(largest, std::abs(current));
  if (largest == 0) return 0;
  // Rows by the logarithm of their current, twenty bins a decade, down to 1e-5 of the largest.
  constexpr int per_decade = 20, bins = 5 * per_decade;
  std::array<std::size_t, bins> rows{};
  for (const double current : record.current) {
    const double size = std::abs(current) / largest;
    if (size > 1e-5)
      ++rows[static_cast<std::size_t>(std::clamp(static_cast<int>(-per_decade * std::log10(size)), 0, bins - 1))];
  }
  // Of the ranges of 0.4 decades with fewest rows, the nearest to the usual threshold.
  const auto in_range = [&](double log_size) {
    std::size_t sum = 0;
    const int middle = static_cast<int>(-per_decade * log_size);
    for (int b = middle - 4; b < middle + 4; ++b) sum += rows[static_cast<std::size_t>(std::clamp(b, 0, bins - 1))];
    return sum;
  };
  double best = -3;
  std::size_t fewest = in_range(best);
  for (int n = 1; n <= 26; ++n) {
    for (const double log_size : {-3 - 0.05 * n, -3 + 0.05 * n}) {
      if (log_size < -3.5 || log_size > -1.7) continue;
      const std::size_t sum = in_range(log_size);
      if (sum < fewest) {
        fewest = sum;
        best = log_size;
      }
    }
  }
  return largest * std::pow(10, best);
}

std::vector<RecordedStep> recorded_steps(const Record& record) {
  std::vector<RecordedStep> steps;
  if (record.size() == 0) return steps;
  const std::vector<Span> spans =
      split_holds(record, join_varied(record, absorb_openings(record, cut(record, rest_current(record)))));
  for (const Span& span : spans) {
    RecordedStep step{span.kind,
                      span.first,
                      span.last,
                      record.time[span.first],
                      record.time[span.last] - record.time[span.first],
                      0,
                      0,
                      record.voltage[span.first],
                      record.voltage[span.last],
                      record.current[span.last],
                      StepEnd::unknown};
    double sum = 0;
    step.charge = charge_between(record, span.first, span.last);
    for (std::size_t k = span.first; k <= span.last; ++k) sum += record.current[k];
    step.mean_current = step.duration > 0 ? step.charge / step.duration : sum / static_cast<double>(span.rows());
    if (span.first > 0 && bridged(record, span.first - 1))
      step.charge += 0.5 * record.current[span.first] * (record.time[span.first] - record.time[span.first - 1]);
    if (span.last + 1 < record.size() && bridged(record, span.last))
      step.charge += 0.5 * record.current[span.last] * (record.time[span.last + 1] - record.time[span.last]);
    steps.push_back(step);
  }
  find_ends(record, steps);
  return steps;
}

double charge_between(const Record& record, std::size_t from, std::size_t to) {
  double charge = 0;
  for (std::size_t k = from; k < to; ++k) charge += trapezoid(record, k);
  return charge;
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
  if (record.capacity.empty()) return balance;
  for (const RecordedStep& step : steps) {
    if (std::abs(step.charge) < 0.01 * largest) continue;
    // Between the step's own rows, in which a counter may not start anew; opening rows still show the old count.
    const std::size_t first = std::min(step.first + 1, step.last);
    const double counted = std::abs(record.capacity[step.last] - record.capacity[first]);
    const double own = charge_between(record, first, step.last);
    if (!std::isfinite(counted) || counted == 0) continue;
    balance.largest_deviation = std::max(balance.largest_deviation.value_or(0), std::abs(std::abs(own) / counted - 1));
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
        k + 2 < rows && (steps[s].kind == StepKind::rest || close(I[k], I[k + 1], same_level))) {
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
  bool any_negative = false;
  const double zero = rest_current(record);
  for (const double current : I) any_negative = any_negative || current < -zero;
  bool unsigned_said = false;
  for (std::size_t n = 0; n < steps.size(); ++n) {
    const RecordedStep& step = steps[n];
    if (step.kind != StepKind::charge && step.kind != StepKind::discharge) continue;
    const double sign = step.kind == StepKind::charge ? 1 : -1;
    const double moved = step.last_voltage - step.first_voltage;
    if (sign * moved > -0.020) continue;
    const bool stepped_down = n > 0 && steps[n - 1].kind != StepKind::rest &&
                              sign * steps[n - 1].last_current > 1.02 * std::abs(step.mean_current);
    if (stepped_down) continue;
    doubts.add(DoubtKind::contrary_voltage, record.line[step.first], [&] {
      return fmt::format("step {}: the current is {}, so the cell is {}d, yet its voltage goes from {} V to {} V",
                         n + 1, show(step.mean_current, CurrentKind::kind), step_kind_name(step.kind),
                         plain_number(step.first_voltage, 5), plain_number(step.last_voltage, 5));
    });
    if (any_negative || step.kind != StepKind::charge || unsigned_said) continue;
    unsigned_said = true;
    doubts.add(DoubtKind::unsigned_current, record.line[step.first], [] {
      return std::string(
          "no current is negative: name the column that tells charge from discharge, --columns state=TITLE, or split "
          "the file");
    });
  }
}

}  // namespace onegrain::params
