#pragma once

#include <functional>
#include <memory>
#include <vector>

#include "model/curve.hpp"
#include "params/number/value.hpp"

/// What a card gives as a formula or a table, ready to become a curve of the model.
namespace onegrain::params {

/// At which temperatures a property is needed.
struct Temperatures {
  double at = 298.15;  ///< of the sheet [K]
  bool vary = false;   ///< true: the cell warms up; -30..70 degC are covered
};

/// A property as a function of composition (stoichiometry, or mol/m3 for an electrolyte) and temperature, SI.
/// Immutable from outside; curves are built once per temperature and kept. Safe from several threads.
class Function {
 public:
  using Formula = std::function<double(double composition, double temperature)>;
  struct Shape {
    bool depends_on_composition = true;
    bool depends_on_temperature = false;
    double lower = 0, upper = 1;  ///< of the composition
    double tolerance = 1e-9;      ///< of the curve: absolute, or
    bool relative = false;        ///< times the largest magnitude on the range
    model::Curve::Beyond beyond = model::Curve::Beyond::hold;
  };

  Function(Formula formula, Shape shape);
  /// A table as polynomial pieces, see model::Curve::pieces().
  Function(std::vector<double> breaks, std::vector<std::vector<double>> coefficients, model::Curve::Beyond beyond);
  ~Function();
  Function(const Function&) = delete;
  Function& operator=(const Function&) = delete;

  /// factor * (formula + shift), with an Arrhenius factor [J/mol]. Where the formula holds the temperature: one curve
  /// at `temperatures.at`, or six at the Chebyshev temperatures of -30..70 degC.
  /// @throws std::domain_error where the formula is not finite
  model::Property property(Temperatures temperatures, double factor, double shift, double activation_energy) const;

  /// factor * formula + shift at one temperature [K]. @throws std::domain_error where the formula is not finite
  model::Curve curve(double temperature, double factor, double shift) const;

  const Shape& shape() const;
  double operator()(double composition, double temperature) const;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// A number, or a function with a number that scales or shifts it.
///
/// Without a function the property is `si` of kind `result`. With one, `si` is a factor, a plain number: `scaled_by` of
/// the card, 1 where it is absent, unless a study changes it. Where `shifts` is set the property is
/// `scaled_by * function + si`, `si` being a shift (0 unless a study changes it, of kind `result`): potentials, which
/// are not scaled, and functions with an absolute spread. A spread is that of the property after scaling.
struct PropertyValue : Value {
  std::shared_ptr<const Function> function;
  bool shifts = false;
  double scaled_by = 1;  ///< as read; held in `si` already unless `shifts` is set
  const Kind* result = nullptr;

  /// @param activation_energy  Arrhenius [J/mol]
  model::Property property(Temperatures temperatures, double activation_energy = 0) const;
  /// At one temperature [K], without Arrhenius factor.
  model::Curve curve(double temperature) const;
  /// At one composition and temperature, without Arrhenius factor.
  double at(double composition, double temperature) const;
};

}  // namespace onegrain::params
