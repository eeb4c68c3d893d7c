#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "params/card/property_reader.hpp"
#include "params/keys/tree.hpp"

namespace onegrain::params {

/// Visits a description (keys/tree.hpp) and calls `see` with every value that is there, by its path; and `see_card`
/// with the path of every card and the file that it stands in.
class KeyWalk {
 public:
  static constexpr bool changes = true;  ///< what is seen may be changed: no value that others are made of
  using See = std::function<void(const std::string& path, Value& value)>;
  using SeeCard = std::function<void(const std::string& path, const std::string& file)>;
  explicit KeyWalk(const See& see, const SeeCard& see_card, std::string path = {})
      : see_(see), see_card_(see_card), path_(std::move(path)) {}

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
    KeyWalk walk = below(key);
    keys_of_potential(walk, card);
  }
  template <class Card>
  void card(const std::string& key, Card& target, const std::string&, const std::string&) {
    see_card_(path_of(key), target.file);
    KeyWalk walk = below(key);
    keys(walk, target, false);
  }
  template <class Card>
  void card(const std::string& key, std::optional<Card>& target, const std::string& a, const std::string& b) {
    if (target) card(key, *target, a, b);
  }
  template <class Inner>
  void group(const std::string& key, const std::string&, const std::string&, const Inner& inner) {
    KeyWalk walk = below(key);
    inner(walk);
  }
  template <class T, class Inner>
  void group(const std::string& key, std::optional<T>& target, const std::string&, const std::string&,
             const Inner& inner) {
    if (!target) return;
    KeyWalk walk = below(key);
    inner(walk, *target);
  }
  template <class Inner>
  void group_or(const std::string& key, const std::string& expected, const std::string& help, const Inner& inner) {
    group(key, expected, help, inner);
  }
  template <class Phases>
  void phases(const std::string& key, std::optional<Phases>& target, const std::string&) {
    if (!target) return;
    const KeyWalk walk = below(key);
    see_(walk.path_of("host"), target->host);
    for (auto& phase : target->others) see_(walk.path_of(phase.name), phase.mass);
  }
  template <class T, class Inner>
  void list(const std::string&, std::vector<T>&, const ListOf&, const std::string&, const Inner&) {}
  void alternatives(const Alternatives&) {}
  template <class Rule>
  void reading(const Rule&) {}

 private:
  KeyWalk below(const std::string& key) const { return KeyWalk(see_, see_card_, path_of(key)); }
  std::string path_of(const std::string& key) const { return path_.empty() ? key : path_ + "." + key; }
  void one(const std::string& key, Value& value) { see_(path_of(key), value); }
  template <class V>
  void one(const std::string& key, std::optional<V>& value) {
    if (value) see_(path_of(key), *value);
  }

  const See& see_;
  const SeeCard& see_card_;
  std::string path_;
};

}  // namespace onegrain::params
