#include "params/text/cells.hpp"

#include <charconv>
#include <cmath>

#include "params/text/lines.hpp"
#include "params/text/printable.hpp"

namespace onegrain::params {

namespace {

bool is_blank(char c) { return c == ' ' || c == '\t' || c == '\r'; }

const char* find(const char* at, const char* end, char separator) {
  while (at < end && *at != separator) ++at;  // cells are short: quicker than a call
  return at;
}

bool missing_word(std::string_view cell) {
  for (const char* word : {"nan", "NaN", "NAN", "NA", "N/A", "n/a", "null", "NULL", "None", "-", "--", "---"}) {
    if (cell == word) return true;
  }
  return false;
}

}  // namespace

void CellSplitter::split(std::string_view line, char separator) {
  cells_.clear();
  unquoted_.clear();
  if (separator == ' ') return split_blanks(line);
  const char* at = line.data();
  const char* const end = at + line.size();
  for (;;) {
    while (at < end && is_blank(*at) && *at != separator) ++at;
    if (at < end && *at == '"') {
      at = quoted(at, end);
      at = find(at, end, separator);
    } else {
      const char* stop = find(at, end, separator);
      cells_.push_back(trimmed_cell({at, static_cast<std::size_t>(stop - at)}));
      at = stop;
    }
    if (at == end) return;
    ++at;
  }
}

void CellSplitter::split_blanks(std::string_view line) {
  const char* at = line.data();
  const char* const end = at + line.size();
  for (;;) {
    while (at < end && is_blank(*at)) ++at;
    if (at == end) return;
    if (*at == '"') {
      at = quoted(at, end);
      continue;
    }
    const char* stop = at;
    while (stop < end && !is_blank(*stop)) ++stop;
    cells_.emplace_back(at, static_cast<std::size_t>(stop - at));
    at = stop;
  }
}

/// A cell in quotes; returns the place behind them.
const char* CellSplitter::quoted(const char* at, const char* end) {
  const char* const begin = ++at;
  bool doubled = false;
  for (; at < end; ++at) {
    if (*at != '"') continue;
    if (at + 1 == end || at[1] != '"') break;
    doubled = true;
    ++at;
  }
  std::string_view cell{begin, static_cast<std::size_t>(at - begin)};
  if (doubled) {
    auto plain = std::make_unique<std::string>();
    for (std::size_t k = 0; k < cell.size(); ++k) {
      *plain += cell[k];
      if (cell[k] == '"') ++k;
    }
    cell = *plain;
    unquoted_.push_back(std::move(plain));
  }
  cells_.push_back(trimmed_cell(cell));
  return at < end ? at + 1 : end;
}

CellContent CellNumbers::read(std::string_view cell, double& value) {
  // The comma can only be a decimal mark where it does not separate, or within quotes.
  const char* begin = cell.data();
  const char* const end = begin + cell.size();
  if (begin < end && *begin == '+') ++begin;
  const auto [stop, fault] = std::from_chars(begin, end, value);
  if (fault == std::errc{} && stop == end && end > begin) {
    if (!std::isfinite(value)) return std::isnan(value) ? CellContent::missing : CellContent::other;
    if (mark_ != '.' && cell.find('.') != std::string_view::npos) {
      if (mark_ == ',') return CellContent::other;  // 1.234 among 12,5 may be a thousand
      mark_ = '.';
    }
    return CellContent::number;
  }
  if (cell.empty() || missing_word(cell)) return CellContent::missing;
  if (mark_ == '.' || cell.size() > 64 || cell.find('.') != std::string_view::npos) return CellContent::other;
  char copy[64];
  std::size_t commas = 0;
  for (std::size_t k = 0; k < cell.size(); ++k) {
    copy[k] = cell[k] == ',' ? '.' : cell[k];
    commas += cell[k] == ',';
  }
  if (commas != 1) return CellContent::other;
  const char* const copy_begin = copy + (cell.front() == '+');
  const auto [copy_stop, copy_fault] = std::from_chars(copy_begin, copy + cell.size(), value);
  if (copy_fault != std::errc{} || copy_stop != copy + cell.size()) return CellContent::other;
  mark_ = ',';
  return CellContent::number;
}

std::string as_utf8(std::string_view text) {
  bool valid = true;
  for (std::size_t k = 0; k < text.size() && valid;) {
    const std::size_t length = utf8_length(text.substr(k));
    valid = length > 0;
    k += length;
  }
  if (valid) return std::string(text);
  std::string out;
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte < 0x80) {
      out += c;
    } else {
      out += static_cast<char>(0xC0 | (byte >> 6));
      out += static_cast<char>(0x80 | (byte & 0x3F));
    }
  }
  return out;
}

}  // namespace onegrain::params
