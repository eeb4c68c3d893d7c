#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "params/record/levels.hpp"
#include "params/record/record.hpp"

namespace onegrain::params {

namespace {

constexpr double most_jitter = 15e-3;    // [V] of a held voltage
constexpr double calm = 5e-3;            // noise of a current, as a share of it, that needs no smoothing
constexpr double a_step = 0.25;          // of the level of a hold: it does not fade so far from row to row
constexpr double scattered = 0.15;       // a current that strays more from its middle is no level with noise
constexpr double small_current = 0.05;   // of the largest: what may be the offset of a sensor
constexpr double little_charge = 0.015;  // of the largest sweep: what may be that of such an offset
constexpr double flat = 5e-3;            // [V]

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

/// A record with what its own noise is.
struct Looked {
  const Record& record;
  std::vector<double> noise, voltage_noise;  ///< around each row
  double zero;                               ///< what counts as rest
  double largest;                            ///< |current|

  explicit Looked(const Record& r)
      : record(r), noise(r.size(), 0), voltage_noise(r.size(), 0), zero(rest_current(r)), largest(largest_current(r)) {}
  double mean(const Span& span) const {
    double sum = 0;
    for (std::size_t k = span.first; k <= span.last; ++k) sum += record.current[k];
    return sum / static_cast<double>(span.rows());
  }
};

bool stated_change(const Record& record, std::size_t k) {
  const auto differs = [&](const auto& series) { return !series.empty() && series[k] != series[k - 1]; };
  return differs(record.step) || differs(record.state) || differs(record.cycle);
}

/// Rows [from, end) are a rest under a noisy sensor: signs flip, the mean is none, the voltage follows nothing.
bool is_noisy_rest(const Record& r, std::size_t from, std::size_t end) {
  constexpr std::size_t enough = 6;
  const std::vector<double>&I = r.current, &V = r.voltage;
  double flips = 0, both = 0, dI = 0, dV = 0, sum = 0, squares = 0;
  for (std::size_t k = from; k < end; ++k) {
    sum += I[k];
    squares += I[k] * I[k];
    if (k == from) continue;
    const double di = I[k] - I[k - 1], dv = V[k] - V[k - 1];
    flips += I[k] * I[k - 1] < 0;
    both += di * dv;
    dI += di * di;
    dV += dv * dv;
  }
  const auto rows = static_cast<double>(end - from);
  return end - from >= enough && flips >= 0.2 * rows && both <= 0.5 * std::sqrt(dI * dV) &&
         std::abs(sum) < std::sqrt(squares * rows);
}

/// Of each row: true where it belongs to a rest with a noisy sensor. A slow step between two such rests flips no sign:
/// where none flips for long a rest ends, with the last row that is no larger than its noise.
std::vector<char> noisy_rests(const Looked& look) {
  constexpr double low = 0.3, large = 4;  // of the largest current, of the noise
  constexpr std::size_t seldom = 16;      // rows without a flip: of noise, one time in 30,000
  const std::vector<double>& I = look.record.current;
  const auto small = [&](std::size_t k) { return std::abs(I[k]) < low * look.largest; };
  std::vector<char> noisy(I.size(), 0);
  for (std::size_t k = 1; k < I.size(); ++k) {
    if (!(I[k] * I[k - 1] < 0) || !small(k) || !small(k - 1)) continue;
    std::size_t from = k - 1, end = k + 1;
    for (std::size_t next = end; next < I.size() && small(next) && next < end + seldom; ++next)
      if (I[next] * I[next - 1] < 0) end = next + 1;
    double squares = 0;
    for (std::size_t j = from; j < end; ++j) squares += I[j] * I[j];
    const double noise = large * std::sqrt(squares / static_cast<double>(end - from));
    while (from > 0 && !noisy[from - 1] && small(from - 1) && std::abs(I[from - 1]) <= noise) --from;
    while (end < I.size() && small(end) && std::abs(I[end]) <= noise) ++end;
    if (is_noisy_rest(look.record, from, end))
      std::fill(noisy.begin() + static_cast<std::ptrdiff_t>(from), noisy.begin() + static_cast<std::ptrdiff_t>(end), 1);
    k = end;
  }
  return noisy;
}

/// The held voltage: middle of the last rows, which a final row recorded after switching off does not move.
double held_voltage(const Record& record, const Span& span) {
  const auto end = record.voltage.begin() + static_cast<std::ptrdiff_t>(span.last + 1);
  std::vector<double> tail(end - static_cast<std::ptrdiff_t>(std::min<std::size_t>(9, span.rows() / 2 + 1)), end);
  return middle_of(std::move(tail));
}

/// First row of the hold at the end of [first, last]; last + 1 if there is none.
std::size_t hold_start(const Looked& look, const Span& span) {
  const std::vector<double>& V = look.record.voltage;
  const std::size_t none = span.last + 1;
  if (span.rows() < 4) return none;
  const double held = held_voltage(look.record, span);
  const double within = std::clamp(4 * look.voltage_noise[span.last], held_within, most_jitter);
  const auto off = [&](std::size_t k) { return std::abs(V[k] - held) > within; };
  std::size_t start = none;
  // a single row that strays is jitter
  while (start > span.first &&
         (!off(start - 1) || (start < span.last && start >= span.first + 3 && !off(start - 2) && !off(start - 3))))
    --start;
  if (start + 3 > none) return none;
  // Noise is averaged over as many rows as bring it below 1 % of the current, at most nine.
  const double sd = look.noise[start + (span.last - start) / 2], size = std::abs(look.record.current[start]);
  const std::size_t width = sd <= calm * size || span.last - start < 18 ? 1 : 9;
  const std::vector<double> I = smoothed(look.record.current, start, span.last, width);
  const double blur = sd > calm * size ? sd * std::sqrt(2.0 / static_cast<double>(width)) : 0;
  // Up to the row at which the current begins to fade, the voltage merely passes by.
  double level = std::abs(I.front());
  for (const double i : I) level = std::max(level, std::abs(i));
  std::size_t fades = 0;
  for (std::size_t k = 0; k < I.size(); ++k) {
    if (std::abs(I[k]) >= 0.99 * level - 2 * blur) fades = k;
  }
  if (fades + 2 >= I.size() || std::abs(I.back()) > (1 - level_change) * level - 4 * blur) return none;
  // Fading, not stepping: never rising by much, and not from one level to another.
  for (std::size_t k = fades + 1; k < I.size(); ++k) {
    if (std::abs(I[k]) > std::abs(I[k - 1]) + level_change * level + 4 * blur) return none;
  }
  const auto stepping = level_changes(look.record.current, look.noise, start, span.last);
  if (std::any_of(stepping.begin(), stepping.end(),
                  [&](std::size_t k) { return std::abs(I[k - start] - I[k - 1 - start]) > a_step * level; }))
    return none;
  const std::size_t at = start + fades;
  return at == span.first ? at : at + 1 < none ? at + 1 : none;
}

/// Cuts where the current starts, stops or turns, or where the file says so; then where it changes its level.
std::vector<Span> cut(Looked& look) {
  const std::vector<char> noisy = noisy_rests(look);
  std::vector<Span> rough;
  for (std::size_t k = 0; k < look.record.size(); ++k) {
    const StepKind kind = noisy[k] ? StepKind::rest : sign_kind(look.record.current[k], look.zero);
    const bool stated = k > 0 && stated_change(look.record, k);
    if (k == 0 || stated || kind != rough.back().kind)
      rough.push_back({kind, k, k, stated});
    else
      rough.back().last = k;
  }
  std::vector<Span> spans;
  for (Span span : rough) {
    noise_around(look.record.current, span.first, span.last, look.noise);
    noise_around(look.record.voltage, span.first, span.last, look.voltage_noise);
    if (span.kind != StepKind::rest) {
      // the fading current of a hold at the end has no levels
      const std::size_t before_hold = std::max(hold_start(look, span), span.first + 1) - 1;
      for (const std::size_t at : level_changes(look.record.current, look.noise, span.first, before_hold)) {
        spans.push_back({span.kind, span.first, at - 1, span.stated});
        span = {span.kind, at, span.last, false};
      }
    }
    spans.push_back(span);
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

/// The current keeps no level: fewer than half of the rows are alike with the row before them, and they scatter by more
/// than noise does. Short rests are part of a profile.
bool unsteady(const Looked& look, const Span& span) {
  constexpr std::size_t few_rows = 3;
  const std::vector<double>& I = look.record.current;
  if (span.kind == StepKind::rest) return span.rows() <= few_rows;
  std::size_t alike = 0;
  for (std::size_t k = span.first + 1; k <= span.last; ++k) alike += close(I[k], I[k - 1], same_level);
  if (2 * alike >= span.rows()) return false;
  if (span.rows() <= 2 * few_rows) return true;
  std::vector<double> sizes;
  for (std::size_t k = span.first; k <= span.last; ++k) sizes.push_back(std::abs(I[k]));
  const double level = middle_of(sizes);
  for (double& size : sizes) size = std::abs(size - level);
  return middle_of(std::move(sizes)) > scattered * level;
}

std::vector<Span> join_varied(const Looked& look, const std::vector<Span>& spans) {
  constexpr std::size_t many_steps = 8;
  std::vector<Span> out;
  for (std::size_t s = 0; s < spans.size();) {
    std::size_t end = s;
    while (end < spans.size() && unsteady(look, spans[end]) && (end == s || !spans[end].stated)) ++end;
    if (end >= s + many_steps) {
      out.push_back({StepKind::varied, spans[s].first, spans[end - 1].last, spans[s].stated});
      s = end;
    } else {
      out.push_back(spans[s++]);
    }
  }
  return out;
}

/// Makes rests of small steady currents that the sensor reads where none flows; see recorded_steps().
void find_offsets(const Looked& look, std::vector<Span>& spans) {
  const std::vector<double>& I = look.record.current;
  std::vector<double> charges;
  charges.reserve(spans.size());
  for (const Span& span : spans) charges.push_back(std::abs(charge_between(look.record, span.first, span.last)));
  const double sweep = charges.empty() ? 0 : *std::max_element(charges.begin(), charges.end());
  // What the sensor reads at rest is the least that it reads.
  double least = INFINITY;
  for (const Span& span : spans)
    if (span.rows() > 1 || span.kind == StepKind::rest) least = std::min(least, std::abs(look.mean(span)));
  for (std::size_t s = 0; s < spans.size(); ++s) {
    Span& span = spans[s];
    if (span.kind != StepKind::charge && span.kind != StepKind::discharge) continue;
    const double level = look.mean(span);
    const auto jumps = [&](std::size_t k) { return std::abs(I[k] - I[k - 1]) > 5 * std::abs(level); };
    if (std::abs(level) > small_current * look.largest || std::abs(level) > 1.5 * least + look.noise[span.first] ||
        charges[s] > little_charge * sweep)
      continue;
    if ((span.first > 0 && !jumps(span.first)) || (span.last + 1 < I.size() && !jumps(span.last + 1))) continue;
    if (!is_constant(I, look.noise, span.first, span.last) || !looks_at_rest(look.record, span.first, span.last))
      continue;
    span.kind = StepKind::rest;
  }
}

/// One rest that noise or an offset had cut is one again.
std::vector<Span> join_rests(const std::vector<Span>& spans) {
  std::vector<Span> out;
  for (const Span& span : spans) {
    if (!out.empty() && span.kind == StepKind::rest && out.back().kind == StepKind::rest && !span.stated)
      out.back().last = span.last;
    else
      out.push_back(span);
  }
  return out;
}

std::vector<Span> split_holds(const Looked& look, const std::vector<Span>& spans) {
  std::vector<Span> out;
  for (const Span& span : spans) {
    const std::size_t hold =
        span.kind == StepKind::rest || span.kind == StepKind::varied ? span.last + 1 : hold_start(look, span);
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

}  // namespace

const char* step_kind_name(StepKind kind) {
  constexpr const char* names[] = {"rest", "charge", "discharge", "hold", "varied"};
  return names[static_cast<int>(kind)];
}

double largest_current(const Record& record) {
  double largest = 0;
  for (const double current : record.current) largest = std::max(largest, std::abs(current));
  return largest;
}

std::size_t row_at(const Record& record, std::size_t first, std::size_t last, double time) {
  const auto begin = record.time.begin();
  const auto found =
      std::lower_bound(begin + static_cast<std::ptrdiff_t>(first), begin + static_cast<std::ptrdiff_t>(last), time);
  return static_cast<std::size_t>(found - begin);
}

double rest_current(const Record& record) {
  const double largest = largest_current(record);
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

bool looks_at_rest(const Record& record, std::size_t first, std::size_t last) {
  const std::vector<double>& V = record.voltage;
  const auto [low, high] = std::minmax_element(V.begin() + static_cast<std::ptrdiff_t>(first),
                                               V.begin() + static_cast<std::ptrdiff_t>(last) + 1);
  if (*high - *low <= flat) return true;
  const std::size_t middle = row_at(record, first, last, 0.5 * (record.time[first] + record.time[last]));
  return std::abs(V[last] - V[middle]) <= 0.5 * std::abs(V[middle] - V[first]);
}

std::vector<RecordedStep> recorded_steps(const Record& record) {
  std::vector<RecordedStep> steps;
  if (record.size() == 0) return steps;
  Looked look(record);
  std::vector<Span> found = join_varied(look, absorb_openings(record, cut(look)));
  find_offsets(look, found);
  const std::vector<Span> spans = split_holds(look, join_rests(found));
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
                      StepEnd::unknown,
                      is_constant(record.current, look.noise, std::min(span.first + 1, span.last), span.last),
                      look.noise[span.first + (span.last - span.first) / 2]};
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
  tell_ends(record, steps);
  return steps;
}

}  // namespace onegrain::params
