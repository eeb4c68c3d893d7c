#pragma once

#include <array>
#include <functional>
#include <memory>
#include <span>
#include <vector>

namespace onegrain::model {

/// A value and its derivative with respect to the argument.
struct ValueAndSlope {
  double value;
  double slope;
};

/// A function of one variable, stored as piecewise polynomials.
///
/// Whatever a card gives (a number, a formula, a table) becomes one of these before any physics runs, so that
/// evaluation is quick, allocates nothing, is safe from several threads at once, and has an exact derivative.
///
/// Outside [lower(), upper()] a curve continues along its end tangent (`Beyond::tangent`) or at its end value
/// (`Beyond::hold`). Copying is cheap: the polynomials are shared and never change.
class Curve {
 public:
  enum class Beyond { tangent, hold };
  static constexpr int approximation_degree = 10;  ///< of a Chebyshev piece

  /// The same value everywhere.
  static Curve constant(double value);

  /// Piecewise Chebyshev interpolation of `f` on [lower, upper], halving intervals until the interpolant meets
  /// f within `tolerance` (absolute) at points that lie between the nodes. Intervals narrower than
  /// (upper - lower) / 2^24 are accepted as they are (a kink or a jump in f).
  /// @throws std::domain_error naming the argument at which f is not finite.
  static Curve approximation(const std::function<double(double)>& f, double lower, double upper, double tolerance,
                             Beyond beyond);

  /// The same of several functions on one range, halved wherever one of them asks for it: curves of the same pieces.
  /// @param tolerances  one for each function
  static std::vector<Curve> approximations(const std::vector<std::function<double(double)>>& functions, double lower,
                                           double upper, const std::vector<double>& tolerances, Beyond beyond);

  /// Polynomial pieces as given: piece k holds on [breaks[k], breaks[k+1]] and is
  /// sum_m coefficients[k][m] (x - breaks[k])^m. breaks ascend strictly, at least two.
  static Curve pieces(std::vector<double> breaks, const std::vector<std::vector<double>>& coefficients, Beyond beyond);

  double operator()(double x) const { return at(x).value; }
  ValueAndSlope at(double x) const;

  bool is_constant() const;
  double lower() const;
  double upper() const;

  /// All that it is made of, piece for piece, behind what `numbers` holds: `taken_from` makes the same curve of them,
  /// to the last bit.
  void append_to(std::vector<double>& numbers) const;
  /// @param numbers  begins with a curve, and begins behind it afterwards
  /// @throws std::invalid_argument where they are none
  static Curve taken_from(std::span<const double>& numbers);

 private:
  friend class Property;
  struct Data;
  explicit Curve(std::shared_ptr<const Data> data) : data_(std::move(data)) {}
  std::shared_ptr<const Data> data_;
};

/// A material property that depends on composition (stoichiometry, or salt concentration in mol/m3) and on
/// temperature: curves at one or several temperatures, times an Arrhenius factor
///
///     p(x, T) = p_T(x) exp( -(E / R) (1/T - 1/T_ref) ),   T_ref = 298.15 K
///
/// With one curve p_T does not depend on T. With several, p_T is the polynomial in T through them, which is exact
/// for a potential linear in T and accurate to about 1e-6 for the usual electrolyte formulas over -30..70 degC
/// with six temperatures.
class Property {
 public:
  struct Sample {
    double temperature;
    Curve curve;
  };
  struct Value {
    double value;
    double by_composition;  ///< derivative with respect to x
    double by_temperature;  ///< derivative with respect to T
  };

  /// What a property needs to know of a temperature, worked out once for many compositions.
  class Isotherm;

  static constexpr std::size_t most_samples = 12;  ///< a polynomial through more would waver

  static Property constant(double value, double activation_energy = 0);
  Property(Curve curve, double activation_energy = 0);  // NOLINT(google-explicit-constructor)
  /// @throws std::invalid_argument without a curve, with more than most_samples, or with two of one temperature
  Property(std::vector<Sample> samples, double activation_energy = 0);

  Value at(double x, double T) const;
  double operator()(double x, double T) const { return at(x, T).value; }

  /// True where the value does not depend on composition.
  bool uniform() const;
  double activation_energy() const { return activation_energy_; }
  const Curve& curve() const { return samples_.front().curve; }

  /// The same property with every value multiplied by `factor`.
  Property scaled(double factor) const;

  void append_to(std::vector<double>& numbers) const;            ///< as Curve's
  static Property taken_from(std::span<const double>& numbers);  ///< as Curve's

 private:
  std::vector<Sample> samples_;
  std::vector<double> inverse_spans_;  ///< 1 / prod_{m != k} (T_k - T_m)
  bool of_same_pieces_ = false;        ///< several samples whose curves have the same pieces
  double activation_energy_;
  double factor_ = 1;
};

/// The property must outlive it.
class Property::Isotherm {
 public:
  Isotherm(const Property& property, double T);
  Value at(double x) const;
  double operator()(double x) const;
  /// Of many compositions, of which neighbours mostly lie on one piece: several times quicker than one by one.
  void values(std::span<const double> x, std::span<double> result) const;
  /// The same of an array that is a column of numbers, as Eigen's are.
  template <class Array>
  Array each(const Array& x) const {
    Array result(x.size());
    const auto count = static_cast<std::size_t>(x.size());
    values({x.data(), count}, {result.data(), count});
    return result;
  }

 private:
  void merge(std::size_t piece) const;
  double on_merged_pieces(double x) const;

  const std::vector<Sample>& samples_;
  std::array<double, most_samples> weight_, weight_slope_;  ///< of each sample at T; its derivative
  double factor_, by_temperature_ = 0;                      ///< of the Arrhenius law; d ln factor / dT
  bool uniform_;
  double value_ = 0;  ///< where it is the same for every composition
  bool of_same_pieces_;
  mutable int piece_ = -1;                                              ///< of which the coefficients are merged
  mutable std::array<double, Curve::approximation_degree + 1> merged_;  ///< sum of weight times coefficient
};

}  // namespace onegrain::model
