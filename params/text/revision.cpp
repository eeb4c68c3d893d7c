#include "params/text/revision.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>
#include <stdexcept>
#include <string_view>

#include "params/text/yaml_text.hpp"

namespace onegrain::params {

namespace {

using Keys = std::vector<std::string>;
constexpr std::size_t npos = std::string::npos;

Node parsed(const std::string& text, const std::string& file) {
  Faults faults;
  std::optional<Node> document = read_document(text, file, faults);
  if (!document || faults.any_error()) throw std::logic_error("cannot be revised: " + faults.text());
  return std::move(*document);
}

/// A new value with the tree that it stands for.
class NewValue {
 public:
  NewValue(const std::string& yaml, const std::string& path) : text_(prefix + yaml + "\n") {
    Faults faults;
    std::optional<Node> document = read_document(text_, path, faults);
    if (document && !faults.any_error() && document->entries.size() == 1 && yaml.find_first_of("\r\n") == npos) {
      value_ = std::move(document->entries[0].value);
      const bool whole = !has_no_text(value_) && YamlText(text_).end(value_, 0) == text_.find_last_not_of(" \n") + 1;
      if (whole && text_[YamlText(text_).begin(value_)] != '|' && text_[YamlText(text_).begin(value_)] != '>') return;
    }
    throw std::logic_error(fmt::format("{}: the new value '{}' is not one line of YAML", path, yaml));
  }

  const Node& node() const { return value_; }
  std::string text(const Node& part) const {
    const YamlText source(text_);
    const std::size_t from = source.begin(part);
    return text_.substr(from, source.end(part, 0) - from);
  }
  /// Between brackets some characters end a word that outside of them are part of it.
  std::string text(bool in_flow) const {
    const std::string all = text(value_);
    const bool plain = !is_collection(value_) && all.front() != '"' && all.front() != '\'';
    return in_flow && plain && all.find_first_of(",[]{}") != npos ? quoted(value_.text) : all;
  }

 private:
  static constexpr const char* prefix = "v: ";
  std::string text_;
  Node value_;
};

class Reviser {
 public:
  Reviser(std::string text, const std::string& file) : text_(std::move(text)), file_(file) {}

  const std::string& text() const { return text_; }

  /// One revision, checked.
  void revise(const Keys& keys, const std::string& path, const std::string& yaml) {
    Node expected = parsed(text_, file_);
    if (yaml.empty()) {
      if (!has(expected, keys)) return;
      entries_above(expected, keys).pop_back();
      take_out(keys, path);
    } else {
      const NewValue value(yaml, path);
      set(expected, keys, value.node(), path);
      put(keys, path, value);
    }
    Faults faults;
    const std::optional<Node> result = read_document(text_, file_, faults);
    if (!result || faults.any_error() || !same(*result, expected))
      throw std::logic_error(fmt::format("{}: '{}' stands where it cannot be revised", file_, path));
  }

 private:
  static bool has(const Node& root, const Keys& keys) {
    const Node* node = &root;
    for (const std::string& key : keys) {
      const Entry* entry = node->find(key);
      if (entry == nullptr) return false;
      node = &entry->value;
    }
    return true;
  }

  /// The entries of which the last of `keys` is one, it being moved to the end.
  static std::vector<Entry>& entries_above(Node& root, const Keys& keys) {
    Node* node = &root;
    for (std::size_t k = 0;; ++k) {
      std::vector<Entry>& entries = node->entries;
      const auto found =
          std::find_if(entries.begin(), entries.end(), [&](const Entry& entry) { return entry.key == keys[k]; });
      if (k + 1 == keys.size()) {
        std::rotate(found, found + 1, entries.end());
        return entries;
      }
      node = &found->value;
    }
  }

  void set(Node& root, const Keys& keys, const Node& value, const std::string& path) const {
    Node* node = &root;
    for (const std::string& key : keys) {
      if (node->type == Node::Type::null) node->type = Node::Type::mapping;
      if (node->type != Node::Type::mapping) {
        throw std::logic_error(fmt::format("{}:{}:{}: {}: no keys can be put into what is not a mapping", file_,
                                           node->line, node->column, path));
      }
      Entry* entry = const_cast<Entry*>(node->find(key));
      if (entry == nullptr) entry = &node->entries.emplace_back(Entry{key, 0, 0, {}});
      node = &entry->value;
    }
    *node = value;
  }

  /// The same but for places and the order of keys.
  static bool same(const Node& a, const Node& b) {
    if (a.type != b.type || a.items.size() != b.items.size() || a.entries.size() != b.entries.size()) return false;
    if (a.type == Node::Type::scalar && a.text != b.text) return false;
    for (std::size_t k = 0; k < a.items.size(); ++k) {
      if (!same(a.items[k], b.items[k])) return false;
    }
    return std::all_of(a.entries.begin(), a.entries.end(), [&](const Entry& entry) {
      const Entry* other = b.find(entry.key);
      return other != nullptr && same(entry.value, other->value);
    });
  }

  void put(const Keys& keys, const std::string& path, const NewValue& value) {
    const Node root = parsed(text_, file_);
    const Node* mapping = &root;
    const YamlText source(text_);
    bool in_flow = false;
    for (std::size_t k = 0; k < keys.size(); ++k) {
      in_flow = in_flow || source.flow(*mapping);
      const Entry* entry = mapping->find(keys[k]);
      const bool last = k + 1 == keys.size();
      if (entry != nullptr && !last && entry->value.type != Node::Type::null) {
        mapping = &entry->value;
        continue;
      }
      std::string yaml = value.text(in_flow || !last);
      for (std::size_t m = keys.size() - 1; m > k; --m) yaml = fmt::format("{{{}: {}}}", keys[m], yaml);
      if (entry == nullptr) return add(source, *mapping, keys[k], yaml);
      if (!last || !by_keys(source, *entry, *mapping, value)) return replace(source, *entry, *mapping, yaml);
      const Node old = entry->value;
      for (const Entry& part : value.node().entries) {
        Keys below = keys;
        below.push_back(part.key);
        revise(below, path + "." + part.key, value.text(part.value));
      }
      for (const Entry& part : old.entries) {
        Keys below = keys;
        below.push_back(part.key);
        if (value.node().find(part.key) == nullptr) take_out(below, path);
      }
      return;
    }
  }

  /// A mapping over several lines that is replaced by a mapping.
  bool by_keys(const YamlText& source, const Entry& entry, const Node& mapping, const NewValue& value) const {
    const Node& old = entry.value;
    const bool both = old.type == Node::Type::mapping && value.node().type == Node::Type::mapping;
    if (!both || old.entries.empty() || value.node().entries.empty()) return false;
    const auto filled = [](const Entry& part) { return !has_no_text(part.value); };
    if (!std::all_of(value.node().entries.begin(), value.node().entries.end(), filled)) return false;
    if (!source.flow(old)) return true;
    const std::size_t from = source.begin(old);
    return source.line_end(from) < source.end(old, indent(mapping));
  }

  static std::size_t indent(const Node& mapping) { return static_cast<std::size_t>(mapping.column - 1); }

  void add(const YamlText& source, const Node& mapping, const std::string& key, const std::string& yaml) {
    const std::string entry = key + ": " + yaml;
    if (!source.flow(mapping)) {
      const std::size_t end = source.end(mapping.entries.back(), indent(mapping));
      text_.insert(source.line_end(end), source.line_break(end) + std::string(indent(mapping), ' ') + entry);
      return;
    }
    if (mapping.entries.empty()) {
      text_.insert(source.begin(mapping) + 1, entry);
      return;
    }
    const std::size_t end = source.end(mapping.entries.back(), indent(mapping)), comma = source.skip(end);
    if (source[comma] == ',') {
      text_.insert(comma + 1, " " + entry);
    } else {
      text_.insert(end, ", " + entry);
    }
  }

  void replace(const YamlText& source, const Entry& entry, const Node& mapping, const std::string& yaml) {
    const Node& old = entry.value;
    if (has_no_text(old)) {
      const std::optional<std::size_t> colon = source.colon(entry);
      text_.insert(colon ? *colon + 1 : source.key_end(entry), (colon ? " " : ": ") + yaml);
      return;
    }
    const std::size_t begin = source.begin(old), end = source.end(old, indent(mapping));
    if (is_collection(old) && !source.flow(old)) return replace_block(source, entry, mapping, yaml);
    const bool block_scalar = !is_collection(old) && (text_[begin] == '|' || text_[begin] == '>');
    if (block_scalar) {  // a comment may stand behind the sign
      const std::size_t sign_end = text_.find_first_of(" \t\r\n", begin), header_end = source.line_end(begin);
      if (end > header_end) text_.erase(header_end, end - header_end);
      text_.replace(begin, std::min(sign_end, header_end) - begin, yaml);
      return;
    }
    std::string kept;  // what was said between the brackets
    if (source.flow(old) && !source.flow(mapping)) {
      for (const Span& comment : source.comments(old, indent(mapping), begin, end)) {
        if (comment.begin >= end) continue;
        kept += source.line_break(begin) + std::string(indent(mapping), ' ') +
                text_.substr(comment.begin, comment.end - comment.begin);
      }
    }
    text_.insert(source.line_end(end), kept);
    text_.replace(begin, end - begin, (source[begin - 1] == ':' ? " " : "") + yaml);
  }

  /// A mapping or a list of lines becomes one line, its comments lines of their own.
  void replace_block(const YamlText& source, const Entry& entry, const Node& mapping, const std::string& yaml) {
    const Node& old = entry.value;
    const std::size_t from = source.line_begin(source.begin(old)), end = source.end(old, indent(mapping));
    const std::size_t colon = source.colon(entry).value_or(npos);
    if (colon >= from) throw std::logic_error(fmt::format("{}: '{}' cannot be revised", file_, entry.key));
    std::string kept;
    for (const Span& comment : source.comments(old, indent(mapping), from, end)) {
      const std::size_t line = source.line_begin(comment.begin);
      kept += text_.substr(line, text_.find_first_not_of(' ', line) - line);
      kept += text_.substr(comment.begin, source.next_line(comment.begin) - comment.begin);
    }
    text_.replace(from, source.next_line(end) - from, kept);
    text_.insert(colon + 1, " " + yaml);
  }

  void take_out(const Keys& keys, const std::string& path) {
    const Node root = parsed(text_, file_);
    const YamlText source(text_);
    const Node *mapping = &root, *above = nullptr;
    const Entry* entry = nullptr;
    const Entry* holder = nullptr;  // the entry of which `mapping` is the value
    for (const std::string& key : keys) {
      if (entry != nullptr) {
        above = mapping;
        holder = entry;
        mapping = &entry->value;
      }
      entry = mapping->find(key);
    }
    if (mapping->entries.size() == 1) {
      if (above == nullptr) throw std::logic_error(fmt::format("{}: '{}' is the only key", file_, path));
      return replace(source, *holder, *above, "{}");
    }
    const std::size_t begin = source.begin(*entry), end = source.end(*entry, indent(*mapping));
    if (!source.flow(*mapping)) {
      const std::size_t line = source.line_begin(begin);
      text_.erase(line, source.next_line(end) - line);
      return;
    }
    const std::size_t comma = source.skip(end);
    if (entry != &mapping->entries.back()) {
      std::size_t rest = comma + 1;
      while (source[rest] == ' ') ++rest;
      if (source[rest] == '#') rest = source.line_end(rest);
      text_.erase(begin, rest - begin);
      return;
    }
    std::size_t from = begin;
    while (text_[from - 1] == ' ') --from;
    text_.erase(from, end - from);
    text_.erase(source.skip(source.end(*(entry - 1), indent(*mapping))), 1);  // the comma in front
  }

  std::string text_;
  const std::string& file_;
};

}  // namespace

std::string revised(const std::string& text, const std::string& file, const std::vector<Revision>& revisions) {
  Reviser reviser(text, file);
  for (const Revision& revision : revisions) {
    Keys keys;
    for (std::size_t from = 0, point = 0; point != npos; from = point + 1) {
      point = revision.path.find('.', from);
      keys.push_back(revision.path.substr(from, point == npos ? npos : point - from));
      if (keys.back().empty()) throw std::logic_error(fmt::format("'{}' is not a path of keys", revision.path));
    }
    reviser.revise(keys, revision.path, revision.yaml);
  }
  return reviser.text();
}

std::string quoted(const std::string& words) {
  std::string result = "\"";
  for (std::size_t at = 0; at < words.size(); ++at) {
    const unsigned byte = static_cast<unsigned char>(words[at]);
    const auto following = [&](std::size_t k) {
      return at + k < words.size() ? static_cast<unsigned char>(words[at + k]) : 0U;
    };
    const unsigned pair = byte << 8 | following(1), triple = pair << 8 | following(2);
    if (byte == '"' || byte == '\\') {
      result += {'\\', words[at]};
    } else if (byte == '\n') {
      result += "\\n";
    } else if (byte == '\t') {
      result += "\\t";
    } else if (byte == '\r') {
      result += "\\r";
    } else if (byte < 0x20 || byte == 0x7F) {
      result += fmt::format("\\x{:02X}", byte);
    } else if (pair >= 0xC280 && pair <= 0xC29F) {  // U+0080 to U+009F: controls, a line break among them
      result += fmt::format("\\x{:02X}", pair & 0xFF);
      at += 1;
    } else if (triple == 0xE280A8 || triple == 0xE280A9) {  // line and paragraph separator
      result += triple == 0xE280A8 ? "\\L" : "\\P";
      at += 2;
    } else if (triple == 0xEFBBBF || triple == 0xEFBFBE || triple == 0xEFBFBF) {  // byte order mark, no characters
      result += triple == 0xEFBBBF ? "\\uFEFF" : triple == 0xEFBFBE ? "\\uFFFE" : "\\uFFFF";
      at += 2;
    } else {
      result += words[at];
    }
  }
  return result + "\"";
}

std::string yaml_value(double si, const Kind& kind, const Spread& spread, const std::string& source, const char* unit,
                       int digits) {
  if (!std::isfinite(si)) throw std::invalid_argument("a value that is not finite cannot be written");
  const double least = spread.form == Spread::Form::factor ? 1 : 0;
  if (spread.given() && !(spread.size > least && std::isfinite(spread.size)))
    throw std::invalid_argument("a spread of no width cannot be written");

  const char* shown_unit = unit != nullptr ? unit : kind.unit;
  constexpr int most_digits = 15, spread_digits = 3;
  std::string spread_text;
  double relative = 1;  // of the spread against the value as it is written
  if (spread.form == Spread::Form::absolute) {
    Kind difference = kind;
    difference.absolute_temperature = false;
    spread_text = show(spread.size, difference, spread_digits, kind.absolute_temperature ? "K" : shown_unit);
    const double written = *shown_unit == '\0' ? si : in_unit(si, shown_unit);
    const double width =
        *shown_unit == '\0' || kind.absolute_temperature ? spread.size : spread.size / parse_unit(shown_unit).factor;
    if (written != 0) relative = width / std::abs(written);
  } else if (spread.form == Spread::Form::factor) {
    relative = spread.size - 1;
    const int more = relative < 1 ? static_cast<int>(std::ceil(-std::log10(relative))) : 0;
    spread_text = "factor " + plain_number(spread.size, std::min(most_digits, spread_digits + more));
  }
  const int needed = static_cast<int>(std::ceil(-std::log10(std::min(relative, 1.0)))) + spread_digits;
  std::string value = show(si, kind, std::clamp(needed, digits, most_digits), shown_unit);
  if (!spread.given() && source.empty()) return value;
  std::string result = "{value: " + value;
  if (spread.given()) result += ", spread: " + spread_text;
  if (!source.empty()) result += ", source: " + quoted(source);
  return result + "}";
}

}  // namespace onegrain::params
