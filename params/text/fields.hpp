#pragma once

#include <limits>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "params/card/card.hpp"
#include "params/number/value.hpp"
#include "params/text/document.hpp"
#include "params/text/faults.hpp"

/// Taking typed values out of a YAML mapping; used by the readers of sheets, cards and protocols.
namespace onegrain::params {

/// Bounds of a value, SI. A value outside is an error that names the bounds.
struct Limits {
  double lower = -std::numeric_limits<double>::infinity();
  double upper = std::numeric_limits<double>::infinity();
  bool lower_open = false;
  bool upper_open = false;
  std::string reason{};  ///< replaces the sentence about the bounds
};
namespace limits {
inline const Limits any{};
inline const Limits positive{.lower = 0, .lower_open = true};
inline const Limits not_negative{.lower = 0};
inline const Limits share{.lower = 0, .upper = 1};
inline const Limits open_share{.lower = 0, .upper = 1, .lower_open = true, .upper_open = true};
inline const Limits positive_share{.lower = 0, .upper = 1, .lower_open = true};
inline Limits between(double lower, double upper) { return {.lower = lower, .upper = upper}; }
}  // namespace limits

/// What the reading of one document shares, down to its cards.
struct DocumentReading {
  std::string file;      ///< for messages
  std::string folder;    ///< where further files are looked for; "" = here
  bool shipped = false;  ///< the file is inside the program; so are those it refers to
  Faults* faults;
  std::vector<SourceFile>* files;
  std::vector<std::string>* assumptions;

  Place at(int line, int column) const { return {file, line, column}; }
};

/// A mapping being read. Every key asked for is noted; finish() faults the others.
class Fields {
 public:
  Fields(const Node& mapping, std::string path, const DocumentReading& reading)
      : node_(mapping), path_(std::move(path)), reading_(reading) {}

  const Node* node(const std::string& key);  ///< nullptr if absent
  bool has(const std::string& key) const { return node_.find(key) != nullptr; }

  bool any_asked_for() const;  ///< whether a key that was asked for is there

  std::optional<std::string> text(const std::string& key);
  std::string required_text(const std::string& key, const std::string& expected);
  /// One of `choices`; faults anything else with the nearest choice.
  std::optional<std::string> choice(const std::string& key, const std::vector<std::string>& choices);

  std::optional<Value> value(const std::string& key, const Kind& kind, const Limits& limits,
                             const char* example_unit = nullptr);
  template <class Q>
  std::optional<Given<Q>> optional(const std::string& key, const Limits& limits, const char* example_unit = nullptr) {
    if (std::optional<Value> found = value(key, Q::kind(), limits, example_unit)) return Given<Q>(std::move(*found));
    return std::nullopt;
  }
  /// Faults a missing key; the result is NaN then, and after any other fault.
  template <class Q>
  Given<Q> required(const std::string& key, const Limits& limits, const char* example_unit = nullptr) {
    if (!has(key)) missing(key, expectation(Q::kind(), example_unit));
    if (std::optional<Given<Q>> found = optional<Q>(key, limits, example_unit)) return std::move(*found);
    Given<Q> nothing;
    nothing.si = std::numeric_limits<double>::quiet_NaN();
    return nothing;
  }

  /// The mapping under a key; faults anything else. `expected` is an example for the message.
  std::optional<Fields> mapping(const std::string& key, const std::string& expected);
  std::optional<Fields> required_mapping(const std::string& key, const std::string& expected);

  void missing(const std::string& key, const std::string& expected);
  /// At the value of a key that is there.
  void error(const std::string& key, const std::string& message, const std::string& suggestion = {});
  void warning(const std::string& key, const std::string& message);
  void error_here(const std::string& message);  ///< at the mapping itself
  /// Tells of a decimal comma that ended a value inside braces, `{upper: 4,2 V}`: the text with a point; nothing where
  /// there is none.
  std::optional<std::string> cut_by_comma(const std::string& key);
  /// Faults keys that no one asked for, with the nearest of those asked for.
  void finish();

  std::string path_of(const std::string& key) const { return path_.empty() ? key : path_ + "." + key; }
  const std::string& path() const { return path_; }
  const Node& here() const { return node_; }
  const DocumentReading& reading() const { return reading_; }

 private:
  static std::string expectation(const Kind& kind, const char* example_unit);
  void add(Severity severity, const std::string& key, const std::string& message, const std::string& suggestion);

  const Node& node_;
  std::string path_;
  const DocumentReading& reading_;
  std::set<std::string> asked_;
};

/// A value in any of its forms: `4.8 um` or {value, spread, source}. Where `scaled_by` is given, the mapping may hold
/// that key too: the value is multiplied by it, limits hold before and after, and `spread` is that of the product.
/// @return nothing after a fault
std::optional<Value> read_value(const Node& node, const std::string& path, const Kind& kind, const Limits& limits,
                                const DocumentReading& reading, const char* example_unit = nullptr,
                                double* scaled_by = nullptr);

/// The key `scaled_by` of a mapping, a plain number greater than 0; 1 where it is absent, nothing after a fault.
std::optional<double> read_scale(Fields& fields);

/// `spread` of a value of this kind: absolute with a unit, a percentage of the value (of what has a dimension), or
/// `factor 3`.
Spread read_spread(const Node& node, const std::string& path, const Kind& kind, std::optional<double> value,
                   const DocumentReading& reading);

/// How a node is quoted in a message: the text of a scalar, "[...]", "{...}", or "".
std::string shown(const Node& node);

}  // namespace onegrain::params
