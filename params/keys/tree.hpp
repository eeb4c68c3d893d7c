#pragma once

#include <algorithm>
#include <optional>
#include <string>
#include <vector>

#include "params/card/property_reader.hpp"
#include "params/text/fields.hpp"

/// What a file may say, as data: for the JSON Schema that editors use, and for the table of keys that people read.
///
/// A description of keys is a function template `keys(visitor, thing)` (sheet/keys.hpp, card/keys.hpp,
/// sheet/protocol_keys.hpp) that names every key once, with its kind, its limits, whether it is needed, and what it
/// means. Visitors make of it
/// - a reader (keys/reader.hpp) with all its faults and suggestions,
/// - a walk (keys/walk.hpp) over the values that have been read, uncertain or not, by their paths,
/// - a tree (here).
///
/// The calls of a visitor, of values and words:
/// - version(key, needed): the version of the format
/// - text(key, target, needed, expected, help): words
/// - parsed(key, form, needed, expected, help, take): words of which take(words) makes sense, or throws why not
/// - choice(key, words, help, take): one of some words, needed; take(number of the word)
/// - value(key, target, limits, help, unit): needed, or optional where the target is
/// - needed(key, target, limits, help): needed, although the target is optional
/// - value_or(key, target, limits, otherwise, why, help): with a default of the program, and its reason
/// - property(key, target, rules, help): a value, formula or table; optional where the target is
/// - potential(key, target, help): the formula or table of a potential, and what hangs on it
/// - card(key, target, example, help): the name of a card, or the card itself
///
/// of mappings and lists:
/// - group(key, expected, help, inner): a mapping, needed
/// - group(key, target, expected, help, inner): a mapping that may be absent, as its target is then
/// - group_or(key, expected, help, inner): a mapping that may be absent; all of it has defaults
/// - either(key, of, help, take, inner): one of some words, or one of several mappings, needed
/// - list(key, targets, of, help, inner): mappings, one at least, all alike; needed unless `of` says otherwise
/// - phases(key, target, help): mass shares of a powder by the names of its phases, or a file that tells them
/// - row(key, needed, expected, help), table(key, needed, expected, help): scalars, and rows of numbers, of which a
///   reading() makes sense
///
/// and of a mapping as a whole:
/// - alternatives(list): exactly one of several sets of keys
/// - at_least_one(none): the mapping is not empty
/// - reading(rule): rule(fields, sound) is for the reader alone: what several keys must fulfil together
///
/// A protocol holds no value that could be uncertain: the walk knows nothing of what a protocol alone holds
/// (parsed, either, at_least_one), and does not enter a list.
namespace onegrain::params {

/// A set of keys that go together, of several such sets that exclude each other.
struct Alternative {
  std::vector<std::string> needed;
  std::vector<std::string> optional = {};
};
struct Alternatives {
  std::vector<Alternative> sets;
  std::string several;           ///< the fault where more than one is there
  std::string none;              ///< what is expected where there is none
  std::string partly = {};       ///< what is expected where a set is there in part
  bool about_the_whole = false;  ///< the first two faults stand at the mapping, not at a key
};

/// One of some words, or one of several mappings, each told from the others by a key that it alone holds.
struct WordsOrMappings {
  struct Mapping {
    std::string key;   ///< that tells it
    std::string help;  ///< what the mapping says
  };
  std::vector<std::string> words;
  std::vector<Mapping> mappings;
  std::string expected;  ///< where it is missing, or something else
  std::string none;      ///< the fault of a mapping with no such key
  std::string several;   ///< the fault where more than one is there
};

/// Words about a list of mappings that are all alike.
struct ListOf {
  std::string one;           ///< what one of them is, "a step"
  std::string missing;       ///< what is expected where it is missing
  std::string expected;      ///< the fault where it is no list, or empty
  std::string one_expected;  ///< the fault of what is no mapping
  bool needed = true;
};

struct KeyNode {
  enum class Form {
    version,
    text,
    choice,
    value,
    property,
    potential,
    card,
    group,
    rate,    ///< C/5, 0.2C, 1.5 mA ...
    list,    ///< of what keys[0] says
    row,     ///< of scalars
    table,   ///< of rows of numbers
    either,  ///< one of `choices`, or a mapping as one of `keys` says
    phases,  ///< mass shares by the names of phases, or as keys[0] says
  };
  std::string key, help;
  Form form = Form::group;
  bool needed = false;
  const Kind* kind = nullptr;  ///< of values and properties
  Limits limits;
  std::string unit;                  ///< in which limits are told; empty: that of the kind
  std::string otherwise;             ///< the default as text; may be empty
  std::string takes;                 ///< what it takes, where that is said in words of its own
  std::string variable;              ///< of a property: "x", "c" or none
  std::vector<std::string> choices;  ///< of a choice
  std::vector<KeyNode> keys;         ///< of a group; of a card, where it stands in place of its name
  std::vector<Alternatives> alternatives;
  bool not_empty = false;  ///< of a group: one key at least

  /// "at least 1", "between 0.1 um and 5000 um"; empty where there is no bound.
  std::string range() const;
};

/// Visits a description and keeps it as a tree. The thing that is described only steers: a half cell has other keys.
class KeyTree {
 public:
  static constexpr bool changes = false;
  explicit KeyTree(KeyNode& node) : node_(node) {}

  void version(const std::string& key, bool needed = true) {
    add(key, KeyNode::Form::version, needed, "version of this format: 1");
  }
  void text(const std::string& key, std::string*, bool needed, const std::string&, const std::string& help) {
    add(key, KeyNode::Form::text, needed, help);
  }
  template <class Take>
  void parsed(const std::string& key, KeyNode::Form form, bool needed, const std::string&, const std::string& help,
              const Take&) {
    add(key, form, needed, help);
  }
  template <class Take>
  void choice(const std::string& key, const std::vector<std::string>& words, const std::string& help, const Take&) {
    add(key, KeyNode::Form::choice, true, help).choices = words;
  }
  template <class Q>
  void value(const std::string& key, Given<Q>&, const Limits& limits, const std::string& help,
             const char* unit = nullptr) {
    number(key, Q::kind(), limits, true, help, unit);
  }
  template <class Q>
  void value(const std::string& key, std::optional<Given<Q>>&, const Limits& limits, const std::string& help,
             const char* unit = nullptr) {
    number(key, Q::kind(), limits, false, help, unit);
  }
  template <class Q>
  void needed(const std::string& key, std::optional<Given<Q>>&, const Limits& limits, const std::string& help) {
    number(key, Q::kind(), limits, true, help, nullptr);
  }
  template <class Q>
  void value_or(const std::string& key, Given<Q>&, const Limits& limits, double otherwise, const std::string& why,
                const std::string& help) {
    number(key, Q::kind(), limits, false, help, nullptr).otherwise = show(otherwise, Q::kind()) + " (" + why + ")";
  }
  void property(const std::string& key, PropertyValue&, const PropertyRules& rules, const std::string& help) {
    function(key, rules, true, help);
  }
  void property(const std::string& key, std::optional<PropertyValue>&, const PropertyRules& rules,
                const std::string& help) {
    function(key, rules, false, help);
  }
  template <class Card>
  void potential(const std::string& key, Card& card, const std::string& help) {
    KeyNode& node = number(key, VoltageKind::kind, {}, true, help, nullptr);
    node.form = KeyNode::Form::potential;
    node.variable = "x";
    KeyTree below(node);
    keys_of_potential(below, card);
  }
  template <class Card>
  void card(const std::string& key, Card& card, const std::string&, const std::string& help) {
    KeyTree below(add(key, KeyNode::Form::card, true, help));
    keys(below, card, false);
  }
  template <class Card>
  void card(const std::string& key, std::optional<Card>&, const std::string& example, const std::string& help) {
    Card thing;
    card(key, thing, example, help);
    node_.keys.back().needed = false;
  }
  template <class Inner>
  void group(const std::string& key, const std::string&, const std::string& help, const Inner& inner) {
    KeyTree below(add(key, KeyNode::Form::group, true, help));
    inner(below);
  }
  template <class T, class Inner>
  void group(const std::string& key, std::optional<T>&, const std::string&, const std::string& help,
             const Inner& inner) {
    KeyTree below(add(key, KeyNode::Form::group, false, help));
    T thing;
    inner(below, thing);
  }
  template <class Inner>
  void group_or(const std::string& key, const std::string&, const std::string& help, const Inner& inner) {
    KeyTree below(add(key, KeyNode::Form::group, false, help));
    inner(below);
  }
  template <class Take, class Inner>
  void either(const std::string& key, const WordsOrMappings& of, const std::string& help, const Take&,
              const Inner& inner) {
    KeyNode& node = add(key, KeyNode::Form::either, true, help);
    node.choices = of.words;
    KeyTree mappings(node);
    for (std::size_t k = 0; k < of.mappings.size(); ++k)
      mappings.group("", "", of.mappings[k].help, [&](KeyTree& below) { inner(below, k); });
  }
  template <class T, class Inner>
  void list(const std::string& key, std::vector<T>&, const ListOf& of, const std::string& help, const Inner& inner) {
    KeyTree items(add(key, KeyNode::Form::list, of.needed, help));
    T thing;
    items.group("", "", of.one, [&](KeyTree& below) { inner(below, thing); });
  }
  template <class Phases>
  void phases(const std::string& key, std::optional<Phases>&, const std::string& help) {
    KeyTree file(add(key, KeyNode::Form::phases, false, help));
    file.group("", "", "", [&](KeyTree& below) {
      below.text("cif", nullptr, true, "", "a CIF beside the sheet that lists phase mass fractions");
      below.text("host", nullptr, false, "", "its name for the host, where the formula does not tell");
    });
  }
  void row(const std::string& key, bool needed, const std::string&, const std::string& help) {
    add(key, KeyNode::Form::row, needed, help);
  }
  void table(const std::string& key, bool needed, const std::string&, const std::string& help) {
    add(key, KeyNode::Form::table, needed, help);
  }
  void at_least_one(const std::string&) { node_.not_empty = true; }
  void alternatives(const Alternatives& list) {
    node_.alternatives.push_back(list);
    for (const Alternative& set : list.sets) {  // none of them is needed in itself
      for (KeyNode& key : node_.keys) {
        if (std::find(set.needed.begin(), set.needed.end(), key.key) != set.needed.end()) key.needed = false;
      }
    }
  }
  template <class Rule>
  void reading(const Rule&) {}

 private:
  KeyNode& add(const std::string& key, KeyNode::Form form, bool needed, const std::string& help) {
    KeyNode& node = node_.keys.emplace_back();
    node.key = key;
    node.form = form;
    node.needed = needed;
    node.help = help;
    return node;
  }
  KeyNode& number(const std::string& key, const Kind& kind, const Limits& limits, bool needed, const std::string& help,
                  const char* unit) {
    KeyNode& node = add(key, KeyNode::Form::value, needed, help);
    node.kind = &kind;
    node.limits = limits;
    if (unit != nullptr) node.unit = unit;
    return node;
  }
  void function(const std::string& key, const PropertyRules& rules, bool needed, const std::string& help) {
    KeyNode& node = number(key, rules.result, rules.limits, needed, help, rules.example_unit);
    node.form = KeyNode::Form::property;
    node.variable = rules.composition;
  }

  KeyNode& node_;
};

/// The files that people write.
KeyNode sheet_keys(bool full_cell);
KeyNode material_keys();
KeyNode lithium_metal_keys();
KeyNode electrolyte_keys();
KeyNode protocol_keys();

/// The mapping that may stand in place of a value.
/// @param scaled  of a property of a card: its value may be multiplied
KeyNode value_mapping(bool scaled);

/// The mapping that gives a property, or a potential, as a formula or a table; a potential's further keys stand with
/// it.
KeyNode function_mapping(bool potential);

/// A pattern (ECMA 262) for a number with a unit of this dimension: units of one word by their names, others by their
/// form alone, since a pattern cannot multiply dimensions.
std::string quantity_pattern(const Kind& kind);

}  // namespace onegrain::params
