#include "params/record/measured.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cassert>
#include <charconv>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <functional>
#include <future>
#include <limits>
#include <memory>

#include "params/text/library.hpp"
#include "params/text/sha256.hpp"
#include "params/text/stream.hpp"

namespace onegrain::params {

namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr std::size_t at_once = std::size_t{64} << 20;        // bigger files are read in pieces
constexpr std::size_t most_of_stream = std::size_t{4} << 30;  // which is kept whole
constexpr std::size_t piece = std::size_t{4} << 20;

bool is_blank(char c) { return c == ' ' || c == '\t' || c == '\r'; }

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && is_blank(text.front())) text.remove_prefix(1);
  while (!text.empty() && is_blank(text.back())) text.remove_suffix(1);
  return text;
}

bool is_comment(std::string_view content) {
  return !content.empty() && (content.front() == '#' || content.front() == '%');
}

/// Bytes that come in pieces: fills the buffer, returns how many; 0 at the end.
using Source = std::function<std::size_t(char* into, std::size_t room)>;

/// The SHA-256 of pieces, each taken in on a thread of its own while its rows are read: hashing takes about as long.
class PieceHash {
 public:
  void add(std::string_view bytes) {
    finish();
    piece_ = bytes;
    pending_ = std::async([this] { hash_.add(piece_); });
  }
  std::string digits() {
    finish();
    return hash_.digits();
  }

 private:
  void finish() {
    if (pending_.valid()) pending_.get();
  }
  std::string piece_;  // a copy: the rows are read from a buffer that moves
  Sha256 hash_;
  std::future<void> pending_;  // last: its destructor waits
};

/// Lines of a source, one at a time, without a copy of the whole.
class Lines {
 public:
  explicit Lines(Source source) : source_(std::move(source)), buffer_(piece) {
    fill();
    if (view().substr(0, 3) == "\xEF\xBB\xBF") at_ = 3;  // a byte order mark, as spreadsheets write it
    const std::size_t feed = view().find('\n');
    if (feed == std::string_view::npos && view().find('\r') != std::string_view::npos) line_end_ = '\r';
  }

  /// What has been read and not yet been handed out; at first the head of the text.
  std::string_view view() const { return {buffer_.data() + at_, end_ - at_}; }
  char line_end() const { return line_end_; }
  bool binary() const { return binary_; }

  bool next(std::string_view& line) {
    for (;;) {
      const char* begin = buffer_.data() + at_;
      const void* found = std::memchr(begin, line_end_, end_ - at_);
      if (found != nullptr) {
        const std::size_t length = static_cast<std::size_t>(static_cast<const char*>(found) - begin);
        line = {begin, length};
        at_ += length + 1;
        return true;
      }
      if (fill()) continue;
      line = view();
      at_ = end_;
      return !line.empty();
    }
  }

 private:
  bool fill() {
    std::memmove(buffer_.data(), buffer_.data() + at_, end_ - at_);
    end_ -= at_;
    at_ = 0;
    if (end_ == buffer_.size()) buffer_.resize(2 * buffer_.size());  // a very long line
    const std::size_t got = source_(buffer_.data() + end_, buffer_.size() - end_);
    binary_ = binary_ || std::memchr(buffer_.data() + end_, '\0', got) != nullptr;
    end_ += got;
    return got > 0;
  }

  Source source_;
  std::vector<char> buffer_;
  std::size_t at_ = 0, end_ = 0;
  char line_end_ = '\n';
  bool binary_ = false;
};

/// A line taken apart. Cells are views into the line, or into `unquoted` where quotes within quotes were undone.
class Cells {
 public:
  void split(std::string_view line, char separator) {
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
        cells_.push_back(trimmed({at, static_cast<std::size_t>(stop - at)}));
        at = stop;
      }
      if (at == end) return;
      ++at;
    }
  }
  /// Cells that are empty at the end, from separators at the end of a line.
  void drop_empty_beyond(std::size_t count) {
    while (cells_.size() > count && cells_.back().empty()) cells_.pop_back();
  }
  std::size_t size() const { return cells_.size(); }
  std::string_view operator[](std::size_t k) const { return cells_[k]; }

 private:
  static const char* find(const char* at, const char* end, char separator) {
    while (at < end && *at != separator) ++at;  // cells are short: quicker than a call
    return at;
  }
  void split_blanks(std::string_view line) {
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
  const char* quoted(const char* at, const char* end) {
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
    cells_.push_back(trimmed(cell));
    return at < end ? at + 1 : end;
  }

  std::vector<std::string_view> cells_;
  std::vector<std::unique_ptr<std::string>> unquoted_;
};

enum class Cell { number, missing, other };

/// Numbers with the decimal mark that the file was found to use.
class Numbers {
 public:
  /// The comma can only be a decimal mark where it does not separate, or within quotes.
  Cell read(std::string_view cell, double& value) {
    const char* begin = cell.data();
    const char* const end = begin + cell.size();
    if (begin < end && *begin == '+') ++begin;
    const auto [stop, fault] = std::from_chars(begin, end, value);
    if (fault == std::errc{} && stop == end && end > begin) {
      if (!std::isfinite(value)) return std::isnan(value) ? Cell::missing : Cell::other;
      if (mark_ != '.' && cell.find('.') != std::string_view::npos) {
        if (mark_ == ',') return Cell::other;  // 1.234 among 12,5 may be a thousand
        mark_ = '.';
      }
      return Cell::number;
    }
    if (cell.empty() || missing_word(cell)) return Cell::missing;
    if (mark_ == '.' || cell.size() > 64 || cell.find('.') != std::string_view::npos) return Cell::other;
    char copy[64];
    std::size_t commas = 0;
    for (std::size_t k = 0; k < cell.size(); ++k) {
      copy[k] = cell[k] == ',' ? '.' : cell[k];
      commas += cell[k] == ',';
    }
    if (commas != 1) return Cell::other;
    const char* const copy_begin = copy + (cell.front() == '+');
    const auto [copy_stop, copy_fault] = std::from_chars(copy_begin, copy + cell.size(), value);
    if (copy_fault != std::errc{} || copy_stop != copy + cell.size()) return Cell::other;
    mark_ = ',';
    return Cell::number;
  }
  bool decimal_comma() const { return mark_ == ','; }

 private:
  static bool missing_word(std::string_view cell) {
    for (const char* word : {"nan", "NaN", "NAN", "NA", "N/A", "n/a", "null", "NULL", "None", "-", "--", "---"}) {
      if (cell == word) return true;
    }
    return false;
  }
  char mark_ = '?';  ///< not yet seen
};

/// Whole digits; false if there is none.
bool digits(std::string_view& text, std::int64_t& value) {
  const auto [stop, fault] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (fault != std::errc{} || text.front() == '-') return false;
  text.remove_prefix(static_cast<std::size_t>(stop - text.data()));
  return true;
}

bool skip(std::string_view& text, char c) {
  if (text.empty() || text.front() != c) return false;
  text.remove_prefix(1);
  return true;
}

/// Days from 1970-01-01 in the Gregorian calendar.
std::int64_t days_from_civil(std::int64_t y, std::int64_t m, std::int64_t d) {
  // Years that begin in March put the leap day at their end; 146097 days make 400 years.
  y -= m <= 2;
  const std::int64_t era = (y >= 0 ? y : y - 399) / 400;
  const std::int64_t year_of_era = y - era * 400;
  const std::int64_t day_of_year = (153 * (m + (m > 2 ? -3 : 9)) + 2) / 5 + d - 1;
  return era * 146097 + year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year - 719468;
}

/// `h:mm:ss.f`, `d h:mm:ss` (also `1d 2:03:04`), `YYYY-MM-DD hh:mm:ss.f` (also with T, slashes, Z) in seconds.
bool read_clock(std::string_view text, double& seconds) {
  text = trimmed(text);
  if (text.find(':') == std::string_view::npos) return false;
  std::int64_t first = 0, days = 0;
  if (text.empty() || !digits(text, first)) return false;
  if (!text.empty() && (text.front() == '-' || text.front() == '/')) {
    const char mark = text.front();
    std::int64_t month = 0, day = 0;
    if (!skip(text, mark) || text.empty() || !digits(text, month) || !skip(text, mark) || text.empty() ||
        !digits(text, day))
      return false;
    if (month < 1 || month > 12 || day < 1 || day > 31) return false;
    if (!skip(text, 'T') && !skip(text, ' ')) return false;
    days = days_from_civil(first, month, day);
    if (text.empty() || !digits(text, first)) return false;
    if (!text.empty() && text.back() == 'Z') text.remove_suffix(1);
  } else if (!text.empty() && (text.front() == 'd' || text.front() == ' ')) {
    skip(text, 'd');
    text = trimmed(text);
    days = first;
    if (text.empty() || !digits(text, first)) return false;
  }
  std::int64_t minutes = 0;
  if (!skip(text, ':') || text.empty() || !digits(text, minutes)) return false;
  double s = 0;
  if (skip(text, ':')) {
    std::string plain(text);
    std::replace(plain.begin(), plain.end(), ',', '.');
    const auto [stop, fault] = std::from_chars(plain.data(), plain.data() + plain.size(), s);
    if (fault != std::errc{} || stop != plain.data() + plain.size() || !(s >= 0 && s < 61)) return false;
  } else if (!text.empty()) {
    return false;
  }
  seconds = 86400.0 * static_cast<double>(days) + 3600.0 * static_cast<double>(first) +
            60.0 * static_cast<double>(minutes) + s;
  return true;
}

/// Titles in UTF-8; bytes that are not, are taken for the older one-byte letters of western Europe.
std::string utf8(std::string_view text) {
  bool valid = true;
  for (std::size_t k = 0; k < text.size() && valid;) {
    const auto byte = static_cast<unsigned char>(text[k]);
    const std::size_t more = byte < 0x80 ? 0 : (byte >> 5) == 6 ? 1 : (byte >> 4) == 14 ? 2 : (byte >> 3) == 30 ? 3 : 9;
    valid = more < 9 && k + more < text.size();
    for (std::size_t m = 1; valid && m <= more; ++m) valid = (static_cast<unsigned char>(text[k + m]) >> 6) == 2;
    k += more + 1;
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

/// How the text is laid out, judged from its head.
struct Layout {
  char separator = ',';
  std::vector<std::string> titles;  ///< empty: no header
  std::size_t header_line = 0;      ///< from 1
  std::size_t first_row_line = 0;   ///< from 1; 0: no rows of numbers
  std::size_t cells = 0;            ///< of a row
  std::vector<bool> clock_time;     ///< columns whose first cells are clock times
};

struct HeadLine {
  std::string_view text;
  std::size_t number;
};

/// Cells that are numbers or clock times, and cells that are neither nor empty.
struct Count {
  std::size_t cells = 0, numbers = 0, words = 0;
};
Count count_cells(const Cells& cells) {
  Count count{cells.size(), 0, 0};
  for (std::size_t c = 0; c < cells.size(); ++c) {
    Numbers numbers;
    double value = 0;
    const Cell cell = numbers.read(cells[c], value);
    if (cell == Cell::number || read_clock(cells[c], value)) {
      ++count.numbers;
    } else if (cell == Cell::other) {
      ++count.words;
    }
  }
  return count;
}

/// All cells are units or empty, and one at least is a unit: the line under a header.
bool units_line(const Cells& cells) {
  std::size_t units = 0;
  for (std::size_t c = 0; c < cells.size(); ++c) {
    std::string_view cell = cells[c];
    if (cell.size() > 2 && (cell.front() == '[' || cell.front() == '(')) cell = cell.substr(1, cell.size() - 2);
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

Layout find_layout(std::string_view head, char line_end, bool whole) {
  std::vector<HeadLine> lines, comments;
  std::size_t number = 0;
  while (!head.empty() && lines.size() < 2000) {
    const std::size_t end = head.find(line_end);
    if (end == std::string_view::npos && !whole) break;  // cut short
    const std::string_view line = head.substr(0, end);
    head.remove_prefix(end == std::string_view::npos ? head.size() : end + 1);
    ++number;
    const std::string_view content = trimmed(line);
    if (content.empty()) continue;
    (is_comment(content) ? comments : lines).push_back({line, number});
  }
  Layout best;
  double best_score = 0;
  Cells cells;
  for (const char separator : {'\t', ';', ',', '|', ' '}) {
    // Rows of numbers: the first line of which the next has as many cells, and half of what is written are numbers.
    std::vector<Count> counts;
    for (const HeadLine& line : lines) {
      cells.split(line.text, separator);
      counts.push_back(count_cells(cells));
    }
    for (std::size_t k = 0; k < counts.size(); ++k) {
      const auto row = [&](std::size_t n) {
        return counts[n].cells >= 2 && counts[n].numbers >= 2 && counts[n].numbers >= counts[n].words;
      };
      if (!row(k)) continue;
      const bool last = k + 1 == counts.size();
      if (!last && (!row(k + 1) || counts[k + 1].cells != counts[k].cells) &&
          (k == 0 || counts[k - 1].cells != counts[k].cells))
        continue;
      std::size_t numbers = 0, words = 0, rows = 0;
      for (std::size_t n = k; n < std::min(k + 50, counts.size()); ++n) {
        numbers += counts[n].numbers;
        words += counts[n].words;
        rows += counts[n].cells == counts[k].cells;
      }
      // A wrong separator leaves cells that are no numbers; among equals, blanks come last and more cells first.
      const double score =
          static_cast<double>(numbers) / static_cast<double>(numbers + words) * static_cast<double>(rows) /
              static_cast<double>(std::min<std::size_t>(50, counts.size() - k)) +
          1e-3 * static_cast<double>(std::min<std::size_t>(counts[k].cells, 50)) - (separator == ' ' ? 0.1 : 0);
      if (score > best_score) {
        best_score = score;
        best = Layout{separator, {}, 0, lines[k].number, counts[k].cells, {}};
      }
      break;
    }
  }
  if (best_score == 0) {  // no numbers: perhaps a header alone
    if (lines.empty()) return best;
    const HeadLine& first = lines.front();
    for (const char separator : {',', ';', '\t'}) {
      if (std::count(first.text.begin(), first.text.end(), separator) >
          std::count(first.text.begin(), first.text.end(), best.separator))
        best.separator = separator;
    }
    cells.split(first.text, best.separator);
    for (std::size_t c = 0; c < cells.size(); ++c) best.titles.push_back(utf8(cells[c]));
    best.header_line = first.number;
    best.cells = cells.size();
    best.clock_time.assign(best.cells, false);
    return best;
  }
  std::size_t row = 0;
  while (lines[row].number != best.first_row_line) ++row;
  // A header of blanks between quotes or with more than one blank between titles needs a second look.
  const auto title_cells = [&](std::string_view text) {
    cells.split(text, best.separator);
    cells.drop_empty_beyond(best.cells);
    return cells.size() == best.cells;
  };
  const auto take_titles = [&](const HeadLine& line) {
    for (std::size_t c = 0; c < cells.size(); ++c) best.titles.push_back(utf8(cells[c]));
    best.header_line = line.number;
  };
  std::vector<std::string> units;
  std::size_t above = row;
  if (above > 0 && title_cells(lines[above - 1].text) && units_line(cells) && above > 1 &&
      title_cells(lines[above - 2].text)) {
    title_cells(lines[above - 1].text);
    for (std::size_t c = 0; c < cells.size(); ++c) {
      std::string unit = utf8(cells[c]);
      if (unit.size() > 2 && (unit.front() == '[' || unit.front() == '(')) unit = unit.substr(1, unit.size() - 2);
      units.push_back(std::move(unit));
    }
    --above;
  }
  if (above > 0 && title_cells(lines[above - 1].text) && count_cells(cells).numbers == 0) {
    take_titles(lines[above - 1]);
  } else {
    for (auto comment = comments.rbegin(); comment != comments.rend() && best.titles.empty(); ++comment) {
      if (comment->number > best.first_row_line) continue;
      std::string_view text = trimmed(comment->text);
      while (is_comment(text)) text.remove_prefix(1);
      text = trimmed(text);
      if (title_cells(text) && count_cells(cells).numbers == 0) take_titles(*comment);
    }
  }
  if (best.titles.empty() && above > 0) {  // a header whose length differs: rows are judged by it, as a person would
    cells.split(lines[above - 1].text, best.separator);
    if (cells.size() >= 2 && count_cells(cells).numbers == 0) {
      take_titles(lines[above - 1]);
    }
  }
  for (std::size_t c = 0; c < units.size() && c < best.titles.size(); ++c) {
    if (!units[c].empty()) best.titles[c] += " / " + units[c];
  }
  best.clock_time.assign(std::max(best.cells, best.titles.size()), false);
  cells.split(lines[row].text, best.separator);
  for (std::size_t c = 0; c < std::min(cells.size(), best.clock_time.size()); ++c) {
    double value = 0;
    best.clock_time[c] = read_clock(cells[c], value);
  }
  return best;
}

/// The rows of a text, in the order of the file.
class Reader {
 public:
  Reader(Lines& lines, const Layout& layout, const MeasuredRequest& request, Measured& data, std::size_t expected_rows)
      : lines_(lines), layout_(layout), request_(request), data_(data) {
    Record& record = data.record;
    std::vector<bool> taken(layout.titles.size(), false);
    for (const TakenColumn& column : data.columns) {
      taken[column.index] = true;
      of_[static_cast<std::size_t>(column.role)] = &column;
    }
    record.time.reserve(expected_rows);
    record.voltage.reserve(expected_rows);
    record.current.reserve(expected_rows);
    record.line.reserve(expected_rows);
    if (of_[3] != nullptr) record.temperature.reserve(expected_rows);
    if (of_[4] != nullptr) record.capacity.reserve(expected_rows);
    if (of_[5] != nullptr) record.state.reserve(expected_rows);
    if (of_[6] != nullptr) record.cycle.reserve(expected_rows);
    if (of_[7] != nullptr) record.step.reserve(expected_rows);
    for (std::size_t c = 0; c < layout.titles.size(); ++c) {
      if (taken[c]) continue;
      data.other_titles.push_back(layout.titles[c]);
      if (!request.others) continue;
      record.others.push_back({layout.titles[c], {}});
      record.others.back().values.reserve(expected_rows);
      other_.push_back({c, false});
    }
  }

  void read() {
    std::string_view line;
    std::uint32_t number = 0;
    while (lines_.next(line)) {
      ++number;
      if (number < layout_.first_row_line) continue;
      const std::string_view content = trimmed(line);
      if (content.empty() || is_comment(content)) continue;
      ++data_.rows_read;
      row(line, number);
    }
    data_.decimal_comma = numbers_.decimal_comma();
    Record& record = data_.record;
    std::size_t kept = 0;  // a column of words is no series
    for (std::size_t c = 0; c < other_.size(); ++c) {
      if (!other_[c].numbers) continue;
      if (kept != c) record.others[kept] = std::move(record.others[c]);
      ++kept;
    }
    record.others.resize(kept);
  }

 private:
  struct Other {
    std::size_t index;
    bool numbers;  ///< one cell at least is a number
  };

  void row(std::string_view line, std::uint32_t number) {
    cells_.split(line, layout_.separator);
    cells_.drop_empty_beyond(layout_.titles.size());
    if (cells_.size() != layout_.titles.size()) {
      data_.doubts.add(DoubtKind::cell_count, number, [&] {
        return fmt::format("{} cells where the header has {}", cells_.size(), layout_.titles.size());
      });
      return;
    }
    double value[3] = {};
    for (std::size_t r = 0; r < 3; ++r) {
      const TakenColumn& column = *of_[r];
      const std::string_view cell = cells_[column.index];
      Cell kind = numbers_.read(cell, value[r]);
      if (r == 0 && kind == Cell::other && read_clock(cell, value[r])) kind = Cell::number;
      if (kind == Cell::number) {
        value[r] = column.factor * value[r];
        continue;
      }
      const DoubtKind doubt = kind == Cell::missing ? DoubtKind::missing : DoubtKind::not_a_number;
      data_.doubts.add(doubt, number, [&] {
        return kind == Cell::missing ? fmt::format("no value in the column '{}'", column.title)
                                     : fmt::format("'{}' in the column '{}'", utf8(cell.substr(0, 40)), column.title);
      });
      return;
    }
    Record& record = data_.record;
    record.time.push_back(value[0]);
    record.voltage.push_back(value[1]);
    record.current.push_back(value[2]);
    record.line.push_back(number);
    if (of_[3] != nullptr) record.temperature.push_back(further(*of_[3]));
    if (of_[4] != nullptr) record.capacity.push_back(further(*of_[4]));
    if (of_[5] != nullptr) record.state.push_back(state(cells_[of_[5]->index], number));
    if (of_[6] != nullptr) record.cycle.push_back(whole(cells_[of_[6]->index]));
    if (of_[7] != nullptr) record.step.push_back(whole(cells_[of_[7]->index]));
    for (std::size_t c = 0; c < other_.size(); ++c) {
      double other = nan;
      if (numbers_.read(cells_[other_[c].index], other) != Cell::number) other = nan;
      other_[c].numbers = other_[c].numbers || !std::isnan(other);
      record.others[c].values.push_back(other);
    }
  }

  double further(const TakenColumn& column) {
    double value = nan;
    if (numbers_.read(cells_[column.index], value) != Cell::number) return nan;
    return column.factor * (value + column.offset);
  }

  std::int32_t whole(std::string_view cell) {
    double value = nan;
    if (numbers_.read(cell, value) != Cell::number || !(std::abs(value) < 2e9) || value != std::round(value)) return -1;
    return static_cast<std::int32_t>(value);
  }

  State state(std::string_view cell, std::uint32_t number) {
    if (cell == last_word_ && number_of_words_ > 0) return known_.back().second;  // as in most rows
    ++number_of_words_;
    auto found = std::find_if(known_.begin(), known_.end(), [&](const auto& k) { return k.first == cell; });
    if (found == known_.end()) {
      const State state = state_of(cell, request_.columns);
      if (state == State::unknown && !cell.empty()) {
        data_.doubts.add(DoubtKind::unknown_state, number, [&] {
          return fmt::format("'{}' is not understood; say what it is: --columns charge='{}' (or discharge=, rest=)",
                             utf8(cell.substr(0, 40)), utf8(cell.substr(0, 40)));
        });
      }
      if (known_.size() > 1000) return state;  // not a column of states
      known_.emplace_back(cell, state);
      found = known_.end() - 1;
    }
    std::iter_swap(found, known_.end() - 1);
    last_word_ = known_.back().first;
    return known_.back().second;
  }

  Lines& lines_;
  const Layout& layout_;
  const MeasuredRequest& request_;
  Measured& data_;
  std::array<const TakenColumn*, role_count> of_{};
  std::vector<Other> other_;
  Cells cells_;
  Numbers numbers_;
  std::vector<std::pair<std::string, State>> known_;
  std::string last_word_;
  std::size_t number_of_words_ = 0;
};

template <class Keep>
void keep_rows(Record& record, const Keep& keep) {
  const std::size_t rows = record.size();
  const auto compact = [&](auto& series) {
    if (series.empty()) return;
    std::size_t to = 0;
    for (std::size_t k = 0; k < rows; ++k) {
      if (keep[k]) series[to++] = series[k];
    }
    series.resize(to);
  };
  compact(record.voltage);
  compact(record.current);
  compact(record.temperature);
  compact(record.capacity);
  compact(record.state);
  compact(record.cycle);
  compact(record.step);
  compact(record.line);
  for (Column& column : record.others) compact(column.values);
  compact(record.time);
}

/// Time that does not fall: single rows out of order go, a time that starts anew is continued.
void mend_time(Measured& data) {
  Record& record = data.record;
  const std::size_t rows = record.size();
  std::vector<bool> keep(rows, true);
  std::vector<double>& time = record.time;
  bool all = true;
  double shift = 0;
  double last = -std::numeric_limits<double>::infinity(), before_last = last;  // of the rows kept, shifted
  std::size_t last_row = 0;
  const auto leave_out = [&](std::size_t k, double shown, double after) {
    keep[k] = false;
    all = false;
    data.doubts.add(DoubtKind::backward_time, record.line[k], [&] {
      return fmt::format("the time {} s does not fit: the row before or after has {} s", plain_number(shown, 10),
                         plain_number(after, 10));
    });
  };
  for (std::size_t k = 0; k < rows; ++k) {
    double t = time[k] + shift;
    if (t < last) {
      const double next = k + 1 < rows ? time[k + 1] + shift : last;
      if (next >= last) {  // this row alone is out of order
        leave_out(k, time[k], last - shift);
        continue;
      }
      const bool ran_ahead =
          t > before_last && next >= t && last - before_last > 3 * (t - before_last) && keep[last_row];
      if (ran_ahead) {  // the row before it is the one out of order
        leave_out(last_row, time[last_row] - shift, t - shift);
        last = before_last;
      } else {
        data.doubts.add(DoubtKind::time_restart, record.line[k], [&] {
          return fmt::format(
              "the time falls from {} s to {} s and goes on from there; it is continued, the time between taken as "
              "none",
              plain_number(last - shift, 10), plain_number(time[k], 10));
        });
        shift += last - t;
        t = last;
      }
    }
    time[k] = t;
    before_last = last;
    last = t;
    last_row = k;
  }
  if (!all) keep_rows(record, keep);
}

/// A current without sign takes that of the state.
void sign_from_state(Measured& data) {
  Record& record = data.record;
  if (record.state.empty()) return;
  double largest = 0, lowest = 0;
  bool discharges = false;
  for (std::size_t k = 0; k < record.size(); ++k) {
    largest = std::max(largest, std::abs(record.current[k]));
    lowest = std::min(lowest, record.current[k]);
    discharges = discharges || (record.state[k] == State::discharge && record.current[k] > 0);
  }
  if (!discharges || lowest < -1e-3 * largest) return;
  data.sign_from_state = true;
  for (std::size_t k = 0; k < record.size(); ++k) {
    if (record.state[k] == State::discharge) record.current[k] = -record.current[k];
  }
}

void read_rows(Loaded<Measured>& result, const std::string& file, Lines& lines, std::size_t bytes,
               const MeasuredRequest& request) {
  const std::string_view head = lines.view();
  if (head.substr(0, 2) == "\xFF\xFE" || head.substr(0, 2) == "\xFE\xFF") {
    result.faults.error({file}, "", "", "the text is UTF-16; save it as UTF-8");
    return;
  }
  const auto binary = [&] {
    result.faults.error({file}, "", "", "a binary file; expected delimited text with a header");
  };
  if (lines.binary()) return binary();
  Layout layout = find_layout(head, lines.line_end(), head.size() >= bytes || head.size() < piece - 3);
  if (layout.cells == 0) {
    result.faults.error({file}, "", "", "empty; expected a header and rows of numbers");
    return;
  }
  const Place where{file, static_cast<int>(std::max<std::size_t>(layout.header_line, 1)), 1};
  if (layout.titles.empty()) {
    const auto numbered = [&](ColumnRole role) {
      const auto& column = request.columns.columns[static_cast<std::size_t>(role)];
      return column &&
             column->text.rfind(role == ColumnRole::current && column->text.front() == '-' ? "-#" : "#", 0) == 0;
    };
    if (!numbered(ColumnRole::time) || !numbered(ColumnRole::voltage) || !numbered(ColumnRole::current)) {
      result.faults.error(
          {file, static_cast<int>(layout.first_row_line), 1}, "", "",
          "a header with names and units is expected above the numbers; without one, name the columns by number: "
          "--columns time=#1:s voltage=#2:V current=#3:A");
      return;
    }
    for (std::size_t c = 0; c < layout.cells; ++c) layout.titles.push_back(fmt::format("#{}", c + 1));
  }
  Measured data;
  data.columns = take_columns(request.columns, layout.titles, layout.clock_time, where, result.faults);
  if (result.faults.any_error()) return;
  data.separator = layout.separator;
  data.header_line = layout.header_line;
  if (layout.first_row_line == 0) {
    result.faults.error({file}, "", "", "no rows of numbers");
    return;
  }
  // Room from the length of the first rows, so that series do not grow by copying.
  const std::string_view sample = head.substr(0, std::min<std::size_t>(head.size(), std::size_t{1} << 18));
  const auto sample_lines = std::max<std::ptrdiff_t>(1, std::count(sample.begin(), sample.end(), lines.line_end()));
  const double expected =
      1.1 * static_cast<double>(bytes) / static_cast<double>(sample.size()) * static_cast<double>(sample_lines) + 16;
  Reader(lines, layout, request, data, static_cast<std::size_t>(expected)).read();
  if (lines.binary()) return binary();
  mend_time(data);
  const bool dates =
      data.columns.front().unit == "clock time" && data.record.size() > 0 && data.record.time.front() > 1e8;
  if (dates) {
    const double start = data.record.time.front();
    for (double& t : data.record.time) t -= start;
  }
  if (data.record.size() == 0 || data.doubts.left_out() > data.record.size()) {
    for (const Doubt& doubt : data.doubts.list()) {
      if (leaves_row_out(doubt.kind) && result.faults.errors() < 10)
        result.faults.error({file, static_cast<int>(doubt.line), 1}, "", "", doubt.text);
    }
    result.faults.error({file}, "", "",
                        fmt::format("{} of {} rows cannot be used", data.doubts.left_out(), data.rows_read));
    return;
  }
  sign_from_state(data);
  result.value = std::move(data);
}

}  // namespace

const char* doubt_name(DoubtKind kind) {
  constexpr const char* names[doubt_kinds] = {
      "another number of cells than titles",
      "no value for time, voltage or current",
      "no number for time, voltage or current",
      "time out of order",
      "time starts anew",
      "word of the state column not understood",
      "row repeated",
      "time repeated with other values",
      "gap",
      "jump of the voltage",
      "voltage against the sign of the current",
      "current without sign",
  };
  return names[static_cast<std::size_t>(kind)];
}

std::size_t Doubts::left_out() const {
  std::size_t rows = 0;
  for (std::size_t k = 0; k < doubt_kinds; ++k) {
    if (leaves_row_out(static_cast<DoubtKind>(k))) rows += counts_[k];
  }
  return rows;
}

Loaded<Measured> read_measured(const std::string& text, const std::string& file, const MeasuredRequest& request) {
  Loaded<Measured> result;
  result.files.push_back({file, false, sha256(text)});
  std::size_t at = 0;
  Lines lines([&](char* into, std::size_t room) {
    const std::size_t some = std::min(room, text.size() - at);
    std::memcpy(into, text.data() + at, some);
    at += some;
    return some;
  });
  read_rows(result, file, lines, text.size(), request);
  return result;
}

Loaded<Measured> load_measured(const std::string& path, const MeasuredRequest& request) {
  Loaded<Measured> result;
  if (is_stream(path)) {
    const std::optional<std::string> text = read_given(path, result.faults, most_of_stream);
    return text ? read_measured(*text, stream_name(path), request) : result;
  }
  std::error_code error;
  const std::uintmax_t bytes = std::filesystem::file_size(path, error);
  if (error || bytes <= at_once) {  // also folders, missing files: read_file says what is wrong
    const std::optional<std::string> text = read_file(path, result.faults, at_once);
    return text ? read_measured(*text, path, request) : result;
  }
  const std::unique_ptr<std::FILE, int (*)(std::FILE*)> file(std::fopen(path.c_str(), "rb"), std::fclose);
  if (!file) {
    result.faults.error({path}, "", "", "cannot be read");
    return result;
  }
  result.files.push_back({path, false, ""});
  PieceHash hash;
  bool at_end = false;
  Lines lines([&](char* into, std::size_t room) {
    const std::size_t some = std::fread(into, 1, room, file.get());
    at_end = some == 0;
    if (some > 0) hash.add({into, some});
    return some;
  });
  read_rows(result, path, lines, bytes, request);
  if (at_end && std::ferror(file.get()) == 0) result.files.back().sha256 = hash.digits();
  if (std::ferror(file.get()) != 0) {
    result.value.reset();
    result.faults.error({path}, "", "", "cannot be read to its end");
  }
  return result;
}

std::string delimited_text(const std::vector<Column>& columns, int digits) {
  std::string text;
  for (std::size_t c = 0; c < columns.size(); ++c) {
    assert(columns[c].values.size() == columns[0].values.size());
    const std::string& title = columns[c].title;
    const bool quoted = title.find_first_of(",\"\r\n") != std::string::npos;
    if (c > 0) text += ',';
    if (quoted) text += '"';
    for (const char letter : title) {
      if (letter == '"') text += '"';  // within quotes a quote is written twice
      text += letter;
    }
    if (quoted) text += '"';
  }
  text += '\n';
  const std::size_t rows = columns.empty() ? 0 : columns[0].values.size();
  for (std::size_t r = 0; r < rows; ++r) {
    for (std::size_t c = 0; c < columns.size(); ++c) {
      if (c > 0) text += ',';
      const double value = columns[c].values[r];
      if (std::isfinite(value)) fmt::format_to(std::back_inserter(text), "{:.{}g}", value == 0 ? 0.0 : value, digits);
    }
    text += '\n';
  }
  return text;
}

std::string battery_data_text(const Record& record, int digits) {
  std::vector<Column> columns = {
      {"Test Time / s", record.time}, {"Voltage / V", record.voltage}, {"Current / A", record.current}};
  columns.insert(columns.end(), record.others.begin(), record.others.end());
  return delimited_text(columns, digits);
}

}  // namespace onegrain::params
