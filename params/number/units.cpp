#include "params/number/units.hpp"

#include <algorithm>
#include <cctype>
#include <cmath>
#include <numbers>
#include <optional>

#include "params/number/quantity.hpp"
#include "params/number/unit_names.hpp"
#include "params/text/ascii.hpp"

namespace onegrain::params {

namespace {

constexpr Dimension number{}, metre{1, 0, 0}, kilogram{0, 1, 0}, second{0, 0, 1}, ampere{0, 0, 0, 1},
    kelvin{0, 0, 0, 0, 1}, mole{0, 0, 0, 0, 0, 1}, radian{0, 0, 0, 0, 0, 0, 1}, area{2, 0, 0}, volume{3, 0, 0},
    newton{1, 1, -2}, pascal{-1, 1, -2}, joule{2, 1, -2}, watt{2, 1, -3}, coulomb{0, 0, 1, 1}, volt{2, 1, -3, -1},
    ohm{2, 1, -3, -2}, siemens{-2, -1, 3, 2}, farad{-2, -1, 4, 2}, henry{2, 1, -2, -2}, hertz{0, 0, -1},
    molar{-3, 0, 0, 0, 0, 1}, poise{-1, 1, -1}, hour_volt_ampere{2, 1, -2};

struct TableEntry {
  std::string_view symbol;
  double factor;
  Dimension dimension;
  bool prefixes = false;
  double offset = 0;
};

constexpr double degree = std::numbers::pi / 180;

// Factors are exact by definition (SI brochure, 9th ed., tables 2 to 8; international foot and pound) unless said.
// clang-format off
constexpr TableEntry table[] = {
    {"m", 1, metre, true},           {"metre", 1, metre},           {"meter", 1, metre},       {"micron", 1e-6, metre},
    {"angstrom", 1e-10, metre},      {"Angstrom", 1e-10, metre},    {"inch", 0.0254, metre},   {"mil", 25.4e-6, metre},
    {"g", 1e-3, kilogram, true},     {"gram", 1e-3, kilogram},      {"t", 1e3, kilogram},      {"lb", 0.45359237, kilogram},
    {"u", 1.66053906660e-27, kilogram},  // CODATA 2018
    {"s", 1, second, true},          {"sec", 1, second},            {"second", 1, second},     {"seconds", 1, second},
    {"min", 60, second},             {"minute", 60, second},        {"minutes", 60, second},
    {"h", 3600, second},             {"hr", 3600, second},          {"hour", 3600, second},    {"hours", 3600, second},
    {"d", 86400, second},            {"day", 86400, second},        {"days", 86400, second},
    {"A", 1, ampere, true},          {"ampere", 1, ampere},
    {"K", 1, kelvin, true},          {"kelvin", 1, kelvin},
    {"degC", 1, kelvin, false, 273.15}, {"celsius", 1, kelvin, false, 273.15}, {"Celsius", 1, kelvin, false, 273.15},
    {"degF", 5.0 / 9, kelvin, false, 459.67},
    {"mol", 1, mole, true},          {"mole", 1, mole},
    {"rad", 1, radian, true},        {"deg", degree, radian},       {"degree", degree, radian}, {"degrees", degree, radian},
    {"arcmin", degree / 60, radian}, {"arcsec", degree / 3600, radian},
    {"L", 1e-3, volume, true},       {"l", 1e-3, volume, true},     {"litre", 1e-3, volume},   {"liter", 1e-3, volume},
    {"ha", 1e4, area},
    {"N", 1, newton, true},          {"Pa", 1, pascal, true},       {"bar", 1e5, pascal, true}, {"atm", 101325, pascal},
    {"torr", 101325.0 / 760, pascal}, {"psi", 4.4482216152605 / (0.0254 * 0.0254), pascal},
    {"J", 1, joule, true},           {"W", 1, watt, true},          {"cal", 4.184, joule, true},
    {"eV", 1.602176634e-19, joule, true},  // CODATA 2018, exact
    {"Wh", 3600, hour_volt_ampere, true}, {"Ah", 3600, coulomb, true}, {"C", 1, coulomb, true}, {"coulomb", 1, coulomb},
    {"V", 1, volt, true},            {"volt", 1, volt},             {"volts", 1, volt},
    {"ohm", 1, ohm, true},           {"Ohm", 1, ohm, true},         {"ohms", 1, ohm},
    {"S", 1, siemens, true},         {"F", 1, farad, true},         {"Hz", 1, hertz, true},
    {"H", 1, henry, true},
    {"M", 1e3, molar, true},         {"P", 0.1, poise, true},
    {"%", 1e-2, number},             {"percent", 1e-2, number},     {"wt%", 1e-2, number},     {"vol%", 1e-2, number},
    {"mol%", 1e-2, number},          {"at%", 1e-2, number},         {"ppm", 1e-6, number},     {"ppb", 1e-9, number},
};

struct Prefix { std::string_view symbol; double factor; };
constexpr Prefix prefixes[] = {
    {"da", 1e1}, {"Y", 1e24}, {"Z", 1e21}, {"E", 1e18}, {"P", 1e15}, {"T", 1e12}, {"G", 1e9}, {"M", 1e6}, {"k", 1e3},
    {"h", 1e2}, {"d", 1e-1}, {"c", 1e-2}, {"m", 1e-3}, {"u", 1e-6}, {"n", 1e-9}, {"p", 1e-12}, {"f", 1e-15}, {"a", 1e-18},
    {"z", 1e-21}, {"y", 1e-24},
};

// Letters beyond ASCII that people type or paste, longest first where one begins another.
struct Letter { std::string_view from, to; };
constexpr Letter letters[] = {
    {"\xC2\xB0" "C", "degC"}, {"\xC2\xB0" "F", "degF"}, {"\xE2\x84\x83", "degC"}, {"\xE2\x84\x89", "degF"}, {"\xC2\xB0", "deg"},
    {"\xC2\xB5", "u"}, {"\xCE\xBC", "u"},                                      // micro sign, Greek mu
    {"\xC3\x85", "angstrom"}, {"\xE2\x84\xAB", "angstrom"}, {"A\xCC\x8A", "angstrom"},
    {"\xCE\xA9", "ohm"}, {"\xE2\x84\xA6", "ohm"},                              // Greek omega, ohm sign
    {"\xC2\xB7", "*"}, {"\xE2\x8B\x85", "*"}, {"\xC3\x97", "*"}, {"\xE2\x88\x99", "*"},
    {"\xE2\x88\x92", "-"}, {"\xE2\x80\x93", "-"},                              // minus sign, en dash
    {"\xC2\xA0", " "}, {"\xE2\x80\xAF", " "}, {"\xE2\x80\x89", " "},           // no-break and thin spaces
};
constexpr Letter superscripts[] = {
    {"\xE2\x81\xB0", "0"}, {"\xC2\xB9", "1"}, {"\xC2\xB2", "2"}, {"\xC2\xB3", "3"}, {"\xE2\x81\xB4", "4"}, {"\xE2\x81\xB5", "5"},
    {"\xE2\x81\xB6", "6"}, {"\xE2\x81\xB7", "7"}, {"\xE2\x81\xB8", "8"}, {"\xE2\x81\xB9", "9"}, {"\xE2\x81\xBB", "-"},
    {"\xE2\x81\xBA", "+"},
};
// clang-format on

template <std::size_t n>
const Letter* starting(const Letter (&list)[n], std::string_view text) {
  for (const Letter& letter : list) {
    if (text.substr(0, letter.from.size()) == letter.from) return &letter;
  }
  return nullptr;
}

std::optional<Unit> look_up(std::string_view symbol) {
  for (const TableEntry& entry : table) {
    if (entry.symbol == symbol) return Unit{entry.factor, entry.dimension, entry.offset};
  }
  for (const Prefix& prefix : prefixes) {
    if (symbol.size() <= prefix.symbol.size() || symbol.substr(0, prefix.symbol.size()) != prefix.symbol) continue;
    const std::string_view rest = symbol.substr(prefix.symbol.size());
    for (const TableEntry& entry : table) {
      if (entry.prefixes && entry.symbol == rest) return Unit{prefix.factor * entry.factor, entry.dimension, 0};
    }
  }
  return std::nullopt;
}

std::string lower(std::string_view text) {
  std::string result(text);
  for (char& c : result) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return result;
}

/// A unit that differs from `symbol` only in capital letters: 'mah' -> 'mAh'.
std::string other_capitals(std::string_view symbol) {
  const std::string wanted = lower(symbol);
  for (const char* prefix : {"", "m", "u", "k", "c", "n"}) {
    for (const TableEntry& entry : table) {
      if (*prefix != '\0' && !entry.prefixes) continue;
      const std::string candidate = prefix + std::string(entry.symbol);
      if (lower(candidate) == wanted) return candidate;
    }
  }
  return {};
}

bool is_letter(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '%' || c == '_' || (c & 0x80) != 0;
}

class UnitParser {
 public:
  explicit UnitParser(std::string_view text) : text_(text) {}

  Unit whole() {
    skip_spaces();
    if (at_end()) throw UnitError("no unit");
    const Unit result = product(0);
    if (!at_end())
      throw UnitError("unexpected '" + std::string(text_.substr(at_, 1)) + "' in the unit '" + std::string(text_) +
                      "'");
    return result;
  }

 private:
  bool at_end() const { return at_ >= text_.size(); }
  char peek() const { return at_end() ? '\0' : text_[at_]; }
  void skip_spaces() {
    while (peek() == ' ' || peek() == '\t') ++at_;
  }

  Unit product(int depth) {
    if (depth > 16) throw UnitError("too many parentheses in the unit");
    Unit result = power(depth);
    bool alone = true;
    for (;;) {
      const std::size_t before = at_;
      skip_spaces();
      double sign = 1;
      if (peek() == '/') {
        sign = -1;
        ++at_;
      } else if (peek() == '*' || peek() == '.') {
        ++at_;
      } else if (before == at_ || at_end() || peek() == ')') {
        if (at_end() || peek() == ')') break;
        if (peek() != '(' && !is_letter(peek())) break;
      }
      skip_spaces();
      const Unit next = power(depth);
      if (alone) result.offset = 0;
      alone = false;
      result.factor *= sign > 0 ? next.factor : 1 / next.factor;
      result.dimension = result.dimension.times(next.dimension, sign);
    }
    return result;
  }

  Unit power(int depth) {
    Unit base = atom(depth);
    if (peek() == '^') {
      ++at_;
    } else if (text_.substr(at_, 2) == "**") {
      at_ += 2;
    } else if (!(is_digit(peek()) ||
                 ((peek() == '-' || peek() == '+') && at_ + 1 < text_.size() && is_digit(text_[at_ + 1])))) {
      return base;
    }
    const double exponent = this->exponent();
    Unit result;
    result.factor = std::pow(base.factor, exponent);
    result.dimension = Dimension{}.times(base.dimension, exponent);
    return result;
  }

  double exponent() {
    const bool bracket = peek() == '(';
    if (bracket) ++at_;
    double value = real();
    if (bracket) {
      if (peek() == '/') {
        ++at_;
        value /= real();
      }
      if (peek() != ')') throw UnitError("a ')' is missing in the unit '" + std::string(text_) + "'");
      ++at_;
    }
    if (!(std::abs(value) <= 20)) throw UnitError("a power in the unit '" + std::string(text_) + "' is out of reason");
    return value;
  }

  /// Digits, with a decimal point only where digits follow it: `m2.s` is m2 s, `m2.5` is a power.
  double real() {
    const std::size_t start = at_;
    if (peek() == '-' || peek() == '+') ++at_;
    while (is_digit(peek())) ++at_;
    if (peek() == '.' && at_ + 1 < text_.size() && is_digit(text_[at_ + 1])) {
      ++at_;
      while (is_digit(peek())) ++at_;
    }
    std::string_view digits = text_.substr(start, at_ - start);
    if (!digits.empty() && digits.front() == '+') digits.remove_prefix(1);
    const std::optional<double> value = parse_number(digits);
    if (!value) throw UnitError("a power is missing in the unit '" + std::string(text_) + "'");
    return *value;
  }

  Unit atom(int depth) {
    if (peek() == '(') {
      ++at_;
      skip_spaces();
      Unit inner = product(depth + 1);
      skip_spaces();
      if (peek() != ')') throw UnitError("a ')' is missing in the unit '" + std::string(text_) + "'");
      ++at_;
      inner.offset = 0;
      return inner;
    }
    if (peek() == '1' && !(at_ + 1 < text_.size() && (is_digit(text_[at_ + 1]) || text_[at_ + 1] == '.'))) {
      ++at_;
      return Unit{};
    }
    const std::size_t start = at_;
    while (!at_end() && is_letter(peek())) ++at_;
    std::string_view symbol = text_.substr(start, at_ - start);
    if (symbol == "wt" && text_.substr(at_, 2) == " %") {
      symbol = "wt%";
      at_ += 2;
    }
    if (symbol.empty()) {
      throw UnitError(at_end() ? "the unit '" + std::string(text_) + "' ends too early"
                               : "unexpected '" + std::string(text_.substr(at_, 1)) + "' in the unit '" +
                                     std::string(text_) + "'");
    }
    if (const std::optional<Unit> unit = look_up(symbol)) return *unit;
    const std::string other = other_capitals(symbol);
    throw UnitError("'" + std::string(symbol) + "' is not a known unit" +
                    (other.empty() ? "" : "; did you mean '" + other + "'?"));
  }

  std::string_view text_;
  std::size_t at_ = 0;
};

}  // namespace

Dimension Dimension::times(const Dimension& other, double exponent) const {
  Dimension result = *this;
  for (std::size_t k = 0; k < power.size(); ++k) result.power[k] += exponent * other.power[k];
  return result;
}

bool Dimension::operator==(const Dimension& other) const {
  return std::equal(power.begin(), power.end(), other.power.begin(),
                    [](double a, double b) { return std::abs(a - b) < 1e-9; });
}

std::vector<std::string> units_of(const Dimension& dimension) {
  std::vector<std::string> names;
  for (const TableEntry& entry : table) {
    if (!(entry.dimension == dimension)) continue;
    names.emplace_back(entry.symbol);
    if (!entry.prefixes) continue;
    for (const Prefix& prefix : prefixes) names.push_back(std::string(prefix.symbol) + std::string(entry.symbol));
  }
  return names;
}

std::string plain_letters(std::string_view text) {
  std::string result;
  bool in_superscript = false;
  while (!text.empty()) {
    if (const Letter* digit = starting(superscripts, text)) {
      if (!in_superscript) result += '^';
      in_superscript = true;
      result += digit->to;
      text.remove_prefix(digit->from.size());
      continue;
    }
    in_superscript = false;
    if (const Letter* letter = starting(letters, text)) {
      result += letter->to;
      text.remove_prefix(letter->from.size());
    } else {
      result += text.front();
      text.remove_prefix(1);
    }
  }
  return result;
}

Unit parse_unit(std::string_view text) {
  if (text.size() > 200) throw UnitError("the unit is too long");
  const std::string plain = plain_letters(text);
  std::string_view trimmed = plain;
  while (!trimmed.empty() && (trimmed.back() == ' ' || trimmed.back() == '\t')) trimmed.remove_suffix(1);
  while (!trimmed.empty() && (trimmed.front() == ' ' || trimmed.front() == '\t')) trimmed.remove_prefix(1);
  return UnitParser(trimmed).whole();
}

}  // namespace onegrain::params
