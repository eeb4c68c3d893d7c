#include "params/keys/tree.hpp"

#include <fmt/format.h>

#include <cmath>

#include "params/number/unit_names.hpp"
#include "params/sheet/keys.hpp"

namespace onegrain::params {

namespace {

template <class Card>
KeyNode file_of() {
  KeyNode node;
  Card card;
  KeyTree tree(node);
  keys(tree, card, true);
  return node;
}

}  // namespace

std::string KeyNode::range() const {
  const bool below = std::isfinite(limits.lower), above = std::isfinite(limits.upper);
  if (kind == nullptr || (!below && !above)) return {};
  const auto bound = [&](double value) {
    return value == 0 ? std::string("0") : show(value, *kind, 5, unit.empty() ? nullptr : unit.c_str());
  };
  if (below && above) {
    const char* ends = limits.lower_open && limits.upper_open ? ", both excluded"
                       : limits.lower_open                    ? ", the first excluded"
                       : limits.upper_open                    ? ", the last excluded"
                                                              : "";
    return fmt::format("between {} and {}{}", bound(limits.lower), bound(limits.upper), ends);
  }
  if (below) return fmt::format("{} {}", limits.lower_open ? "greater than" : "at least", bound(limits.lower));
  return fmt::format("{} {}", limits.upper_open ? "less than" : "at most", bound(limits.upper));
}

KeyNode sheet_keys(bool full_cell) {
  KeyNode node;
  Sheet sheet;
  sheet.arrangement = full_cell ? Arrangement::full_cell : Arrangement::half_cell;
  if (full_cell) sheet.negative.emplace();
  KeyTree tree(node);
  keys(tree, sheet);
  return node;
}

KeyNode material_keys() { return file_of<Material>(); }
KeyNode lithium_metal_keys() { return file_of<LithiumMetalCard>(); }
KeyNode electrolyte_keys() { return file_of<ElectrolyteCard>(); }

KeyNode protocol_keys() {
  using Form = KeyNode::Form;
  const auto node = [](const char* key, Form form, bool needed, const char* help) {
    KeyNode result;
    result.key = key;
    result.form = form;
    result.needed = needed;
    result.help = help;
    return result;
  };
  const auto value = [&](const char* key, const Kind& kind, const Limits& limits, bool needed, const char* help) {
    KeyNode result = node(key, Form::value, needed, help);
    result.kind = &kind;
    result.limits = limits;
    return result;
  };
  const auto group = [&](const char* key, const char* help, std::vector<KeyNode> keys) {
    KeyNode result = node(key, Form::group, true, help);
    result.keys = std::move(keys);
    return result;
  };
  KeyNode sense = node("sense", Form::choice, true, "charge: into the cell");
  sense.choices = {"charge", "discharge"};
  KeyNode drive = node("drive", Form::either, true, "what is driven: a rate, a current, a voltage, or nothing (rest)");
  drive.choices = {"rest"};
  drive.keys = {
      group("", "a rate", {node("rate", Form::rate, true, "such as C/5 or 0.2C"), sense}),
      group("", "a current", {node("current", Form::rate, true, "such as 1.5 mA"), sense}),
      group("", "a held voltage", {value("voltage", VoltageKind::kind, {}, true, "within the window of the cell")})};
  KeyNode until = group(
      "until", "one end or more; the first that is met ends the step",
      {value("voltage", VoltageKind::kind, {}, false, "within the window of the cell"),
       value("time", TimeKind::kind, {.lower = 0, .upper = 10 * 365.25 * 86400, .lower_open = true}, false,
             "at most ten years"),
       node("rate", Form::rate, false, "of a held voltage: the current has faded to this rate"),
       node("current", Form::rate, false, "the same as a current"),
       node("capacity", Form::text, false, "charge passed: mAh, mAh/cm2 or mAh/g"),
       value("temperature", TemperatureKind::kind, limits::between(150, 500), false, "of a cell with 'thermal'")});
  until.not_empty = true;
  KeyNode steps = node("steps", Form::list, true, "what is done, in this order");
  steps.keys = {
      group("", "a step", {drive, until, node("name", Form::text, false, "shown instead of what is driven")})};
  KeyNode whole;
  whole.keys = {node("onegrain_protocol", Form::version, false, "version of this format: 1"),
                node("name", Form::text, false, "a name for reports"),
                node("note", Form::text, false, "anything worth knowing"),
                node("source", Form::text, false, "where it comes from"),
                steps,
                value("repeat", NumberKind::kind, limits::between(1, 100000), false,
                      "how often all steps are run; a whole number")};
  return whole;
}

std::string quantity_pattern(const Kind& kind) {
  const std::string number = R"([-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?)";
  std::string names;
  for (const std::string& name : units_of(kind.dimension)) names += (names.empty() ? "" : "|") + name;
  if (kind.dimension.none()) return fmt::format(R"(^{}\s*(?:/\s*{}|{})?$)", number, number, names);
  // Of several words, with powers, brackets, or letters beyond ASCII: not an exponent of the number in front.
  const std::string others = R"((?![eE][-+]?[0-9])(?=[A-Za-z(]|1\s*/|[^\x00-\x7F])(?=.*[^A-Za-z]).+)";
  return fmt::format(R"(^{}\s*(?:{}{}{})$)", number, names, names.empty() ? "" : "|", others);
}

}  // namespace onegrain::params
