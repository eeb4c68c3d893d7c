#pragma once

#include <string>
#include <vector>

namespace onegrain::app {

/// A table for the terminal: columns as wide as their widest cell, numbers to the right, words to the left.
class Table {
 public:
  enum class Align { left, right };
  struct Heading {
    std::string title;
    Align align = Align::right;
    std::string unit = {};  ///< in a second line of the headings
  };

  explicit Table(std::vector<Heading> headings) : headings_(std::move(headings)) {}
  void add(std::vector<std::string> cells);
  /// With a rule under the headings. Ends with a line end.
  std::string text() const;

 private:
  std::vector<Heading> headings_;
  std::vector<std::vector<std::string>> rows_;
};

/// Signs that a text in UTF-8 takes on the screen.
std::size_t width(const std::string& text);

/// A number with so many significant digits, never in exponent form between 1e-4 and 1e6.
std::string digits(double value, int significant = 4);

/// A voltage difference in mV, three significant digits, nothing finer than 0.01 mV: "12.3", "0.04", "0".
std::string millivolts(double volts);

/// "42 s", "12 min", "5.1 h", "3.2 d".
std::string duration(double seconds);

/// Words broken into lines of at most `columns` signs, later lines indented.
std::string wrapped(const std::string& text, std::size_t columns = 100, const std::string& indent = "");

}  // namespace onegrain::app
