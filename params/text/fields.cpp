#include "params/text/fields.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>
#include <utility>
#include <vector>

namespace onegrain::params {

namespace {

std::string example(const Kind& kind, const char* example_unit, const char* number = "1") {
  const std::string unit = example_unit != nullptr ? example_unit : kind.unit;
  return unit.empty() ? kind.noun : fmt::format("{}, such as '{} {}'", kind.noun, number, unit);
}

/// Why `si` is outside the limits, or empty.
std::string outside(double si, const Kind& kind, const Limits& limits, const char* unit) {
  const bool low = limits.lower_open ? !(si > limits.lower) : !(si >= limits.lower);
  const bool high = limits.upper_open ? !(si < limits.upper) : !(si <= limits.upper);
  if (!low && !high) return {};
  if (!limits.reason.empty()) return limits.reason;
  const bool below = std::isfinite(limits.lower), above = std::isfinite(limits.upper);
  const auto bound = [&](double value) { return value == 0 ? std::string("0") : show(value, kind, 5, unit); };
  if (below && above) {
    return fmt::format("must lie between {} and {}{}", bound(limits.lower), bound(limits.upper),
                       limits.lower_open && limits.upper_open ? ", both excluded" : "");
  }
  if (below) return fmt::format("must be {} {}", limits.lower_open ? "greater than" : "at least", bound(limits.lower));
  return fmt::format("must be {} {}", limits.upper_open ? "less than" : "at most", bound(limits.upper));
}

}  // namespace

std::string shown(const Node& node) {
  switch (node.type) {
    case Node::Type::scalar:
      return node.text;
    case Node::Type::sequence:
      return "[...]";
    case Node::Type::mapping:
      return "{...}";
    case Node::Type::null:
      break;
  }
  return node.text;
}

Spread read_spread(const Node& node, const std::string& path, const Kind& kind, std::optional<double> value,
                   const DocumentReading& reading) {
  const auto fault = [&](const std::string& message) {
    reading.faults->error(reading.at(node.line, node.column), path, shown(node), message);
    return Spread{};
  };
  const std::string right =
      fmt::format("'{}' or 'factor 3'",
                  *kind.unit == '\0' ? "0.1" : fmt::format("0.1 {}", kind.absolute_temperature ? "K" : kind.unit));
  if (node.type != Node::Type::scalar) return fault("expected the half-width of a 95 % interval, such as " + right);
  std::string_view text = node.text;
  if (text.substr(0, 6) == "factor") {
    text.remove_prefix(6);
    while (!text.empty() && (text.front() == ' ' || text.front() == ':')) text.remove_prefix(1);
    const std::optional<double> factor = parse_number(text);
    if (!factor || !(*factor > 1)) return fault("a factor greater than 1 is expected, such as 'factor 3'");
    if (kind.absolute_temperature) return fault("a temperature has no factor; expected a difference, such as '2 K'");
    return {Spread::Form::factor, *factor};
  }
  Kind difference = kind;
  difference.absolute_temperature = false;
  double size = 0;
  try {
    size = parse_quantity(text, difference, kind.absolute_temperature ? "K" : nullptr);
  } catch (const QuantityError& wrong) {
    bool relative = false;
    if (!kind.dimension.none() && value && !kind.absolute_temperature) {
      try {
        size = std::abs(*value) * parse_quantity(text, FractionKind::kind);
        relative = text.find('%') != std::string_view::npos;
      } catch (const QuantityError&) {
      }
    }
    if (!relative) return fault(wrong.what());
  }
  if (!(size > 0)) return fault("must be greater than 0; leave 'spread' out where it is not known");
  return {Spread::Form::absolute, size};
}

std::optional<double> read_scale(Fields& fields) {
  const Node* node = fields.node("scaled_by");
  if (node == nullptr) return 1;
  const std::optional<double> scale = node->type == Node::Type::scalar ? parse_number(node->text) : std::nullopt;
  if (scale && *scale > 0) return scale;
  fields.error("scaled_by", "a plain number greater than 0 is expected, such as 1.7");
  return std::nullopt;
}

std::optional<Value> read_value(const Node& node, const std::string& path, const Kind& kind, const Limits& limits,
                                const DocumentReading& reading, const char* example_unit, double* scaled_by) {
  const auto fault = [&](const Node& at, const std::string& message) {
    reading.faults->error(reading.at(at.line, at.column), path, shown(at), message);
    return std::nullopt;
  };
  if (node.type == Node::Type::sequence) {
    return fault(node, fmt::format("a list where {} is expected", example(kind, example_unit)));
  }
  if (node.type == Node::Type::null) {
    return fault(node, fmt::format("no value given; expected {}", example(kind, example_unit)));
  }
  Value result;
  result.kind = &kind;
  result.path = path;
  const Node* number = &node;
  std::optional<Fields> fields;
  if (node.type == Node::Type::mapping) {
    fields.emplace(node, path, reading);
    number = fields->node("value");
    if (number == nullptr) {
      fields->missing("value", example(kind, example_unit));
    } else if (fields->cut_by_comma("value")) {
      number = nullptr;
    } else if (number->type != Node::Type::scalar) {
      fault(*number, fmt::format("expected {}", example(kind, example_unit)));
      number = nullptr;
    }
    result.source = fields->text("source").value_or("");
  }
  bool good = number != nullptr;
  if (number != nullptr) {
    result.written = number->text;
    result.place = reading.at(number->line, number->column);
    try {
      result.si = parse_quantity(number->text, kind, example_unit);
      if (const std::string why = outside(result.si, kind, limits, example_unit); !why.empty()) {
        fault(*number, why);
        good = false;
      }
    } catch (const QuantityError& wrong) {
      fault(*number, wrong.what());
      good = false;
    }
  }
  if (fields) {
    if (scaled_by != nullptr && fields->has("scaled_by")) {
      const std::optional<double> scale = read_scale(*fields);
      if (scale && good) {
        result.si *= *scale;
        result.written += fmt::format(" scaled by {}", fields->node("scaled_by")->text);
        *scaled_by = *scale;
        if (const std::string why = outside(result.si, kind, limits, example_unit); !why.empty()) {
          fields->error("scaled_by", fmt::format("makes it {}; {}", show(result.si, kind, 5, example_unit), why));
          good = false;
        }
      }
      good = good && scale;
    }
    if (const Node* spread = fields->node("spread")) {
      result.spread =
          read_spread(*spread, path + ".spread", kind, good ? std::optional(result.si) : std::nullopt, reading);
      const bool may_be_zero = limits.lower == 0 && !limits.lower_open;
      if (may_be_zero) result.least = 0;
      if (good && result.spread.form == Spread::Form::absolute && limits.lower >= 0 && !may_be_zero &&
          result.spread.size >= result.si && result.si > 0 && !kind.absolute_temperature) {
        fields->error("spread", "as wide as the value itself, which must be positive; state it as 'factor 3'");
        good = false;
      }
      if (good && result.spread.form == Spread::Form::factor && !(result.si > 0)) {
        fields->error("spread", "a factor needs a value greater than 0");
        good = false;
      }
    }
    fields->finish();
  }
  if (!good) return std::nullopt;
  return result;
}

namespace {

/// Words of other trades for keys of ours.
std::string synonym(const std::string& word, const std::set<std::string>& keys) {
  static const std::vector<std::pair<const char*, const char*>> words = {{"anode", "negative"},
                                                                         {"cathode", "positive"},
                                                                         {"neg", "negative"},
                                                                         {"pos", "positive"},
                                                                         {"working_electrode", "working"},
                                                                         {"counter_electrode", "counter"},
                                                                         {"radius", "particle_radius"},
                                                                         {"diameter", "disc_diameter"},
                                                                         {"area", "plate_area"},
                                                                         {"capacity", "rated_capacity"},
                                                                         {"resistance", "contact_resistance"},
                                                                         {"voltage", "voltage_window"}};
  for (const auto& [other, key] : words)
    if (word == other && keys.count(key) > 0) return key;
  return "";
}

bool begins_with_digit(const std::string& text) { return !text.empty() && text[0] >= '0' && text[0] <= '9'; }

}  // namespace

std::optional<std::string> Fields::cut_by_comma(const std::string& key) {
  for (std::size_t k = 0; k + 1 < node_.entries.size(); ++k) {
    const Entry &entry = node_.entries[k], &next = node_.entries[k + 1];
    if (entry.key != key || entry.value.type != Node::Type::scalar || next.value.type != Node::Type::null) continue;
    if (!parse_number(entry.value.text) || !begins_with_digit(next.key) || asked_.count(next.key) > 0) continue;
    asked_.insert(next.key);
    const std::string point = entry.value.text + "." + next.key;
    reading_.faults->error(reading_.at(entry.value.line, entry.value.column), key == "value" ? path_ : path_of(key),
                           entry.value.text + "," + next.key, "a decimal comma; write a point, '" + point + "'", point);
    return point;
  }
  return std::nullopt;
}

std::string Fields::expectation(const Kind& kind, const char* example_unit) { return example(kind, example_unit); }

const Node* Fields::node(const std::string& key) {
  asked_.insert(key);
  const Entry* entry = node_.find(key);
  return entry == nullptr ? nullptr : &entry->value;
}

bool Fields::any_asked_for() const {
  return std::any_of(asked_.begin(), asked_.end(), [&](const std::string& key) { return has(key); });
}

std::optional<std::string> Fields::text(const std::string& key) {
  const Node* found = node(key);
  if (found == nullptr) return std::nullopt;
  if (found->type != Node::Type::scalar) {
    error(key, "expected a text");
    return std::nullopt;
  }
  return found->text;
}

std::string Fields::required_text(const std::string& key, const std::string& expected) {
  if (!has(key)) {
    asked_.insert(key);
    missing(key, expected);
    return {};
  }
  return text(key).value_or("");
}

std::optional<std::string> Fields::choice(const std::string& key, const std::vector<std::string>& choices) {
  std::string list;
  for (std::size_t k = 0; k < choices.size(); ++k) {
    list += (k == 0 ? "" : k + 1 == choices.size() ? " or " : ", ") + choices[k];
  }
  if (!has(key)) {
    asked_.insert(key);
    missing(key, list);
    return std::nullopt;
  }
  const std::optional<std::string> found = text(key);
  if (!found) return std::nullopt;
  for (const std::string& choice : choices) {
    if (*found == choice) return choice;
  }
  const std::string near = nearest(*found, choices);
  error(key, near.empty() ? "expected " + list : "did you mean '" + near + "'? Expected " + list, near);
  return std::nullopt;
}

std::optional<Value> Fields::value(const std::string& key, const Kind& kind, const Limits& limits,
                                   const char* example_unit) {
  const Node* found = node(key);
  if (found == nullptr || cut_by_comma(key)) return std::nullopt;
  return read_value(*found, path_of(key), kind, limits, reading_, example_unit);
}

std::optional<Fields> Fields::mapping(const std::string& key, const std::string& expected) {
  const Node* found = node(key);
  if (found == nullptr) return std::nullopt;
  if (found->type != Node::Type::mapping) {
    error(key, "expected " + expected);
    return std::nullopt;
  }
  return Fields(*found, path_of(key), reading_);
}

std::optional<Fields> Fields::required_mapping(const std::string& key, const std::string& expected) {
  if (!has(key)) {
    asked_.insert(key);
    missing(key, expected);
    return std::nullopt;
  }
  return mapping(key, expected);
}

void Fields::missing(const std::string& key, const std::string& expected) {
  asked_.insert(key);
  reading_.faults->error(reading_.at(std::max(node_.line, 1), std::max(node_.column, 1)), path_of(key), "",
                         "missing; expected " + expected);
}

void Fields::add(Severity severity, const std::string& key, const std::string& message, const std::string& suggestion) {
  const Entry* entry = node_.find(key);
  Fault fault{reading_.at(node_.line, node_.column), path_of(key), "", message, severity, suggestion};
  if (entry != nullptr) {
    fault.place = reading_.at(entry->value.line, entry->value.column);
    fault.value = entry->value.type == Node::Type::scalar ? entry->value.text : "";
  }
  reading_.faults->add(std::move(fault));
}

void Fields::error(const std::string& key, const std::string& message, const std::string& suggestion) {
  add(Severity::error, key, message, suggestion);
}
void Fields::warning(const std::string& key, const std::string& message) { add(Severity::warning, key, message, {}); }

void Fields::error_here(const std::string& message) {
  reading_.faults->error(reading_.at(std::max(node_.line, 1), std::max(node_.column, 1)), path_, "", message);
}

void Fields::finish() {
  for (const Entry& entry : node_.entries) {
    if (asked_.contains(entry.key)) continue;
    std::vector<std::string> known;
    for (const std::string& key : asked_) {
      if (!has(key)) known.push_back(key);
    }
    std::string near = synonym(entry.key, asked_);
    if (near.empty()) near = nearest(entry.key, known);
    if (near.empty()) near = nearest(entry.key, {asked_.begin(), asked_.end()});
    reading_.faults->error(reading_.at(entry.line, entry.column), path_of(entry.key), "",
                           near.empty() ? "unknown key" : "unknown key; did you mean '" + near + "'?", near);
  }
}

}  // namespace onegrain::params
