#include "model/grain.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <memory>
#include <mutex>
#include <stdexcept>

#include "model/decompositions.hpp"
#include "model/gauss.hpp"

namespace onegrain::model {

namespace {

/// First roots of tan l = l, beyond 0. Tail of the series at tau = 0.05: exp(-16.8^2...) below 1e-18 after ten.
constexpr std::array<double, 10> tangent_roots = {4.493409457909,  7.725251836938,  10.904121659429, 14.066193912831,
                                                  17.220755271931, 20.371302959288, 23.519452498689, 26.666054258813,
                                                  29.811598790893, 32.956389039822};

/// The basis phi_k(rho) = sqrt((4k + 3) / 3) P_{2k+1}(rho) / rho, k = 0..count, with its slope: even polynomials,
/// orthonormal over the grain (3 int rho^2 phi_j phi_k drho = delta_jk), phi_0 = 1. P are Legendre's polynomials.
struct Basis {
  Eigen::RowVectorXd value, slope;
};

Basis even_polynomials(double rho, int count) {
  Basis b{Eigen::RowVectorXd(count + 1), Eigen::RowVectorXd(count + 1)};
  // odd P_m / rho obeys the same recurrence as P_m; started from P_1 / rho = 1 it never divides by rho
  double p_even = 1, p_even_slope = 0;  // P_{2k}
  double q = 1, q_slope = 0;            // P_{2k+1} / rho
  for (int k = 0; k <= count; ++k) {
    const double norm = std::sqrt((4.0 * k + 3) / 3);
    b.value[k] = norm * q;
    b.slope[k] = norm * q_slope;
    const double m = 2 * k + 1;  // P_{m+1} = ((2m+1) rho P_m - m P_{m-1}) / (m+1), P_m = rho q
    const double next_even = ((2 * m + 1) * rho * rho * q - m * p_even) / (m + 1);
    const double next_even_slope = ((2 * m + 1) * (2 * rho * q + rho * rho * q_slope) - m * p_even_slope) / (m + 1);
    const double l = m + 1;  // P_{l+1} / rho = ((2l+1) P_l - l q) / (l+1)
    const double next_q = ((2 * l + 1) * next_even - l * q) / (l + 1);
    const double next_q_slope = ((2 * l + 1) * next_even_slope - l * q_slope) / (l + 1);
    p_even = next_even;
    p_even_slope = next_even_slope;
    q = next_q;
    q_slope = next_q_slope;
  }
  return b;
}

}  // namespace

const GrainModes& GrainModes::of(int count) {
  if (count < 2 || count > 200) throw std::invalid_argument("a grain takes 2 to 200 modes");
  static std::mutex mutex;
  static std::map<int, std::unique_ptr<const GrainModes>> made;
  const std::lock_guard lock(mutex);
  auto& modes = made[count];
  if (!modes) modes.reset(new GrainModes(count));
  return *modes;
}

GrainModes::GrainModes(int count) {
  // Points enough for the diffusion integral with D of about the degree of x, and for the even half of [-1, 1] only.
  const int points = count + count / 2 + 2;
  const Gauss gauss = gauss_legendre(2 * points);
  nodes_ = gauss.nodes.tail(points);
  weights_ = 3 * nodes_.square() * gauss.weights.tail(points);

  Eigen::MatrixXd value(points, count), slope(points, count);
  for (int q = 0; q < points; ++q) {
    const Basis b = even_polynomials(nodes_[q], count);
    value.row(q) = b.value.tail(count);
    slope.row(q) = b.slope.tail(count);
  }
  const Eigen::MatrixXd stiffness = weighted_square(slope, weights_.matrix());
  const EigenPairs pairs = eigenpairs(stiffness);
  decay_ = pairs.values.array();
  vectors_ = pairs.vectors;
  const Eigen::RowVectorXd at_surface = even_polynomials(1, count).value.tail(count);
  for (int n = 0; n < count; ++n) {
    if (at_surface.dot(vectors_.col(n)) < 0) vectors_.col(n) *= -1;  // Phi_n(1) > 0
  }
  surface_ = (at_surface * vectors_).transpose().array();
  value_ = product(value, vectors_);
  slope_ = product(slope, vectors_);
  tail_ = at_surface.tail(2).asDiagonal() * vectors_.bottomRows(2);
  resolved_after_ = 1;
  while (resolved_after_ > 1e-12 && std::abs(missing_step_response(*this, resolved_after_ / 1.25)) < 1e-9) {
    resolved_after_ /= 1.25;
  }
}

Eigen::VectorXd GrainModes::amplitudes(const Eigen::Ref<const Eigen::VectorXd>& polynomials) const {
  const Eigen::Index shared = std::min<Eigen::Index>(count(), polynomials.size());
  return vectors_.topRows(shared).transpose() * polynomials.head(shared);
}

Eigen::MatrixXd GrainModes::values(const Eigen::Ref<const Eigen::ArrayXd>& rho) const {
  Eigen::MatrixXd basis(rho.size(), count());
  for (Eigen::Index k = 0; k < rho.size(); ++k) basis.row(k) = even_polynomials(rho[k], count()).value.tail(count());
  return product(basis, vectors_);
}

Eigen::VectorXd GrainModes::step_polynomials(double tau) const {
  const Eigen::ArrayXd amplitudes =
      -3 * surface_ * (-decay_ * tau).unaryExpr([](double x) { return std::expm1(x); }) / decay_;
  return polynomials(amplitudes.matrix());
}

double GrainModes::step_response(double tau) const {
  return 3 * tau -
         (3 * surface_.square() / decay_ * (-decay_ * tau).unaryExpr([](double y) { return std::expm1(y); })).sum();
}

double exact_step_response(double tau) {
  if (tau < 0.05) return std::expm1(tau) + std::exp(tau) * std::erf(std::sqrt(tau));
  double sum = 0;
  for (const double root : tangent_roots) sum += std::exp(-root * root * tau) / (root * root);
  return 3 * tau + 0.2 - 2 * sum;
}

double missing_step_response(const GrainModes& modes, double tau) {
  return exact_step_response(tau) - modes.step_response(tau);
}

Grain::Grain(const GrainModes& modes, double radius, Property diffusivity)
    : modes_(&modes),
      radius_(radius),
      diffusivity_(std::move(diffusivity)),
      decoupled_(diffusivity_.uniform()),
      drive_(-3 / radius * modes.surface()) {}

void Grain::remainder(double mean, const Eigen::Ref<const Eigen::VectorXd>& a, double T, double D0,
                      Eigen::Ref<Eigen::VectorXd> result) const {
  eigen_assert(a.size() == count() && result.size() == count());
  if (decoupled_) {
    result = -((diffusivity_(mean, T) - D0) / (radius_ * radius_) * modes_->decay() * a.array()).matrix();
    return;
  }
  Eigen::VectorXd x = modes_->value_at_nodes() * a;
  Eigen::VectorXd slope = modes_->slope_at_nodes() * a;
  const Property::Isotherm D(diffusivity_, T);
  for (Eigen::Index q = 0; q < x.size(); ++q) {
    slope[q] *= -modes_->weights()[q] * (D(mean + x[q]) - D0) / (radius_ * radius_);
  }
  result.noalias() = modes_->slope_at_nodes().transpose() * slope;
}

void Grain::remainder_jacobian(double mean, const Eigen::Ref<const Eigen::VectorXd>& a, double T, double D0,
                               Eigen::Ref<Eigen::MatrixXd> by_amplitudes, Eigen::Ref<Eigen::VectorXd> by_mean,
                               Eigen::Ref<Eigen::VectorXd> by_temperature) const {
  eigen_assert(by_amplitudes.rows() == count() && by_amplitudes.cols() == count());
  const double scale = -1 / (radius_ * radius_);
  if (decoupled_) {
    const Property::Value D = diffusivity_.at(mean, T);
    by_amplitudes.setZero();
    by_amplitudes.diagonal() = scale * (D.value - D0) * modes_->decay().matrix();
    by_mean.setZero();
    by_temperature = scale * D.by_temperature * (modes_->decay() * a.array()).matrix();
    return;
  }
  const Eigen::VectorXd x = modes_->value_at_nodes() * a;
  const Eigen::VectorXd slope = modes_->slope_at_nodes() * a;
  Eigen::ArrayXd through_slope(x.size()), through_value(x.size()), through_temperature(x.size());
  const Property::Isotherm D_at(diffusivity_, T);
  for (Eigen::Index q = 0; q < x.size(); ++q) {
    const Property::Value D = D_at.at(mean + x[q]);
    const double w = scale * modes_->weights()[q];
    through_slope[q] = w * (D.value - D0);
    through_value[q] = w * D.by_composition * slope[q];
    through_temperature[q] = w * D.by_temperature * slope[q];
  }
  const Eigen::MatrixXd inner = through_slope.matrix().asDiagonal() * modes_->slope_at_nodes() +
                                through_value.matrix().asDiagonal() * modes_->value_at_nodes();
  transposed_product(modes_->slope_at_nodes(), inner, by_amplitudes);
  by_mean.noalias() = modes_->slope_at_nodes().transpose() * through_value.matrix();
  by_temperature.noalias() = modes_->slope_at_nodes().transpose() * through_temperature.matrix();
}

}  // namespace onegrain::model
