#pragma once

#include <cstddef>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

/// Cells of a line of delimited text, and the numbers in them.
namespace onegrain::params {

/// A line taken apart; the separator ' ' stands for any number of blanks and tabs. Quotes `"` may surround a cell and
/// are doubled within. Cells are trimmed, and are views into the line, or into a copy where quotes were undone.
class CellSplitter {
 public:
  void split(std::string_view line, char separator);
  /// Cells that are empty at the end, from separators at the end of a line.
  void drop_empty_beyond(std::size_t count) {
    while (cells_.size() > count && cells_.back().empty()) cells_.pop_back();
  }
  std::size_t size() const { return cells_.size(); }
  std::string_view operator[](std::size_t k) const { return cells_[k]; }

 private:
  void split_blanks(std::string_view line);
  const char* quoted(const char* at, const char* end);

  std::vector<std::string_view> cells_;
  std::vector<std::unique_ptr<std::string>> unquoted_;
};

enum class CellContent {
  number,   ///< finite
  missing,  ///< empty, NaN, "N/A", "-", ...
  other     ///< words, infinity, a number with another decimal mark than those before
};

/// Numbers with the decimal mark that the file is found to use: the first cell with a mark settles it. A comma can only
/// be a decimal mark where it does not separate, or within quotes.
class CellNumbers {
 public:
  CellContent read(std::string_view cell, double& value);
  bool decimal_comma() const { return mark_ == ','; }

 private:
  char mark_ = '?';  ///< not yet seen
};

/// The text in UTF-8; one that is not, is taken for the older one-byte letters of western Europe.
std::string as_utf8(std::string_view text);

}  // namespace onegrain::params
