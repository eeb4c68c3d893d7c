#include "params/text/delimited.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "params/text/cells.hpp"

namespace onegrain::params {

void fault_binary(const std::string& file, Faults& faults) {
  faults.error({file}, "", "", "a binary file; expected delimited text with a header");
}

std::optional<Layout> read_layout(const LineReader& lines, const std::string& file, Faults& faults) {
  if (lines.utf16()) {
    faults.error({file}, "", "", "the text is UTF-16; save it as UTF-8");
    return std::nullopt;
  }
  if (lines.binary()) {
    fault_binary(file, faults);
    return std::nullopt;
  }
  Layout layout = find_layout(lines);
  if (layout.cells > 0) return layout;
  faults.error({file}, "", "", "empty; expected a header and rows of numbers");
  return std::nullopt;
}

std::vector<TitleSplit> title_splits(std::string_view title, bool loosely) {
  title = trimmed_cell(title);
  std::vector<TitleSplit> all;
  const auto cut = [&](std::size_t at, std::size_t skip) {
    if (at != std::string_view::npos && at > 0)
      all.push_back({trimmed_cell(title.substr(0, at)), trimmed_cell(title.substr(at + skip))});
  };
  cut(title.find(" / "), 3);
  if (!title.empty() && (title.back() == ']' || title.back() == ')')) {
    const std::size_t open = title.rfind(title.back() == ']' ? '[' : '(');
    if (open != std::string_view::npos && open > 0)
      all.push_back(
          {trimmed_cell(title.substr(0, open)), trimmed_cell(title.substr(open + 1, title.size() - open - 2))});
  }
  if (!loosely) return all;
  cut(title.find('/'), 1);
  cut(title.rfind(','), 1);
  cut(title.rfind(" in "), 4);
  cut(title.rfind('_'), 1);
  cut(title.rfind(' '), 1);
  return all;
}

Title read_title(std::string_view text) {
  text = trimmed_cell(text);
  const std::vector<TitleSplit> splits = title_splits(text, false);
  if (splits.empty()) return {std::string(text), std::string(text), ""};
  return {std::string(text), std::string(splits.front().name), std::string(splits.front().unit)};
}

bool looks_delimited(std::string_view text) {
  const LineReader lines(text);
  if (lines.utf16() || lines.binary()) return false;
  const Layout layout = find_layout(lines);
  const auto has_unit = [](const std::string& title) { return !read_title(title).unit.empty(); };
  return layout.first_row_line > 0 || std::count_if(layout.titles.begin(), layout.titles.end(), has_unit) >= 2;
}

std::optional<Delimited> read_delimited(std::string_view text, const std::string& file, Faults& faults) {
  LineReader lines(text);
  const std::optional<Layout> layout = read_layout(lines, file, faults);
  if (!layout) return std::nullopt;
  const std::size_t first_row = layout->first_row_line > 0 ? layout->first_row_line : layout->header_line + 1;
  const auto is_number = [](const std::string& title) {
    double value = 0;
    return CellNumbers().read(title, value) == CellContent::number;
  };
  if (std::all_of(layout->titles.begin(), layout->titles.end(), is_number)) {  // also where there are none
    const std::size_t line = layout->titles.empty() ? layout->first_row_line : layout->header_line;
    std::string_view content;
    for (std::size_t k = 0; k < line; ++k) lines.next(content);
    faults.error({file, static_cast<int>(line), 1}, "", std::string(trimmed_cell(content)),
                 "a header with names and units is expected above the numbers");
    return std::nullopt;
  }
  Delimited table;
  for (const std::string& title : layout->titles) table.titles.push_back(read_title(title));
  table.header_line = static_cast<int>(layout->header_line);
  CellSplitter cells;
  CellNumbers numbers;
  int reported = 0;
  std::string_view line;
  for (std::size_t number = 1; lines.next(line); ++number) {
    const std::string_view content = trimmed_cell(line);
    if (number < first_row || content.empty() || is_comment_line(content)) continue;
    cells.split(line, layout->separator);
    cells.drop_empty_beyond(table.titles.size());
    if (cells.size() != table.titles.size()) {
      if (++reported <= 10)
        faults.error({file, static_cast<int>(number), 1}, "", "",
                     fmt::format("{} cells where the header has {}", cells.size(), table.titles.size()));
      continue;
    }
    DelimitedRow row{static_cast<int>(number), {}, {}};
    for (std::size_t c = 0; c < cells.size(); ++c) {
      double value = 0;
      const bool good = numbers.read(cells[c], value) == CellContent::number;
      row.cells.emplace_back(cells[c]);
      row.numbers.push_back(good ? std::optional(value) : std::nullopt);
    }
    table.rows.push_back(std::move(row));
  }
  if (lines.binary()) fault_binary(file, faults);
  if (lines.binary() || reported > 0) return std::nullopt;
  return table;
}

}  // namespace onegrain::params
