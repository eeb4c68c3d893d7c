#pragma once

#include "tests/app/zoo/zoo.hpp"
#include "tests/records.hpp"

/// A cycle that the demo's sheet makes, parts of it, and calls that get them. What is right is known; the numbers are
/// invented.
namespace zoo {

using namespace app_test;
using records::Record;

using Words = std::vector<std::string>;

/// Moments of the record below [s]: where its steps begin, found by its own steps.
struct Cycle {
  Record record;
  std::vector<onegrain::params::RecordedStep> steps;
  Record part(std::size_t from, std::size_t to) const {  // steps numbered from 1, both take part
    return records::rows(record, steps[from - 1].first, steps[to - 1].last + 1);
  }
};

/// Rest, 1C, rest, C/10 for what is left, rest, C/2 up, a hold, rest, C/2 down: steps 1 to 9.
inline const Cycle& cycle() {
  static const Cycle made = [] {
    const Folder folder;
    folder.write("steps.yaml",
                 "steps:\n  - {drive: rest, until: {time: 30 min}}\n"
                 "  - {drive: {rate: 1C, sense: discharge}, until: {voltage: 2.8 V}}\n"
                 "  - {drive: rest, until: {time: 30 min}}\n"
                 "  - {drive: {rate: C/10, sense: discharge}, until: {voltage: 2.8 V}}\n"
                 "  - {drive: rest, until: {time: 30 min}}\n"
                 "  - {drive: {rate: C/2, sense: charge}, until: {voltage: 4.2 V}}\n"
                 "  - {drive: {voltage: 4.2 V}, until: {rate: C/20}}\n"
                 "  - {drive: rest, until: {time: 30 min}}\n"
                 "  - {drive: {rate: C/2, sense: discharge}, until: {voltage: 2.8 V}}\n");
    REQUIRE(
        program({"follow", "demo", "--protocol", "steps.yaml", "--from-soc", "1", "--points", "200", "--out", "own"})
            .status == 0);
    auto loaded = onegrain::params::load_measured("own/curves.csv");
    REQUIRE(loaded.value);
    Cycle c{std::move(loaded.value->record), {}};
    c.record.others.clear();
    c.record.temperature.clear();
    c.record.capacity.clear();
    c.record.step.clear();
    c.steps = onegrain::params::recorded_steps(c.record);
    REQUIRE(c.steps.size() == 9);
    return c;
  }();
  return made;
}

/// The 1C discharge without the rest before it: its first row is under current.
inline Record loaded_discharge() {
  const Record r = cycle().part(2, 2);
  std::size_t first = 0;
  while (r.current[first] == 0) ++first;
  return records::rows(r, first, r.size());
}
inline Record later_part(double share) {
  const Record r = loaded_discharge();
  return records::rows(r, static_cast<std::size_t>(share * static_cast<double>(r.size())), r.size());
}

/// With what the cycler counted in each step.
inline Record counted(Record r) {
  r.capacity.assign(r.size(), 0);
  for (const onegrain::params::RecordedStep& step : onegrain::params::recorded_steps(r))
    for (std::size_t k = step.first + 1; k <= step.last; ++k)
      r.capacity[k] =
          r.capacity[k - 1] * (k > step.first + 1 ? 1 : 0) + std::abs(onegrain::params::charge_between(r, k - 1, k));
  return r;
}

inline Record scaled(Record r, double current, double time = 1) {
  for (double& i : r.current) i *= current;
  for (double& t : r.time) t *= time;
  return r;
}

/// Other titles, or another separator, than the standard has.
inline std::string titled(const Record& r, const std::string& titles) {
  const std::string plain = records::text(r);
  return titles + plain.substr(plain.find('\n'));
}

using Make = std::function<Record()>;
/// VERB demo run.csv MORE..., the record in run.csv.
inline std::function<Words(const Folder&)> call(const std::string& verb, const Make& make, const Words& more = {}) {
  return [=](const Folder& folder) {
    folder.write("run.csv", records::text(make()));
    Words words = {verb, "demo", "run.csv"};
    words.insert(words.end(), more.begin(), more.end());
    return words;
  };
}
inline std::function<Words(const Folder&)> call_titled(const std::string& titles, const Make& make,
                                                       const Words& more = {}) {
  return [=](const Folder& folder) {
    folder.write("run.csv", titled(make(), titles));
    Words words = {"overlay", "demo", "run.csv"};
    words.insert(words.end(), more.begin(), more.end());
    return words;
  };
}

struct Sound {
  const char* name;
  std::function<Words(const Folder&)> words;
};

inline const Words one_free = {"--free", "contact_resistance", "--starts", "1", "--linear"};
inline const Words quick = {"--starts", "1"};

inline Record whole() { return cycle().record; }
inline Record rested_discharge() { return cycle().part(1, 2); }

}  // namespace zoo
