#include "params/text/delimited.hpp"

#include <algorithm>

#include "params/number/quantity.hpp"

namespace onegrain::params {

namespace {

std::string_view trimmed(std::string_view text) {
  const auto blank = [](char c) { return c == ' ' || c == '\t' || c == '\r'; };
  while (!text.empty() && blank(text.front())) text.remove_prefix(1);
  while (!text.empty() && blank(text.back())) text.remove_suffix(1);
  return text;
}

std::vector<std::string> cells_of(std::string_view line, char delimiter) {
  std::vector<std::string> cells;
  std::size_t at = 0;
  for (;;) {
    const std::size_t first = line.find_first_not_of(delimiter == '\t' ? " \r" : " \t\r", at);
    if (first != std::string_view::npos && line[first] == '"') {
      std::string cell;
      at = first + 1;
      for (; at < line.size(); ++at) {
        if (line[at] != '"') {
          cell += line[at];
        } else if (at + 1 < line.size() && line[at + 1] == '"') {
          cell += '"';
          ++at;
        } else {
          break;
        }
      }
      cells.push_back(std::move(cell));
      at = line.find(delimiter, std::min(at, line.size()));
    } else {
      const std::size_t end = line.find(delimiter, at);
      cells.emplace_back(trimmed(line.substr(at, end == std::string_view::npos ? end : end - at)));
      at = end;
    }
    if (at == std::string_view::npos) return cells;
    ++at;
  }
}

}  // namespace

Title read_title(std::string_view text) {
  text = trimmed(text);
  Title title{std::string(text), std::string(text), ""};
  const auto split = [&](std::size_t name_end, std::size_t unit_start, std::size_t unit_end) {
    title.name = std::string(trimmed(text.substr(0, name_end)));
    title.unit = std::string(trimmed(text.substr(unit_start, unit_end - unit_start)));
  };
  if (const std::size_t slash = text.find(" / "); slash != std::string_view::npos) {
    split(slash, slash + 3, text.size());
  } else if (!text.empty() && (text.back() == ']' || text.back() == ')')) {
    const std::size_t open = text.rfind(text.back() == ']' ? '[' : '(');
    if (open != std::string_view::npos) split(open, open + 1, text.size() - 1);
  }
  return title;
}

std::optional<double> Delimited::number(const std::string& cell) const {
  if (!decimal_comma) return parse_number(cell);
  std::string with_point = cell;
  std::replace(with_point.begin(), with_point.end(), ',', '.');
  return parse_number(with_point);
}

std::optional<Delimited> read_delimited(std::string_view text, const std::string& file, Faults& faults) {
  if (text.substr(0, 3) == "\xEF\xBB\xBF") text.remove_prefix(3);  // a byte order mark, as spreadsheets write it
  if (text.substr(0, 2) == "\xFF\xFE" || text.substr(0, 2) == "\xFE\xFF") {
    faults.error({file}, "", "", "the text is UTF-16; save it as UTF-8");
    return std::nullopt;
  }
  if (text.find('\0') != std::string_view::npos) {
    faults.error({file}, "", "", "a binary file; expected delimited text with a header");
    return std::nullopt;
  }
  Delimited table;
  int line_number = 0;
  int reported = 0;
  std::size_t at = 0;
  while (at < text.size()) {
    std::size_t end = text.find_first_of("\n\r", at);
    if (end == std::string_view::npos) end = text.size();
    const std::string_view line = text.substr(at, end - at);
    at = end + 1;
    if (end + 1 < text.size() && text[end] == '\r' && text[end + 1] == '\n') ++at;
    ++line_number;
    const std::string_view content = trimmed(line);
    if (content.empty() || content.front() == '#') continue;
    if (table.titles.empty()) {
      const auto count = [&](char c) { return std::count(line.begin(), line.end(), c); };
      table.delimiter = ',';
      if (count(';') > count(table.delimiter)) table.delimiter = ';';
      if (count('\t') > count(table.delimiter)) table.delimiter = '\t';
      for (const std::string& cell : cells_of(line, table.delimiter)) table.titles.push_back(read_title(cell));
      table.header_line = line_number;
      const bool numbers = std::all_of(table.titles.begin(), table.titles.end(),
                                       [](const Title& t) { return parse_number(t.whole).has_value(); });
      if (numbers) {
        faults.error({file, line_number, 1}, "", std::string(content),
                     "a header with names and units is expected above the numbers");
        return std::nullopt;
      }
      continue;
    }
    DelimitedRow row{line_number, cells_of(line, table.delimiter)};
    while (row.cells.size() > table.titles.size() && row.cells.back().empty())
      row.cells.pop_back();  // a delimiter at the end
    if (row.cells.size() != table.titles.size()) {
      if (++reported <= 10) {
        faults.error(
            {file, line_number, 1}, "", "",
            std::to_string(row.cells.size()) + " cells where the header has " + std::to_string(table.titles.size()));
      }
      continue;
    }
    table.rows.push_back(std::move(row));
  }
  if (table.titles.empty()) {
    faults.error({file}, "", "", "empty; expected a header and rows of numbers");
    return std::nullopt;
  }
  if (table.delimiter != ',') {
    const auto has_comma = [](const std::string& cell) { return cell.find(',') != std::string::npos; };
    for (std::size_t k = 0; k < std::min<std::size_t>(table.rows.size(), 100); ++k) {
      if (std::any_of(table.rows[k].cells.begin(), table.rows[k].cells.end(), has_comma)) table.decimal_comma = true;
    }
  }
  if (reported > 0) return std::nullopt;
  return table;
}

}  // namespace onegrain::params
