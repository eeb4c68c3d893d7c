#include "params/sheet/protocol.hpp"

#include <fmt/format.h>

#include <cmath>

#include "params/card/card_reader.hpp"
#include "params/text/fields.hpp"
#include "params/text/library.hpp"
#include "params/text/stream.hpp"

namespace onegrain::params {

namespace {

/// "(coin07.yaml:8)", where a limit was stated.
std::string stated_at(const Value& value) {
  return value.place.line > 0 ? fmt::format(" ({}:{})", value.place.file, value.place.line) : "";
}

class ProtocolReader {
 public:
  ProtocolReader(const Sheet& sheet, const RateBase& base) : sheet_(sheet), base_(base) {}

  model::Protocol protocol(Fields& fields) {
    model::Protocol result;
    if (fields.has("onegrain_protocol")) read_version(fields, "onegrain_protocol");
    for (const char* key : {"name", "note", "source"}) fields.text(key);
    const Node* steps = fields.node("steps");
    if (steps == nullptr) {
      fields.missing("steps", "a list, such as '- {drive: {rate: 0.5C, sense: charge}, until: {voltage: 4.2 V}}'");
    } else if (steps->type != Node::Type::sequence || steps->items.empty()) {
      fields.error("steps", "a list of steps is expected, such as '- {drive: rest, until: {time: 30 min}}'");
    } else {
      for (std::size_t k = 0; k < steps->items.size(); ++k) {
        const Node& item = steps->items[k];
        const std::string path = fmt::format("steps[{}]", k + 1);
        if (item.type != Node::Type::mapping) {
          fields.reading().faults->error(fields.reading().at(item.line, item.column), path, shown(item),
                                         "a step is expected, such as {drive: rest, until: {time: 30 min}}");
          continue;
        }
        Fields one(item, path, fields.reading());
        result.steps.push_back(step(one));
        one.finish();
      }
    }
    if (const std::optional<Value> repeat = fields.value("repeat", NumberKind::kind, limits::between(1, 100000))) {
      if (repeat->si != std::floor(repeat->si)) {
        fields.error("repeat", "a whole number is expected");
      } else {
        result.repeat = static_cast<int>(repeat->si);
      }
    }
    fields.finish();
    return result;
  }

 private:
  model::Step step(Fields& fields) {
    model::Step result;
    result.drive = drive(fields);
    if (std::optional<Fields> ends =
            fields.required_mapping("until", "one end or more, such as {voltage: 4.2 V, time: 2 h}")) {
      until(*ends, result);
    }
    result.label = label_;
    if (const std::optional<std::string> name = fields.text("name")) result.label = *name;
    return result;
  }

  model::Drive drive(Fields& fields) {
    label_ = "rest";
    const Node* node = fields.node("drive");
    const std::string right =
        "'rest', {rate: 0.5C, sense: charge}, {current: 1 mA, sense: discharge} or {voltage: 4.2 V}";
    const model::Drive rest = model::CurrentDrive{0};
    if (node == nullptr) {
      fields.missing("drive", right);
      return rest;
    }
    if (node->type == Node::Type::scalar) {
      if (node->text != "rest") fields.error("drive", "expected " + right);
      return rest;
    }
    std::optional<Fields> keys = fields.mapping("drive", right);
    if (!keys) return rest;
    const bool rate = keys->has("rate"), current = keys->has("current"), voltage = keys->has("voltage");
    if (rate + current + voltage != 1) {
      for (const char* key : {"rate", "current", "voltage", "sense"}) keys->node(key);
      keys->finish();
      keys->error_here(rate + current + voltage == 0 ? "nothing is driven; expected " + right
                                                     : "one thing is driven at a time: rate, current or voltage");
      return rest;
    }
    if (voltage) {
      model::VoltageDrive hold{0};
      if (const std::optional<Value> value = keys->value("voltage", VoltageKind::kind, limits::any)) {
        hold.voltage = value->si;
        check_voltage(*value, *keys);
        label_ = "hold " + value->written;
      }
      if (keys->has("sense")) {
        keys->node("sense");
        keys->error("sense", "a held voltage needs no sense");
      }
      keys->finish();
      return hold;
    }
    const char* key = rate ? "rate" : "current";
    const double magnitude = read_rate(*keys, key).value_or(0);
    const std::optional<std::string> sense = keys->choice("sense", {"charge", "discharge"});
    label_ = fmt::format("{} {}", sense.value_or("current"), keys->here().find(key)->value.text);
    keys->finish();
    return model::CurrentDrive{sense && *sense == "discharge" ? -magnitude : magnitude};
  }

  void until(Fields& ends, model::Step& step) {
    if (const std::optional<Value> voltage = ends.value("voltage", VoltageKind::kind, limits::any)) {
      step.until.voltage = voltage->si;
      check_voltage(*voltage, ends);
      if (std::holds_alternative<model::VoltageDrive>(step.drive))
        ends.error("voltage", "the voltage is held in this step; end it by time, current or capacity");
    }
    if (const std::optional<Value> time = ends.value("time", TimeKind::kind,
                                                     {.lower = 0,
                                                      .upper = 10 * 365.25 * 86400,
                                                      .lower_open = true,
                                                      .reason = "must be greater than 0 and at most ten years"})) {
      step.until.time = time->si;
    }
    if (ends.has("rate") && ends.has("current")) ends.error("rate", "either 'rate' or 'current', not both");
    for (const char* key : {"rate", "current"}) {
      if (ends.has(key)) step.until.current = read_rate(ends, key);
      ends.node(key);
    }
    if (step.until.current) {
      const auto* drive = std::get_if<model::CurrentDrive>(&step.drive);
      if (drive != nullptr) {
        ends.error(ends.has("rate") ? "rate" : "current",
                   "the current does not fall in this step; such an end belongs to a held voltage");
      }
    }
    step.until.capacity = capacity(ends);
    if (const std::optional<Value> temperature =
            ends.value("temperature", TemperatureKind::kind, limits::between(150, 500))) {
      step.until.temperature = temperature->si;
      if (!sheet_.thermal) ends.error("temperature", "the sheet has no 'thermal', so the temperature stays what it is");
    }
    const bool any = ends.has("voltage") || ends.has("time") || ends.has("rate") || ends.has("current") ||
                     ends.has("capacity") || ends.has("temperature");
    ends.finish();
    if (!any) ends.error_here("an end is missing: voltage, time, rate, current, capacity or temperature");
    const auto* drive = std::get_if<model::CurrentDrive>(&step.drive);
    if (any && drive != nullptr && drive->current == 0 && label_ == "rest" && !ends.has("time")) {
      ends.error_here("a rest needs a time, such as {time: 30 min}; without one it may never end");
    }
  }

  std::optional<double> read_rate(Fields& fields, const std::string& key) {
    const std::optional<std::string> text = fields.text(key);
    if (!text) return std::nullopt;
    try {
      return parse_rate(*text, base_).current_density;
    } catch (const RateError& wrong) {
      fields.error(key, wrong.what());
      return std::nullopt;
    }
  }

  /// Per cell (mAh), per plate area (mAh/cm2) or per mass of active material (mAh/g).
  std::optional<double> capacity(Fields& fields) {
    const std::optional<std::string> text = fields.text("capacity");
    if (!text) return std::nullopt;
    std::string problem;
    for (const Kind* kind : {&ChargeKind::kind, &ArealCapacityKind::kind, &SpecificCapacityKind::kind}) {
      try {
        double value = parse_quantity(*text, *kind);
        if (kind == &ChargeKind::kind) value /= base_.plate_area;
        if (kind == &SpecificCapacityKind::kind) {
          if (!base_.active_loading) {
            fields.error("capacity",
                         "the mass of active material is not known (the card of the material gives no density)");
            return std::nullopt;
          }
          value *= *base_.active_loading;
        }
        if (!(value > 0)) {
          fields.error("capacity", "must be greater than 0");
          return std::nullopt;
        }
        return value;
      } catch (const QuantityError& wrong) {
        if (problem.empty()) problem = wrong.what();
      }
    }
    fields.error("capacity", problem);
    return std::nullopt;
  }

  void check_voltage(const Value& voltage, Fields& fields) {
    const std::string limit_text = [&] {
      if (voltage.si > sheet_.upper_voltage.si * (1 + 1e-12)) {
        return fmt::format("above the upper limit {}{}", show(sheet_.upper_voltage.si, VoltageKind::kind),
                           stated_at(sheet_.upper_voltage));
      }
      if (voltage.si < sheet_.lower_voltage.si * (1 - 1e-12)) {
        return fmt::format("below the lower limit {}{}", show(sheet_.lower_voltage.si, VoltageKind::kind),
                           stated_at(sheet_.lower_voltage));
      }
      return std::string();
    }();
    if (!limit_text.empty()) fields.error("voltage", limit_text);
  }

  const Sheet& sheet_;
  const RateBase& base_;
  std::string label_;
};

}  // namespace

Loaded<model::Protocol> read_protocol(const std::string& text, const std::string& file, const Sheet& sheet,
                                      const RateBase& base) {
  Loaded<model::Protocol> result;
  result.files.push_back(source_file(file, false, text));
  const DocumentReading reading{file, "", false, &result.faults, &result.files, &result.assumptions};
  const std::optional<Node> document = read_document(text, file, result.faults);
  if (!document) return result;
  Fields fields(*document, "", reading);
  model::Protocol protocol = ProtocolReader(sheet, base).protocol(fields);
  if (!result.faults.any_error()) result.value = std::move(protocol);
  return result;
}

Loaded<model::Protocol> load_protocol(const std::string& path, const Sheet& sheet, const RateBase& base) {
  Loaded<model::Protocol> nothing;
  const std::optional<std::string> text = read_given(path, nothing.faults);
  return text ? read_protocol(*text, is_stream(path) ? stream_name(path) : path, sheet, base) : nothing;
}

}  // namespace onegrain::params
