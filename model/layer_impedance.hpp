#pragma once

#include <array>
#include <complex>

/// A porous layer, its grains and their surface under a small alternating current about rest.
///
/// All quantities are complex amplitudes of exp(i omega t); a capacitive element has a negative imaginary part.
namespace onegrain::model {

using Complex = std::complex<double>;

/// Diffusion in a sphere, the surface's answer to a flux in units of Z_D0 = R |dU/dx| / (F D c_max):
///
///     Zhat(psi) = tanh z / (z - tanh z),   z = sqrt(psi),   psi = i omega R^2 / D                       [1]
///
/// 3/psi + 1/5 where psi -> 0 (the grain fills as a whole), 1/z where psi is large (flat surface). To 1e-13 relative.
/// Source: Crank, The Mathematics of Diffusion, 2nd ed. (1975), ch. 6, in Laplace's transform.
Complex sphere_impedance(Complex psi);

/// coth(sqrt(lambda) L) / sqrt(lambda) - 1 / (lambda L): what two ends of a layer of u'' = lambda u with given slopes
/// have beside the mean of u, at the end itself; and at the other end, 1 / (sqrt(lambda) sinh(sqrt(lambda) L)) less the
/// same. Smooth at lambda = 0: L/3 and -L/6.
Complex near_end(Complex lambda, double L);
Complex far_end(Complex lambda, double L);

/// The surface of a grain: charge transfer and what fills the grain in series, the double layer beside both. Per grain
/// surface.
struct SurfaceElement {
  double transfer = 0;        ///< R_ct = RT / ((aa + ac) F i0) [ohm m2]
  double diffusion = 0;       ///< Z_D0 = -dU/dx R / (F D c_max) [ohm m2]; 0: no grain behind it
  double diffusion_time = 1;  ///< R^2 / D [s]
  double double_layer = 0;    ///< [F/m2]

  Complex grain(double omega) const;  ///< Z_D0 Zhat [ohm m2]
  Complex faradaic(double omega) const { return transfer + grain(omega); }
  Complex admittance(double omega) const;  ///< of all, [S/m2]; infinite where nothing resists
};

/// A layer and its pores. z runs from the foil to the separator; a current I > 0 goes into the grains. In the pores J
/// of it crosses z, J(0) = 0 and J(L) = I. With the potential Phi of the solid against a lithium reference in the
/// pores,
///
///     Phi' = (I - J)/sigma - J/kappa - beta c',   J' = -a y Phi,   i omega eps c = D c'' - (1 - t+) J'/F,   c'(0) = 0,
///
/// where beta = (2RT/F)(1 - t+) chi / c0. The current of the double layer feeds the salt as that of the reaction does.
/// About rest all coefficients are the same everywhere in the layer: (Phi, c)'' = M (Phi, c), two modes, exact in z.
struct PorousElement {
  double thickness = 0;
  double surface = 0;           ///< a, grain surface per volume [1/m]
  double ionic = 0, solid = 0;  ///< 1/kappa, 1/sigma of the layer [ohm m]
  double porosity = 0;          ///< eps
  double salt_diffusivity = 0;  ///< D of the layer [m2/s]
  double salt_potential = 0;    ///< beta [V m3/mol]; 0 with salt_production = 0: salt stays as it is
  double salt_production = 0;   ///< (1 - t+) / F [mol/C]
  SurfaceElement grain;
};

/// Where the current of a layer meets resistance; the sum of all is -Phi_foil I. By Tellegen's theorem: in every
/// element the drop times the current, of amplitudes and not of their conjugates [V A/m2].
struct LayerParts {
  Complex pores, solid, transfer, grains, salt;  ///< transfer: with the double layer beside it
  Complex sum() const { return pores + solid + transfer + grains + salt; }
};

/// What the rest of the cell sees of a layer, for the current I = 1 and for the flux D c'(L) = 1 of salt gradient at
/// the separator: potential of the foil against the pores at the separator, and the salt there.
struct LayerEnds {
  Complex foil_by_current, foil_by_flux, salt_by_current, salt_by_flux;
};

/// The layer at one frequency.
class LayerImpedance {
 public:
  /// @param even  the reaction is held even over the depth: J = I z / L, and Phi its mean over the depth
  LayerImpedance(const PorousElement& layer, double omega, bool even);

  const LayerEnds& ends() const { return ends_; }
  /// @param current  I [A/m2]
  /// @param flux     D c'(L) [mol m^-2 s^-1]
  LayerParts parts(Complex current, Complex flux) const;

 private:
  using Pair = std::array<Complex, 2>;  ///< Phi and c
  using Square = std::array<Pair, 2>;
  struct Mode;

  void solve_uneven();
  void solve_even();
  LayerParts even_parts(Complex current, Complex flux) const;
  Pair slopes(Complex current, Complex flux) const;  ///< at the separator
  LayerParts surface_parts(Complex square_of_potential) const;

  PorousElement layer_;
  double omega_;
  bool even_;
  Complex admittance_, decay_;    ///< a y, and i omega eps / D
  double resistance_, coupling_;  ///< 1/kappa + 1/sigma; (1 - t+) / (F D)
  Square matrix_{};               ///< M
  Pair eigenvalues_{};
  LayerEnds ends_{};
};

}  // namespace onegrain::model
