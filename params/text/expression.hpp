#pragma once

#include <memory>
#include <stdexcept>
#include <string>
#include <vector>

namespace onegrain::params {

/// What is wrong with an expression, with the position in it: "'y' at position 5 is not known; did you mean 'x'?".
struct ExpressionError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

/// A formula of a card: `4.3 - 1.05*x + 0.09*tanh((0.62-x)/0.09)`.
///
/// Operators + - * / ^ (power), comparisons and `condition ? a : b`; functions sin cos tan asin acos atan sinh cosh
/// tanh asinh acosh atanh exp ln log10 log2 sqrt abs sign rint min max sum avg; constants pi and e. Nothing else is
/// known: no assignment, no list, no text; `log` is refused because half the world reads ln and half log10. Not safe
/// from several threads at once.
class Expression {
 public:
  /// @param variables  one-letter names that may occur, in the order of the arguments. @throws ExpressionError
  Expression(const std::string& text, const std::vector<std::string>& variables);
  ~Expression();
  Expression(Expression&&) noexcept;

  /// Not finite where the formula is not (1/0, ln(-1)).
  double operator()(const std::vector<double>& arguments) const;
  double operator()(double first, double second = 0) const;
  bool uses(const std::string& variable) const;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace onegrain::params
