#include "params/record/spectrum.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <numeric>
#include <optional>

#include "params/record/columns.hpp"
#include "params/text/delimited.hpp"
#include "params/text/library.hpp"
#include "params/text/sha256.hpp"
#include "params/text/stream.hpp"

namespace onegrain::params {

namespace {

enum SpectrumRole : std::size_t { frequency, real, imaginary, magnitude, phase, role_end };

constexpr Kind hertz{{0, 0, -1}, "a frequency", "Hz"};
constexpr Kind ohms{{2, 1, -3, -2}, "an impedance", "ohm"};

struct RoleNames {
  const char* name;
  const Kind* kind;
  std::vector<std::string> titles;  ///< without case, blanks and units; the standard's own first
};
const std::array<RoleNames, role_end>& roles() {
  static const std::array<RoleNames, role_end> all{{
      {"frequency", &hertz, {"frequency", "freq", "f"}},
      {"real", &ohms, {"realimpedance", "re(z)", "z'", "zre", "zreal", "rez", "z_re", "z_real", "real(z)", "realz"}},
      {"imaginary",
       &ohms,
       {"imaginaryimpedance", "im(z)", "z''", "z\"", "zim", "zimag", "imz", "z_im", "z_imag", "imag(z)", "imagz"}},
      {"magnitude", &ohms, {"absoluteimpedance", "|z|", "zmod", "mod(z)", "abs(z)", "magnitude", "modulus"}},
      {"phase", &AngleKind::kind, {"phase", "phase(z)", "arg(z)", "theta", "phaseangle", "zphz"}},
  }};
  return all;
}

struct Taken {
  std::size_t index = 0;
  double factor = 1;
  std::string title;
  bool negative = false;  ///< the title says that the values stand there with the other sign
};
using Columns = std::array<std::optional<Taken>, role_end>;

std::string plain(std::string_view title) {
  std::string word;
  for (const char c : title)
    if (c != ' ' && c != '\t' && c != '_') word += static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return word;
}

/// Whether a title, its unit aside, names what is looked for.
std::optional<Taken> matched(const Title& title, std::size_t index, const RoleNames& role) {
  const TitleUnit unit = title_unit(title.whole, *role.kind);
  for (std::string name : {plain(unit.name), plain(title.name)}) {
    const bool negative = !name.empty() && name.front() == '-';
    if (negative) name.erase(0, 1);
    if (name.size() > 2 && name.front() == '(' && name.back() == ')') name = name.substr(1, name.size() - 2);
    if (std::find(role.titles.begin(), role.titles.end(), name) == role.titles.end()) continue;
    if (!unit.unit && !unit.unit_text.empty()) return std::nullopt;
    return Taken{index,
                 unit.unit                       ? unit.unit->factor
                 : role.kind == &AngleKind::kind ? std::numbers::pi / 180
                                                 : 1.0,
                 title.whole, negative};
  }
  return std::nullopt;
}

Columns found(const std::vector<Title>& titles) {
  Columns columns;
  for (std::size_t r = 0; r < role_end; ++r)
    for (std::size_t k = 0; k < titles.size() && !columns[r]; ++k) columns[r] = matched(titles[k], k, roles()[r]);
  return columns;
}

/// "real=Re(Z):ohm" of the user. @return why it cannot be, or ""
std::string choose(const std::string& word, const std::vector<Title>& titles, Columns& columns) {
  const std::size_t equals = word.find('=');
  const std::string name = word.substr(0, equals);
  const auto role = std::find_if(roles().begin(), roles().end(), [&](const RoleNames& r) { return r.name == name; });
  if (equals == std::string::npos || role == roles().end())
    return "write what a column is and its title: frequency=f/Hz real=Re(Z)/Ohm imaginary=-Im(Z)/Ohm, or magnitude= "
           "and phase=";
  std::string title = word.substr(equals + 1), unit;
  for (std::size_t k = 0; k < titles.size(); ++k) {
    for (const bool negative : {false, true}) {
      if (negative && (title.empty() || title.front() != '-')) continue;
      const std::string asked = negative ? title.substr(1) : title;
      const std::size_t colon = asked.rfind(':');
      const bool whole = asked == titles[k].whole;
      if (!whole && (colon == std::string::npos || asked.substr(0, colon) != titles[k].whole)) continue;
      const std::string with_unit = whole ? titles[k].whole : titles[k].name + " / " + asked.substr(colon + 1);
      const TitleUnit split = title_unit(with_unit, *role->kind);
      const bool own_minus = whole && !titles[k].whole.empty() && titles[k].whole.front() == '-';
      columns[static_cast<std::size_t>(role - roles().begin())] =
          Taken{k,
                split.unit                       ? split.unit->factor
                : role->kind == &AngleKind::kind ? std::numbers::pi / 180
                                                 : 1.0,
                titles[k].whole, negative || own_minus};
      return "";
    }
  }
  return "there is no column '" + title + "'";
}

struct PointRow {
  double f, real, imaginary;
  int line;
};

/// A cell of a row in SI, or nothing.
std::optional<double> number_in(const DelimitedRow& row, const Taken& column) {
  const std::optional<double> number = column.index < row.numbers.size() ? row.numbers[column.index] : std::nullopt;
  if (!number) return std::nullopt;
  return (column.negative ? -1 : 1) * *number * column.factor;
}

std::optional<PointRow> point_of(const DelimitedRow& row, const Columns& columns) {
  const auto f = number_in(row, *columns[frequency]);
  if (!f || !(*f > 0) || !std::isfinite(*f)) return std::nullopt;
  if (columns[real] && columns[imaginary]) {
    const auto re = number_in(row, *columns[real]), im = number_in(row, *columns[imaginary]);
    if (!re || !im || !std::isfinite(*re) || !std::isfinite(*im)) return std::nullopt;
    return PointRow{*f, *re, *im, row.line};
  }
  const auto size = number_in(row, *columns[magnitude]), angle = number_in(row, *columns[phase]);
  if (!size || !angle || !std::isfinite(*size) || !std::isfinite(*angle)) return std::nullopt;
  return PointRow{*f, *size * std::cos(*angle), *size * std::sin(*angle), row.line};
}

/// The points of the first sweep; a sweep ends where the frequency turns back by more than a step.
std::vector<PointRow> first_sweep(const std::vector<PointRow>& rows, int& further) {
  std::vector<PointRow> first;
  std::size_t k = 0;
  const auto sweep = [&] {
    const std::size_t begin = k++;
    const bool falls = k < rows.size() && rows[k].f < rows[begin].f;
    while (k < rows.size() && (falls ? rows[k].f <= rows[k - 1].f * 1.001 : rows[k].f >= rows[k - 1].f * 0.999)) ++k;
    return std::pair(begin, k);
  };
  while (k < rows.size()) {
    const auto [from, to] = sweep();
    if (first.empty())
      first.assign(rows.begin() + static_cast<std::ptrdiff_t>(from), rows.begin() + static_cast<std::ptrdiff_t>(to));
    else if (to - from > 2)
      ++further;
  }
  std::stable_sort(first.begin(), first.end(), [](const PointRow& a, const PointRow& b) { return a.f > b.f; });
  return first;
}

/// A cell at rest is capacitive over most of its frequencies: where the median imaginary part of the lower two thirds
/// is positive, it stands there with the other sign.
bool stands_turned(const std::vector<PointRow>& rows) {
  std::vector<double> lower;
  for (std::size_t k = rows.size() / 3; k < rows.size(); ++k) lower.push_back(rows[k].imaginary);
  std::nth_element(lower.begin(), lower.begin() + static_cast<std::ptrdiff_t>(lower.size() / 2), lower.end());
  return lower[lower.size() / 2] > 0;
}

constexpr std::size_t least_points = 5;

}  // namespace

bool looks_like_spectrum(const std::string& text) {
  Faults none;
  const std::optional<Delimited> table = read_delimited(std::string_view(text).substr(0, 20000), "", none);
  if (!table) return false;
  const Columns columns = found(table->titles);
  return columns[frequency] && ((columns[real] && columns[imaginary]) || (columns[magnitude] && columns[phase]));
}

Loaded<MeasuredSpectrum> read_spectrum(const std::string& text, const std::string& file,
                                       const std::vector<std::string>& chosen) {
  Loaded<MeasuredSpectrum> loaded;
  const std::optional<Delimited> table = read_delimited(text, file, loaded.faults);
  if (!table || loaded.faults.any_error()) return loaded;
  Columns columns = found(table->titles);
  for (const std::string& word : chosen) {
    const std::string wrong = choose(word, table->titles, columns);
    if (!wrong.empty()) loaded.faults.error({file, table->header_line, 0}, "", word, wrong);
  }
  const bool parts = columns[real] && columns[imaginary], polar = columns[magnitude] && columns[phase];
  if (!columns[frequency] || (!parts && !polar)) {
    std::string titles;
    for (const Title& title : table->titles) titles += (titles.empty() ? "" : ", ") + title.whole;
    loaded.faults.error(
        {file, table->header_line, 0}, "", titles,
        "no spectrum: expected columns 'Frequency / Hz', 'Real Impedance / ohm' and 'Imaginary Impedance / ohm', "
        "or say which they are, --columns frequency=f/Hz real=Re(Z)/Ohm imaginary=-Im(Z)/Ohm");
  }
  if (loaded.faults.any_error()) return loaded;
  MeasuredSpectrum spectrum;
  spectrum.name = file;
  for (const SpectrumRole role : {frequency, parts ? real : magnitude, parts ? imaginary : phase})
    spectrum.columns += (spectrum.columns.empty() ? "" : ", ") + columns[role]->title;
  std::vector<PointRow> rows;
  for (const DelimitedRow& row : table->rows) {
    ++spectrum.rows_read;
    if (const auto point = point_of(row, columns))
      rows.push_back(*point);
    else
      ++spectrum.left_out;
  }
  rows = first_sweep(rows, spectrum.further_sweeps);
  if (rows.size() < least_points) {
    loaded.faults.error({file, 0, 0}, "", "",
                        fmt::format("{} points only: a spectrum has {} at least", rows.size(), least_points));
    return loaded;
  }
  spectrum.turned = stands_turned(rows);
  for (const PointRow& row : rows) {
    spectrum.frequency.push_back(row.f);
    spectrum.real.push_back(row.real);
    spectrum.imaginary.push_back(spectrum.turned ? -row.imaginary : row.imaginary);
    spectrum.line.push_back(row.line);
  }
  loaded.value = std::move(spectrum);
  return loaded;
}

Loaded<MeasuredSpectrum> load_spectrum(const std::string& path, const std::vector<std::string>& columns) {
  Loaded<MeasuredSpectrum> result;
  const std::optional<std::string> text = read_given(path, result.faults, std::size_t{1} << 24);
  if (!text) return result;
  result = read_spectrum(*text, stream_name(path), columns);
  result.files.push_back({stream_name(path), false, sha256(*text), nullptr, "", ""});
  return result;
}

}  // namespace onegrain::params
