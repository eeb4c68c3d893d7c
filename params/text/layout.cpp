#include "params/text/layout.hpp"

#include <algorithm>

#include "params/number/units.hpp"
#include "params/text/cells.hpp"
#include "params/text/clock.hpp"

namespace onegrain::params {

namespace {

constexpr std::size_t most_lines = 2000, rows_judged = 50;

struct HeadLine {
  std::string_view text;
  std::size_t number;
};

/// Lines that say something, and comments.
struct Head {
  std::vector<HeadLine> lines, comments;
};

Head head_of(const LineReader& reader) {
  Head head;
  std::string_view text = reader.view();
  for (std::size_t number = 1; !text.empty() && head.lines.size() < most_lines; ++number) {
    const std::size_t end = text.find(reader.line_end());
    if (end == std::string_view::npos && !reader.all_in_view()) break;  // cut short
    const std::string_view line = text.substr(0, end);
    text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
    const std::string_view content = trimmed_cell(line);
    if (!content.empty()) (is_comment_line(content) ? head.comments : head.lines).push_back({line, number});
  }
  return head;
}

/// Cells that are numbers or clock times, and cells that are neither nor empty.
struct Count {
  std::size_t cells = 0, numbers = 0, words = 0;
  bool row() const { return cells >= 2 && numbers >= 2 && numbers >= words; }
};
Count count_cells(const CellSplitter& cells) {
  Count count{cells.size(), 0, 0};
  for (std::size_t c = 0; c < cells.size(); ++c) {
    CellNumbers numbers;
    double value = 0;
    const CellContent content = numbers.read(cells[c], value);
    if (content == CellContent::number || read_clock(cells[c], value)) {
      ++count.numbers;
    } else if (content == CellContent::other) {
      ++count.words;
    }
  }
  return count;
}

std::string_view without_brackets(std::string_view cell) {
  const bool has = cell.size() > 2 && (cell.front() == '[' || cell.front() == '(');
  return has ? cell.substr(1, cell.size() - 2) : cell;
}

/// All cells are units or empty, and two at least are units: the line under a header.
bool units_line(const CellSplitter& cells) {
  std::size_t units = 0;
  for (std::size_t c = 0; c < cells.size(); ++c) {
    const std::string_view cell = without_brackets(cells[c]);
    if (cell.empty() || cell == "-" || cell == "1") continue;
    try {
      parse_unit(cell);
      ++units;
    } catch (const UnitError&) {
      return false;
    }
  }
  return units >= 2;
}

/// Rows of numbers as one separator makes them.
struct Rows {
  double score = 0;  ///< of at most a little above 1; 0: none
  std::size_t first = 0, cells = 0;
};

/// They begin with the first line of which the next has as many cells, half of what is written being numbers.
Rows rows_by(char separator, const std::vector<HeadLine>& lines) {
  std::vector<Count> counts;
  CellSplitter cells;
  const auto count = [&](std::size_t n) {  // lines are taken apart no further than is looked
    for (; counts.size() <= n; counts.push_back(count_cells(cells))) cells.split(lines[counts.size()].text, separator);
    return counts[n];
  };
  for (std::size_t k = 0; k < lines.size(); ++k) {
    const Count row = count(k);
    if (!row.row()) continue;
    const bool last = k + 1 == lines.size();
    if (!last && (!count(k + 1).row() || counts[k + 1].cells != row.cells) &&
        (k == 0 || counts[k - 1].cells != row.cells))
      continue;
    std::size_t numbers = 0, words = 0, rows = 0;
    for (std::size_t n = k; n < std::min(k + rows_judged, lines.size()); ++n) {
      numbers += count(n).numbers;
      words += counts[n].words;
      rows += counts[n].cells == row.cells;
    }
    // A wrong separator leaves cells that are no numbers; among equals, blanks come last and more cells first.
    const double score =
        static_cast<double>(numbers) / static_cast<double>(numbers + words) * static_cast<double>(rows) /
            static_cast<double>(std::min<std::size_t>(rows_judged, lines.size() - k)) +
        1e-3 * static_cast<double>(std::min<std::size_t>(row.cells, rows_judged)) - (separator == ' ' ? 0.1 : 0);
    return {score, k, row.cells};
  }
  return {};
}

/// Finds the titles of a text of which the rows are known.
class HeaderSearch {
 public:
  HeaderSearch(const Head& head, std::size_t first_row, Layout& layout)
      : head_(head), row_(first_row), above_(first_row), layout_(layout) {}

  void find() {
    std::vector<std::string> units = units_above();
    if (!header_above() && !header_over_damaged_rows() && !header_in_comments()) header_of_other_length();
    for (std::size_t c = 0; c < units.size() && c < layout_.titles.size(); ++c) {
      if (!units[c].empty()) layout_.titles[c] += " / " + units[c];
    }
  }

 private:
  /// Splits a line; true if it has as many cells as a row.
  bool fits(std::string_view text) {
    cells_.split(text, layout_.separator);
    cells_.drop_empty_beyond(layout_.cells);
    return cells_.size() == layout_.cells;
  }
  bool fits_words(std::string_view text) { return fits(text) && count_cells(cells_).numbers == 0; }
  std::string_view line_above(std::size_t n) const { return head_.lines[above_ - n].text; }
  bool take(const HeadLine& line) {
    for (std::size_t c = 0; c < cells_.size(); ++c) layout_.titles.push_back(as_utf8(cells_[c]));
    layout_.header_line = line.number;
    return true;
  }

  std::vector<std::string> units_above() {
    std::vector<std::string> units;
    if (above_ < 2 || !fits(line_above(1)) || !units_line(cells_) || !fits(line_above(2))) return units;
    fits(line_above(1));
    for (std::size_t c = 0; c < cells_.size(); ++c) units.push_back(as_utf8(without_brackets(cells_[c])));
    --above_;
    return units;
  }
  bool header_above() { return above_ > 0 && fits_words(line_above(1)) && take(head_.lines[above_ - 1]); }
  /// Rows of which most cells are no numbers lie between; they are rows all the same.
  bool header_over_damaged_rows() {
    if (above_ != row_) return false;
    std::size_t first = row_;
    while (first > 0 && fits(head_.lines[first - 1].text) && count_cells(cells_).numbers > 0) --first;
    if (first == row_ || first == 0 || !fits_words(head_.lines[first - 1].text)) return false;
    layout_.first_row_line = head_.lines[first].number;
    return take(head_.lines[first - 1]);
  }
  bool header_in_comments() {
    for (auto comment = head_.comments.rbegin(); comment != head_.comments.rend(); ++comment) {
      if (comment->number > layout_.first_row_line) continue;
      std::string_view text = trimmed_cell(comment->text);
      while (is_comment_line(text)) text.remove_prefix(1);
      if (fits_words(trimmed_cell(text))) return take(*comment);
    }
    return false;
  }
  /// Rows are then judged by it, as a person would.
  bool header_of_other_length() {
    if (above_ == 0) return false;
    cells_.split(line_above(1), layout_.separator);
    return cells_.size() >= 2 && count_cells(cells_).numbers == 0 && take(head_.lines[above_ - 1]);
  }

  const Head& head_;
  std::size_t row_, above_;  ///< the first row; the line under the header
  Layout& layout_;
  CellSplitter cells_;
};

/// No rows of numbers: perhaps a header alone.
Layout header_alone(const HeadLine& line) {
  Layout layout;
  for (const char separator : {',', ';', '\t'}) {
    if (std::count(line.text.begin(), line.text.end(), separator) >
        std::count(line.text.begin(), line.text.end(), layout.separator))
      layout.separator = separator;
  }
  CellSplitter cells;
  cells.split(line.text, layout.separator);
  for (std::size_t c = 0; c < cells.size(); ++c) layout.titles.push_back(as_utf8(cells[c]));
  layout.header_line = line.number;
  layout.cells = cells.size();
  layout.clock_time.assign(layout.cells, false);
  return layout;
}

}  // namespace

Layout find_layout(const LineReader& reader) {
  const Head head = head_of(reader);
  if (head.lines.empty()) return {};
  Layout layout;
  Rows best;
  for (const char separator : {'\t', ';', ',', '|', ' '}) {
    const Rows rows = rows_by(separator, head.lines);
    if (!(rows.score > best.score)) continue;
    best = rows;
    layout.separator = separator;
  }
  if (best.score == 0) return header_alone(head.lines.front());
  layout.first_row_line = head.lines[best.first].number;
  layout.cells = best.cells;
  HeaderSearch(head, best.first, layout).find();
  layout.clock_time.assign(std::max(layout.cells, layout.titles.size()), false);
  CellSplitter cells;
  cells.split(head.lines[best.first].text, layout.separator);
  for (std::size_t c = 0; c < std::min(cells.size(), layout.clock_time.size()); ++c) {
    double value = 0;
    layout.clock_time[c] = read_clock(cells[c], value);
  }
  return layout;
}

}  // namespace onegrain::params
