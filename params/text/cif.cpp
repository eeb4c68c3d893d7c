#include "params/text/cif.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "params/number/quantity.hpp"
#include "params/text/ascii.hpp"

namespace onegrain::params {

namespace {

char small(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; }

std::string in_small_letters(std::string_view text) {
  std::string result(text);
  std::transform(result.begin(), result.end(), result.begin(), small);
  return result;
}

struct Token {
  enum class Kind { end, tag, value, block, loop, other };
  Kind kind = Kind::end;
  std::string_view text;  ///< of a block: its name
  int line = 0;
  bool quoted = false;
};

/// What ends a reading: the line, the words there and what is wrong.
struct Wrong {
  int line;
  std::string value, message;
};

/// Cuts the text into words, quotations and texts between semicolons.
class Lexer {
 public:
  explicit Lexer(std::string_view text) : text_(text) {
    if (text_.starts_with("\xEF\xBB\xBF")) at_ = 3;
    first_ = at_;
  }

  Token next() {
    skip_blanks();
    if (at_ == text_.size()) return {Token::Kind::end, {}, line_, false};
    const int line = line_;
    const char c = text_[at_];
    if (c == ';' && at_line_start()) return {Token::Kind::value, text_field(), line, true};
    if (c == '\'' || c == '"') return {Token::Kind::value, quotation(c), line, true};
    const std::size_t start = at_;
    while (at_ < text_.size() && !is_blank(text_[at_])) check(text_[at_++]);
    return word(text_.substr(start, at_ - start), line);
  }

 private:
  static bool is_line_end(char c) { return c == '\n' || c == '\r'; }
  static bool is_blank(char c) { return c == ' ' || c == '\t' || is_line_end(c); }
  bool at_line_start() const { return at_ == first_ || is_line_end(text_[at_ - 1]); }

  void check(char c) const {
    const auto byte = static_cast<unsigned char>(c);
    if (byte < 0x20 && c != '\t') throw Wrong{line_, "", "a byte that no text has; is this a CIF?"};
  }
  void pass(char c) {  // "\r\n" is one line end
    if (c == '\n' || (c == '\r' && (at_ + 1 == text_.size() || text_[at_ + 1] != '\n'))) {
      ++line_;
    } else if (c != '\r') {
      check(c);
    }
    ++at_;
  }
  void skip_blanks() {
    while (at_ < text_.size()) {
      const char c = text_[at_];
      if (c == '#') {
        while (at_ < text_.size() && !is_line_end(text_[at_])) check(text_[at_++]);
      } else if (is_blank(c)) {
        pass(c);
      } else {
        return;
      }
    }
  }
  std::string_view text_field() {
    const int opened = line_;
    const std::size_t start = ++at_;
    while (at_ < text_.size()) {
      const char c = text_[at_];
      if (c == ';' && at_line_start()) {
        const std::size_t end = at_++;
        if (at_ < text_.size() && !is_blank(text_[at_]))
          throw Wrong{line_, "", "a blank is expected behind the ';' that ends a text"};
        std::string_view found = text_.substr(start, end - start);
        while (!found.empty() && is_line_end(found.back())) found.remove_suffix(1);
        return found;
      }
      pass(c);
    }
    throw Wrong{opened, "", "the text that begins here with ';' is never ended by a ';' at the start of a line"};
  }
  std::string_view quotation(char quote) {
    const std::size_t start = ++at_;
    for (; at_ < text_.size() && !is_line_end(text_[at_]); ++at_) {
      check(text_[at_]);
      if (text_[at_] != quote || (at_ + 1 < text_.size() && !is_blank(text_[at_ + 1]))) continue;
      return text_.substr(start, at_++ - start);
    }
    throw Wrong{line_, std::string(text_.substr(start - 1, std::min<std::size_t>(at_ - start + 1, 40))),
                "a quotation that is not ended on its line"};
  }
  static Token word(std::string_view text, int line) {
    if (text.front() == '_') {
      if (text.size() == 1) throw Wrong{line, "_", "a tag without a name"};
      return {Token::Kind::tag, text, line, false};
    }
    const std::string small_text = in_small_letters(text.substr(0, 8));
    const std::string_view lower = small_text;
    const std::string whole(text);
    if (lower.starts_with("data_")) {
      if (text.size() == 5) throw Wrong{line, whole, "a data block without a name"};
      return {Token::Kind::block, text.substr(5), line, false};
    }
    if (text.size() == 5 && lower == "loop_") return {Token::Kind::loop, text, line, false};
    if (lower.starts_with("save_"))
      throw Wrong{line, whole, "save frames belong to dictionaries; expected a CIF of data"};
    if (text.size() == 7 && lower == "global_") throw Wrong{line, whole, "reserved, and not part of CIF 1.1"};
    if (text.size() == 5 && lower == "stop_") throw Wrong{line, whole, "reserved, and not part of CIF 1.1"};
    if (text.front() == '$' || text.front() == '[' || text.front() == ']')
      throw Wrong{line, whole, "a value that begins so stands in quotation marks"};
    return {Token::Kind::value, text, line, false};
  }

  std::string_view text_;
  std::size_t at_ = 0, first_ = 0;
  int line_ = 1;
};

class Parser {
 public:
  explicit Parser(std::string_view text) : lexer_(text), token_(lexer_.next()) {}

  Cif whole() {
    Cif cif;
    if (token_.kind == Token::Kind::end) throw Wrong{1, "", "an empty file"};
    while (token_.kind != Token::Kind::end) {
      if (token_.kind == Token::Kind::block) {
        if (const CifBlock* same = cif.block(token_.text))
          throw Wrong{token_.line, "data_" + std::string(token_.text),
                      fmt::format("a block of this name stands in line {} already", same->line)};
        cif.blocks.push_back({std::string(token_.text), token_.line, {}});
        take();
        continue;
      }
      if (cif.blocks.empty())
        throw Wrong{token_.line, std::string(token_.text), "expected 'data_' and the name of a block first"};
      CifBlock& block = cif.blocks.back();
      if (token_.kind == Token::Kind::loop) {
        loop(block);
      } else if (token_.kind == Token::Kind::tag) {
        pair(block);
      } else {
        throw Wrong{token_.line, std::string(token_.text), "a value without a tag in front of it"};
      }
    }
    return cif;
  }

 private:
  Token take() {
    const Token taken = token_;
    token_ = lexer_.next();
    return taken;
  }
  static std::vector<CifValue>& place_for(CifBlock& block, const Token& tag) {
    auto [place, fresh] = block.items.try_emplace(in_small_letters(tag.text));
    if (!fresh) {
      throw Wrong{tag.line, std::string(tag.text),
                  place->second.empty()
                      ? "the same tag twice in one block"
                      : fmt::format("the same tag as in line {}, in one block", place->second.front().line)};
    }
    return place->second;
  }
  void pair(CifBlock& block) {
    const Token tag = take();
    std::vector<CifValue>& values = place_for(block, tag);
    if (token_.kind != Token::Kind::value)
      throw Wrong{tag.line, std::string(tag.text), "a tag without a value; is the file complete?"};
    values.push_back({token_.text, token_.line, token_.quoted});
    take();
  }
  void loop(CifBlock& block) {
    const int line = take().line;
    std::vector<std::vector<CifValue>*> columns;
    while (token_.kind == Token::Kind::tag) columns.push_back(&place_for(block, take()));
    if (columns.empty()) throw Wrong{line, "loop_", "a loop without tags"};
    std::size_t count = 0;
    for (; token_.kind == Token::Kind::value; ++count) {
      columns[count % columns.size()]->push_back({token_.text, token_.line, token_.quoted});
      take();
    }
    if (count == 0) throw Wrong{line, "loop_", "a loop without values; is the file complete?"};
    if (count % columns.size() != 0) {
      throw Wrong{line, "loop_",
                  fmt::format("{} values do not fill rows of {}; is the file complete?", count, columns.size())};
    }
  }

  Lexer lexer_;
  Token token_;
};

}  // namespace

const std::vector<CifValue>& CifBlock::all(std::string_view tag) const {
  static const std::vector<CifValue> none;
  const auto found = items.find(tag);
  return found == items.end() ? none : found->second;
}

const CifValue* CifBlock::one(std::initializer_list<std::string_view> tags) const {
  for (const std::string_view tag : tags) {
    const std::vector<CifValue>& values = all(tag);
    if (values.size() == 1 && !values.front().absent()) return &values.front();
  }
  return nullptr;
}

const CifBlock* Cif::block(std::string_view name) const {
  const std::string wanted = in_small_letters(name);
  for (const CifBlock& block : blocks) {
    if (in_small_letters(block.name) == wanted) return &block;
  }
  return nullptr;
}

std::optional<CifNumber> cif_number(std::string_view text) {
  std::string_view digits = text;
  double last_digits = 0;
  if (const std::size_t open = text.find('('); open != std::string_view::npos) {
    const std::string_view inside = text.substr(open + 1);
    if (inside.size() < 2 || inside.size() > 10 || inside.back() != ')') return std::nullopt;
    for (const char c : inside.substr(0, inside.size() - 1)) {
      if (!is_digit(c)) return std::nullopt;
      last_digits = 10 * last_digits + (c - '0');
    }
    digits = text.substr(0, open);
  }
  if (digits.starts_with('+')) digits.remove_prefix(1);
  if (digits.starts_with('+') || digits.size() > 60) return std::nullopt;
  for (const char c : digits) {  // no words such as nan, no hexadecimal digits
    if (!is_digit(c) && c != '.' && c != '-' && c != '+' && c != 'e' && c != 'E') return std::nullopt;
  }
  const std::optional<double> value = parse_number(digits);
  if (!value || !std::isfinite(*value)) return std::nullopt;
  const std::size_t exponent = std::min(digits.find_first_of("eE"), digits.size());
  const std::size_t point = digits.substr(0, exponent).find('.');
  const double decimals = point == std::string_view::npos ? 0 : static_cast<double>(exponent - point - 1);
  double power = -decimals;
  if (exponent < digits.size()) power += parse_number(digits.substr(exponent + 1)).value_or(0);
  const double uncertainty = last_digits == 0 ? 0 : last_digits * std::pow(10.0, power);
  if (!std::isfinite(uncertainty)) return std::nullopt;
  return CifNumber{*value, uncertainty};
}

std::optional<Cif> read_cif(std::string_view text, const std::string& file, Faults& faults) {
  try {
    if (text.substr(0, 32).find("#\\#CIF_2") != std::string_view::npos)
      throw Wrong{1, "#\\#CIF_2.0", "this program reads CIF 1.1; save the file in that version"};
    return Parser(text).whole();
  } catch (const Wrong& wrong) {
    faults.error({file, wrong.line, 1}, "", wrong.value, wrong.message);
    return std::nullopt;
  }
}

}  // namespace onegrain::params
