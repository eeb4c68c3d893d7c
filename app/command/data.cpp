#include "app/command/data.hpp"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cmath>
#include <ostream>

#include "params/number/quantity.hpp"
#include "params/record/levels.hpp"
#include "params/text/printable.hpp"
#include "params/text/stream.hpp"

namespace onegrain::app {

void add_data(CLI::App& verb, Request& request) {
  verb.add_option_function<std::vector<std::string>>(
          "DATA",
          [&request](const std::vector<std::string>& files) {
            request.files.insert(request.files.end(), files.begin(), files.end());
          },
          "measured data: Battery Data Format, or other delimited text with --columns")
      ->required();
  verb.add_option("--columns", request.columns,
                  "columns of the data by title, behind the files: time=t/h voltage=U/V current=I/mA; a unit that the "
                  "title lacks behind a colon, time=Zeit:h; a current that is positive on discharge, current=-I/mA")
      ->type_name("WHAT=TITLE ...");
}

std::string row_counts(const params::Measured& data) {
  std::string text =
      fmt::format("{} rows read, {} used, {} left out", data.rows_read, data.record.size(), data.doubts.left_out());
  const char* mark = ": ";
  for (std::size_t k = 0; k < params::doubt_kinds; ++k) {
    const auto kind = static_cast<params::DoubtKind>(k);
    if (!params::leaves_row_out(kind) || data.doubts.count(kind) == 0) continue;
    text += fmt::format("{}{} {}", mark, data.doubts.count(kind), params::doubt_name(kind));
    mark = ", ";
  }
  return text;
}

params::MeasuredRequest measured_request(const Request& request) {
  params::MeasuredRequest choice;
  choice.others = false;
  try {
    choice.columns = params::parse_column_map(request.columns);
  } catch (const params::ColumnMapError& error) {
    throw CommandLineError(error.what());
  }
  return choice;
}

std::pair<std::size_t, std::size_t> chosen_steps(const std::string& text, std::size_t count) {
  const auto wrong = [&](const std::string& why) { return CommandLineError("--steps '" + text + "': " + why); };
  const auto number = [&](const std::string& part) -> std::size_t {
    const auto value = params::parse_number(part);
    if (!value || *value < 1 || *value != std::floor(*value))
      throw wrong("write step numbers as `onegrain check DATA` shows them, such as 2..4 or 3");
    return static_cast<std::size_t>(std::min(*value, 1e15)) - 1;  // 1e300 steps: more than the file has
  };
  const std::size_t dots = text.find("..");
  const std::size_t first = number(text.substr(0, dots));
  const std::string rest = dots == std::string::npos ? "" : text.substr(dots + 2);
  const std::size_t last = dots == std::string::npos ? first : rest.empty() ? count - 1 : number(rest);
  if (first > last) throw wrong("the first step comes after the last");
  if (last >= count) throw wrong(fmt::format("the file has {} step{}", count, count == 1 ? "" : "s"));
  return {first, last};
}

params::Measured read_data(const Request& request, const Channels& channels, const std::string& file,
                           std::vector<params::SourceFile>& files) {
  auto loaded = params::load_measured(file, measured_request(request));
  if (!loaded.value) throw UnsoundInput(loaded.faults.text());
  channels.narration << loaded.faults.text();
  if (!channels.quiet)
    channels.narration << params::one_line(params::stream_name(file)) << ": " << row_counts(*loaded.value) << '\n';
  files.insert(files.end(), loaded.files.begin(), loaded.files.end());
  params::mend_sensors(*loaded.value);
  return std::move(*loaded.value);
}

}  // namespace onegrain::app
