#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "params/card/property_reader.hpp"
#include "params/keys/tree.hpp"

namespace onegrain::params {

/// Visits a description (keys/tree.hpp) and calls `see` with every value that is there, by its path.
class KeyWalk {
 public:
  using See = std::function<void(const std::string& path, Value& value)>;
  explicit KeyWalk(const See& see, std::string path = {}) : see_(see), path_(std::move(path)) {}

  void version(const std::string&) {}
  void text(const std::string&, std::string*, bool, const std::string&, const std::string&) {}
  template <class Take>
  void choice(const std::string&, const std::vector<std::string>&, const std::string&, const Take&) {}
  template <class V>
  void value(const std::string& key, V& target, const Limits&, const std::string&, const char* = nullptr) {
    one(key, target);
  }
  template <class V>
  void needed(const std::string& key, V& target, const Limits&, const std::string&) {
    one(key, target);
  }
  template <class V>
  void value_or(const std::string& key, V& target, const Limits&, double, const std::string&, const std::string&) {
    one(key, target);
  }
  template <class V>
  void property(const std::string& key, V& target, const PropertyRules&, const std::string&) {
    one(key, target);
  }
  template <class Card>
  void potential(const std::string& key, Card& card, const std::string&) {
    one(key, card.potential);
    KeyWalk below(see_, path_of(key));
    keys_of_potential(below, card);
  }
  template <class Card>
  void card(const std::string& key, Card& target, const std::string&, const std::string&) {
    KeyWalk below(see_, path_of(key));
    keys(below, target, false);
  }
  template <class Card>
  void card(const std::string& key, std::optional<Card>& target, const std::string& a, const std::string& b) {
    if (target) card(key, *target, a, b);
  }
  template <class Inner>
  void group(const std::string& key, const std::string&, const std::string&, const Inner& inner) {
    KeyWalk below(see_, path_of(key));
    inner(below);
  }
  template <class T, class Inner>
  void group(const std::string& key, std::optional<T>& target, const std::string&, const std::string&,
             const Inner& inner) {
    if (!target) return;
    KeyWalk below(see_, path_of(key));
    inner(below, *target);
  }
  template <class Inner>
  void group_or(const std::string& key, const std::string& expected, const std::string& help, const Inner& inner) {
    group(key, expected, help, inner);
  }
  void alternatives(const Alternatives&) {}
  template <class Rule>
  void reading(const Rule&) {}

 private:
  std::string path_of(const std::string& key) const { return path_.empty() ? key : path_ + "." + key; }
  void one(const std::string& key, Value& value) { see_(path_of(key), value); }
  template <class V>
  void one(const std::string& key, std::optional<V>& value) {
    if (value) see_(path_of(key), *value);
  }

  const See& see_;
  std::string path_;
};

}  // namespace onegrain::params
