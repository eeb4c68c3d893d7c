#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "params/text/lines.hpp"

/// How a delimited text is laid out, judged from its head.
namespace onegrain::params {

struct Layout {
  char separator = ',';             ///< comma, semicolon, tab, bar, or ' ' for blanks
  std::vector<std::string> titles;  ///< UTF-8, with the unit that a line of its own gives; empty: no header
  std::size_t header_line = 0;      ///< from 1
  std::size_t first_row_line = 0;   ///< from 1; 0: no rows of numbers
  std::size_t cells = 0;            ///< of a row; 0: the text is empty
  std::vector<bool> clock_time;     ///< columns whose first cells are clock times
};

/// The separator is the one that makes the most numbers of the first rows. The header is the line above them, whatever
/// stands in front of it (a preamble), with a line of units between or not, or else the last comment line that has as
/// many cells; a row of which one cell is damaged is no header. Without rows of numbers the first line is the header.
Layout find_layout(const LineReader& lines);

}  // namespace onegrain::params
