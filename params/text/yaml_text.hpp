#pragma once

#include <algorithm>
#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "params/text/document.hpp"

/// YAML as it is written: where the things of a tree begin and end among the bytes.
namespace onegrain::params {

/// A value that has no characters of its own: `key:`.
inline bool has_no_text(const Node& node) { return node.type == Node::Type::null && node.text.empty(); }

inline bool is_collection(const Node& node) {
  return node.type == Node::Type::mapping || node.type == Node::Type::sequence;
}

inline bool is_blank(char c) { return c == ' ' || c == '\t' || c == '\r' || c == '\n'; }

struct Span {  ///< of bytes, the end not included
  std::size_t begin, end;
};

/// A text of which the tree is known: where the things of the tree begin and end in it.
class YamlText {
 public:
  explicit YamlText(const std::string& text) : text_(text), lines_{text.starts_with("\xEF\xBB\xBF") ? 3U : 0U} {
    for (std::size_t at = text.find('\n'); at != std::string::npos; at = text.find('\n', at + 1))
      lines_.push_back(at + 1);
  }

  const std::string& text() const { return text_; }
  char operator[](std::size_t at) const { return at < text_.size() ? text_[at] : '\0'; }

  std::size_t at(int line, int column) const {
    return lines_.at(static_cast<std::size_t>(line - 1)) + static_cast<std::size_t>(column - 1);
  }
  std::size_t begin(const Node& node) const { return at(node.line, node.column); }
  std::size_t begin(const Entry& entry) const { return at(entry.line, entry.column); }

  std::size_t line_begin(std::size_t at) const { return *(std::upper_bound(lines_.begin(), lines_.end(), at) - 1); }
  std::size_t next_line(std::size_t at) const {
    const auto next = std::upper_bound(lines_.begin(), lines_.end(), at);
    return next == lines_.end() ? text_.size() : *next;
  }
  /// In front of the line break.
  std::size_t line_end(std::size_t at) const {
    std::size_t end = next_line(at);
    if (end > at && text_[end - 1] == '\n') --end;
    if (end > at && text_[end - 1] == '\r') --end;
    return end;
  }
  /// The line break that ends this line, or that of the first line where there is none.
  std::string line_break(std::size_t at) const {
    std::size_t end = line_end(at);
    if (end == text_.size()) end = line_end(0);
    return text_[std::min(end, text_.size() - 1)] == '\r' ? "\r\n" : "\n";
  }

  /// Behind blanks, line breaks and comments.
  std::size_t skip(std::size_t at) const {
    for (;; ++at) {
      if (text_[std::min(at, text_.size() - 1)] == '#' && at > 0 && is_blank(text_[at - 1])) at = line_end(at);
      if (at >= text_.size() || !is_blank(text_[at])) return at;
    }
  }

  /// A mapping or a list in brackets.
  bool flow(const Node& node) const {
    return is_collection(node) && (*this)[begin(node)] == (node.type == Node::Type::mapping ? '{' : '[');
  }

  std::size_t key_end(const Entry& entry) const {
    const std::size_t from = begin(entry);
    return (*this)[from] == '"' || (*this)[from] == '\'' ? quotes_end(from) : plain_end(from, entry.key);
  }
  std::optional<std::size_t> colon(const Entry& entry) const {
    const std::size_t at = skip(key_end(entry));
    return (*this)[at] == ':' ? std::optional(at) : std::nullopt;
  }

  /// @param indent  blanks in front of the block mapping or list that the entry is in
  std::size_t end(const Entry& entry, std::size_t indent) const {
    if (!has_no_text(entry.value)) return end(entry.value, indent);
    const std::optional<std::size_t> colon_at = colon(entry);
    return colon_at ? *colon_at + 1 : key_end(entry);
  }
  std::size_t end(const Node& node, std::size_t indent) const {
    const std::size_t from = begin(node);
    if (!is_collection(node)) {
      const char first = (*this)[from];
      if (first == '"' || first == '\'') return quotes_end(from);
      if (first == '|' || first == '>') return block_scalar_end(from, indent);
      return plain_end(from, node.text);
    }
    std::size_t at = from;
    if (!flow(node)) {
      const auto inner = static_cast<std::size_t>(node.column - 1);
      if (node.type == Node::Type::mapping) return end(node.entries.back(), inner);
      for (const Node& item : node.items) {
        at = has_no_text(item) ? skip(at) + 1 : end(item, inner);  // an empty item is its dash
      }
      return at;
    }
    ++at;
    for (const Entry& entry : node.entries) at = end(entry, indent);
    for (const Node& item : node.items) at = end(item, indent);
    at = skip(at);
    if ((*this)[at] == ',') at = skip(at + 1);
    return at + 1;
  }

  /// Comments from `from` on, to the end of the line of `to`, outside of the scalars of the node.
  std::vector<Span> comments(const Node& node, std::size_t indent, std::size_t from, std::size_t to) const {
    std::vector<Span> scalars, result;
    collect_scalars(node, indent, scalars);
    std::size_t next = 0;
    for (std::size_t at = from; at < line_end(to); ++at) {
      while (next < scalars.size() && scalars[next].end <= at) ++next;
      if (next < scalars.size() && at >= scalars[next].begin) {
        at = scalars[next].end - 1;
      } else if (text_[at] == '#' && at > 0 && is_blank(text_[at - 1])) {
        result.push_back({at, line_end(at)});
        at = line_end(at);
      }
    }
    return result;
  }

 private:
  std::size_t quotes_end(std::size_t from) const {
    const char quote = text_[from];
    for (std::size_t at = from + 1; at < text_.size(); ++at) {
      if (quote == '"' && text_[at] == '\\') {
        ++at;
      } else if (text_[at] == quote) {
        if (quote == '"' || (*this)[at + 1] != '\'') return at + 1;
        ++at;
      }
    }
    return text_.size();
  }

  /// Without quotes the characters are those of the value, but for blanks where lines were joined.
  std::size_t plain_end(std::size_t from, const std::string& value) const {
    std::size_t at = from, end = from;
    for (const char c : value) {
      if (is_blank(c)) continue;
      while (at < text_.size() && is_blank(text_[at])) ++at;
      if ((*this)[at] != c) return end;
      end = ++at;
    }
    return end;
  }

  std::size_t block_scalar_end(std::size_t from, std::size_t indent) const {
    std::size_t least = 0;  // blanks in front of its lines
    bool keeps_blank_lines = false;
    for (std::size_t at = from + 1; at < text_.size() && !is_blank(text_[at]); ++at) {
      if (text_[at] >= '1' && text_[at] <= '9') least = indent + static_cast<std::size_t>(text_[at] - '0');
      keeps_blank_lines = keeps_blank_lines || text_[at] == '+';
    }
    std::size_t end = line_end(from);
    for (std::size_t line = next_line(from); line < text_.size(); line = next_line(line)) {
      const std::size_t content = text_.find_first_not_of(' ', line);
      if (content == std::string::npos || content >= line_end(line)) {
        if (keeps_blank_lines) end = line_end(line);
        continue;
      }
      if (least == 0) least = std::max(content - line, indent + 1);
      if (content - line < least) break;
      end = line_end(line);
    }
    return end;
  }

  void collect_scalars(const Node& node, std::size_t indent, std::vector<Span>& spans) const {
    if (!is_collection(node)) {
      if (!has_no_text(node)) spans.push_back({begin(node), end(node, indent)});
      return;
    }
    const std::size_t inner = flow(node) ? indent : static_cast<std::size_t>(node.column - 1);
    for (const Node& item : node.items) collect_scalars(item, inner, spans);
    for (const Entry& entry : node.entries) {
      spans.push_back({begin(entry), key_end(entry)});
      collect_scalars(entry.value, inner, spans);
    }
  }

  const std::string& text_;
  std::vector<std::size_t> lines_;  // where they begin
};

}  // namespace onegrain::params
