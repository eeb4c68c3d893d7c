#include "model/salt.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <stdexcept>

#include "model/decompositions.hpp"
#include "model/gauss.hpp"

namespace onegrain::model {

namespace {

constexpr double least_salt = 1e-2;  // mol/m3; a trial profile below this is taken as this in ln c and kappa

constexpr int most_degree = 40;
constexpr int most_nodes = 4 * (most_degree + 4);                         // of a half cell
using Nodal = Eigen::Array<double, Eigen::Dynamic, 1, 0, most_nodes, 1>;  // a value at every node, not on the heap

/// rows * b, four columns at a time: for so few of them quicker than a general product.
Nodal at_nodes(const Eigen::Ref<const Eigen::MatrixXd>& rows, const Eigen::Ref<const Eigen::VectorXd>& b) {
  const auto column = [&](Eigen::Index n) { return rows.col(n).array() * b[n]; };
  Nodal result = column(0);
  Eigen::Index n = 1;
  for (; n + 3 < b.size(); n += 4) result += (column(n) + column(n + 1)) + (column(n + 2) + column(n + 3));
  for (; n < b.size(); ++n) result += column(n);
  return result;
}

/// Legendre polynomials P_0..P_n at xi.
std::array<double, most_degree + 1> legendre(int n, double xi) {
  std::array<double, most_degree + 1> P{1.0, xi};
  for (std::size_t k = 1; k < static_cast<std::size_t>(n); ++k) {
    const double kk = static_cast<double>(k);
    P[k + 1] = ((2 * kk + 1) * xi * P[k] - kk * P[k - 1]) / (kk + 1);
  }
  return P;
}

}  // namespace

/// Row of the continuous basis inside one layer: its two end hats (shared with the neighbours) and its bubbles
/// (P_k - P_{k-2}) / sqrt(2 (2k - 1)), k = 2..degree, whose slope is sqrt((2k - 1) / 2) P_{k-1}.
/// Unknowns: hats 0..parts, then the bubbles of each layer.
Eigen::RowVectorXd Salt::basis(const Part& part, std::size_t index, double xi, bool slope) const {
  const Eigen::Index hats = static_cast<Eigen::Index>(parts_.size()) + 1;
  const Eigen::Index bubbles = degree_ - 1;
  Eigen::RowVectorXd row = Eigen::RowVectorXd::Zero(hats + bubbles * static_cast<Eigen::Index>(parts_.size()));
  const auto P = legendre(degree_, xi);
  const double to_x = 2 / part.thickness;  // d xi / dx
  const auto k0 = static_cast<Eigen::Index>(index);
  row[k0] = slope ? -0.5 * to_x : 0.5 * (1 - xi);
  row[k0 + 1] = slope ? 0.5 * to_x : 0.5 * (1 + xi);
  for (int k = 2; k <= degree_; ++k) {
    const auto kk = static_cast<std::size_t>(k);
    row[hats + bubbles * k0 + k - 2] =
        slope ? std::sqrt((2.0 * k - 1) / 2) * P[kk - 1] * to_x : (P[kk] - P[kk - 2]) / std::sqrt(2 * (2.0 * k - 1));
  }
  return row;
}

Salt Salt::of_count(const Cell& cell, int count) { return Salt(cell, count / (cell.negative ? 3 : 4)); }

Salt::Salt(const Cell& cell, int degree)
    : electrolyte_(cell.electrolyte),
      degree_(degree),
      mean_(cell.electrolyte.concentration),
      positive_power_(cell.positive.host.anodic_transfer),
      half_cell_(!cell.negative),
      decoupled_(cell.electrolyte.diffusivity.uniform() && cell.electrolyte.transference_number.uniform()) {
  if (degree < 2 || degree > most_degree) throw std::invalid_argument("salt takes polynomials of degree 2 to 40");
  const auto add = [&](double thickness, double porosity, double tortuosity) {
    parts_.push_back({length_, thickness, porosity, porosity / tortuosity, 0, degree + 4});
    length_ += thickness;
  };
  if (cell.negative) {
    add(cell.negative->thickness, cell.negative->porosity, cell.negative->tortuosity);
    negative_power_ = cell.negative->host.anodic_transfer;
  }
  // At lithium metal the whole current crosses one place: the layer of salt that grows there after a jump starts thin.
  const std::vector<double> shares = half_cell_ ? std::vector<double>{0.01, 0.09, 0.9} : std::vector<double>{1};
  for (const double share : shares)
    add(share * cell.separator.thickness, cell.separator.porosity, cell.separator.tortuosity);
  add(cell.positive.thickness, cell.positive.porosity, cell.positive.tortuosity);

  const int per_layer = degree + 4;
  const Gauss gauss = gauss_legendre(per_layer);
  const auto nodes = static_cast<Eigen::Index>(per_layer) * static_cast<Eigen::Index>(parts_.size());
  position_.resize(nodes);
  weight_.resize(nodes);
  share_.resize(nodes);
  transport_.resize(nodes);
  Eigen::ArrayXd porosity(nodes);
  Eigen::MatrixXd value, slope;
  Eigen::Index q = 0;
  for (std::size_t k = 0; k < parts_.size(); ++k) {
    Part& part = parts_[k];
    part.first_node = static_cast<int>(q);
    const bool is_negative = !half_cell_ && k == 0;
    const bool is_positive = k + 1 == parts_.size();
    for (Eigen::Index g = 0; g < per_layer; ++g, ++q) {
      const double xi = gauss.nodes[g];
      const Eigen::RowVectorXd v = basis(part, k, xi, false);
      if (q == 0) {
        value.resize(nodes, v.size());
        slope.resize(nodes, v.size());
      }
      value.row(q) = v;
      slope.row(q) = basis(part, k, xi, true);
      position_[q] = part.start + part.thickness * (1 + xi) / 2;
      weight_[q] = gauss.weights[g] * part.thickness / 2;
      share_[q] = is_negative ? 0.5 * (1 + xi) : is_positive ? 0.5 * (1 - xi) : 1.0;
      transport_[q] = part.transport;
      porosity[q] = part.porosity;
    }
  }
  const Eigen::MatrixXd mass = weighted_square(value, (weight_ * porosity).matrix());
  const Eigen::MatrixXd stiffness = weighted_square(slope, (weight_ * transport_).matrix());
  const EigenPairs pairs = eigenpairs(stiffness, mass);
  const Eigen::Index modes = pairs.values.size() - 1;  // the first is the constant
  decay_ = pairs.values.tail(modes).array();
  vectors_ = pairs.vectors.rightCols(modes);
  // The hats add up to one: taken off them, what the eigenvectors hold of the constant by round-off is gone.
  const Eigen::VectorXd pores = (weight_ * porosity).matrix();
  const Eigen::RowVectorXd held = pores.transpose() * value * vectors_ / pores.sum();
  vectors_.topRows(static_cast<Eigen::Index>(parts_.size()) + 1).rowwise() -= held;
  value_ = product(value, vectors_);
  slope_ = product(slope, vectors_);
  drive_ = (slope_.transpose() * (weight_ * share_).matrix()).array() / faraday_constant;
  at_start_ = basis(parts_.front(), 0, -1, false) * vectors_;
  at_end_ = basis(parts_.back(), parts_.size() - 1, 1, false) * vectors_;
  const Eigen::Index hats = static_cast<Eigen::Index>(parts_.size()) + 1;
  tail_.resize(static_cast<Eigen::Index>(parts_.size()), modes);
  for (Eigen::Index k = 0; k < tail_.rows(); ++k) tail_.row(k) = vectors_.row(hats + (degree - 1) * (k + 1) - 1);
}

void Salt::remainder(const Eigen::Ref<const Eigen::VectorXd>& b, double i, double T, double D0, double t0,
                     Eigen::Ref<Eigen::VectorXd> result) const {
  eigen_assert(b.size() == count() && result.size() == count());
  const Property::Isotherm D(electrolyte_.diffusivity, T), t(electrolyte_.transference_number, T);
  const Nodal c = mean_ + at_nodes(value_, b), diffusivity = D.each(c), transference = t.each(c);
  Nodal cx = at_nodes(slope_, b);
  cx = -weight_ * ((diffusivity - D0) * transport_ * cx + i / faraday_constant * (transference - t0) * share_);
  result.noalias() = slope_.transpose() * cx.matrix();
}

void Salt::remainder_jacobian(const Eigen::Ref<const Eigen::VectorXd>& b, double i, double T, double D0, double t0,
                              Eigen::Ref<Eigen::MatrixXd> by_amplitudes, Eigen::Ref<Eigen::VectorXd> by_current,
                              Eigen::Ref<Eigen::VectorXd> by_temperature) const {
  const Nodal c = at_nodes(value_, b), cx = at_nodes(slope_, b);
  const Property::Isotherm D_at(electrolyte_.diffusivity, T), t_at(electrolyte_.transference_number, T);
  Eigen::VectorXd through_slope(c.size()), through_value(c.size()), through_current(c.size()),
      through_temperature(c.size());
  for (Eigen::Index q = 0; q < c.size(); ++q) {
    const Property::Value D = D_at.at(mean_ + c[q]);
    const Property::Value t = t_at.at(mean_ + c[q]);
    const double w = -weight_[q];
    through_slope[q] = w * (D.value - D0) * transport_[q];
    through_value[q] =
        w * (D.by_composition * transport_[q] * cx[q] + i / faraday_constant * t.by_composition * share_[q]);
    through_current[q] = w * (t.value - t0) * share_[q] / faraday_constant;
    through_temperature[q] =
        w * (D.by_temperature * transport_[q] * cx[q] + i / faraday_constant * t.by_temperature * share_[q]);
  }
  const Eigen::MatrixXd inner = through_slope.asDiagonal() * slope_ + through_value.asDiagonal() * value_;
  transposed_product(slope_, inner, by_amplitudes);
  by_current.noalias() = slope_.transpose() * through_current;
  by_temperature.noalias() = slope_.transpose() * through_temperature;
}

void Salt::rate(const Eigen::Ref<const Eigen::VectorXd>& b, const Eigen::Ref<const Eigen::VectorXd>& crossing, double T,
                Eigen::Ref<Eigen::VectorXd> result) const {
  const Property::Isotherm D(electrolyte_.diffusivity, T), t(electrolyte_.transference_number, T);
  const Nodal c = mean_ + at_nodes(value_, b), diffusivity = D.each(c), transference = t.each(c);
  Nodal cx = at_nodes(slope_, b);
  cx = weight_ * ((1 - transference) * crossing.array() / faraday_constant - diffusivity * transport_ * cx);
  result.noalias() = slope_.transpose() * cx.matrix();
}

void Salt::rate_jacobian(const Eigen::Ref<const Eigen::VectorXd>& b, const Eigen::Ref<const Eigen::VectorXd>& crossing,
                         double T, Eigen::Ref<Eigen::MatrixXd> by_amplitudes, Eigen::MatrixXd& by_crossing) const {
  const Nodal c = at_nodes(value_, b), cx = at_nodes(slope_, b);
  const Property::Isotherm D_at(electrolyte_.diffusivity, T), t_at(electrolyte_.transference_number, T);
  Eigen::VectorXd through_slope(c.size()), through_value(c.size()), through_crossing(c.size());
  for (Eigen::Index q = 0; q < c.size(); ++q) {
    const Property::Value D = D_at.at(mean_ + c[q]);
    const Property::Value t = t_at.at(mean_ + c[q]);
    through_slope[q] = -weight_[q] * D.value * transport_[q];
    through_value[q] =
        -weight_[q] * (D.by_composition * transport_[q] * cx[q] + t.by_composition * crossing[q] / faraday_constant);
    through_crossing[q] = weight_[q] * (1 - t.value) / faraday_constant;
  }
  const Eigen::MatrixXd inner = through_slope.asDiagonal() * slope_ + through_value.asDiagonal() * value_;
  transposed_product(slope_, inner, by_amplitudes);
  by_crossing = slope_.transpose() * through_crossing.asDiagonal();
}

Ionic Salt::ionic(const Eigen::Ref<const Eigen::VectorXd>& b, double T) const {
  return ionic_of(0, parts_.size(), b, T);
}

Ionic Salt::ionic_between(const Eigen::Ref<const Eigen::VectorXd>& b, double T) const {
  return ionic_of(half_cell_ ? 0 : 1, parts_.size() - 1, b, T);
}

Ionic Salt::ionic_of(std::size_t first_part, std::size_t last_part, const Eigen::Ref<const Eigen::VectorXd>& b,
                     double T) const {
  const Property::Isotherm kappa(electrolyte_.conductivity, T), t(electrolyte_.transference_number, T),
      chi(electrolyte_.thermodynamic_factor, T);
  const Eigen::Index first = parts_[first_part].first_node,
                     count = parts_[last_part - 1].first_node + parts_[last_part - 1].nodes - first;
  const Nodal at = (mean_ + at_nodes(value_.middleRows(first, count), b)).max(least_salt);
  const Nodal conductivity = kappa.each(at);
  Nodal logarithmic = at_nodes(slope_.middleRows(first, count), b);  // ln c: its slope
  logarithmic *= (1 - t.each(at)) * chi.each(at) / at;
  const double scale = 2 * gas_constant * T / faraday_constant;
  Ionic result;
  for (std::size_t k = first_part; k < last_part; ++k) {
    const Part& part = parts_[k];
    const bool is_negative = !half_cell_ && k == 0, is_positive = k + 1 == parts_.size();
    const auto of = [&](const auto& nodal) { return nodal.segment(part.first_node - first, part.nodes); };
    const auto weight = weight_.segment(part.first_node, part.nodes),
               share = share_.segment(part.first_node, part.nodes);
    Ionic::Layer& layer = is_negative ? result.negative : is_positive ? result.positive : result.separator;
    layer.resistance += (weight * share * share / of(conductivity)).sum() / part.transport;
    layer.concentration += scale * (weight * share * of(logarithmic)).sum();
    if (is_negative || is_positive) {
      const double power = is_negative ? negative_power_ : positive_power_;
      double mean = 0;
      if (power == 0.5) {
        const double root = (weight * of(at).sqrt()).sum() / part.thickness;
        mean = root * root;
      } else {
        mean = std::pow((weight * of(at).pow(power)).sum() / part.thickness, 1 / power);
      }
      (is_negative ? result.negative_salt : result.positive_salt) = mean;
    }
  }
  if (half_cell_) result.negative_salt = std::max(mean_ + at_start_.dot(b), least_salt);
  return result;
}

Salt::Gradient Salt::ionic_gradient(const Eigen::Ref<const Eigen::VectorXd>& b, double i, double T) const {
  const Nodal c = at_nodes(value_, b), cx = at_nodes(slope_, b);
  const double scale = 2 * gas_constant * T / faraday_constant;
  const Property::Isotherm kappa_at(electrolyte_.conductivity, T), t_at(electrolyte_.transference_number, T),
      chi_at(electrolyte_.thermodynamic_factor, T);
  Gradient g;
  for (std::size_t k = 0; k < parts_.size(); ++k) {
    const Part& part = parts_[k];
    const bool is_negative = !half_cell_ && k == 0, is_positive = k + 1 == parts_.size();
    const double power = is_negative ? negative_power_ : positive_power_;
    Eigen::VectorXd through_value = Eigen::VectorXd::Zero(part.nodes), through_slope(part.nodes),
                    through_power(part.nodes);
    double powers = 0;
    for (Eigen::Index m = 0; m < part.nodes; ++m) {
      const Eigen::Index q = part.first_node + m;
      const bool held = mean_ + c[q] < least_salt;
      const double at = held ? least_salt : mean_ + c[q];
      const Property::Value kappa = kappa_at.at(at), t = t_at.at(at), chi = chi_at.at(at);
      const double w = weight_[q] * share_[q];
      through_slope[m] = scale * w * (1 - t.value) * chi.value / at;
      if (!held) {
        through_value[m] = -i * w * share_[q] * kappa.by_composition / (kappa.value * kappa.value * transport_[q]) +
                           scale * w * cx[q] / at *
                               ((1 - t.value) * (chi.by_composition - chi.value / at) - t.by_composition * chi.value);
      }
      const double raised = std::pow(at, power);
      powers += weight_[q] * raised;
      through_power[m] = held ? 0.0 : weight_[q] * power * raised / at;
    }
    const auto V = value_.middleRows(part.first_node, part.nodes);
    const auto S = slope_.middleRows(part.first_node, part.nodes);
    Eigen::VectorXd drop = V.transpose() * through_value + S.transpose() * through_slope;
    Eigen::VectorXd& sum = is_negative ? g.negative : is_positive ? g.positive : g.separator;
    sum = sum.size() > 0 ? Eigen::VectorXd(sum + drop) : drop;
    if (is_negative || is_positive) {
      const double mean_power = powers / part.thickness;
      const double outer = std::pow(mean_power, 1 / power - 1) / power / part.thickness;
      (is_negative ? g.negative_salt : g.positive_salt) = outer * (V.transpose() * through_power);
    }
  }
  if (half_cell_) {
    g.negative.setZero(count());
    g.negative_salt = at_start_.transpose();
  }
  return g;
}

Eigen::MatrixXd Salt::rows(const Eigen::Ref<const Eigen::ArrayXd>& x, bool slope) const {
  Eigen::MatrixXd result(x.size(), count());
  for (Eigen::Index m = 0; m < x.size(); ++m) {
    std::size_t k = 0;
    while (k + 1 < parts_.size() && x[m] > parts_[k].start + parts_[k].thickness) ++k;
    const double xi = 2 * (x[m] - parts_[k].start) / parts_[k].thickness - 1;
    result.row(m) = basis(parts_[k], k, xi, slope) * vectors_;
  }
  return result;
}

Eigen::VectorXd Salt::profile(const Eigen::Ref<const Eigen::VectorXd>& b,
                              const Eigen::Ref<const Eigen::ArrayXd>& x) const {
  return (rows(x, false) * b).array() + mean_;
}

void Salt::extremes(const Eigen::Ref<const Eigen::VectorXd>& b, double& lowest, double& highest) const {
  const Nodal c = at_nodes(value_, b);
  const double first = at_start_.dot(b), last = at_end_.dot(b);
  lowest = mean_ + std::min({c.minCoeff(), first, last});
  highest = mean_ + std::max({c.maxCoeff(), first, last});
}

Eigen::VectorXd Salt::amplitudes_of(const Salt& other, const Eigen::Ref<const Eigen::VectorXd>& b) const {
  // The modes are orthonormal under int eps dx: projected.
  const Eigen::VectorXd uneven = other.rows(position_, false) * b;
  Eigen::VectorXd weighted(uneven.size());
  for (const Part& part : parts_) {
    const auto nodes = Eigen::seqN(part.first_node, part.nodes);
    weighted(nodes) = part.porosity * weight_(nodes).matrix().cwiseProduct(uneven(nodes));
  }
  return value_.transpose() * weighted;
}

double Salt::content(const Eigen::Ref<const Eigen::VectorXd>& b) const {
  const Eigen::VectorXd c = value_ * b;
  double sum = 0;
  for (const Part& part : parts_) {
    for (Eigen::Index q = part.first_node; q < part.first_node + part.nodes; ++q)
      sum += weight_[q] * part.porosity * (mean_ + c[q]);
  }
  return sum;
}

double Salt::tail(const Eigen::Ref<const Eigen::VectorXd>& b) const { return (tail_ * b).cwiseAbs().maxCoeff(); }

Ionic uniform_ionic(const Cell& cell, double T) {
  const double kappa = cell.electrolyte.conductivity(cell.electrolyte.concentration, T);
  const auto whole = [&](double thickness, double porosity, double tortuosity) {
    return thickness * tortuosity / (porosity * kappa);
  };
  Ionic ionic;
  ionic.negative_salt = ionic.positive_salt = cell.electrolyte.concentration;
  if (cell.negative) {
    ionic.negative.resistance = whole(cell.negative->thickness, cell.negative->porosity, cell.negative->tortuosity) / 3;
  }
  ionic.separator.resistance = whole(cell.separator.thickness, cell.separator.porosity, cell.separator.tortuosity);
  ionic.positive.resistance = whole(cell.positive.thickness, cell.positive.porosity, cell.positive.tortuosity) / 3;
  return ionic;
}

}  // namespace onegrain::model
