#include "params/keys/tree.hpp"

#include <fmt/format.h>

#include <cmath>

#include "params/number/unit_names.hpp"
#include "params/sheet/keys.hpp"
#include "params/sheet/protocol_keys.hpp"

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
  const Sheet sheet;
  const RateBase base{};
  KeyNode node;
  WrittenProtocol protocol{sheet, base, {}, {}};
  KeyTree tree(node);
  keys(tree, protocol);
  return node;
}

namespace {

KeyNode in_words(const char* key, bool needed, const char* takes, const char* help) {
  KeyNode node;
  node.key = key;
  node.form = KeyNode::Form::text;
  node.needed = needed;
  node.takes = takes;
  node.help = help;
  return node;
}

KeyNode spread_key() {
  return in_words("spread", false, "a value with its unit | 5 % | factor 3",
                  "half-width of the 95 % interval: with a unit, as a percentage of the value, or 'factor 3'");
}
KeyNode source_key() { return in_words("source", false, "words", "where it comes from"); }
KeyNode scale_key() {
  return in_words("scaled_by", false, "a number, greater than 0",
                  "what it is multiplied by; the spread is that of the product");
}

}  // namespace

KeyNode value_mapping(bool scaled) {
  KeyNode node;
  node.keys = {in_words("value", true, "a number with a unit", "the value itself"), spread_key(), source_key()};
  if (scaled) node.keys.push_back(scale_key());
  return node;
}

KeyNode function_mapping(bool potential) {
  KeyNode node;
  node.keys = {
      in_words("expression", false, "a formula", "of x (filled share of the sites), c (salt, mol/L) and T (kelvin)"),
      in_words("table", false, "the name of a file", "a delimited file beside this one"),
      in_words("unit", false, "a unit", "of what a formula gives; that of a potential is in volts without it"),
      in_words("range", false, "[from, to]", "where it was measured"),
      spread_key(),
      source_key()};
  node.keys.push_back(potential ? in_words("note", false, "words", "anything worth knowing") : scale_key());
  Alternatives either;
  either.sets = {Alternative{{"expression"}}, Alternative{{"table"}}};
  node.alternatives = {either};
  return node;
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
