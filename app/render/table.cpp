#include "app/render/table.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <sstream>

namespace onegrain::app {

std::size_t width(const std::string& text) {
  return static_cast<std::size_t>(std::count_if(text.begin(), text.end(), [](char c) { return (c & 0xC0) != 0x80; }));
}

void PrintedTable::add(std::vector<std::string> cells) {
  cells.resize(headings_.size());
  rows_.push_back(std::move(cells));
}

std::string PrintedTable::text() const {
  std::vector<std::size_t> widths;
  for (std::size_t k = 0; k < headings_.size(); ++k) {
    std::size_t w = std::max(width(headings_[k].title), width(headings_[k].unit));
    for (const auto& row : rows_) w = std::max(w, width(row[k]));
    widths.push_back(w);
  }
  std::string out;
  const auto line = [&](const auto& cell_of) {
    std::string text_line;
    for (std::size_t k = 0; k < headings_.size(); ++k) {
      const std::string cell = cell_of(k);
      const std::string pad(widths[k] - width(cell), ' ');
      text_line += headings_[k].align == Align::right ? pad + cell : cell + pad;
      text_line += "  ";
    }
    text_line.erase(text_line.find_last_not_of(' ') + 1);
    out += text_line + "\n";
  };
  line([&](std::size_t k) { return headings_[k].title; });
  if (std::any_of(headings_.begin(), headings_.end(), [](const Heading& h) { return !h.unit.empty(); }))
    line([&](std::size_t k) { return headings_[k].unit; });
  line([&](std::size_t k) { return std::string(widths[k], '-'); });
  for (const auto& row : rows_) line([&](std::size_t k) { return row[k]; });
  return out;
}

std::string wrapped(const std::string& text, std::size_t columns, const std::string& indent) {
  std::istringstream words(text);
  std::string out, line;
  for (std::string word; words >> word;) {
    if (!line.empty() && width(line) + 1 + width(word) > columns) {
      out.append(line).append("\n").append(indent);
      line.clear();
    }
    line += (line.empty() ? "" : " ") + word;
  }
  return out + line + "\n";
}

}  // namespace onegrain::app
