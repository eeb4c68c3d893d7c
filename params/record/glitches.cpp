#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "params/record/levels.hpp"

// Voltages that no cell made: of leads, of contacts, of a recorder that starts or stops.

namespace onegrain::params {

namespace {

constexpr double off_by = 10e-3, of_noise = 10, of_moves = 5;  // [V], times, times
constexpr double edge_off_by = 0.3;                            // [V] at the first and last rows under one current
constexpr double nothing = 1e-3, no_cell = 6;                  // [V] what leads read that hang in the air
constexpr double some_current = 0.01;                          // of the largest: it has a direction
constexpr std::size_t edge_rows = 6;                           // rows under one current

/// Stretches of rows under one current, noise not counted.
struct Levels {
  const Record& r;
  std::vector<double> noise, voltage_noise;
  double largest;

  explicit Levels(const Record& record)
      : r(record), noise(record.size(), 0), voltage_noise(record.size(), 0), largest(largest_current(record)) {
    noise_around(r.current, 0, r.size() - 1, noise);
    noise_around(r.voltage, 0, r.size() - 1, voltage_noise);
  }
  bool same(std::size_t a, std::size_t b) const {
    const double level = 0.5 * (std::abs(r.current[a]) + std::abs(r.current[b]));
    return std::abs(r.current[a] - r.current[b]) <=
           level_change * level + 1e-3 * largest + 6 * std::max(noise[a], noise[b]);
  }
};

/// Rows k .. k + rows - 1 stand off what is around them, and no current explains it.
bool is_glitch(const Levels& levels, std::size_t k, std::size_t rows) {
  const std::size_t before = k - 1, after = k + rows;
  const std::vector<double>& V = levels.r.voltage;
  for (std::size_t j = k - 2; j <= after + 1; ++j)
    if (!levels.same(j, before)) return false;
  const double moves = std::max(
      {std::abs(V[after] - V[before]), std::abs(V[before] - V[before - 1]), std::abs(V[after + 1] - V[after])});
  const double least = std::max({off_by, of_noise * levels.voltage_noise[before], of_moves * moves});
  for (std::size_t j = k; j < after; ++j)
    if (std::abs(V[j] - 0.5 * (V[before] + V[after])) <= least) return false;
  return true;
}

void mend(Measured& data, std::size_t row, double volts, const char* as) {
  data.doubts.add(DoubtKind::voltage_glitch, data.record.line[row], [&] {
    return fmt::format("{} where {} were to be expected under one current: taken as {}",
                       show(data.record.voltage[row], VoltageKind::kind), show(volts, VoltageKind::kind), as);
  });
  data.record.voltage[row] = volts;
}

/// How far a voltage lies off where its neighbours, of one current, put it; nothing where it may be what the cell did.
/// `sound` are the rows next to it and the one behind that, towards the middle of the stretch.
bool off_at_edge(const std::vector<double>& V, std::size_t row, std::size_t next, std::size_t behind) {
  return std::abs(V[row] - V[next]) > std::max(edge_off_by, of_moves * std::abs(V[next] - V[behind]));
}

/// The first two rows of [first, last], which are under one current, and the last two.
void mend_edges(Measured& data, double largest, std::size_t first, std::size_t last) {
  const std::vector<double>& V = data.record.voltage;
  const double current = data.record.current[first + 1];
  const double sense = std::abs(current) < some_current * largest ? 0 : current > 0 ? 1 : -1;
  const auto by_leads = [&](double volts) { return std::abs(volts) < nothing || std::abs(volts) > no_cell; };
  // Where a current comes up the voltage jumps, and the first row may be older: only what goes against that current, or
  // what no cell has, is no voltage of it.
  for (const std::size_t row : {first + 1, first}) {
    if (!off_at_edge(V, row, row + 1, row + 2)) continue;
    if (by_leads(V[row]) || (row == first && sense * (V[row] - V[row + 1]) > 0) ||
        (row == first + 1 && off_at_edge(V, row, first, first)))
      mend(data, row, V[row + 1], "in the next row");
  }
  if (off_at_edge(V, last - 1, last - 2, last - 3) && off_at_edge(V, last - 1, last, last))
    mend(data, last - 1, 0.5 * (V[last - 2] + V[last]), "what lies between");
  for (const std::size_t row : {last - 1, last})
    if (off_at_edge(V, row, row - 1, row - 2) && (row == last || by_leads(V[row])))
      mend(data, row, V[row - 1], "in the row before");
}

}  // namespace

void mend_glitches(Measured& data) {
  Record& r = data.record;
  if (r.size() < 7) return;
  const Levels levels(r);
  for (std::size_t first = 0, k = 1; k <= r.size(); ++k) {
    if (k < r.size() && levels.same(k - 1, k)) continue;
    if (k - first >= edge_rows) mend_edges(data, levels.largest, first, k - 1);
    first = k;
  }
  for (std::size_t k = 2; k + 2 < r.size(); ++k) {
    for (const std::size_t rows : {std::size_t{1}, std::size_t{2}}) {
      if (k + rows + 1 >= r.size() || !is_glitch(levels, k, rows)) continue;
      const double from = r.voltage[k - 1], to = r.voltage[k + rows];
      for (std::size_t j = k; j < k + rows; ++j)
        mend(data, j, from + (to - from) * static_cast<double>(j - k + 1) / static_cast<double>(rows + 1),
             "what lies between");
      k += rows;
      break;
    }
  }
}

}  // namespace onegrain::params
