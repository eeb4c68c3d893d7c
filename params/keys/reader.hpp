#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "params/card/card_reader.hpp"
#include "params/card/property_reader.hpp"
#include "params/keys/tree.hpp"
#include "params/text/printable.hpp"

namespace onegrain::params {

/// Visits a description (keys/tree.hpp) and reads what it names out of a
/// mapping. All faults go to the reading; what could not be read is left as it
/// was, or NaN.
class KeyReader {
 public:
  explicit KeyReader(Fields& fields) : fields_(fields), before_(faults()) {}
  /// Faults the keys that the description does not name.
  void finish() { fields_.finish(); }
  Fields& fields() { return fields_; }

  void version(const std::string& key) { read_version(fields_, key); }
  void text(const std::string& key, std::string* target, bool needed, const std::string& expected, const std::string&) {
    const std::string found = needed ? fields_.required_text(key, expected) : fields_.text(key).value_or("");
    if (target != nullptr) *target = needed ? one_line(found) : found;
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
  void alternatives(const Alternatives& list);
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

  Fields& fields_;
  int before_;
};

}  // namespace onegrain::params
