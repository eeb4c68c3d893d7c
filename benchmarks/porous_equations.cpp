#include "benchmarks/porous_equations.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>

#include "model/kinetics.hpp"

namespace onegrain::benchmarks {

using model::faraday_constant;
using model::gas_constant;

namespace {

constexpr int bandwidth = 7;       // two neighbouring cells with four unknowns each
constexpr double not_given = 1e4;  // S/m: conductivity of a layer without electronic drop (0.2 uV at 50 A/m2)

using ConstVector = Eigen::Ref<const Eigen::VectorXd>;

/// Widths of the cells of a layer whose collector is on the left; the grading maps u in 0..1 to (1 + g) u - g u^2.
std::vector<double> widths(double thickness, int count, double grading) {
  std::vector<double> result;
  const auto map = [&](double u) { return u * (1 + grading - grading * u); };
  for (int k = 0; k < count; ++k) {
    result.push_back(thickness * (map(double(k + 1) / count) - map(double(k) / count)));
  }
  return result;
}

int unknowns_of_grid(const model::Cell& cell, const Grid& g) {
  return 4 * ((cell.is_full_cell() ? g.negative : 0) + g.positive) + 2 * g.separator;
}

}  // namespace

Grid Grid::refined(int factor) const {
  Grid g = *this;
  g.negative *= factor;
  g.separator *= factor;
  g.positive *= factor;
  return g;
}

BandedMatrix::BandedMatrix(int size, int width)
    : size_(size),
      bandwidth_(width),
      entries_(3 * width + 1, size),
      scale_(size),
      pivot_(static_cast<std::size_t>(size)) {}

bool BandedMatrix::factor() {
  auto& m = *this;
  scale_ = entries_.cwiseAbs().colwise().maxCoeff().cwiseInverse().transpose();
  if (!scale_.allFinite()) return false;
  entries_ *= scale_.asDiagonal();
  for (int k = 0; k < size_; ++k) {
    const int last_row = std::min(k + bandwidth_, size_ - 1), last_column = std::min(k + 2 * bandwidth_, size_ - 1);
    int p = k;
    for (int row = k + 1; row <= last_row; ++row) {
      if (std::abs(m(row, k)) > std::abs(m(p, k))) p = row;
    }
    pivot_[static_cast<std::size_t>(k)] = p;
    if (!(std::abs(m(p, k)) > 0)) return false;  // also where not a number
    if (p != k) {
      for (int column = k; column <= last_column; ++column) std::swap(m(k, column), m(p, column));
    }
    for (int row = k + 1; row <= last_row; ++row) {
      const double multiplier = m(row, k) /= m(k, k);
      if (multiplier == 0) continue;
      for (int column = k + 1; column <= last_column; ++column) m(row, column) -= multiplier * m(k, column);
    }
  }
  return true;
}

void BandedMatrix::solve(Eigen::Ref<Eigen::VectorXd> b) const {
  const auto m = [this](int row, int column) { return entries_(column - row + bandwidth_, row); };
  b.array() *= scale_.array();
  for (int k = 0; k < size_; ++k) {
    std::swap(b[k], b[pivot_[static_cast<std::size_t>(k)]]);
    for (int row = k + 1; row <= std::min(k + bandwidth_, size_ - 1); ++row) b[row] -= m(row, k) * b[k];
  }
  for (int k = size_ - 1; k >= 0; --k) {
    for (int column = k + 1; column <= std::min(k + 2 * bandwidth_, size_ - 1); ++column)
      b[k] -= m(k, column) * b[column];
    b[k] /= m(k, k);
  }
}

PorousEquations::PorousEquations(const model::Cell& cell, const Grid& grid, double current)
    : cell_(cell),
      current_(current),
      T_(cell.temperature),
      modes_(grid.modes),
      matrix_(unknowns_of_grid(cell, grid), bandwidth) {
  const auto add = [&](const std::vector<double>& cells, const model::Electrode* e, double porosity,
                       double tortuosity) {
    Layer layer{e,
                porosity,
                porosity / tortuosity,
                0,
                0,
                0,
                {},
                static_cast<int>(nodes_.size()),
                static_cast<int>(cells.size())};
    if (e) {
      layer.conductivity = e->electronic_conductivity > 0 ? e->electronic_conductivity : not_given;
      layer.surface = e->specific_surface();
      layer.flux_to_outflow = 1 / (faraday_constant * e->host.maximum_concentration);
      layer.grain.emplace(model::GrainModes::of(modes_), e->particle_radius, e->host.diffusivity);
    }
    for (const double width : cells) {
      nodes_.push_back({static_cast<int>(layers_.size()), width, coupled_, -1});
      coupled_ += e ? 4 : 2;
    }
    layers_.push_back(std::move(layer));
  };
  if (cell_.negative) {
    const model::Electrode& n = *cell_.negative;
    add(widths(n.thickness, grid.negative, grid.grading), &n, n.porosity, n.tortuosity);
  }
  add(widths(cell_.separator.thickness, grid.separator, 0), nullptr, cell_.separator.porosity,
      cell_.separator.tortuosity);
  std::vector<double> mirrored = widths(cell_.positive.thickness, grid.positive, grid.grading);
  std::reverse(mirrored.begin(), mirrored.end());
  add(mirrored, &cell_.positive, cell_.positive.porosity, cell_.positive.tortuosity);

  size_ = coupled_;
  for (Node& n : nodes_) {
    if (!layer_of(n).electrode) continue;
    n.grain = size_;
    size_ += modes_ + 1;
  }
  salt_.resize(nodes_.size());
  eliminated_.resize(nodes_.size());
}

bool PorousEquations::evaluate_salt(const ConstVector& y) {
  const model::Electrolyte& e = cell_.electrolyte;
  const double two_thermal = 2 * gas_constant * T_ / faraday_constant;
  for (std::size_t k = 0; k < nodes_.size(); ++k) {
    const double c = y[nodes_[k].at];
    if (!(c > 0)) return false;
    const double transport = layer_of(nodes_[k]).transport;
    const auto D = e.diffusivity.at(c, T_), kappa = e.conductivity.at(c, T_), t = e.transference_number.at(c, T_),
               chi = e.thermodynamic_factor.at(c, T_);
    if (!(kappa.value > 0) || !(D.value > 0)) return false;
    salt_[k] = {c,
                transport * D.value,
                transport * D.by_composition,
                transport * kappa.value,
                transport * kappa.by_composition,
                t.value,
                t.by_composition,
                two_thermal * (1 - t.value) * chi.value,
                two_thermal * ((1 - t.value) * chi.by_composition - t.by_composition * chi.value)};
  }
  return true;
}

// Conductances of the two half cells in series: right at the interface of two layers and of second order elsewhere.
PorousEquations::Face PorousEquations::face(int left, const ConstVector& y) const {
  const auto l = static_cast<std::size_t>(left), r = l + 1;
  const Salt &a = salt_[l], &b = salt_[r];
  const double ha = nodes_[l].width / 2, hb = nodes_[r].width / 2;
  const double g = 1 / (ha / a.kappa + hb / b.kappa), G = 1 / (ha / a.D + hb / b.D);
  const double g_a = g * g * ha / (a.kappa * a.kappa) * a.kappa_c, g_b = g * g * hb / (b.kappa * b.kappa) * b.kappa_c;
  const double G_a = G * G * ha / (a.D * a.D) * a.D_c, G_b = G * G * hb / (b.D * b.D) * b.D_c;
  const double logarithm = std::log(b.c / a.c), theta = (a.theta + b.theta) / 2, t = (a.t + b.t) / 2;
  const double drive = theta * logarithm - (y[nodes_[r].at + 1] - y[nodes_[l].at + 1]);

  Face f{};
  f.i = g * drive;
  f.i_by[0] = g_a * drive + g * (a.theta_c / 2 * logarithm - theta / a.c);
  f.i_by[1] = g;
  f.i_by[2] = g_b * drive + g * (b.theta_c / 2 * logarithm + theta / b.c);
  f.i_by[3] = -g;
  f.N = -G * (b.c - a.c) + t * f.i / faraday_constant;
  for (int m = 0; m < 4; ++m) f.N_by[m] = t * f.i_by[m] / faraday_constant;
  f.N_by[0] += G - G_a * (b.c - a.c) + a.t_c / 2 * f.i / faraday_constant;
  f.N_by[2] += -G - G_b * (b.c - a.c) + b.t_c / 2 * f.i / faraday_constant;
  return f;
}

// Between the lithium metal (phi_s = 0, current -i into the electrolyte) and the middle of the first cell. Its
// potential and salt are eliminated: -D (c_1 - c_0) / (h/2) = (1 - t+) (-i) / F and phi_0 = -eta.
double PorousEquations::lithium_salt() const {
  const Salt& a = salt_.front();
  return a.c - (1 - a.t) * current_ / faraday_constant * nodes_.front().width / (2 * a.D);
}

bool PorousEquations::lithium_face(const ConstVector& y, Face& f) const {
  const Salt& a = salt_.front();
  const double h = nodes_.front().width / 2, i = -current_;
  const double rise = (1 - a.t) * i / faraday_constant * h / a.D;
  const double c0 = lithium_salt();
  if (!(c0 > 0)) return false;
  const double c0_by = 1 - a.t_c * i / faraday_constant * h / a.D - rise / a.D * a.D_c;
  const auto i0 = model::exchange_current_density(*cell_.counter, c0, T_);
  const auto eta =
      model::butler_volmer(i, i0.value, T_, cell_.counter->anodic_transfer, cell_.counter->cathodic_transfer);
  const double logarithm = std::log(a.c / c0);
  const double drive = a.theta * logarithm - (y[nodes_.front().at + 1] + eta.value);
  f = {};
  f.i = a.kappa / h * drive;
  f.i_by[2] = a.kappa_c / h * drive + a.kappa / h *
                                          (a.theta_c * logarithm + a.theta * (1 / a.c - c0_by / c0) -
                                           eta.by_exchange * i0.by_concentration * c0_by);
  f.i_by[3] = -a.kappa / h;
  f.N = f.i / faraday_constant;
  for (int m = 2; m < 4; ++m) f.N_by[m] = f.i_by[m] / faraday_constant;
  return true;
}

/// Between two cells of one electrode [S/m2].
double PorousEquations::electronic_conductance(int left) const {
  const Node &a = nodes_[static_cast<std::size_t>(left)], &b = nodes_[static_cast<std::size_t>(left) + 1];
  return 2 * layer_of(a).conductivity / (a.width + b.width);
}

bool PorousEquations::residual(const ConstVector& y, const ConstVector& rate, Eigen::Ref<Eigen::VectorXd> r) {
  if (!evaluate_salt(y)) return false;
  const int last = static_cast<int>(nodes_.size()) - 1;
  Face before{};
  if (!cell_.is_full_cell() && !lithium_face(y, before)) return false;
  double electrons_before = 0;
  Eigen::VectorXd remainder(modes_);
  for (int k = 0; k <= last; ++k) {
    const Node& n = nodes_[static_cast<std::size_t>(k)];
    const Layer& layer = layer_of(n);
    const Face after = k < last ? face(k, y) : Face{};
    const double source = layer.electrode ? n.width * layer.surface * y[n.at + 3] : 0.0;  // A/m2 of plate
    r[n.at] = n.width * layer.porosity * rate[n.at] + after.N - before.N - source / faraday_constant;
    r[n.at + 1] = after.i - before.i - source;
    before = after;
    if (!layer.electrode) continue;

    const bool at_left = k == layer.first, at_right = k == layer.first + layer.count - 1;
    if (at_left) {  // the collector of the negative is the zero of phi_s; no electrons from the separator
      electrons_before = k == 0 ? -2 * layer.conductivity / n.width * y[n.at + 2] : 0.0;
    }
    double electrons_after = 0;
    if (!at_right) {
      electrons_after = -electronic_conductance(k) * (y[nodes_[static_cast<std::size_t>(k) + 1].at + 2] - y[n.at + 2]);
    } else if (k == last) {
      electrons_after = -current_;
    }
    r[n.at + 2] = electrons_after - electrons_before + source;
    electrons_before = electrons_after;

    const model::Host& host = layer.electrode->host;
    const auto a = y.segment(n.grain + 1, modes_);
    const double mean = y[n.grain], x = layer.grain->surface_stoichiometry(mean, a);
    const auto i0 = model::exchange_current_density(host, x, y[n.at], T_);
    const auto eta = model::butler_volmer(y[n.at + 3], i0.value, T_, host.anodic_transfer, host.cathodic_transfer);
    r[n.at + 3] = y[n.at + 2] - y[n.at + 1] - host.potential(x, T_) - eta.value;

    const double outflow = layer.flux_to_outflow * y[n.at + 3];
    layer.grain->remainder(mean, a, T_, 0, remainder);
    r[n.grain] = rate[n.grain] + 3 * outflow / layer.grain->radius();
    r.segment(n.grain + 1, modes_) =
        rate.segment(n.grain + 1, modes_) - layer.grain->drive().matrix() * outflow - remainder;
  }
  return true;
}

bool PorousEquations::factor(const ConstVector& y, double alpha) {
  if (!evaluate_salt(y)) return false;
  const int last = static_cast<int>(nodes_.size()) - 1;
  matrix_.set_zero();
  const auto add_face = [&](int left, const Face& f) {  // leaves `left`, enters left + 1
    for (int m = 0; m < 4; ++m) {
      const int from = m < 2 ? left : left + 1;
      if (from < 0) continue;
      const int column = nodes_[static_cast<std::size_t>(from)].at + m % 2;
      if (left >= 0) {
        const int row = nodes_[static_cast<std::size_t>(left)].at;
        matrix_(row, column) += f.N_by[m];
        matrix_(row + 1, column) += f.i_by[m];
      }
      const int row = nodes_[static_cast<std::size_t>(left) + 1].at;
      matrix_(row, column) -= f.N_by[m];
      matrix_(row + 1, column) -= f.i_by[m];
    }
  };
  if (!cell_.is_full_cell()) {
    Face f;
    if (!lithium_face(y, f)) return false;
    add_face(-1, f);
  }
  Eigen::MatrixXd by_amplitudes(modes_, modes_);
  Eigen::VectorXd by_mean(modes_), by_temperature(modes_);
  for (int k = 0; k <= last; ++k) {
    const Node& n = nodes_[static_cast<std::size_t>(k)];
    const Layer& layer = layer_of(n);
    if (k < last) add_face(k, face(k, y));
    matrix_(n.at, n.at) += n.width * layer.porosity * alpha;
    if (!layer.electrode) continue;

    const double source_by = n.width * layer.surface;
    matrix_(n.at, n.at + 3) -= source_by / faraday_constant;
    matrix_(n.at + 1, n.at + 3) -= source_by;
    matrix_(n.at + 2, n.at + 3) += source_by;
    if (k == 0) matrix_(n.at + 2, n.at + 2) += 2 * layer.conductivity / n.width;
    if (k < layer.first + layer.count - 1) {
      const double g = electronic_conductance(k);
      const int next = nodes_[static_cast<std::size_t>(k) + 1].at;
      matrix_(n.at + 2, n.at + 2) += g;
      matrix_(n.at + 2, next + 2) -= g;
      matrix_(next + 2, next + 2) += g;
      matrix_(next + 2, n.at + 2) -= g;
    }

    const model::Host& host = layer.electrode->host;
    const auto a = y.segment(n.grain + 1, modes_);
    const double mean = y[n.grain], x = layer.grain->surface_stoichiometry(mean, a);
    const auto i0 = model::exchange_current_density(host, x, y[n.at], T_);
    const auto eta = model::butler_volmer(y[n.at + 3], i0.value, T_, host.anodic_transfer, host.cathodic_transfer);
    Eliminated& e = eliminated_[static_cast<std::size_t>(k)];
    e.q = -host.potential.at(x, T_).by_composition - eta.by_exchange * i0.by_stoichiometry;

    layer.grain->remainder_jacobian(mean, a, T_, 0, by_amplitudes, by_mean, by_temperature);
    e.w.resize(modes_ + 1);
    e.w[0] = -3 / layer.grain->radius() * layer.flux_to_outflow;
    e.w.tail(modes_) = layer.grain->drive().matrix() * layer.flux_to_outflow;
    if (layer.grain->decoupled()) {
      e.diagonal.resize(modes_ + 1);
      e.diagonal[0] = alpha;
      e.diagonal.tail(modes_) = alpha - by_amplitudes.diagonal().array();
    } else {
      Eigen::MatrixXd P = Eigen::MatrixXd::Zero(modes_ + 1, modes_ + 1);
      P.bottomRightCorner(modes_, modes_) = -by_amplitudes;
      P.bottomLeftCorner(modes_, 1) = -by_mean;
      P.diagonal().array() += alpha;
      e.dense.compute(P);
    }
    solve_grain(e, layer, e.w);
    matrix_(n.at + 3, n.at) -= eta.by_exchange * i0.by_concentration;
    matrix_(n.at + 3, n.at + 1) -= 1;
    matrix_(n.at + 3, n.at + 2) += 1;
    matrix_(n.at + 3, n.at + 3) += -eta.by_current + e.q * layer.grain->surface_stoichiometry(e.w[0], e.w.tail(modes_));
  }
  return matrix_.factor();
}

void PorousEquations::solve_grain(const Eliminated& e, const Layer& layer, Eigen::Ref<Eigen::VectorXd> b) const {
  if (layer.grain->decoupled()) {
    b.array() /= e.diagonal.array();
  } else {
    b = e.dense.solve(b).eval();
  }
}

void PorousEquations::solve(Eigen::Ref<Eigen::VectorXd> b) {
  for (std::size_t k = 0; k < nodes_.size(); ++k) {
    const Node& n = nodes_[k];
    if (n.grain < 0) continue;
    auto g = b.segment(n.grain, modes_ + 1);
    solve_grain(eliminated_[k], layer_of(n), g);
    b[n.at + 3] -= eliminated_[k].q * layer_of(n).grain->surface_stoichiometry(g[0], g.tail(modes_));
  }
  matrix_.solve(b.head(coupled_));
  for (std::size_t k = 0; k < nodes_.size(); ++k) {
    const Node& n = nodes_[k];
    if (n.grain >= 0) b.segment(n.grain, modes_ + 1) += eliminated_[k].w * b[n.at + 3];
  }
}

void PorousEquations::start(model::Stoichiometries x, Eigen::VectorXd& y, Eigen::VectorXd& rate) {
  y = Eigen::VectorXd::Zero(size_);
  rate = Eigen::VectorXd::Zero(size_);
  double electrolyte = 0;  // potential of the electrolyte from which the guess starts
  if (cell_.negative) {
    const model::Host& host = cell_.negative->host;
    const double i_n = -current_ / cell_.negative->roughness();
    const auto i0 = model::exchange_current_density(host, x.negative, cell_.electrolyte.concentration, T_);
    electrolyte = -host.potential(x.negative, T_) -
                  model::butler_volmer(i_n, i0.value, T_, host.anodic_transfer, host.cathodic_transfer).value;
  }
  for (const Node& n : nodes_) {
    y[n.at] = cell_.electrolyte.concentration;
    y[n.at + 1] = electrolyte;
    if (n.grain < 0) continue;
    const Layer& layer = layer_of(n);
    const bool positive = layer.electrode == &cell_.positive;
    y[n.grain] = positive ? x.positive : x.negative;
    y[n.at + 3] = (positive ? current_ : -current_) / layer.electrode->roughness();
    const model::Host& host = layer.electrode->host;
    const auto i0 = model::exchange_current_density(host, y[n.grain], y[n.at], T_);
    y[n.at + 2] = electrolyte + host.potential(y[n.grain], T_) +
                  model::butler_volmer(y[n.at + 3], i0.value, T_, host.anodic_transfer, host.cathodic_transfer).value;
  }
  // Newton's method for potentials and reaction alone: with a huge alpha salt and grains stay where they are.
  Eigen::VectorXd r(size_);
  double change = 1;
  for (int iteration = 0; iteration < 100 && change > 1e-13; ++iteration) {
    if (!residual(y, rate, r) || !factor(y, 1e20)) throw CalculationFailure("no state to start from");
    for (const Node& n : nodes_) {
      r[n.at] = 0;
      if (n.grain >= 0) r.segment(n.grain, modes_ + 1).setZero();
    }
    solve(r);
    change = 0;
    for (const Node& n : nodes_) {
      change = std::max({change, std::abs(r[n.at + 1]), n.grain >= 0 ? std::abs(r[n.at + 2]) : 0.0});
    }
    y -= std::min(1.0, 0.1 / change) * r;
  }
  if (!(change < 1e-9)) throw CalculationFailure("Newton's method finds no potentials at the start");
  residual(y, rate, r);
  for (const Node& n : nodes_) {
    rate[n.at] = -r[n.at] / (n.width * layer_of(n).porosity);
    if (n.grain >= 0) rate.segment(n.grain, modes_ + 1) = -r.segment(n.grain, modes_ + 1);
  }
}

Eigen::VectorXd PorousEquations::absolute_tolerances(double relative) const {
  Eigen::VectorXd result(size_);
  for (const Node& n : nodes_) {
    result[n.at] = relative * cell_.electrolyte.concentration * 1e-2;
    result[n.at + 1] = relative * 1.0;
    if (n.grain < 0) continue;
    result[n.at + 2] = relative * 1.0;
    result[n.at + 3] = relative * std::abs(current_) / layer_of(n).electrode->roughness();
    result.segment(n.grain, modes_ + 1).setConstant(relative * 0.1);
  }
  return result;
}

double PorousEquations::voltage(const ConstVector& y) const {
  const Node& n = nodes_.back();
  return y[n.at + 2] + current_ * (n.width / (2 * layers_.back().conductivity) + cell_.contact_resistance);
}

Point PorousEquations::point(double t, const ConstVector& y) {
  Point p{t, std::abs(current_) * t, voltage(y), 0, std::numeric_limits<double>::infinity(), 0, 0, 1, 1};
  for (const Node& n : nodes_) {
    p.lowest_salt = std::min(p.lowest_salt, y[n.at]);
    p.highest_salt = std::max(p.highest_salt, y[n.at]);
    p.salt += n.width * layer_of(n).porosity * y[n.at];
  }
  if (!evaluate_salt(y)) return p;
  if (!cell_.is_full_cell()) {  // on the lithium metal
    const double c0 = lithium_salt();
    p.lowest_salt = std::min(p.lowest_salt, c0);
    p.highest_salt = std::max(p.highest_salt, c0);
  }
  for (const Layer& layer : layers_) {
    if (!layer.electrode) continue;
    const bool positive = layer.electrode == &cell_.positive;
    const double mean = (positive ? current_ : -current_) / layer.electrode->roughness();
    const auto local = [&](int k) { return y[nodes_[static_cast<std::size_t>(k)].at + 3] / mean; };
    // continued along a straight line from the middle of the cell at an end to that end
    const auto at_end = [&](int k, int inwards) {
      const double own = nodes_[static_cast<std::size_t>(k)].width,
                   next = nodes_[static_cast<std::size_t>(k + inwards)].width;
      return local(k) + (local(k) - local(k + inwards)) * own / (own + next);
    };
    const int end = layer.first + layer.count - 1;
    double largest = std::max(at_end(layer.first, 1), at_end(end, -1));
    for (int k = layer.first; k <= end; ++k) largest = std::max(largest, local(k));
    (positive ? p.positive_unevenness : p.negative_unevenness) = largest;
  }

  // At the face between the separator and the negative, or the working electrode of a half cell.
  const Layer& layer = cell_.is_full_cell() ? layers_.front() : layers_.back();
  const bool right = cell_.is_full_cell();  // the separator is on the right of it
  const int k = right ? layer.first + layer.count - 1 : layer.first, left = right ? k : k - 1;
  const auto l = static_cast<std::size_t>(left), e = static_cast<std::size_t>(k);
  const Salt &a = salt_[l], &b = salt_[l + 1], &own = salt_[e];
  const double Ga = a.D / nodes_[l].width, Gb = b.D / nodes_[l + 1].width;
  const double c = (Ga * a.c + Gb * b.c) / (Ga + Gb);
  const double across = face(left, y).i, inner = right ? across - nodes_[e].width * layer.surface * y[nodes_[e].at + 3]
                                                       : across + nodes_[e].width * layer.surface * y[nodes_[e].at + 3];
  // between the middle of the cell and the face the current is on average a quarter of the way from the face inwards
  const double mean = across + (inner - across) / 4, electrons = -current_ - mean;
  const double half = (right ? 1 : -1) * nodes_[e].width / 2;
  const double phi_e = y[nodes_[e].at + 1] - half * mean / own.kappa + own.theta * std::log(c / own.c);
  const double phi_s = y[nodes_[e].at + 2] - half * electrons / layer.conductivity;
  p.separator_side_potential = phi_s - phi_e;
  return p;
}

}  // namespace onegrain::benchmarks
