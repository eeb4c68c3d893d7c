#pragma once

#include <cmath>
#include <random>
#include <string>
#include <vector>

#include "params/record/record.hpp"
#include "tests/catch.hpp"

/// Measured records as other cyclers and other habits would have written them: changed in one way at a time.
namespace records {

using onegrain::params::Record;

/// An open record of tests/data; see tests/data/README.md.
inline Record open_record(const std::string& name) {
  auto loaded = onegrain::params::load_measured(std::string(ONEGRAIN_SOURCE_DIR) + "/tests/data/" + name);
  INFO(loaded.faults.text());
  REQUIRE(loaded.value);
  Record r = std::move(loaded.value->record);
  r.others.clear();
  return r;
}

/// Rows [from, to) alone.
inline Record rows(const Record& r, std::size_t from, std::size_t to) {
  Record cut;
  const auto take = [&](const auto& all, auto& some) {
    if (!all.empty())
      some.assign(all.begin() + static_cast<std::ptrdiff_t>(from), all.begin() + static_cast<std::ptrdiff_t>(to));
  };
  take(r.time, cut.time);
  take(r.voltage, cut.voltage);
  take(r.current, cut.current);
  take(r.temperature, cut.temperature);
  take(r.capacity, cut.capacity);
  take(r.line, cut.line);
  return cut;
}

/// A rest of the voltage `volts` and the record behind it; rows every ten seconds, the last one where the current comes
/// up.
inline Record after_rest(const Record& r, double seconds, double volts) {
  Record all;
  const double start = r.time.front() - seconds;
  for (double t = 0; t < seconds - 1; t += 10) {
    all.time.push_back(start + t);
    all.voltage.push_back(volts);
    all.current.push_back(0);
  }
  all.time.push_back(r.time.front() - 0.01);
  all.voltage.push_back(volts);
  all.current.push_back(0);
  all.time.insert(all.time.end(), r.time.begin(), r.time.end());
  all.voltage.insert(all.voltage.end(), r.voltage.begin(), r.voltage.end());
  all.current.insert(all.current.end(), r.current.begin(), r.current.end());
  for (std::size_t k = 0; k < all.size(); ++k) all.line.push_back(static_cast<std::uint32_t>(k + 2));
  return all;
}

/// One record behind the other, `pause` seconds later.
inline Record joined(Record r, const Record& then, double pause = 1) {
  const double shift = r.time.back() + pause - then.time.front();
  for (std::size_t k = 0; k < then.size(); ++k) {
    r.time.push_back(then.time[k] + shift);
    r.voltage.push_back(then.voltage[k]);
    r.current.push_back(then.current[k]);
    r.line.push_back(static_cast<std::uint32_t>(r.time.size() + 1));
  }
  r.temperature.clear();
  r.capacity.clear();
  return r;
}

/// White noise of a share of each current.
inline Record noisy(Record r, double share, unsigned seed) {
  std::mt19937 random(seed);
  std::normal_distribution<double> normal;
  for (double& i : r.current) i *= 1 + share * normal(random);
  return r;
}

/// White noise of one size on every row, rests too [A].
inline Record hissing(Record r, double amperes, unsigned seed) {
  std::mt19937 random(seed);
  std::normal_distribution<double> normal;
  for (double& i : r.current) i += amperes * normal(random);
  return r;
}

inline Record offset(Record r, double amperes) {
  for (double& i : r.current) i += amperes;
  return r;
}
inline Record turned(Record r) {
  for (double& i : r.current) i = -i;
  return r;
}
inline Record without_sign(Record r) {
  for (double& i : r.current) i = std::abs(i);
  return r;
}

/// As a file of the Battery Data Format.
inline std::string text(const Record& r) { return onegrain::params::battery_data_text(r, 12); }
/// With the cycler's counter of capacity.
inline std::string text_with_counter(Record r) {
  r.others = {{"Step Capacity / Ah", r.capacity}};
  for (double& charge : r.others[0].values) charge /= 3600;
  return text(r);
}

}  // namespace records
