#include "params/text/expression.hpp"

#include <muParser.h>

#include <algorithm>
#include <cctype>
#include <cmath>
#include <limits>
#include <numbers>
#include <set>

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

/// Names, commas, signs: all that muParser would read otherwise than a formula on paper is refused here.
std::set<std::string> names_in(const std::string& text, const std::vector<std::string>& variables) {
  if (text.find_first_not_of(" \t\r\n") == std::string::npos) throw ExpressionError("an empty expression");
  if (text.size() > 4000) throw ExpressionError("an expression of more than 4000 letters");
  std::set<std::string> used;
  std::vector<bool> brackets;  // of a function?
  bool after_function = false;
  for (std::size_t at = 0; at < text.size();) {
    const char c = text[at];
    const auto byte = static_cast<unsigned char>(c);
    if (std::isalpha(byte) || c == '_') {
      std::size_t end = at;
      while (end < text.size() && (std::isalnum(static_cast<unsigned char>(text[end])) || text[end] == '_')) ++end;
      const std::string name = text.substr(at, end - at);
      const std::size_t next = text.find_first_not_of(" \t\r\n", end);
      const bool called = next != std::string::npos && text[next] == '(';
      if (name == "log") throw ExpressionError("'log'" + at_position(at) + " is ambiguous; write ln or log10");
      if (contains(variables, name) || name == "pi" || name == "e") {
        if (called)
          throw ExpressionError("'" + name + "(...)'" + at_position(at) + " is not a function; write '*' to multiply");
        used.insert(name);
      } else if (contains(known_functions(), name)) {
        if (!called) throw ExpressionError("'" + name + "'" + at_position(at) + " needs its argument in parentheses");
        after_function = true;
      } else {
        std::vector<std::string> candidates = known_functions();
        std::string list;
        for (const std::string& variable : variables) {
          candidates.push_back(variable);
          list += (list.empty() ? "" : ", ") + variable;
        }
        const std::string near = nearest(name, candidates);
        throw ExpressionError("'" + name + "'" + at_position(at) + " is not known" +
                              (near.empty() ? "; variables here: " + list : "; did you mean '" + near + "'?"));
      }
      at = end;
      continue;
    }
    if (std::isdigit(byte) || c == '.') {  // a whole number, so that the e of 1e-3 is not taken for a name
      while (at < text.size() && (std::isdigit(static_cast<unsigned char>(text[at])) || text[at] == '.')) ++at;
      if (at < text.size() && (text[at] == 'e' || text[at] == 'E')) {
        std::size_t end = at + 1;
        if (end < text.size() && (text[end] == '+' || text[end] == '-')) ++end;
        if (end < text.size() && std::isdigit(static_cast<unsigned char>(text[end]))) {
          while (end < text.size() && std::isdigit(static_cast<unsigned char>(text[end]))) ++end;
          at = end;
        }
      }
      if (at < text.size() && (std::isalpha(static_cast<unsigned char>(text[at])) || text[at] == '_')) {
        throw ExpressionError("'" + text.substr(at, 1) + "'" + at_position(at) +
                              " follows a number; write '*' to multiply");
      }
      continue;
    }
    switch (c) {
      case '(':
        brackets.push_back(after_function);
        if (brackets.size() > 60) throw ExpressionError("more than 60 parentheses inside each other");
        break;
      case ')':
        if (brackets.empty()) throw ExpressionError("a ')'" + at_position(at) + " without its '('");
        brackets.pop_back();
        break;
      case ',':
        if (brackets.empty() || !brackets.back())
          throw ExpressionError("a comma" + at_position(at) + "; decimals are written with a point");
        break;
      case '=': {
        const bool comparison =
            (at > 0 && (text[at - 1] == '=' || text[at - 1] == '<' || text[at - 1] == '>' || text[at - 1] == '!')) ||
            (at + 1 < text.size() && text[at + 1] == '=');
        if (!comparison)
          throw ExpressionError("'='" + at_position(at) + "; a formula of the variables is expected, not an equation");
        break;
      }
      case '*':
        if (at + 1 < text.size() && text[at + 1] == '*')
          throw ExpressionError("'**'" + at_position(at) + "; a power is written '^'");
        break;
      case ' ':
      case '\t':
      case '\r':
      case '\n':
      case '+':
      case '-':
      case '/':
      case '^':
      case '<':
      case '>':
      case '!':
      case '?':
      case ':':
      case '&':
      case '|':
        break;
      default:
        throw ExpressionError("'" + text.substr(at, 1) + "'" + at_position(at) + " has no place in an expression");
    }
    if (!std::isspace(byte)) after_function = false;
    ++at;
  }
  if (!brackets.empty()) throw ExpressionError("a ')' is missing at the end");
  return used;
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
  impl_->used = names_in(plain, variables);
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
    const std::string token = fault.GetToken();
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
