#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "params/text/faults.hpp"

/// YAML as a tree that remembers where every key and value stands. No anchors, aliases, tags or several documents:
/// a sheet is data that a person reads from top to bottom.
namespace onegrain::params {

struct Entry;

struct Node {
  enum class Type { null, scalar, sequence, mapping };
  Type type = Type::null;
  std::string text;            ///< of a scalar
  int line = 0, column = 0;    ///< from 1
  std::vector<Node> items;     ///< of a sequence
  std::vector<Entry> entries;  ///< of a mapping, in the order of the file

  const Entry* find(std::string_view key) const;
};

struct Entry {
  std::string key;
  int line = 0, column = 0;  ///< of the key
  Node value;
};

/// Reads one document of which the top is a mapping. Faults: empty, not UTF-8, NUL bytes, bad YAML, duplicate keys,
/// anchors, aliases, tags, more than one document, nesting deeper than 32, more than 1 MiB, keys that are not plain
/// words. Returns nothing if the text has no usable tree. Never throws on any bytes, never takes more than linear time.
std::optional<Node> read_document(std::string_view text, const std::string& file, Faults& faults);

}  // namespace onegrain::params
