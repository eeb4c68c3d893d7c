#include "params/card/function.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <mutex>
#include <numbers>
#include <optional>

namespace onegrain::params {

namespace {

// Where a warming cell is covered: six Chebyshev temperatures of -30..70 degC, the polynomial through them being
// accurate to about 1e-6 for the usual electrolyte formulas.
constexpr int temperature_count = 6;
double chebyshev_temperature(int k) {
  constexpr double middle = 273.15 + 20, half = 50;
  return middle - half * std::cos(std::numbers::pi * (2 * k + 1) / (2.0 * temperature_count));
}

}  // namespace

struct Function::Impl {
  Formula formula;
  Shape shape;
  std::vector<double> breaks;
  std::vector<std::vector<double>> coefficients;

  mutable std::mutex mutex;  // a formula has state of its own (bound variables)
  mutable std::optional<Temperatures> kept_for;
  mutable std::vector<model::Property::Sample> kept;

  model::Curve curve(double temperature, double factor, double shift) const {
    if (!formula) {
      std::vector<std::vector<double>> moved = coefficients;
      for (std::vector<double>& piece : moved) {
        for (double& coefficient : piece) coefficient *= factor;
        piece[0] += shift;
      }
      return model::Curve::pieces(breaks, moved, shape.beyond);
    }
    return curves({temperature}, factor, shift).front();
  }

  /// Of a formula, at several temperatures: curves on the same pieces.
  std::vector<model::Curve> curves(const std::vector<double>& temperatures, double factor, double shift) const {
    std::vector<model::Curve> constants;
    std::vector<std::function<double(double)>> functions;
    std::vector<double> tolerances;
    for (const double temperature : temperatures) {
      const auto f = [this, temperature, factor, shift](double composition) {
        return factor * formula(composition, temperature) + shift;
      };
      if (!shape.depends_on_composition) {
        const double value = f(shape.lower);
        if (!std::isfinite(value)) throw std::domain_error("not finite");
        constants.push_back(model::Curve::constant(value));
        continue;
      }
      double largest = shape.relative ? 0 : 1;
      for (int k = 0; k <= 64 && shape.relative; ++k)
        largest = std::max(largest, std::abs(f(shape.lower + (shape.upper - shape.lower) * k / 64)));
      functions.emplace_back(f);
      tolerances.push_back(shape.tolerance * largest);
    }
    return functions.empty()
               ? constants
               : model::Curve::approximations(functions, shape.lower, shape.upper, tolerances, shape.beyond);
  }

  std::vector<model::Property::Sample> samples(Temperatures temperatures, double shift) const {
    std::vector<model::Property::Sample> result;
    if (shape.depends_on_temperature && temperatures.vary) {
      std::vector<double> at;
      at.reserve(temperature_count);
      for (int k = 0; k < temperature_count; ++k) at.push_back(chebyshev_temperature(k));
      std::vector<model::Curve> made =
          formula ? curves(at, 1, shift) : std::vector(at.size(), curve(at.front(), 1, shift));
      result.reserve(at.size());
      for (std::size_t k = 0; k < at.size(); ++k) result.push_back({at[k], std::move(made[k])});
    } else {
      result.push_back({temperatures.at, curve(temperatures.at, 1, shift)});
    }
    return result;
  }
};

Function::Function(Formula formula, Shape shape) : impl_(std::make_unique<Impl>()) {
  impl_->formula = std::move(formula);
  impl_->shape = shape;
}

Function::Function(std::vector<double> breaks, std::vector<std::vector<double>> coefficients,
                   model::Curve::Beyond beyond)
    : impl_(std::make_unique<Impl>()) {
  impl_->shape.lower = breaks.front();
  impl_->shape.upper = breaks.back();
  impl_->shape.beyond = beyond;
  impl_->breaks = std::move(breaks);
  impl_->coefficients = std::move(coefficients);
}

Function::~Function() = default;

const Function::Shape& Function::shape() const { return impl_->shape; }

model::Curve Function::curve(double temperature, double factor, double shift) const {
  if (factor == 1 && shift == 0) return property({temperature, false}, 1, 0, 0).curve();  // the one that is kept
  const std::lock_guard lock(impl_->mutex);
  return impl_->curve(temperature, factor, shift);
}

double Function::operator()(double composition, double temperature) const {
  const std::lock_guard lock(impl_->mutex);
  if (impl_->formula) return impl_->formula(composition, temperature);
  const std::vector<double>& breaks = impl_->breaks;
  const double x = std::clamp(composition, breaks.front(), breaks.back());
  const auto above = std::upper_bound(breaks.begin() + 1, breaks.end() - 1, x);
  const auto piece = static_cast<std::size_t>(above - breaks.begin()) - 1;
  double value = 0;
  for (std::size_t m = impl_->coefficients[piece].size(); m-- > 0;)
    value = value * (x - breaks[piece]) + impl_->coefficients[piece][m];
  return value;
}

model::Property Function::property(Temperatures temperatures, double factor, double shift,
                                   double activation_energy) const {
  const std::lock_guard lock(impl_->mutex);
  const auto made = [&](const std::vector<model::Property::Sample>& samples) {
    const model::Property property(samples, activation_energy);
    return factor == 1 ? property : property.scaled(factor);
  };
  if (shift != 0) return made(impl_->samples(temperatures, shift));
  const bool same =
      impl_->kept_for &&
      (!impl_->shape.depends_on_temperature ||
       (impl_->kept_for->vary == temperatures.vary && (temperatures.vary || impl_->kept_for->at == temperatures.at)));
  if (!same) {
    impl_->kept = impl_->samples(temperatures, 0);
    impl_->kept_for = temperatures;
  }
  return made(impl_->kept);
}

model::Property PropertyValue::property(Temperatures temperatures, double activation_energy) const {
  if (!function) return model::Property::constant(si, activation_energy);
  return shifts ? function->property(temperatures, scaled_by, si / scaled_by, activation_energy)
                : function->property(temperatures, si, 0, activation_energy);
}

model::Curve PropertyValue::curve(double temperature) const {
  if (!function) return model::Curve::constant(si);
  return shifts ? function->curve(temperature, scaled_by, si) : function->curve(temperature, si, 0);
}

double PropertyValue::at(double composition, double temperature) const {
  if (!function) return si;
  return shifts ? scaled_by * (*function)(composition, temperature) + si : si * (*function)(composition, temperature);
}

}  // namespace onegrain::params
