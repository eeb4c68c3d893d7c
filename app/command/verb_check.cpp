#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <ostream>

#include "app/job.hpp"
#include "app/render/table.hpp"
#include "app/study/recorded.hpp"
#include "params/record/measured.hpp"
#include "params/record/record.hpp"
#include "params/sheet/protocol.hpp"
#include "params/text/library.hpp"
#include "params/text/printable.hpp"
#include "params/text/stream.hpp"

namespace onegrain::app {

namespace {

struct Verdict {
  std::string faults;  ///< one line each, warnings included
  bool sound;
  std::string about;         ///< what the file is, if sound
  std::string details = {};  ///< lines that follow, if sound
};

template <class T>
Verdict verdict(const params::Loaded<T>& loaded, const std::string& about) {
  return {loaded.faults.text(), loaded.value.has_value(), about};
}

/// The sheet among the files of the command line: the cell that a protocol or a record belongs to.
struct NamedSheet {
  std::optional<params::Loaded<params::Sheet>> loaded;  ///< absent: none is named
  std::optional<params::RateBase> base() const {
    if (!loaded || !loaded->value) return std::nullopt;
    const model::Cell cell = params::to_cell(*loaded->value);
    return params::rate_base(*loaded->value, model::one_hour_charge(cell, model::equilibrium_window(cell)));
  }
};

params::FileKind kind_of(const std::string& file, const Request& request) {
  const params::FileKind kind = params::file_kind(file);
  // A column map says that there are data; a name without a file may be a shipped sheet.
  std::error_code ignored;
  const bool there = std::filesystem::is_regular_file(file, ignored) || params::is_stream(file);
  const bool unknown_file = kind == params::FileKind::unknown && there;
  return unknown_file && !request.columns.empty() ? params::FileKind::data : kind;
}

NamedSheet named_sheet(const Request& request) {
  for (const std::string& file : request.files) {
    const params::FileKind kind = kind_of(file, request);
    if (kind != params::FileKind::sheet && kind != params::FileKind::unknown)
      continue;  // unknown: it may be a shipped one
    auto sheet = params::load_sheet(file);
    if (!sheet.value && kind == params::FileKind::unknown) continue;
    return {std::move(sheet)};
  }
  return {};
}

Verdict check_protocol(const std::string& file, const Request& request) {
  const NamedSheet sheet = named_sheet(request);
  if (!sheet.loaded) {
    return {file + ": a protocol is checked against a cell; name its sheet too: onegrain check SHEET " + file + "\n",
            false, ""};
  }
  if (!sheet.loaded->value) return {"", false, ""};  // the sheet reports its own faults
  return verdict(params::load_protocol(file, *sheet.loaded->value, *sheet.base()), "a protocol");
}

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
      return "current " + digits(1e3 * step.last_current, 3) + " mA";
    case params::StepEnd::time:
      return "time " + duration(step.duration);
    case params::StepEnd::record:
      return "the record ends";
    case params::StepEnd::unknown:
      break;
  }
  return "-";
}

/// Steps in a table; of very many the first and the last.
std::string step_table(const std::vector<params::RecordedStep>& steps, const std::optional<double>& one_c) {
  constexpr std::size_t shown_at_start = 160, shown_at_end = 40;
  std::vector<Table::Heading> headings = {
      {"step"}, {"kind", Table::Align::left}, {"start / h"}, {"duration"}, {"mean current / mA"}};
  if (one_c) headings.push_back({"rate"});
  headings.insert(headings.end(),
                  {{"charge / mAh"}, {"first / V"}, {"last / V"}, {"ended, as it seems, by", Table::Align::left}});
  Table table(std::move(headings));
  for (std::size_t k = 0; k < steps.size(); ++k) {
    if (steps.size() > shown_at_start + shown_at_end && k == shown_at_start) {
      table.add({"...", fmt::format("{} more", steps.size() - shown_at_start - shown_at_end)});
      k = steps.size() - shown_at_end;
    }
    const params::RecordedStep& step = steps[k];
    std::vector<std::string> cells = {std::to_string(k + 1), params::step_kind_name(step.kind),
                                      digits(step.start / 3600), duration(step.duration),
                                      digits(1e3 * step.mean_current)};
    if (one_c)
      cells.push_back(step.kind == params::StepKind::rest ? "-" : nominal_rate(std::abs(step.mean_current) / *one_c));
    cells.insert(cells.end(),
                 {digits(step.charge / 3.6), digits(step.first_voltage), digits(step.last_voltage), ended(step)});
    table.add(std::move(cells));
  }
  return table.text();
}

/// Which column was taken for what: every unit and sign that was assumed can be seen here.
std::string understood(const params::Measured& data) {
  std::string text;
  for (const params::TakenColumn& column : data.columns) {
    text += fmt::format("  {:<11} '{}'", params::role_name(column.role), column.title);
    if (!column.unit.empty()) text += " in " + column.unit;
    if (column.factor < 0) text += ", sign turned";
    if (column.role == params::ColumnRole::current && data.sign_from_state) text += ", sign taken from the state";
    text += '\n';
  }
  if (!data.other_titles.empty()) {
    text += "  not looked at:";
    for (std::size_t k = 0; k < data.other_titles.size(); ++k)
      text += (k == 0 ? " '" : ", '") + data.other_titles[k] + "'";
    text += '\n';
  }
  text +=
      fmt::format("  separated by {}{}; ", separator_name(data.separator), data.decimal_comma ? ", decimal comma" : "");
  text += data.header_line > 0 ? fmt::format("header in line {}\n", data.header_line) : std::string("no header\n");
  return text + "  " + row_counts(data) + "\n";
}

/// By kind, each with its lines; of very many of a kind the first.
std::string doubt_list(const params::Doubts& doubts) {
  constexpr std::size_t shown = 20;
  std::string text;
  for (std::size_t k = 0; k < params::doubt_kinds; ++k) {
    const auto kind = static_cast<params::DoubtKind>(k);
    const std::size_t count = doubts.count(kind);
    if (count == 0) continue;
    text +=
        fmt::format("  {}{}: {}\n", params::doubt_name(kind), params::leaves_row_out(kind) ? " (left out)" : "", count);
    std::size_t written = 0;
    for (const params::Doubt& doubt : doubts.list()) {
      if (doubt.kind != kind || written == shown) continue;
      text += fmt::format("    line {}: {}\n", doubt.line, doubt.text);
      ++written;
    }
    if (count > written) text += fmt::format("    and {} more\n", count - written);
  }
  return text.empty() ? "Nothing in it is doubtful.\n" : "Doubtful:\n" + text;
}

Verdict check_data(const std::string& file, const Request& request) {
  auto loaded = params::load_measured(file, measured_request(request));
  if (!loaded.value) return verdict(loaded, "");
  params::Measured& data = *loaded.value;
  const params::Record& record = data.record;
  const auto steps = params::recorded_steps(record);
  params::examine(record, steps, data.doubts);
  std::optional<double> one_c;
  if (const auto base = named_sheet(request).base()) one_c = base->one_hour_charge * base->plate_area / 3600;

  const auto [lowest, highest] = std::minmax_element(record.voltage.begin(), record.voltage.end());
  const auto [least, most] = std::minmax_element(record.current.begin(), record.current.end());
  std::string text = understood(data);
  text += fmt::format("  {}, {} to {} V, {} to {} mA; below {} mA counts as rest\n\n",
                      duration(record.time.back() - record.time.front()), digits(*lowest), digits(*highest),
                      digits(1e3 * *least), digits(1e3 * *most), digits(1e3 * params::rest_current(record), 2));
  text += step_table(steps, one_c);
  const params::ChargeBalance balance = params::charge_balance(record, steps);
  text += fmt::format("\nThe steps add up to {} mAh; the current integrates to {} mAh (charging positive).\n",
                      digits(balance.steps / 3.6, 5), digits(balance.integrated / 3.6, 5));
  if (std::abs(balance.steps - balance.integrated) > 1e-3 * balance.passed)
    text += "These differ by more than 0.1 % of the charge passed: distrust the steps.\n";
  if (balance.largest_deviation) {
    text += fmt::format(
        "The capacity that the file itself gives differs from the integral by at most {} % in any larger step.\n",
        digits(100 * *balance.largest_deviation, 2));
  }
  if (!one_c && steps.size() > 0) text += "For C-rates, name the sheet of the cell too: onegrain check SHEET DATA\n";
  text += doubt_list(data.doubts);
  return {
      loaded.faults.text(), true,
      fmt::format("a time series of {} rows in {} step{}", record.size(), steps.size(), steps.size() == 1 ? "" : "s"),
      text};
}

Verdict check_file(const std::string& file, const Request& request) {
  switch (kind_of(file, request)) {
    case params::FileKind::material:
      return verdict(params::load_material(file), "a material card");
    case params::FileKind::lithium_metal:
      return verdict(params::load_lithium_metal(file), "a lithium metal card");
    case params::FileKind::electrolyte:
      return verdict(params::load_electrolyte(file), "an electrolyte card");
    case params::FileKind::protocol:
      return check_protocol(file, request);
    case params::FileKind::data:
      return check_data(file, request);
    case params::FileKind::sheet:
    case params::FileKind::unknown:
      break;  // a shipped name, or whatever the sheet reader has to say of it
  }
  const auto loaded = params::load_sheet(file);
  return verdict(loaded, loaded.value ? "a cell sheet: " + loaded.value->name : "");
}

}  // namespace

void check(const Request& request, const Channels& channels) {
  std::string faults;
  bool all_sound = true;
  for (const std::string& file : request.files) {
    const Verdict v = check_file(file, request);
    faults += v.faults;
    all_sound = all_sound && v.sound;
    if (v.sound)
      channels.results << params::one_line(params::stream_name(file)) << ": sound, " << v.about << '\n' << v.details;
  }
  if (!all_sound) throw UnsoundInput(faults);
  channels.narration << faults;  // warnings
}

}  // namespace onegrain::app
