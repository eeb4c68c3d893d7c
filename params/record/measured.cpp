#include "params/record/measured.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cassert>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <memory>

#include "params/record/rows.hpp"
#include "params/text/delimited.hpp"
#include "params/text/library.hpp"
#include "params/text/sha256.hpp"
#include "params/text/stream.hpp"

namespace onegrain::params {

namespace {

constexpr std::size_t at_once = std::size_t{64} << 20;        // bigger files are read in pieces
constexpr std::size_t most_of_stream = std::size_t{4} << 30;  // which is kept whole

void read_text(Loaded<Measured>& result, const std::string& file, LineReader& lines, std::size_t bytes,
               const MeasuredRequest& request) {
  std::optional<Layout> found = read_layout(lines, file, result.faults);
  if (!found) return;
  Layout& layout = *found;
  const Place where{file, static_cast<int>(std::max<std::size_t>(layout.header_line, 1)), 1};
  if (layout.titles.empty()) {
    const auto numbered = [&](ColumnRole role) {
      const auto& column = request.columns.columns[static_cast<std::size_t>(role)];
      return column &&
             column->text.rfind(role == ColumnRole::current && column->text.front() == '-' ? "-#" : "#", 0) == 0;
    };
    if (!numbered(ColumnRole::time) || !numbered(ColumnRole::voltage) || !numbered(ColumnRole::current)) {
      result.faults.error({file, static_cast<int>(layout.first_row_line), 1}, "", "",
                          "a header with names and units is expected above the numbers; without one, name the columns "
                          "by number: --columns time=#1:s voltage=#2:V current=#3:A");
      return;
    }
    for (std::size_t c = 0; c < layout.cells; ++c) layout.titles.push_back(fmt::format("#{}", c + 1));
  }
  Measured data;
  data.columns = take_columns(request.columns, layout.titles, layout.clock_time, where, result.faults);
  if (result.faults.any_error()) return;
  data.separator = layout.separator;
  data.header_line = layout.header_line;
  if (layout.first_row_line == 0) {
    result.faults.error({file}, "", "", "no rows of numbers");
    return;
  }
  // Room from the length of the first rows, so that series do not grow by copying.
  const std::string_view sample = lines.view().substr(0, std::size_t{1} << 18);
  const auto sample_lines = std::max<std::ptrdiff_t>(1, std::count(sample.begin(), sample.end(), lines.line_end()));
  const double expected =
      1.1 * static_cast<double>(bytes) / static_cast<double>(sample.size()) * static_cast<double>(sample_lines) + 16;
  read_rows(lines, layout, request, data, static_cast<std::size_t>(expected));
  if (lines.binary()) return fault_binary(file, result.faults);
  mend_time(data);
  const bool dates =
      data.columns.front().unit == "clock time" && data.record.size() > 0 && data.record.time.front() > 1e8;
  if (dates) {
    const double start = data.record.time.front();
    for (double& t : data.record.time) t -= start;
  }
  if (data.record.size() == 0 || data.doubts.left_out() > data.record.size()) {
    for (const Doubt& doubt : data.doubts.list()) {
      if (leaves_row_out(doubt.kind) && result.faults.errors() < 10)
        result.faults.error({file, static_cast<int>(doubt.line), 1}, "", "", doubt.text);
    }
    result.faults.error({file}, "", "",
                        fmt::format("{} of {} rows cannot be used", data.doubts.left_out(), data.rows_read));
    return;
  }
  sign_from_state(data);
  result.value = std::move(data);
}

}  // namespace

const char* doubt_name(DoubtKind kind) {
  constexpr const char* names[doubt_kinds] = {
      "another number of cells than titles",
      "no value for time, voltage or current",
      "no number for time, voltage or current",
      "time out of order",
      "time starts anew",
      "word of the state column not understood",
      "row repeated",
      "time repeated with other values",
      "gap",
      "jump of the voltage",
      "voltage against the sign of the current",
      "current without sign",
      "current positive on discharge",
      "spike of the current (mended)",
      "glitch of the voltage (mended)",
      "charge that does not balance",
  };
  return names[static_cast<std::size_t>(kind)];
}

std::size_t Doubts::left_out() const {
  std::size_t rows = 0;
  for (std::size_t k = 0; k < doubt_kinds; ++k) {
    if (leaves_row_out(static_cast<DoubtKind>(k))) rows += counts_[k];
  }
  return rows;
}

Loaded<Measured> read_measured(const std::string& text, const std::string& file, const MeasuredRequest& request) {
  Loaded<Measured> result;
  result.files.push_back({file, false, sha256(text)});
  LineReader lines(text);
  read_text(result, file, lines, text.size(), request);
  return result;
}

Loaded<Measured> load_measured(const std::string& path, const MeasuredRequest& request) {
  Loaded<Measured> result;
  if (is_stream(path)) {
    const std::optional<std::string> text = read_given(path, result.faults, most_of_stream);
    return text ? read_measured(*text, stream_name(path), request) : result;
  }
  std::error_code error;
  const std::uintmax_t bytes = std::filesystem::file_size(path, error);
  if (error || bytes <= at_once) {  // also folders, missing files: read_file says what is wrong
    const std::optional<std::string> text = read_file(path, result.faults, at_once);
    return text ? read_measured(*text, path, request) : result;
  }
  const std::unique_ptr<std::FILE, int (*)(std::FILE*)> file(std::fopen(path.c_str(), "rb"), std::fclose);
  if (!file) {
    result.faults.error({path}, "", "", "cannot be read");
    return result;
  }
  result.files.push_back({path, false, ""});
  Sha256 hash;
  bool at_end = false;
  LineReader lines([&](char* into, std::size_t room) {
    const std::size_t some = std::fread(into, 1, room, file.get());
    at_end = some == 0;
    if (some > 0) hash.add({into, some});
    return some;
  });
  read_text(result, path, lines, bytes, request);
  if (at_end && std::ferror(file.get()) == 0) result.files.back().sha256 = hash.digits();
  if (std::ferror(file.get()) != 0) {
    result.value.reset();
    result.faults.error({path}, "", "", "cannot be read to its end");
  }
  return result;
}

std::string delimited_text(const std::vector<Column>& columns, int digits) {
  std::string text;
  for (std::size_t c = 0; c < columns.size(); ++c) {
    assert(columns[c].values.size() == columns[0].values.size());
    const std::string& title = columns[c].title;
    const bool quoted = title.find_first_of(",\"\r\n") != std::string::npos;
    if (c > 0) text += ',';
    if (quoted) text += '"';
    for (const char letter : title) {
      if (letter == '"') text += '"';  // within quotes a quote is written twice
      text += letter;
    }
    if (quoted) text += '"';
  }
  text += '\n';
  const std::size_t rows = columns.empty() ? 0 : columns[0].values.size();
  for (std::size_t r = 0; r < rows; ++r) {
    for (std::size_t c = 0; c < columns.size(); ++c) {
      if (c > 0) text += ',';
      const double value = columns[c].values[r];
      if (std::isfinite(value)) fmt::format_to(std::back_inserter(text), "{:.{}g}", value == 0 ? 0.0 : value, digits);
    }
    text += '\n';
  }
  return text;
}

std::string battery_data_text(const Record& record, int digits) {
  std::vector<Column> columns = {
      {"Test Time / s", record.time}, {"Voltage / V", record.voltage}, {"Current / A", record.current}};
  columns.insert(columns.end(), record.others.begin(), record.others.end());
  return delimited_text(columns, digits);
}

}  // namespace onegrain::params
