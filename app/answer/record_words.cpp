#include "app/answer/record_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/numbers.hpp"
#include "app/command/data.hpp"
#include "app/study/recorded.hpp"
#include "params/text/printable.hpp"
#include "params/text/stream.hpp"

namespace onegrain::app::answer {

namespace {

using params::Measured;
using study::CheckedFile;
using study::CheckedRecord;

const char* separator_name(char separator) {
  switch (separator) {
    case ',':
      return "comma";
    case ';':
      return "semicolon";
    case '\t':
      return "tab";
    case '|':
      return "bar";
    default:
      return "blanks";
  }
}

std::string ended(const params::RecordedStep& step) {
  switch (step.ended_by) {
    case params::StepEnd::voltage:
      return "voltage " + digits(step.last_voltage) + " V";
    case params::StepEnd::current:
      return "current " + digits(1e3 * step.last_current) + " mA";
    case params::StepEnd::time:
      return "time " + duration(step.duration);
    case params::StepEnd::record:
      return "the record ends";
    case params::StepEnd::unknown:
      break;
  }
  return "-";
}

std::string sign_of(const Measured& data, const params::TakenColumn& column) {
  std::string text;
  if (column.factor < 0) text += ", sign turned";
  if (column.role == params::ColumnRole::current && data.sign_from_state) text += ", sign taken from the state";
  return text;
}

Lines understood(const Measured& data) {
  Lines said;
  for (const params::TakenColumn& column : data.columns) {
    said.lines.push_back(fmt::format("  {:<11} '{}'{}{}", params::role_name(column.role), column.title,
                                     column.unit.empty() ? "" : " in " + column.unit, sign_of(data, column)));
  }
  if (!data.other_titles.empty()) {
    std::string text = "  not looked at:";
    for (std::size_t k = 0; k < data.other_titles.size(); ++k)
      text += (k == 0 ? " '" : ", '") + data.other_titles[k] + "'";
    said.lines.push_back(text);
  }
  said.lines.push_back(fmt::format(
      "  separated by {}{}; {}", separator_name(data.separator), data.decimal_comma ? ", decimal comma" : "",
      data.header_line > 0 ? fmt::format("header in line {}", data.header_line) : "no header"));
  said.lines.push_back("  " + row_counts(data));
  if (data.current_offset != 0)
    said.lines.push_back(fmt::format("  {} mA that the sensor reads at every rest are taken off each row",
                                     digits(1e3 * data.current_offset, 3)));
  const params::Record& record = data.record;
  const auto [lowest, highest] = std::minmax_element(record.voltage.begin(), record.voltage.end());
  const auto [least, most] = std::minmax_element(record.current.begin(), record.current.end());
  said.lines.push_back(fmt::format("  {}, {} to {} V, {} to {} mA; below {} mA counts as rest",
                                   duration(record.time.back() - record.time.front()), digits(*lowest),
                                   digits(*highest), digits(1e3 * *least), digits(1e3 * *most),
                                   digits(1e3 * params::rest_current(record), 2)));
  return said;
}

Table step_table(bool rates, Places places) {
  const Measure volts = measure<params::Voltage>();
  Table table{places == summary ? "recorded_steps" : "",
              "",
              {{"name", "", {}, summary},
               {"recorded_step", "step", counted()},
               {"kind", "kind", {}},
               {"start", "start", measure<params::Time>("h"), terminal},
               {"start", "", measure<params::Time>("s"), summary},
               {"duration", "duration", lasting()},
               {"mean_current", "mean current", measure<params::Current>("mA")},
               {"rate", "rate", {}, rates ? everywhere : nowhere},
               {"c_rate", "", Measure{}, summary},
               {"net_charge", "charge", measure<params::Charge>("mAh")},
               {"first_voltage", "first", volts},
               {"last_voltage", "last", volts},
               {"ended_by", "ended, as it seems, by", {}}},
              {},
              places};
  return table;
}

void add_steps(Table& table, const CheckedRecord& record, const std::string& name) {
  for (std::size_t k = 0; k < record.steps.size(); ++k) {
    const params::RecordedStep& step = record.steps[k];
    Row row = {name,
               static_cast<double>(k + 1),
               std::string(params::step_kind_name(step.kind)),
               step.start,
               step.start,
               step.duration,
               step.mean_current};
    const double rate = record.one_c ? std::abs(step.mean_current) / *record.one_c : 0;
    row.resize(row.size() + 2);
    if (rate > 0 && step.kind != params::StepKind::rest) {
      row[7] = nominal_rate(rate);
      row[8] = rate;
    }
    for (const double value : {step.charge, step.first_voltage, step.last_voltage}) row.emplace_back(value);
    row.emplace_back(ended(step));
    table.rows.add(row);
  }
}

std::string sums(const CheckedRecord& record) {
  const params::ChargeBalance& balance = record.balance;
  std::string text = fmt::format("The steps add up to {} mAh; the current integrates to {} mAh (charging positive).",
                                 digits(balance.steps / 3.6, 5), digits(balance.integrated / 3.6, 5));
  if (std::abs(balance.steps - balance.integrated) > 1e-3 * balance.passed)
    text += " These differ by more than 0.1 % of the charge passed: distrust the steps.";
  if (balance.largest_deviation) {
    text += fmt::format(
        " The capacity that the file itself gives differs from the integral by at most {} % in any larger step.",
        digits(100 * *balance.largest_deviation, 2));
  }
  return text;
}

/// By kind, each with its lines; of very many of a kind the first.
Lines doubt_list(const params::Doubts& doubts) {
  constexpr std::size_t shown = 20;
  Lines said;
  for (std::size_t k = 0; k < params::doubt_kinds; ++k) {
    const auto kind = static_cast<params::DoubtKind>(k);
    const std::size_t count = doubts.count(kind);
    if (count == 0) continue;
    said.lines.push_back(
        fmt::format("  {}{}: {}", params::doubt_name(kind), params::leaves_row_out(kind) ? " (left out)" : "", count));
    std::size_t written = 0;
    for (const params::Doubt& doubt : doubts.list()) {
      if (doubt.kind != kind || written == shown) continue;
      said.lines.push_back(fmt::format("    line {}: {}", doubt.line, doubt.text));
      ++written;
    }
    if (count > written) said.lines.push_back(fmt::format("    and {} more", count - written));
  }
  said.lines.insert(said.lines.begin(), said.lines.empty() ? "Nothing in it is doubtful." : "Doubtful:");
  return said;
}

}  // namespace

void tell_record(Section& section, const CheckedRecord& record) {
  section.blocks.push_back(understood(record.measured));
  Table steps = step_table(record.one_c.has_value(), terminal);
  add_steps(steps, record, "");
  section.blocks.push_back(std::move(steps));
  section.blocks.push_back(Paragraph{sums(record), terminal});
  if (!record.one_c && !record.steps.empty())
    section.blocks.push_back(Lines{{"For C-rates, name the sheet of the cell too: onegrain check SHEET DATA"}});
  section.blocks.push_back(doubt_list(record.measured.doubts));
}

void add_records(Section& section, const std::vector<CheckedFile>& files) {
  Table columns{
      "columns",
      "",
      {{"name", "", {}}, {"role", "", {}}, {"column_title", "", {}}, {"column_unit", "", {}}, {"text", "", {}}},
      {},
      summary};
  Table steps = step_table(true, summary);
  Table doubts{
      "doubts", "", {{"name", "", {}}, {"doubt", "", {}}, {"left_out", "", {}}, {"count", "", counted()}}, {}, summary};
  Table rows{"doubtful_rows",
             "",
             {{"name", "", {}}, {"line", "", counted()}, {"doubt", "", {}}, {"message", "", {}}},
             {},
             summary};
  const auto words = [](const std::string& text) {
    TableCell cell;
    if (!text.empty()) cell = params::valid_utf8(text);
    return cell;
  };
  bool any = false;
  for (const CheckedFile& file : files) {
    if (!file.record) continue;
    any = true;
    const std::string name = params::valid_utf8(params::stream_name(file.file));
    const Measured& data = file.record->measured;
    for (const params::TakenColumn& column : data.columns) {
      std::string sign = sign_of(data, column);
      if (!sign.empty()) sign = sign.substr(2);
      columns.rows.add(
          {name, std::string(params::role_name(column.role)), words(column.title), words(column.unit), words(sign)});
    }
    add_steps(steps, *file.record, name);
    for (std::size_t k = 0; k < params::doubt_kinds; ++k) {
      const auto kind = static_cast<params::DoubtKind>(k);
      if (data.doubts.count(kind) == 0) continue;
      doubts.rows.add({name, std::string(params::doubt_name(kind)), params::leaves_row_out(kind),
                       static_cast<double>(data.doubts.count(kind))});
    }
    for (const params::Doubt& doubt : data.doubts.list())
      rows.rows.add({name, static_cast<double>(doubt.line), std::string(params::doubt_name(doubt.kind)),
                     params::valid_utf8(doubt.text)});
  }
  if (!any) return;
  for (Table* table : {&columns, &steps, &doubts, &rows}) section.blocks.push_back(std::move(*table));
}

}  // namespace onegrain::app::answer
