// Fuzzed: the reader of cyclers' files. Apart from the other readers of files: params has two types called Reading.

#include "params/record/measured.hpp"

#include <cmath>
#include <string>

#include "params/record/record.hpp"
#include "params/record/spectrum.hpp"
#include "tests/attack/fuzz/targets.hpp"

namespace onegrain::attack::fuzz {

void measured(std::string_view bytes) {
  const auto loaded = params::read_measured(std::string(bytes), "data.csv");
  check_messages(loaded.faults, loaded.value.has_value());
  if (!loaded.value) return;
  const params::Record& r = loaded.value->record;
  require(r.size() > 0 && r.voltage.size() == r.size() && r.current.size() == r.size(), "columns have one length");
  require(loaded.value->rows_read == r.size() + loaded.value->doubts.left_out(), "every row is used or left out");
  for (std::size_t k = 0; k < r.size(); ++k) {
    require(std::isfinite(r.time[k]) && std::isfinite(r.voltage[k]) && std::isfinite(r.current[k]),
            "rows that are used are finite");
    require(k == 0 || r.time[k] >= r.time[k - 1], "time does not fall");
  }
  const auto steps = params::recorded_steps(r);
  require(!steps.empty() && steps.front().first == 0 && steps.back().last == r.size() - 1,
          "the steps cover the record");
  for (std::size_t s = 1; s < steps.size(); ++s)
    require(steps[s].first == steps[s - 1].last + 1, "the steps follow one another");
  params::Doubts doubts = loaded.value->doubts;
  params::examine(r, steps, doubts);
  const auto again = params::read_measured(params::battery_data_text(r), "again.csv");
  require(again.value.has_value(), "what is written in the standard format can be read");
  require(again.value->record.size() == r.size(), "and has as many rows");
}

void spectrum(std::string_view bytes) {
  std::vector<std::string> columns;
  if (const std::size_t end = bytes.find('\n'); end != std::string_view::npos && bytes.substr(0, 2) == "# ") {
    columns.emplace_back(bytes.substr(2, end - 2));
    bytes.remove_prefix(end + 1);
  }
  const auto loaded = params::read_spectrum(std::string(bytes), "spectrum.csv", columns);
  check_messages(loaded.faults, loaded.value.has_value());
  if (!loaded.value) return;
  const params::MeasuredSpectrum& s = *loaded.value;
  require(s.size() >= 5 && s.real.size() == s.size() && s.imaginary.size() == s.size() && s.line.size() == s.size(),
          "a spectrum has points, and all its columns are of one length");
  for (std::size_t k = 0; k < s.size(); ++k) {
    require(s.frequency[k] > 0 && std::isfinite(s.frequency[k]), "a frequency is above 0");
    require(std::isfinite(s.real[k]) && std::isfinite(s.imaginary[k]), "an impedance is finite");
    require(k == 0 || s.frequency[k] <= s.frequency[k - 1], "frequencies fall");
  }
}

}  // namespace onegrain::attack::fuzz
