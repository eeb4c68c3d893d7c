#include "model/layer_impedance.hpp"

#include <cmath>

namespace onegrain::model {

namespace {

constexpr double small_square = 0.02;  // |w^2| below which closed forms lose digits and series do not

/// (w coth w - 1) / w^2, s = w^2.
Complex coth_less_pole(Complex s) {
  if (std::abs(s) < small_square)
    return 1.0 / 3 - s * (1.0 / 45 - s * (2.0 / 945 - s * (1.0 / 4725 - s * (2.0 / 93555 - s * (1382.0 / 638512875)))));
  const Complex w = std::sqrt(s), decayed = std::exp(-2.0 * w);
  return (w * (1.0 + decayed) / (1.0 - decayed) - 1.0) / s;
}

/// (w / sinh w - 1) / w^2.
Complex csch_less_pole(Complex s) {
  if (std::abs(s) < small_square) {
    return -1.0 / 6 +
           s * (7.0 / 360 -
                s * (31.0 / 15120 - s * (127.0 / 604800 - s * (73.0 / 3421440 - s * (1414477.0 / 653837184000)))));
  }
  const Complex w = std::sqrt(s), decayed = std::exp(-w);
  return (2.0 * w * decayed / (1.0 - decayed * decayed) - 1.0) / s;
}

}  // namespace

Complex sphere_impedance(Complex psi) { return 1.0 / (psi * coth_less_pole(psi)); }
Complex near_end(Complex lambda, double L) { return L * coth_less_pole(lambda * L * L); }
Complex far_end(Complex lambda, double L) { return L * csch_less_pole(lambda * L * L); }

Complex SurfaceElement::grain(double omega) const {
  return diffusion == 0 ? 0.0 : diffusion * sphere_impedance({0, omega * diffusion_time});
}

Complex SurfaceElement::admittance(double omega) const {
  return 1.0 / faradaic(omega) + Complex(0, omega * double_layer);
}

LayerImpedance::LayerImpedance(const PorousElement& layer, double omega, bool even)
    : layer_(layer),
      omega_(omega),
      even_(even),
      admittance_(layer.surface * layer.grain.admittance(omega)),
      decay_(0, omega * layer.porosity / layer.salt_diffusivity),
      resistance_(layer.ionic + layer.solid),
      coupling_(layer.salt_production / layer.salt_diffusivity) {
  even ? solve_even() : solve_uneven();
}

/// (Phi', c') at the separator: Ohm's law with J = I there.
LayerImpedance::Pair LayerImpedance::slopes(Complex current, Complex flux) const {
  const Complex salt = flux / layer_.salt_diffusivity;
  return {-layer_.ionic * current - layer_.salt_potential * salt, salt};
}

void LayerImpedance::solve_uneven() {
  const double L = layer_.thickness, beta = layer_.salt_potential, r = resistance_;
  const Complex A = admittance_;
  matrix_ = {{{A * (r + beta * coupling_), -beta * decay_}, {-coupling_ * A, decay_}}};
  const Complex half = 0.5 * (matrix_[0][0] + matrix_[1][1]), apart = 0.5 * (matrix_[0][0] - matrix_[1][1]);
  const Complex root = std::sqrt(apart * apart + matrix_[0][1] * matrix_[1][0]);
  const Complex larger = std::abs(half + root) > std::abs(half - root) ? half + root : half - root;
  eigenvalues_ = {larger, A * r * decay_ / larger};  // their product is the determinant
  if (std::abs(eigenvalues_[0] - eigenvalues_[1]) < 1e-9 * std::abs(larger)) eigenvalues_[1] *= 1 + 1e-9;

  // A function of M from those of its eigenvalues; of 1/(lambda L), which is large at low frequency, the inverse
  // itself.
  const auto function_of_matrix = [&](Complex (*f)(Complex, double)) {
    const Complex first = f(eigenvalues_[0], L),
                  slope = (first - f(eigenvalues_[1], L)) / (eigenvalues_[0] - eigenvalues_[1]);
    Square result;
    for (std::size_t i = 0; i < 2; ++i) {
      for (std::size_t j = 0; j < 2; ++j)
        result[i][j] = slope * (matrix_[i][j] - (i == j ? eigenvalues_[0] : 0.0)) + (i == j ? first : 0.0);
    }
    const Square inverse = {
        {{1.0 / (A * r), beta / (A * r)}, {coupling_ / (r * decay_), (r + beta * coupling_) / (r * decay_)}}};
    for (std::size_t i = 0; i < 2; ++i) {
      for (std::size_t j = 0; j < 2; ++j) result[i][j] += inverse[i][j] / L;
    }
    return result;
  };
  const Square near = function_of_matrix(near_end), far = function_of_matrix(far_end);
  const auto see = [&](double current, double flux, Complex& foil, Complex& salt) {
    const Complex at_foil = layer_.solid * current;  // Phi'(0); c'(0) = 0
    const Pair q = slopes(current, flux);
    Pair first{}, last{};
    for (std::size_t i = 0; i < 2; ++i) {
      first[i] = -near[i][0] * at_foil + far[i][0] * q[0] + far[i][1] * q[1];
      last[i] = -far[i][0] * at_foil + near[i][0] * q[0] + near[i][1] * q[1];
    }
    const Complex crossing =  // int J dz
        (layer_.solid * current * L - (last[0] - first[0]) - beta * (last[1] - first[1])) / r;
    foil = last[0] - layer_.solid * (current * L - crossing);
    salt = last[1];
  };
  see(1, 0, ends_.foil_by_current, ends_.salt_by_current);
  see(0, 1, ends_.foil_by_flux, ends_.salt_by_flux);
}

void LayerImpedance::solve_even() {
  const double L = layer_.thickness, beta = layer_.salt_potential, D = layer_.salt_diffusivity;
  const Complex rise = near_end(decay_, L) / D;  // of the salt from its mean to the separator, per flux
  ends_.foil_by_current = -1.0 / (admittance_ * L) - (layer_.ionic + layer_.solid) * L / 3;
  ends_.foil_by_flux = -beta * rise;
  ends_.salt_by_current = -coupling_ / (decay_ * L);
  ends_.salt_by_flux = 1.0 / (decay_ * L * D) + rise;
}

LayerParts LayerImpedance::surface_parts(Complex square) const {
  const SurfaceElement& grain = layer_.grain;
  const Complex z = grain.faradaic(omega_);
  LayerParts parts{};
  parts.transfer = layer_.surface * square * (grain.transfer / (z * z) + Complex(0, omega_ * grain.double_layer));
  parts.grains = layer_.surface * square * grain.grain(omega_) / (z * z);
  return parts;
}

LayerParts LayerImpedance::even_parts(Complex current, Complex flux) const {
  const double L = layer_.thickness;
  const Complex phi = current / (admittance_ * L);
  LayerParts parts = surface_parts(phi * phi * L);
  parts.pores = current * current * layer_.ionic * L / 3.0;
  parts.solid = current * current * layer_.solid * L / 3.0;
  parts.salt = current * layer_.salt_potential * near_end(decay_, L) * flux / layer_.salt_diffusivity;
  return parts;
}

/// A solution of u'' = lambda u by its values and slopes at foil and separator.
struct LayerImpedance::Mode {
  Complex lambda;
  Pair value, slope;

  Mode(Complex of, double L, Complex slope_at_foil, Complex slope_at_separator)
      : lambda(of), slope{slope_at_foil, slope_at_separator} {
    const Complex mean = 1.0 / (of * L), near = near_end(of, L) + mean, far = far_end(of, L) + mean;
    value = {far * slope[1] - near * slope[0], near * slope[1] - far * slope[0]};
  }

  Complex rise() const { return value[1] - value[0]; }

  /// int u v dz and int u' v' dz. From (u' v - u v')' = (lambda - nu) u v, and where lambda = nu from u' v' - lambda u
  /// v being the same everywhere.
  struct Integrals {
    Complex values, slopes;
  };
  Integrals with(const Mode& v, double L) const {
    const Complex ends = slope[1] * v.value[1] - slope[0] * v.value[0];
    if (lambda == v.lambda) {
      const Complex kept = slope[0] * v.slope[0] - lambda * value[0] * v.value[0];
      return {(ends - kept * L) / (2.0 * lambda), 0.5 * (ends + kept * L)};
    }
    const Complex crossed = ends - (value[1] * v.slope[1] - value[0] * v.slope[0]);
    const Complex values = crossed / (lambda - v.lambda);
    return {values, ends - lambda * values};
  }
};

LayerParts LayerImpedance::parts(Complex current, Complex flux) const {
  if (even_) return even_parts(current, flux);
  const double L = layer_.thickness;
  const Pair p = {layer_.solid * current, 0.0}, q = slopes(current, flux);
  // Phi and c as sums of one mode of each eigenvalue, and J = k + (sum of j)', j = -(Phi + beta c) / r.
  const auto mode_of = [&](std::size_t which, Complex of_potential, Complex of_salt) {
    const Complex other = eigenvalues_[1 - which], apart = eigenvalues_[which] - other;
    const auto projected = [&](const Pair& slope) {
      Pair result;
      for (std::size_t i = 0; i < 2; ++i)
        result[i] = (matrix_[i][0] * slope[0] + matrix_[i][1] * slope[1] - other * slope[i]) / apart;
      return of_potential * result[0] + of_salt * result[1];
    };
    return Mode(eigenvalues_[which], L, projected(p), projected(q));
  };
  const auto modes = [&](Complex of_potential, Complex of_salt) {
    return std::array<Mode, 2>{mode_of(0, of_potential, of_salt), mode_of(1, of_potential, of_salt)};
  };
  const auto potential = modes(1, 0), salt = modes(0, 1),
             crossing = modes(-1 / resistance_, -layer_.salt_potential / resistance_);
  const Complex k = layer_.solid * current / resistance_;
  Complex square_of_potential = 0, mean = k * L, square = k * k * L, with_salt = 0;
  for (std::size_t m = 0; m < 2; ++m) {
    mean += crossing[m].rise();
    square += 2.0 * k * crossing[m].rise();
    with_salt += k * salt[m].rise();
    for (std::size_t n = 0; n < 2; ++n) {
      square_of_potential += potential[m].with(potential[n], L).values;
      square += crossing[m].with(crossing[n], L).slopes;
      with_salt += crossing[m].with(salt[n], L).slopes;
    }
  }
  LayerParts parts = surface_parts(square_of_potential);
  parts.pores = layer_.ionic * square;
  parts.solid = layer_.solid * (current * current * L - 2.0 * current * mean + square);
  parts.salt = layer_.salt_potential * with_salt;
  return parts;
}

}  // namespace onegrain::model
