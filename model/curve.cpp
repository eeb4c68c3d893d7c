#include "model/curve.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <stdexcept>
#include <string>

#include "model/constants.hpp"
#include "model/curve_data.hpp"

namespace onegrain::model {

namespace {

using detail::horner;
using detail::piece_degree;

constexpr int checks = 23;  // places at which an interpolant is compared with its function
constexpr double narrowest = 1.0 / (1 << 24);

/// Monomial coefficients in u on [-1, 1] of the polynomial through `values` at the Chebyshev points cos(pi k /
/// piece_degree).
std::vector<double> through_chebyshev_points(const std::array<double, piece_degree + 1>& values) {
  std::array<double, piece_degree + 1> chebyshev{};
  for (int m = 0; m <= piece_degree; ++m) {
    double sum = 0;
    for (int k = 0; k <= piece_degree; ++k) {
      const double half = (k == 0 || k == piece_degree) ? 0.5 : 1.0;
      sum += half * values[static_cast<std::size_t>(k)] * std::cos(std::numbers::pi * m * k / piece_degree);
    }
    chebyshev[static_cast<std::size_t>(m)] = (m == 0 || m == piece_degree ? 1.0 : 2.0) * sum / piece_degree;
  }
  // T_m as monomials by T_{m+1} = 2 u T_m - T_{m-1}
  std::vector<double> result(piece_degree + 1, 0.0), previous(piece_degree + 1, 0.0), current(piece_degree + 1, 0.0);
  previous[0] = 1;
  current[1] = 1;
  for (std::size_t m = 0; m <= piece_degree; ++m) {
    for (std::size_t k = 0; k <= piece_degree; ++k) result[k] += chebyshev[m] * previous[k];
    std::vector<double> next(piece_degree + 1, 0.0);
    for (std::size_t k = 0; k < piece_degree; ++k) next[k + 1] = 2 * current[k];
    for (std::size_t k = 0; k <= piece_degree; ++k) next[k] -= previous[k];
    previous = std::move(current);
    current = std::move(next);
  }
  return result;
}

/// The polynomial of a function on [a, b], and whether it meets it within the tolerance.
bool piece_of(const std::function<double(double)>& f, double a, double b, double tolerance, std::vector<double>& c) {
  const auto value_at = [&](double x) {
    const double v = f(x);
    if (!std::isfinite(v)) throw std::domain_error("not finite at " + std::to_string(x));
    return v;
  };
  const double middle = 0.5 * (a + b), half = 0.5 * (b - a);
  std::array<double, piece_degree + 1> values{};
  for (int k = 0; k <= piece_degree; ++k) {
    const double u = std::cos(std::numbers::pi * k / piece_degree);
    values[static_cast<std::size_t>(k)] = value_at(k == 0 ? b : k == piece_degree ? a : middle + half * u);
  }
  c = through_chebyshev_points(values);
  for (int k = 0; k < checks; ++k) {
    const double u = std::cos(std::numbers::pi * (k + 0.37) / checks);
    if (!(std::abs(horner(c.data(), piece_degree + 1, u).value - value_at(middle + half * u)) <= tolerance))
      return false;
  }
  return true;
}

}  // namespace

Curve Curve::constant(double value) {
  auto data = std::make_shared<Data>();
  data->lower = 0;
  data->upper = 1;
  data->constant = true;
  data->add(1, 0, 1, {value});
  data->index();
  return Curve(std::move(data));
}

Curve Curve::approximation(const std::function<double(double)>& f, double lower, double upper, double tolerance,
                           Beyond beyond) {
  return approximations({f}, lower, upper, {tolerance}, beyond).front();
}

std::vector<Curve> Curve::approximations(const std::vector<std::function<double(double)>>& functions, double lower,
                                         double upper, const std::vector<double>& tolerances, Beyond beyond) {
  if (!(lower < upper)) throw std::domain_error("an empty range");
  if (tolerances.size() != functions.size()) throw std::invalid_argument("a tolerance for each function");
  std::vector<std::shared_ptr<Data>> all;
  for (std::size_t k = 0; k < functions.size(); ++k) {
    all.push_back(std::make_shared<Data>());
    all.back()->lower = lower;
    all.back()->upper = upper;
    all.back()->beyond = beyond;
  }

  // Halves are taken left first, so that the pieces come out in order.
  std::vector<std::pair<double, double>> waiting{{lower, upper}};
  std::vector<std::vector<double>> pieces(functions.size());
  while (!waiting.empty()) {
    const auto [a, b] = waiting.back();
    waiting.pop_back();
    const double middle = 0.5 * (a + b), half = 0.5 * (b - a);
    const bool as_it_is = half <= 0.5 * narrowest * (upper - lower);
    bool good = true;
    for (std::size_t k = 0; k < functions.size() && (good || as_it_is); ++k)
      good = piece_of(functions[k], a, b, tolerances[k], pieces[k]) && good;
    if (good || as_it_is) {
      for (std::size_t k = 0; k < all.size(); ++k) all[k]->add(b, middle, 1 / half, pieces[k]);
    } else {
      waiting.emplace_back(middle, b);
      waiting.emplace_back(a, middle);
    }
  }
  std::vector<Curve> curves;
  for (const auto& data : all) {
    data->index();
    curves.push_back(Curve(data));
  }
  return curves;
}

Curve Curve::pieces(std::vector<double> breaks, const std::vector<std::vector<double>>& coefficients, Beyond beyond) {
  if (breaks.size() < 2 || coefficients.size() + 1 != breaks.size()) {
    throw std::invalid_argument("pieces: one more break than pieces, at least two breaks");
  }
  auto data = std::make_shared<Data>();
  data->lower = breaks.front();
  data->upper = breaks.back();
  data->beyond = beyond;
  for (std::size_t k = 0; k < coefficients.size(); ++k) {
    if (!(breaks[k] < breaks[k + 1])) throw std::invalid_argument("pieces: breaks must ascend");
    data->add(breaks[k + 1], breaks[k], 1, coefficients[k]);
  }
  data->index();
  return Curve(std::move(data));
}

ValueAndSlope Curve::at(double x) const {
  const Data& d = *data_;
  if (d.constant) return {d.coefficients.front(), 0};
  if (x >= d.lower && x <= d.upper) return d.inside(x);
  if (std::isnan(x)) return {x, x};
  const double end = x < d.lower ? d.lower : d.upper;
  const ValueAndSlope at_end = d.inside(end);
  if (d.beyond == Beyond::hold) return {at_end.value, 0};
  return {at_end.value + at_end.slope * (x - end), at_end.slope};
}

bool Curve::is_constant() const { return data_->constant; }
double Curve::lower() const { return data_->lower; }
double Curve::upper() const { return data_->upper; }

// ---------------------------------------------------------------------------------------------------------------

Property Property::constant(double value, double activation_energy) {
  return Property(Curve::constant(value), activation_energy);
}

Property::Property(Curve curve, double activation_energy)
    : Property(std::vector<Sample>{{reference_temperature, std::move(curve)}}, activation_energy) {}

Property::Property(std::vector<Sample> samples, double activation_energy)
    : samples_(std::move(samples)), activation_energy_(activation_energy) {
  if (samples_.empty()) throw std::invalid_argument("a property needs a curve");
  if (samples_.size() > most_samples)
    throw std::invalid_argument("a property takes curves at twelve temperatures at most");
  for (const Sample& one : samples_) {
    double product = 1;
    for (const Sample& other : samples_)
      if (&one != &other) product *= one.temperature - other.temperature;
    if (product == 0) throw std::invalid_argument("two curves of a property at one temperature");
    inverse_spans_.push_back(1 / product);
  }
  const Curve::Data& first = *samples_.front().curve.data_;
  of_same_pieces_ = std::all_of(samples_.begin(), samples_.end(),
                                [&](const Sample& s) { return s.curve.data_->has_pieces_of(first); });
}

Property::Value Property::at(double x, double T) const {
  if (samples_.size() > 1 || activation_energy_ != 0) return Isotherm(*this, T).at(x);
  const ValueAndSlope s = samples_.front().curve.at(x);
  return {factor_ * s.value, factor_ * s.slope, 0};
}

Property::Isotherm::Isotherm(const Property& property, double T)
    : samples_(property.samples_),
      factor_(property.factor_),
      uniform_(property.uniform()),
      of_same_pieces_(property.of_same_pieces_) {
  // Lagrange's polynomials in T, each the product of what stands before and behind its own sample, and their slopes.
  const std::size_t n = samples_.size();
  double before = 1, before_slope = 0;
  for (std::size_t k = 0; k < n; ++k) {
    weight_[k] = before;
    weight_slope_[k] = before_slope;
    const double from = T - samples_[k].temperature;
    before_slope = before_slope * from + before;
    before *= from;
  }
  double behind = 1, behind_slope = 0;
  for (std::size_t k = n; k-- > 0;) {
    const double scale = property.inverse_spans_[k];
    weight_slope_[k] = scale * (weight_slope_[k] * behind + weight_[k] * behind_slope);
    weight_[k] *= scale * behind;
    const double from = T - samples_[k].temperature;
    behind_slope = behind_slope * from + behind;
    behind *= from;
  }
  if (property.activation_energy_ != 0) {
    factor_ *= std::exp(-property.activation_energy_ / gas_constant * (1 / T - 1 / reference_temperature));
    by_temperature_ = property.activation_energy_ / (gas_constant * T * T);
  }
  if (!uniform_) return;
  for (std::size_t k = 0; k < n; ++k) value_ += weight_[k] * samples_[k].curve(0);
  value_ *= factor_;
}

Property::Value Property::Isotherm::at(double x) const {
  Value v{};
  for (std::size_t k = 0; k < samples_.size(); ++k) {
    const ValueAndSlope s = samples_[k].curve.at(x);
    v.value += weight_[k] * s.value;
    v.by_composition += weight_[k] * s.slope;
    v.by_temperature += weight_slope_[k] * s.value;
  }
  return {factor_ * v.value, factor_ * v.by_composition, factor_ * (v.by_temperature + v.value * by_temperature_)};
}

double Property::Isotherm::operator()(double x) const {
  if (uniform_) return value_;
  if (of_same_pieces_) return on_merged_pieces(x);
  double value = 0;
  for (std::size_t k = 0; k < samples_.size(); ++k) value += weight_[k] * samples_[k].curve(x);
  return factor_ * value;
}

/// Where all samples have the same pieces, their polynomials add up to one, for as long as x stays on a piece.
double Property::Isotherm::on_merged_pieces(double x) const {
  const Curve::Data& d = *samples_.front().curve.data_;
  const double at = std::clamp(x, d.lower, d.upper);
  if (std::isnan(at)) return at;
  const std::size_t piece = d.piece_at(at);
  const Curve::Data::Piece& p = d.pieces[piece];
  merge(piece);
  const double u = (at - p.origin) * p.scale;
  if (x == at || d.beyond == Curve::Beyond::hold) return horner(merged_.data(), piece_degree + 1, u).value;
  const ValueAndSlope v = horner(merged_.data(), piece_degree + 1, u);
  return v.value + v.slope * p.scale * (x - at);
}

void Property::Isotherm::merge(std::size_t piece) const {
  if (static_cast<int>(piece) == piece_) return;
  const int first = samples_.front().curve.data_->pieces[piece].first;
  merged_.fill(0);
  for (std::size_t k = 0; k < samples_.size(); ++k) {
    const double* c = samples_[k].curve.data_->coefficients.data() + first;
    for (std::size_t m = 0; m < merged_.size(); ++m) merged_[m] += factor_ * weight_[k] * c[m];
  }
  piece_ = static_cast<int>(piece);
}

void Property::Isotherm::values(std::span<const double> x, std::span<double> result) const {
  const auto one_by_one = [&](std::size_t q) { result[q] = (*this)(x[q]); };
  if (uniform_ || !of_same_pieces_) {
    for (std::size_t q = 0; q < x.size(); ++q) one_by_one(q);
    return;
  }
  const Curve::Data& d = *samples_.front().curve.data_;
  constexpr std::size_t together = 16;
  std::array<double, together> u, square, even, odd;
  for (std::size_t q = 0; q < x.size();) {
    if (!(x[q] >= d.lower && x[q] <= d.upper)) {
      one_by_one(q++);
      continue;
    }
    const std::size_t piece = d.piece_at(x[q]);
    const Curve::Data::Piece& p = d.pieces[piece];
    const double lower = piece > 0 ? d.pieces[piece - 1].upper : d.lower;
    merge(piece);
    std::size_t n = 0;
    for (; n < together && q + n < x.size() && x[q + n] >= lower && x[q + n] <= p.upper; ++n)
      u[n] = (x[q + n] - p.origin) * p.scale;
    for (std::size_t k = n; k < together; ++k) u[k] = 0;  // loops of a fixed length are what compilers make vectors of
    for (std::size_t k = 0; k < together; ++k) {
      square[k] = u[k] * u[k];
      even[k] = merged_[piece_degree];
      odd[k] = merged_[piece_degree - 1];
    }
    for (int m = piece_degree - 2; m > 0; m -= 2) {
      const auto at = static_cast<std::size_t>(m);
      for (std::size_t k = 0; k < together; ++k) {
        even[k] = even[k] * square[k] + merged_[at];
        odd[k] = odd[k] * square[k] + merged_[at - 1];
      }
    }
    for (std::size_t k = 0; k < n; ++k) result[q + k] = even[k] * square[k] + merged_[0] + u[k] * odd[k];
    q += n;
  }
}

bool Property::uniform() const {
  return std::all_of(samples_.begin(), samples_.end(), [](const Sample& s) { return s.curve.is_constant(); });
}

Property Property::scaled(double factor) const {
  Property result = *this;
  result.factor_ *= factor;
  return result;
}

}  // namespace onegrain::model
