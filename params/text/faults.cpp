#include "params/text/faults.hpp"

#include <algorithm>
#include <map>

#include "params/text/printable.hpp"

namespace onegrain::params {

namespace {

/// One line, printable, about 60 bytes at most: a fault must not flood or garble a terminal.
std::string tame(std::string_view text) {
  constexpr std::size_t longest = 60;
  if (text.size() <= longest) return one_line(text);
  std::size_t end = longest;  // not inside a character
  while (end > longest - 3 && (static_cast<unsigned char>(text[end]) & 0xC0) == 0x80) --end;
  return one_line(text.substr(0, end)) + "...";
}

/// Edit distance that counts a swap of neighbours once (optimal string alignment).
std::size_t distance(std::string_view a, std::string_view b) {
  std::vector<std::vector<std::size_t>> d(a.size() + 1, std::vector<std::size_t>(b.size() + 1));
  for (std::size_t i = 0; i <= a.size(); ++i) d[i][0] = i;
  for (std::size_t j = 0; j <= b.size(); ++j) d[0][j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    for (std::size_t j = 1; j <= b.size(); ++j) {
      d[i][j] = std::min({d[i - 1][j] + 1, d[i][j - 1] + 1, d[i - 1][j - 1] + (a[i - 1] == b[j - 1] ? 0 : 1)});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
        d[i][j] = std::min(d[i][j], d[i - 2][j - 2] + 1);
    }
  }
  return d[a.size()][b.size()];
}

}  // namespace

std::string Fault::text() const {
  std::string result = tame(place.file);
  if (place.line > 0)
    result.append(":").append(std::to_string(place.line)).append(":").append(std::to_string(place.column));
  result += ": ";
  if (severity == Severity::warning) result += "warning: ";
  if (!path.empty()) {
    result += path.size() > 200 ? tame(path) : one_line(path);
    if (!value.empty()) result.append(" = '").append(tame(value)).append("'");
    result += ": ";
  } else if (!value.empty()) {
    result.append("'").append(tame(value)).append("': ");
  }
  return result + one_line(message);
}

void Faults::add(Fault fault) {
  for (const Fault& other : list_) {  // a card that both electrodes name is read twice
    if (other.place.line == fault.place.line && other.place.column == fault.place.column &&
        other.place.file == fault.place.file && other.path == fault.path && other.message == fault.message &&
        other.value == fault.value) {
      return;
    }
  }
  if (fault.severity == Severity::error) ++errors_;
  list_.push_back(std::move(fault));
}

void Faults::error(Place place, std::string path, std::string value, std::string message, std::string suggestion) {
  add({std::move(place), std::move(path), std::move(value), std::move(message), Severity::error,
       std::move(suggestion)});
}

void Faults::warning(Place place, std::string path, std::string value, std::string message) {
  add({std::move(place), std::move(path), std::move(value), std::move(message), Severity::warning});
}

std::vector<Fault> Faults::sorted() const {
  std::map<std::string, std::size_t> order;
  for (const Fault& fault : list_) order.emplace(fault.place.file, order.size());
  std::vector<Fault> result = list_;
  std::stable_sort(result.begin(), result.end(), [&](const Fault& a, const Fault& b) {
    const std::size_t file_a = order.at(a.place.file), file_b = order.at(b.place.file);
    if (file_a != file_b) return file_a < file_b;
    return a.place.line != b.place.line ? a.place.line < b.place.line : a.place.column < b.place.column;
  });
  return result;
}

std::string Faults::text() const {
  std::string result;
  for (const Fault& fault : sorted()) result += fault.text() + "\n";
  return result;
}

std::string nearest(std::string_view word, const std::vector<std::string>& candidates) {
  if (word.size() > 100) return {};
  std::string best;
  std::size_t best_distance = 1000;
  for (const std::string& candidate : candidates) {
    const std::size_t allowed = std::max<std::size_t>(1, std::max(word.size(), candidate.size()) / 3);
    const std::size_t d = distance(word, candidate);
    if (d <= allowed && d < best_distance) {
      best = candidate;
      best_distance = d;
    }
  }
  return best;
}

}  // namespace onegrain::params
