#include "params/sheet/protocol.hpp"

#include <fmt/format.h>

#include "params/keys/reader.hpp"
#include "params/sheet/protocol_keys.hpp"
#include "params/text/fields.hpp"
#include "params/text/library.hpp"
#include "params/text/stream.hpp"

namespace onegrain::params {

namespace {

/// "(coin07.yaml:8)", where a limit was stated.
std::string stated_at(const Value& value) {
  return value.place.line > 0 ? fmt::format(" ({}:{})", value.place.file, value.place.line) : "";
}

template <class Q>
std::optional<double> si_of(const std::optional<Given<Q>>& value) {
  return value ? std::optional<double>(value->si) : std::nullopt;
}

/// What a step that was read without a fault means.
model::Step meant(const WrittenStep& written) {
  model::Step step;
  switch (written.driven) {
    case WrittenStep::Driven::rest:
      step.drive = model::CurrentDrive{0};
      step.label = "rest";
      break;
    case WrittenStep::Driven::rate:
    case WrittenStep::Driven::current: {
      const double magnitude = written.rate.current_density;
      step.drive = model::CurrentDrive{written.charge ? magnitude : -magnitude};
      step.label = fmt::format("{} {}", written.charge ? "charge" : "discharge", written.rate.written);
      break;
    }
    case WrittenStep::Driven::voltage:
      step.drive = model::VoltageDrive{written.voltage.si};
      step.label = "hold " + written.voltage.written;
      break;
  }
  if (!written.name.empty()) step.label = written.name;
  step.until.voltage = si_of(written.until.voltage);
  step.until.time = si_of(written.until.time);
  step.until.current = written.until.current_density;
  step.until.capacity = written.until.capacity;
  step.until.temperature = si_of(written.until.temperature);
  return step;
}

}  // namespace

double parse_passed_charge(std::string_view text, const RateBase& base) {
  std::string problem;
  for (const Kind* kind : {&ChargeKind::kind, &ArealCapacityKind::kind, &SpecificCapacityKind::kind}) {
    double value = 0;
    try {
      value = parse_quantity(text, *kind);
    } catch (const QuantityError& wrong) {
      if (problem.empty()) problem = wrong.what();
      continue;
    }
    if (kind == &ChargeKind::kind) value /= base.plate_area;
    if (kind == &SpecificCapacityKind::kind) {
      if (!base.active_loading) {
        throw QuantityError("the mass of active material is not known (the card of the material gives no density)");
      }
      value *= *base.active_loading;
    }
    if (!(value > 0)) throw QuantityError("must be greater than 0");
    return value;
  }
  throw QuantityError(problem);
}

void check_in_window(Fields& fields, const Value& voltage, const Sheet& sheet) {
  if (voltage.si > sheet.upper_voltage.si * (1 + 1e-12)) {
    fields.error("voltage", fmt::format("above the upper limit {}{}", show(sheet.upper_voltage.si, VoltageKind::kind),
                                        stated_at(sheet.upper_voltage)));
  } else if (voltage.si < sheet.lower_voltage.si * (1 - 1e-12)) {
    fields.error("voltage", fmt::format("below the lower limit {}{}", show(sheet.lower_voltage.si, VoltageKind::kind),
                                        stated_at(sheet.lower_voltage)));
  }
}

Loaded<model::Protocol> read_protocol(const std::string& text, const std::string& file, const Sheet& sheet,
                                      const RateBase& base) {
  Loaded<model::Protocol> result;
  result.files.push_back(source_file(file, false, text));
  const DocumentReading reading{file, "", false, &result.faults, &result.files, &result.assumptions};
  const std::optional<Node> document = read_document(text, file, result.faults);
  if (!document) return result;
  Fields fields(*document, "", reading);
  WrittenProtocol written{sheet, base, {}, {}};
  KeyReader reader(fields);
  keys(reader, written);
  reader.finish();
  if (result.faults.any_error()) return result;
  model::Protocol& protocol = result.value.emplace();
  for (const WrittenStep& step : written.steps) protocol.steps.push_back(meant(step));
  if (written.made_for) protocol.made_for = {written.made_for->temperature.si, written.made_for->from_soc.si};
  if (written.repeat) protocol.repeat = static_cast<int>(written.repeat->si);
  return result;
}

Loaded<model::Protocol> load_protocol(const std::string& path, const Sheet& sheet, const RateBase& base) {
  Loaded<model::Protocol> nothing;
  const std::optional<std::string> text = read_given(path, nothing.faults);
  return text ? read_protocol(*text, is_stream(path) ? stream_name(path) : path, sheet, base) : nothing;
}

}  // namespace onegrain::params
