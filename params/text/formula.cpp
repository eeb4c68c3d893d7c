#include "params/text/formula.hpp"

#include <cmath>
#include <optional>

#include "params/number/quantity.hpp"
#include "params/text/ascii.hpp"

namespace onegrain::params {

namespace {

struct Element {
  std::string_view symbol;
  double weight;
};

// clang-format off
constexpr Element elements[] = {
    {"H", 1.008},    {"He", 4.0026},  {"Li", 6.94},    {"Be", 9.0122},  {"B", 10.81},    {"C", 12.011},   {"N", 14.007},   {"O", 15.999},
    {"F", 18.998},   {"Ne", 20.180},  {"Na", 22.990},  {"Mg", 24.305},  {"Al", 26.982},  {"Si", 28.085},  {"P", 30.974},   {"S", 32.06},
    {"Cl", 35.45},   {"Ar", 39.95},   {"K", 39.098},   {"Ca", 40.078},  {"Sc", 44.956},  {"Ti", 47.867},  {"V", 50.942},   {"Cr", 51.996},
    {"Mn", 54.938},  {"Fe", 55.845},  {"Co", 58.933},  {"Ni", 58.693},  {"Cu", 63.546},  {"Zn", 65.38},   {"Ga", 69.723},  {"Ge", 72.630},
    {"As", 74.922},  {"Se", 78.971},  {"Br", 79.904},  {"Kr", 83.798},  {"Rb", 85.468},  {"Sr", 87.62},   {"Y", 88.906},   {"Zr", 91.224},
    {"Nb", 92.906},  {"Mo", 95.95},   {"Tc", 97},      {"Ru", 101.07},  {"Rh", 102.91},  {"Pd", 106.42},  {"Ag", 107.87},  {"Cd", 112.41},
    {"In", 114.82},  {"Sn", 118.71},  {"Sb", 121.76},  {"Te", 127.60},  {"I", 126.90},   {"Xe", 131.29},  {"Cs", 132.91},  {"Ba", 137.33},
    {"La", 138.91},  {"Ce", 140.12},  {"Pr", 140.91},  {"Nd", 144.24},  {"Pm", 145},     {"Sm", 150.36},  {"Eu", 151.96},  {"Gd", 157.25},
    {"Tb", 158.93},  {"Dy", 162.50},  {"Ho", 164.93},  {"Er", 167.26},  {"Tm", 168.93},  {"Yb", 173.05},  {"Lu", 174.97},  {"Hf", 178.49},
    {"Ta", 180.95},  {"W", 183.84},   {"Re", 186.21},  {"Os", 190.23},  {"Ir", 192.22},  {"Pt", 195.08},  {"Au", 196.97},  {"Hg", 200.59},
    {"Tl", 204.38},  {"Pb", 207.2},   {"Bi", 208.98},  {"Po", 209},     {"At", 210},     {"Rn", 222},     {"Fr", 223},     {"Ra", 226},
    {"Ac", 227},     {"Th", 232.04},  {"Pa", 231.04},  {"U", 238.03},   {"Np", 237},     {"Pu", 244},     {"Am", 243},     {"Cm", 247},
    {"Bk", 247},     {"Cf", 251},     {"Es", 252},     {"Fm", 257},     {"Md", 258},     {"No", 259},     {"Lr", 262},     {"Rf", 267},
    {"Db", 268},     {"Sg", 269},     {"Bh", 270},     {"Hs", 269},     {"Mt", 277},     {"Ds", 281},     {"Rg", 282},     {"Cn", 285},
    {"Nh", 286},     {"Fl", 290},     {"Mc", 290},     {"Lv", 293},     {"Ts", 294},     {"Og", 294},
};
// clang-format on

std::optional<double> weight_of(std::string_view symbol) {
  for (const Element& element : elements) {
    if (element.symbol == symbol) return element.weight;
  }
  return std::nullopt;
}

/// Subscript digits U+2080..U+2089 as ASCII.
std::string plain_digits(std::string_view text) {
  std::string result;
  for (std::size_t k = 0; k < text.size(); ++k) {
    if (text.substr(k, 2) == "\xE2\x82" && k + 2 < text.size() &&
        static_cast<unsigned char>(text[k + 2]) - 0x80U < 10) {
      result += static_cast<char>('0' + (static_cast<unsigned char>(text[k + 2]) - 0x80));
      k += 2;
    } else {
      result += text[k];
    }
  }
  return result;
}

class FormulaParser {
 public:
  explicit FormulaParser(std::string_view text) : text_(text) {}

  std::map<std::string, double> whole() {
    std::map<std::string, double> atoms = group(0);
    if (at_ < text_.size()) throw wrong("unexpected '" + std::string(text_.substr(at_, 1)) + "'");
    if (atoms.empty()) throw FormulaError("an empty formula");
    return atoms;
  }

 private:
  FormulaError wrong(const std::string& what) const {
    return FormulaError(what + " at position " + std::to_string(at_ + 1) + " of the formula");
  }
  char peek() const { return at_ < text_.size() ? text_[at_] : '\0'; }

  std::map<std::string, double> group(int depth) {
    if (depth > 16) throw wrong("too many brackets");
    std::map<std::string, double> atoms;
    for (;;) {
      std::map<std::string, double> part;
      if (peek() == '(' || peek() == '[') {
        const char closing = peek() == '(' ? ')' : ']';
        ++at_;
        part = group(depth + 1);
        if (peek() != closing) throw wrong(std::string("a '") + closing + "' is missing");
        ++at_;
      } else if (peek() >= 'A' && peek() <= 'Z') {
        std::string symbol(1, text_[at_++]);
        if (peek() >= 'a' && peek() <= 'z') symbol += text_[at_++];
        if (!weight_of(symbol)) {
          at_ -= symbol.size();
          throw wrong("'" + symbol + "' is not an element");
        }
        part[symbol] = 1;
      } else {
        return atoms;
      }
      const double n = count();
      for (const auto& [symbol, number] : part) atoms[symbol] += n * number;
    }
  }

  double count() {
    if (!is_digit(peek()) && peek() != '.') return 1;
    double value = number();
    if (peek() == '/') {
      ++at_;
      value /= number();
    }
    if (!(value >= 0) || !(value < 1e6)) throw wrong("a count out of reason");
    return value;
  }

  double number() {
    const std::size_t start = at_;
    while (is_digit(peek()) || peek() == '.') ++at_;
    const std::optional<double> value = parse_number(text_.substr(start, at_ - start));
    if (!value) throw wrong("a number is expected");
    return *value;
  }

  std::string_view text_;
  std::size_t at_ = 0;
};

}  // namespace

double atomic_weight(std::string_view element) {
  const std::optional<double> weight = weight_of(element);
  if (!weight) throw FormulaError("'" + std::string(element) + "' is not an element");
  return *weight;
}

Formula parse_formula(std::string_view text) {
  if (text.size() > 200) throw FormulaError("a formula of more than 200 letters");
  const std::string plain = plain_digits(text);
  Formula formula;
  formula.written = std::string(text);
  formula.atoms = FormulaParser(plain).whole();
  if (!(formula.molar_mass() > 0)) throw FormulaError("a formula without atoms");
  return formula;
}

double Formula::molar_mass() const {
  double grams = 0;
  for (const auto& [element, n] : atoms) grams += n * atomic_weight(element);
  return 1e-3 * grams;
}

double Formula::count(const std::string& element) const {
  const auto found = atoms.find(element);
  return found == atoms.end() ? 0 : found->second;
}

}  // namespace onegrain::params
