#include "params/text/clock.hpp"

#include <algorithm>
#include <charconv>
#include <cstdint>
#include <string>

#include "params/text/lines.hpp"

namespace onegrain::params {

namespace {

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

}  // namespace

bool read_clock(std::string_view text, double& seconds) {
  text = trimmed_cell(text);
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
    text = trimmed_cell(text);
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

}  // namespace onegrain::params
