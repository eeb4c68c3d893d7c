#pragma once

#include <string>
#include <vector>

namespace onegrain::app {

/// A table for the terminal: columns as wide as their widest cell, numbers to the right, words to the left.
class PrintedTable {
 public:
  enum class Align { left, right };
  struct Heading {
    std::string title;
    Align align = Align::right;
    std::string unit = {};  ///< in a second line of the headings
  };

  explicit PrintedTable(std::vector<Heading> headings) : headings_(std::move(headings)) {}
  void add(std::vector<std::string> cells);
  /// With a rule under the headings. Ends with a line end.
  std::string text() const;

 private:
  std::vector<Heading> headings_;
  std::vector<std::vector<std::string>> rows_;
};

/// Signs that a text in UTF-8 takes on the screen.
std::size_t width(const std::string& text);

/// Words broken into lines of at most `columns` signs, later lines indented.
std::string wrapped(const std::string& text, std::size_t columns = 100, const std::string& indent = "");

}  // namespace onegrain::app
