#include "params/text/expression.hpp"

#include <muParser.h>

#include <algorithm>
#include <cctype>
#include <cmath>
#include <limits>
#include <numbers>
#include <set>
#include <string_view>

#include "params/number/units.hpp"
#include "params/text/faults.hpp"

namespace onegrain::params {

namespace {

const std::vector<std::string>& known_functions() {
  static const std::vector<std::string> names = {"sin",  "cos",   "tan",   "asin",  "acos", "atan", "sinh",  "cosh",
                                                 "tanh", "asinh", "acosh", "atanh", "exp",  "ln",   "log10", "log2",
                                                 "sqrt", "abs",   "sign",  "rint",  "min",  "max",  "sum",   "avg"};
  return names;
}

bool contains(const std::vector<std::string>& list, const std::string& name) {
  return std::find(list.begin(), list.end(), name) != list.end();
}

std::string at_position(std::size_t at) { return " at position " + std::to_string(at + 1); }

bool letter(char c) { return std::isalpha(static_cast<unsigned char>(c)) || c == '_'; }
bool digit(char c) { return std::isdigit(static_cast<unsigned char>(c)); }

/// Goes through a formula once: all that muParser would read otherwise than a formula on paper is refused here.
class Proofreader {
 public:
  Proofreader(const std::string& text, const std::vector<std::string>& variables)
      : text_(text), variables_(variables) {}

  /// The names of variables and constants in it. @throws ExpressionError
  std::set<std::string> names() {
    if (text_.find_first_not_of(" \t\r\n") == std::string::npos) throw ExpressionError("an empty expression");
    if (text_.size() > 4000) throw ExpressionError("an expression of more than 4000 letters");
    while (at_ < text_.size()) {
      if (letter(text_[at_])) {
        name();
      } else if (digit(text_[at_]) || text_[at_] == '.') {
        number();
      } else {
        sign();
      }
    }
    if (!brackets_.empty()) throw ExpressionError("a ')' is missing at the end");
    return used_;
  }

 private:
  void name();
  void number();
  void sign();
  [[noreturn]] void unknown(const std::string& name) const;
  bool follows(char c) const { return at_ + 1 < text_.size() && text_[at_ + 1] == c; }

  const std::string& text_;
  const std::vector<std::string>& variables_;
  std::size_t at_ = 0;
  std::set<std::string> used_;
  std::vector<bool> brackets_;  // of a function?
  bool after_function_ = false;
};

void Proofreader::name() {
  std::size_t end = at_;
  while (end < text_.size() && (letter(text_[end]) || digit(text_[end]))) ++end;
  const std::string name = text_.substr(at_, end - at_);
  const std::size_t next = text_.find_first_not_of(" \t\r\n", end);
  const bool called = next != std::string::npos && text_[next] == '(';
  if (name == "log") throw ExpressionError("'log'" + at_position(at_) + " is ambiguous; write ln or log10");
  if (contains(variables_, name) || name == "pi" || name == "e") {
    if (called)
      throw ExpressionError("'" + name + "(...)'" + at_position(at_) + " is not a function; write '*' to multiply");
    used_.insert(name);
  } else if (contains(known_functions(), name)) {
    if (!called) throw ExpressionError("'" + name + "'" + at_position(at_) + " needs its argument in parentheses");
    after_function_ = true;
  } else {
    unknown(name);
  }
  at_ = end;
}

void Proofreader::unknown(const std::string& name) const {
  std::vector<std::string> candidates = known_functions();
  std::string list;
  for (const std::string& variable : variables_) {
    candidates.push_back(variable);
    list += (list.empty() ? "" : ", ") + variable;
  }
  const std::string near = nearest(name, candidates);
  throw ExpressionError("'" + name + "'" + at_position(at_) + " is not known" +
                        (near.empty() ? "; variables here: " + list : "; did you mean '" + near + "'?"));
}

/// A whole number, so that the e of 1e-3 is not taken for a name.
void Proofreader::number() {
  while (at_ < text_.size() && (digit(text_[at_]) || text_[at_] == '.')) ++at_;
  if (at_ < text_.size() && (text_[at_] == 'e' || text_[at_] == 'E')) {
    std::size_t end = at_ + 1;
    if (end < text_.size() && (text_[end] == '+' || text_[end] == '-')) ++end;
    if (end < text_.size() && digit(text_[end])) {
      while (end < text_.size() && digit(text_[end])) ++end;
      at_ = end;
    }
  }
  if (at_ < text_.size() && letter(text_[at_])) {
    throw ExpressionError("'" + text_.substr(at_, 1) + "'" + at_position(at_) +
                          " follows a number; write '*' to multiply");
  }
}

/// Brackets, commas, operators, spaces.
void Proofreader::sign() {
  const char c = text_[at_];
  switch (c) {
    case '(':
      brackets_.push_back(after_function_);
      if (brackets_.size() > 60) throw ExpressionError("more than 60 parentheses inside each other");
      break;
    case ')':
      if (brackets_.empty()) throw ExpressionError("a ')'" + at_position(at_) + " without its '('");
      brackets_.pop_back();
      break;
    case ',':
      if (brackets_.empty() || !brackets_.back())
        throw ExpressionError("a comma" + at_position(at_) + "; decimals are written with a point");
      break;
    case '=': {
      const bool comparison =
          follows('=') || (at_ > 0 && std::string_view("=<>!").find(text_[at_ - 1]) != std::string_view::npos);
      if (!comparison)
        throw ExpressionError("'='" + at_position(at_) + "; a formula of the variables is expected, not an equation");
      break;
    }
    case '*':
      if (follows('*')) throw ExpressionError("'**'" + at_position(at_) + "; a power is written '^'");
      break;
    default:
      if (std::string_view(" \t\r\n+-/^<>!?:&|").find(c) == std::string_view::npos)
        throw ExpressionError("'" + text_.substr(at_, 1) + "'" + at_position(at_) + " has no place in an expression");
  }
  if (!std::isspace(static_cast<unsigned char>(c))) after_function_ = false;
  ++at_;
}

}  // namespace

struct Expression::Impl {
  mu::Parser parser;
  std::vector<double> variables;  // bound by address
  std::set<std::string> used;
};

Expression::Expression(const std::string& text, const std::vector<std::string>& variables)
    : impl_(std::make_unique<Impl>()) {
  const std::string plain = plain_letters(text);
  impl_->used = Proofreader(plain, variables).names();
  impl_->variables.assign(variables.size(), 0.5);
  try {
    impl_->parser.ClearConst();
    impl_->parser.DefineConst("pi", std::numbers::pi);
    impl_->parser.DefineConst("e", std::numbers::e);
    for (std::size_t k = 0; k < variables.size(); ++k) impl_->parser.DefineVar(variables[k], &impl_->variables[k]);
    impl_->parser.SetExpr(plain);
    impl_->parser.Eval();
    if (impl_->parser.GetNumResults() != 1) throw ExpressionError("more than one value");
  } catch (const mu::Parser::exception_type& fault) {
    const std::string& token = fault.GetToken();
    throw ExpressionError(
        "cannot be read" +
        (fault.GetPos() >= 0 ? at_position(static_cast<std::size_t>(fault.GetPos())) : std::string(" to its end")) +
        (token.empty() ? "" : ", near '" + token + "'"));
  }
}

Expression::~Expression() = default;
Expression::Expression(Expression&&) noexcept = default;

double Expression::operator()(const std::vector<double>& arguments) const {
  std::copy_n(arguments.begin(), std::min(arguments.size(), impl_->variables.size()), impl_->variables.begin());
  try {
    return impl_->parser.Eval();
  } catch (const mu::Parser::exception_type&) {
    return std::numeric_limits<double>::quiet_NaN();
  }
}

double Expression::operator()(double first, double second) const {
  if (!impl_->variables.empty()) impl_->variables[0] = first;
  if (impl_->variables.size() > 1) impl_->variables[1] = second;
  try {
    return impl_->parser.Eval();
  } catch (const mu::Parser::exception_type&) {
    return std::numeric_limits<double>::quiet_NaN();
  }
}

bool Expression::uses(const std::string& variable) const { return impl_->used.contains(variable); }

}  // namespace onegrain::params
