#include <algorithm>
#include <cmath>

#include "params/record/record.hpp"

// Whether the rows of a file are those of one cell, one behind the other.

namespace onegrain::params {

namespace {

/// Row k lies on one course with the row after next, and the row between them on another.
bool between_courses(const std::vector<double>& values, std::size_t k, double least) {
  const double there = values[k + 1] - values[k], back = values[k + 2] - values[k + 1];
  return std::abs(there) > least && there * back < 0 && std::abs(there + back) < 0.2 * std::abs(there);
}

}  // namespace

bool interleaved(const Record& r) {
  constexpr double volts = 5e-3, share = 0.02;  // that two courses are apart at least, share of the largest current
  const double largest = largest_current(r);
  std::size_t loaded = 0, apart = 0;
  for (std::size_t k = 0; k + 2 < r.size(); ++k) {
    if (std::max(std::abs(r.current[k]), std::abs(r.current[k + 1])) < 1e-3 * largest) continue;
    ++loaded;
    apart += between_courses(r.voltage, k, volts) || between_courses(r.current, k, share * largest);
  }
  return loaded > 20 && 2 * apart > loaded;
}

bool runs_backwards(const Measured& data) {
  const std::size_t falls = data.doubts.count(DoubtKind::time_restart) + data.doubts.count(DoubtKind::backward_time);
  return 3 * falls > data.rows_read;
}

}  // namespace onegrain::params
