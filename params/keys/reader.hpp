#pragma once

#include <algorithm>
#include <optional>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

#include "params/card/card_reader.hpp"
#include "params/card/property_reader.hpp"
#include "params/keys/tree.hpp"
#include "params/sheet/phases.hpp"
#include "params/text/printable.hpp"

namespace onegrain::params {

/// Visits a description (keys/tree.hpp) and reads what it names out of a mapping. All faults go to the reading; what
/// could not be read is left as it was, or NaN.
class KeyReader {
 public:
  explicit KeyReader(Fields& fields) : fields_(fields), before_(faults()) {}
  /// Faults the keys that the description does not name, and then a mapping that must not be empty.
  void finish();
  Fields& fields() { return fields_; }

  void version(const std::string& key, bool needed = true) {
    if (needed || fields_.has(key)) read_version(fields_, key);
  }
  void text(const std::string& key, std::string* target, bool needed, const std::string& expected, const std::string&) {
    const std::string found = needed ? fields_.required_text(key, expected) : fields_.text(key).value_or("");
    if (target != nullptr) *target = needed ? one_line(found) : found;
  }
  template <class Take>
  void parsed(const std::string& key, KeyNode::Form, bool needed, const std::string& expected, const std::string&,
              const Take& take) {
    if (needed && !fields_.has(key)) return fields_.missing(key, expected);
    const std::optional<std::string> found = fields_.text(key);
    try {
      if (found) take(*found);
    } catch (const std::runtime_error& wrong) {
      fields_.error(key, wrong.what());
    }
  }
  template <class Take>
  void choice(const std::string& key, const std::vector<std::string>& words, const std::string&, const Take& take) {
    const std::optional<std::string> found = fields_.choice(key, words);
    for (std::size_t k = 0; found && k < words.size(); ++k) {
      if (words[k] == *found) take(k);
    }
  }
  template <class Q>
  void value(const std::string& key, Given<Q>& target, const Limits& limits, const std::string&,
             const char* unit = nullptr) {
    target = fields_.required<Q>(key, limits, unit);
  }
  template <class Q>
  void value(const std::string& key, std::optional<Given<Q>>& target, const Limits& limits, const std::string&,
             const char* unit = nullptr) {
    target = fields_.optional<Q>(key, limits, unit);
  }
  template <class Q>
  void needed(const std::string& key, std::optional<Given<Q>>& target, const Limits& limits, const std::string&) {
    target = fields_.required<Q>(key, limits);
  }
  template <class Q>
  void value_or(const std::string& key, Given<Q>& target, const Limits& limits, double otherwise,
                const std::string& why, const std::string&) {
    std::optional<Given<Q>> stated = fields_.optional<Q>(key, limits);
    target = stated ? std::move(*stated) : assumed<Q>(otherwise, fields_.path_of(key), why);
  }
  void property(const std::string& key, PropertyValue& target, const PropertyRules& rules, const std::string&) {
    if (std::optional<PropertyValue> found = read_property(fields_, key, rules, true)) target = std::move(*found);
  }
  void property(const std::string& key, std::optional<PropertyValue>& target, const PropertyRules& rules,
                const std::string&) {
    target = read_property(fields_, key, rules, false);
  }
  void potential(const std::string& key, PotentialCard& target, const std::string&) {
    read_potential(fields_, key, target);
  }
  void card(const std::string& key, Material& target, const std::string&, const std::string&) {
    if (std::optional<Material> found = material_of(fields_, key)) target = std::move(*found);
  }
  void card(const std::string& key, ElectrolyteCard& target, const std::string&, const std::string&) {
    if (std::optional<ElectrolyteCard> found = electrolyte_of(fields_, key)) target = std::move(*found);
  }
  void card(const std::string& key, std::optional<LithiumMetalCard>& target, const std::string& example,
            const std::string&) {
    target = lithium_metal_of(fields_, key, example);  // that of this name where the key is absent
  }
  template <class Inner>
  void group(const std::string& key, const std::string& expected, const std::string&, const Inner& inner) {
    if (std::optional<Fields> found = fields_.required_mapping(key, expected)) below(*found, inner);
  }
  template <class T, class Inner>
  void group(const std::string& key, std::optional<T>& target, const std::string& expected, const std::string&,
             const Inner& inner) {
    if (std::optional<Fields> found = fields_.mapping(key, expected)) {
      target.emplace();
      below(*found, [&](KeyReader& reader) { inner(reader, *target); });
    }
  }
  template <class Inner>
  void group_or(const std::string& key, const std::string& expected, const std::string&, const Inner& inner) {
    static const Node nothing{Node::Type::mapping, "", 0, 0, {}, {}};
    std::optional<Fields> found = fields_.mapping(key, expected);
    if (!found) found.emplace(nothing, fields_.path_of(key), fields_.reading());
    below(*found, inner);
  }
  template <class Take, class Inner>
  void either(const std::string& key, const WordsOrMappings& of, const std::string&, const Take& take,
              const Inner& inner) {
    const Node* node = fields_.node(key);
    if (node == nullptr) return fields_.missing(key, of.expected);
    if (node->type == Node::Type::scalar) {
      const auto found = std::find(of.words.begin(), of.words.end(), node->text);
      if (found == of.words.end()) return fields_.error(key, "expected " + of.expected);
      return take(static_cast<std::size_t>(found - of.words.begin()));
    }
    std::optional<Fields> mapping = fields_.mapping(key, of.expected);
    if (!mapping) return;
    if (const std::optional<std::size_t> k = only_one(*mapping, of.mappings)) {
      take(of.words.size() + *k);
      return below(*mapping, [&](KeyReader& reader) { inner(reader, *k); });
    }
    KeyNode known;  // what any of them may say, for suggestions
    KeyTree tree(known);
    for (std::size_t k = 0; k < of.mappings.size(); ++k) inner(tree, k);
    for (const KeyNode& one : known.keys) mapping->node(one.key);
    mapping->finish();
    const auto told = [&](const WordsOrMappings::Mapping& one) { return mapping->has(one.key); };
    mapping->error_here(std::any_of(of.mappings.begin(), of.mappings.end(), told) ? of.several : of.none);
  }
  template <class T, class Inner>
  void list(const std::string& key, std::vector<T>& targets, const ListOf& of, const std::string&, const Inner& inner) {
    for (const auto& [item, path] : items(key, of)) {
      Fields one(*item, path, fields_.reading());
      below(one, [&](KeyReader& reader) { inner(reader, targets.emplace_back()); });
    }
  }
  template <class Phases>
  void phases(const std::string& key, std::optional<Phases>& target, const std::string&) {
    target = read_phases(fields_, key);
  }
  void row(const std::string& key, bool needed, const std::string& expected, const std::string&) {
    const Node* node = fields_.node(key);
    if (node == nullptr) return needed ? fields_.missing(key, expected) : void();
    if (node->type != Node::Type::sequence || node->items.empty()) fields_.error(key, "expected a list: " + expected);
  }
  void table(const std::string& key, bool needed, const std::string& expected, const std::string& help) {
    row(key, needed, expected, help);
  }
  void alternatives(const Alternatives& list);
  void at_least_one(const std::string& none) { fault_if_empty_ = none; }
  /// rule(fields, sound): whether nothing in this mapping was faulted so far.
  template <class Rule>
  void reading(const Rule& rule) {
    rule(fields_, faults() == before_);
  }

 private:
  int faults() const { return fields_.reading().faults->errors(); }
  template <class Inner>
  void below(Fields& fields, const Inner& inner) {
    KeyReader reader(fields);
    inner(reader);
    reader.finish();
  }

  /// The one mapping whose key is there; nothing where there are several, or none.
  static std::optional<std::size_t> only_one(const Fields& fields, const std::vector<WordsOrMappings::Mapping>& of);
  /// The mappings of a list with their paths, counted from 1.
  std::vector<std::pair<const Node*, std::string>> items(const std::string& key, const ListOf& of);

  Fields& fields_;
  int before_;
  std::string fault_if_empty_;
};

}  // namespace onegrain::params
