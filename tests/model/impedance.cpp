#include "model/impedance.hpp"

#include <Eigen/Sparse>
#include <Eigen/SparseLU>
#include <numbers>

#include "model/balance.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"

// Impedance about rest, against closed forms, against finite differences of the same equations, and against what the
// limits of low and high frequency must be.

using namespace onegrain::model;
using Catch::Matchers::WithinAbs;
using Catch::Matchers::WithinRel;

namespace {

constexpr double turn = 2 * std::numbers::pi;

void check_complex(Complex found, Complex expected, double relative) {
  CAPTURE(found, expected);
  CHECK(std::abs(found - expected) <= relative * std::abs(expected));
}

Cell published() {
  Cell cell = onegrain::tests::nmc811_graphite_siox();
  cell.contact_resistance = 1e-3;
  cell.positive.double_layer = 0.2;
  cell.negative->double_layer = 0.1;
  return cell;
}

/// Working electrode of the same, against lithium.
Cell published_half_cell() {
  Cell cell = published();
  cell.negative.reset();
  cell.counter = LithiumMetal{.exchange_current_density = Property::constant(5), .double_layer = 0.3};
  return cell;
}

Impedance of(const Cell& cell, Reaction reaction = Reaction::uneven,
             ElectrolyteModel electrolyte = ElectrolyteModel::resolved) {
  return Impedance(cell, at_state_of_charge(equilibrium_window(cell), 0.5), electrolyte, reaction);
}

/// A working electrode whose grains stay as full as they are: their surface is a resistance R_s alone. No salt moves.
struct Ladder {
  Cell cell;
  double R, Z;  ///< of the pores L / kappa, and of the surface R_s / (a L) [ohm m2]
};
Ladder ladder(double ratio) {
  Cell cell = published_half_cell();
  cell.temperature = 300;
  cell.contact_resistance = 0;
  cell.positive.electronic_conductivity = 0;
  cell.positive.double_layer = 0;
  cell.positive.host.potential = OpenCircuitPotential(Property::constant(3.5));
  const double kappa = cell.electrolyte.conductivity(1000, 300) * cell.positive.porosity / cell.positive.tortuosity;
  const double R = cell.positive.thickness / kappa, Z = ratio * R;
  // at half filling and 1 mol/L the exchange current is the one given
  const double i0 = gas_constant * 300 / faraday_constant / (Z * cell.positive.roughness());
  cell.positive.host.exchange_current_density = Property::constant(i0);
  cell.counter->exchange_current_density = Property::constant(1e12);
  return {cell, R, Z};
}

}  // namespace

TEST_CASE("the surface of a sphere answers an alternating flux with tanh z / (z - tanh z)", "[model][impedance]") {
  struct Row {
    double psi;
    Complex expected;
  };
  // tanh z / (z - tanh z), z = sqrt(i psi), by hand in many digits (the numbers of the task, eight decimals)
  for (const Row& row : {Row{1, {0.19974663, -3.00570211}}, Row{10, {0.17941604, -0.34731409}},
                         Row{100, {0.06989672, -0.08140955}}, Row{1e4, {0.00707035, -0.00717177}}}) {
    CAPTURE(row.psi);
    const Complex z = sphere_impedance({0, row.psi});
    CHECK_THAT(z.real(), WithinAbs(row.expected.real(), 1e-8));
    CHECK_THAT(z.imag(), WithinAbs(row.expected.imag(), 1e-8));
  }
  // psi -> 0: 3/psi + 1/5 - psi/175 (Laurent series); psi -> infinity: 1 / (z - 1)
  for (const double psi : {1e-6, 1e-3, 0.019, 0.021}) {
    CAPTURE(psi);
    const Complex s(0, psi);
    check_complex(sphere_impedance(s), 3.0 / s + 0.2 - s / 175.0 + 2.0 * s * s / 7875.0, 1e-9);
    CHECK_THAT(sphere_impedance(s).real(), WithinAbs(0.2 - 2.0 / 7875 * psi * psi, 1e-6));
  }
  const Complex z = std::sqrt(Complex(0, 1e8));
  check_complex(sphere_impedance({0, 1e8}), 1.0 / (z - 1.0), 1e-13);
}

TEST_CASE("pores in which nothing but a resistance waits are sqrt(R Z) coth sqrt(R / Z)", "[model][impedance]") {
  struct Row {
    double ratio, expected;
  };
  // sqrt(r) coth(1 / sqrt(r)) in units of R (the numbers of the task; six decimals there, written out here)
  for (const Row& row : {Row{0.1, 0.317363}, Row{1, 1.313035}, Row{10, 10.331132}}) {
    CAPTURE(row.ratio);
    const Ladder l = ladder(row.ratio);
    const Impedance Z(l.cell, {0.5, 0}, ElectrolyteModel::uniform, Reaction::uneven);
    const double separator = Z.figures()[static_cast<std::size_t>(ImpedancePart::separator)].resistance;
    const Complex layer = Z(1.0) - separator;
    const double exact = std::sqrt(row.ratio) / std::tanh(1 / std::sqrt(row.ratio));
    CHECK_THAT(layer.real() / l.R, WithinAbs(row.expected, 1e-6));
    CHECK_THAT(layer.real() / l.R, WithinAbs(exact, 1e-8));
    CHECK_THAT(layer.imag() / l.R, WithinAbs(0, 1e-8));
  }
}

TEST_CASE("salt between two surfaces that no anion crosses is tanh(w/2) / (w/2)", "[model][impedance]") {
  // A working electrode so thin that the separator is all, its surface no resistance: c'(0) = c'(L), the finite-length
  // element of a symmetric cell,
  //   Z = (2RT/F)(1 - t+)^2 chi / (F c0 D) L tanh(w/2) / (w/2),   w^2 = i omega eps L^2 / D. From Fick's law.
  Cell cell = ladder(1).cell;
  cell.positive.thickness = 1e-14;
  cell.positive.host.exchange_current_density = Property::constant(1e20);
  const double T = cell.temperature, L = cell.separator.thickness,
               D = cell.electrolyte.diffusivity(1000, T) * cell.separator.porosity / cell.separator.tortuosity,
               anions = 1 - cell.electrolyte.transference_number(1000, T);
  const Impedance with(cell, {0.5, 0}, ElectrolyteModel::resolved, Reaction::uneven);
  const Impedance without(cell, {0.5, 0}, ElectrolyteModel::uniform, Reaction::uneven);
  const double R = 2 * gas_constant * T / faraday_constant * anions * anions / (faraday_constant * 1000 * D) * L;
  for (const double w2 : {1e-3, 1.0, 10.0, 300.0}) {
    CAPTURE(w2);
    const Complex half = 0.5 * std::sqrt(Complex(0, w2));
    const double frequency = w2 * D / (cell.separator.porosity * L * L) / turn;
    check_complex(with(frequency) - without(frequency), R * std::tanh(half) / half, 1e-8);
  }
}

namespace {

/// The same linear equations by finite volumes in x, for one frequency: unknowns Phi (potential of the solid), phi (of
/// the pores) and c in every volume; the sphere in closed form. Written apart from the model: potentials of solid and
/// pores rather than their difference, no two modes, fluxes between volumes. Half a volume at the ends of each layer.
/// Richardson's extrapolation over two grids leaves the error of fourth order.
Complex by_volumes(const Cell& cell, Stoichiometries at, double frequency, int count) {
  const double omega = turn * frequency, T = cell.temperature, c0 = cell.electrolyte.concentration,
               F = faraday_constant, RT_F = gas_constant * T / F;
  const Electrolyte& e = cell.electrolyte;
  const double t = e.transference_number(c0, T), chi = e.thermodynamic_factor(c0, T);
  struct Volume {
    double width, kappa, sigma, D, porosity;
    Complex y;  ///< admittance per volume, 0 in the separator
  };
  std::vector<Volume> volumes;
  const auto pores = [&](Volume v, double porosity, double tortuosity) {
    v.kappa = e.conductivity(c0, T) * porosity / tortuosity;
    v.D = e.diffusivity(c0, T) * porosity / tortuosity;
    v.porosity = porosity;
    return v;
  };
  const auto add_layer = [&](const Electrode& l, double x) {
    const double D = l.host.diffusivity(x, T), R = l.particle_radius;
    const double i0 = l.host.exchange_current_density(0.5, T) * 2 * std::sqrt(x * (1 - x) * c0 / 1000);
    const Complex z = R * std::sqrt(Complex(0, omega / D));
    const double slope = (l.host.potential(x + 1e-6, T) - l.host.potential(x - 1e-6, T)) / 2e-6;
    const Complex grain = -slope * R / (F * D * l.host.maximum_concentration) * std::tanh(z) / (z - std::tanh(z));
    const Complex y = 3 * l.active_fraction / R * (1.0 / (RT_F / i0 + grain) + Complex(0, omega * l.double_layer));
    for (int k = 0; k < count; ++k)
      volumes.push_back(pores({l.thickness / count, 0, l.electronic_conductivity, 0, 0, y}, l.porosity, l.tortuosity));
  };
  if (cell.negative) add_layer(*cell.negative, at.negative);
  for (int k = 0; k < count; ++k)
    volumes.push_back(
        pores({cell.separator.thickness / count, 0, 0, 0, 0, 0}, cell.separator.porosity, cell.separator.tortuosity));
  add_layer(cell.positive, at.positive);

  const int n = static_cast<int>(volumes.size());
  std::vector<Eigen::Triplet<Complex>> entries;
  Eigen::VectorXcd right = Eigen::VectorXcd::Zero(3 * n);
  const auto set = [&](int row, int column, Complex value) { entries.emplace_back(row, column, value); };
  const auto solid = [](int k) { return 3 * k; };
  const auto liquid = [](int k) { return 3 * k + 1; };
  const auto salt = [](int k) { return 3 * k + 2; };
  for (int k = 0; k < n; ++k) {
    const Volume& v = volumes[static_cast<std::size_t>(k)];
    // reaction: current from the solid into the pores y (Phi - phi), per volume; lithium with it
    if (v.y != 0.0) {
      set(solid(k), solid(k), -v.y * v.width);
      set(solid(k), liquid(k), v.y * v.width);
      set(liquid(k), solid(k), v.y * v.width);
      set(liquid(k), liquid(k), -v.y * v.width);
      set(salt(k), solid(k), (1 - t) / F * v.y * v.width);
      set(salt(k), liquid(k), -(1 - t) / F * v.y * v.width);
    } else {
      set(solid(k), solid(k), 1);  // no solid here
    }
    set(salt(k), salt(k), Complex(0, -omega * v.porosity * v.width));
  }
  for (int k = 0; k + 1 < n; ++k) {  // what flows from volume k to k + 1
    const Volume &a = volumes[static_cast<std::size_t>(k)], &b = volumes[static_cast<std::size_t>(k + 1)];
    const auto between = [&](double p, double q) { return 1 / (a.width / (2 * p) + b.width / (2 * q)); };
    const auto flow = [&](int row_from, int row_to, int from, int to, double conductance) {
      set(row_from, from, -conductance);
      set(row_from, to, conductance);
      set(row_to, from, conductance);
      set(row_to, to, -conductance);
    };
    flow(salt(k), salt(k + 1), salt(k), salt(k + 1), between(a.D, b.D));
    flow(liquid(k), liquid(k + 1), liquid(k), liquid(k + 1), between(a.kappa, b.kappa));
    // i_e = -kappa dphi/dx + kappa (2RT/F)(1 - t) chi dln c/dx
    flow(liquid(k), liquid(k + 1), salt(k), salt(k + 1), -between(a.kappa, b.kappa) * 2 * RT_F * (1 - t) * chi / c0);
    if (a.y != 0.0 && b.y != 0.0) flow(solid(k), solid(k + 1), solid(k), solid(k + 1), between(a.sigma, b.sigma));
  }
  // i = 1 enters the positive's foil from outside and leaves at the negative: into the solid there, or of lithium into
  // the pores.
  right[solid(n - 1)] = -1;
  if (cell.negative) {
    right[solid(0)] = 1;
    for (auto& entry : entries)  // the zero of potential: the negative's foil side solid volume in place of its balance
      if (entry.row() == solid(0)) entry = {entry.row(), entry.col(), 0};
    set(solid(0), solid(0), 1);
    right[solid(0)] = 0;
  } else {
    right[salt(0)] = (1 - t) / F;  // lithium leaves the pores with the current
    for (auto& entry : entries)
      if (entry.row() == liquid(0)) entry = {entry.row(), entry.col(), 0};
    set(liquid(0), liquid(0), 1);
  }
  Eigen::SparseMatrix<Complex> matrix(3 * n, 3 * n);
  matrix.setFromTriplets(entries.begin(), entries.end());
  Eigen::SparseLU<Eigen::SparseMatrix<Complex>> lu(matrix);
  const Eigen::VectorXcd u = lu.solve(right);
  const double p_half = volumes.back().width / (2 * volumes.back().sigma);
  Complex Z = u[solid(n - 1)] + p_half + cell.contact_resistance;
  if (cell.negative) {
    Z += volumes.front().width / (2 * volumes.front().sigma);
  } else {
    // from the first volume to the surface of the lithium; there dc/dx = (1 - t) i / (F D)
    const Volume& v = volumes.front();
    Z += v.width / (2 * v.kappa);
    Z += 2 * RT_F * (1 - t) * chi / c0 * v.width / 2 * (1 - t) / (F * v.D);
    const double i0 = cell.counter->exchange_current_density(0.5, T) * std::sqrt(c0 / 1000);
    Z += 1.0 / (i0 / RT_F + Complex(0, omega * cell.counter->double_layer));
  }
  return Z;
}

}  // namespace

TEST_CASE("the two modes of each layer are what finite volumes of the same equations tend to", "[model][impedance]") {
  // Grids of n and 2n volumes a layer, extrapolated: (4 Z_2n - Z_n) / 3. Where the current stays within a hundredth of
  // a layer the grid is what is wrong, so the tolerance grows with frequency.
  struct Row {
    double frequency, tolerance;
  };
  for (const bool full : {true, false}) {
    const Cell cell = full ? published() : published_half_cell();
    const Stoichiometries at = at_state_of_charge(equilibrium_window(cell), 0.4);
    const Impedance Z(cell, at, ElectrolyteModel::resolved, Reaction::uneven);
    for (const Row& row : {Row{1e-4, 1e-6}, Row{1e-2, 1e-6}, Row{1, 1e-6}, Row{100, 2e-6}, Row{1e4, 1e-4}}) {
      CAPTURE(full, row.frequency);
      const Complex coarse = by_volumes(cell, at, row.frequency, 200), fine = by_volumes(cell, at, row.frequency, 400);
      check_complex(Z(row.frequency), (4.0 * fine - coarse) / 3.0, row.tolerance);
    }
  }
}

TEST_CASE("at low frequency a cell is the slope of its open circuit and a sum of resistances", "[model][impedance]") {
  for (const bool full : {true, false}) {
    for (const Reaction reaction : {Reaction::even, Reaction::uneven}) {
      Cell cell = full ? published() : published_half_cell();
      cell.positive.double_layer = 0;
      if (cell.negative) cell.negative->double_layer = 0;
      const Window window = equilibrium_window(cell);
      const Stoichiometries at = at_state_of_charge(window, 0.5);
      const Impedance Z(cell, at, ElectrolyteModel::resolved, reaction);
      CAPTURE(full, reaction == Reaction::even);
      // dV/dq by differences of the equilibrium voltage itself
      const double h = 1e-4, charge = 2 * h * window.capacity, T = cell.temperature;
      const double elastance = (equilibrium_voltage(cell, at_state_of_charge(window, 0.5 + h), T) -
                                equilibrium_voltage(cell, at_state_of_charge(window, 0.5 - h), T)) /
                               charge;
      const double frequency = 1e-8;
      const Complex low = Z(frequency);
      CHECK_THAT(-turn * frequency * low.imag(), WithinRel(elastance, 1e-4));
      CHECK_THAT(Z.elastance(), WithinRel(elastance, 1e-4));
      // R_ct / (a L) and a fifth of Z_D0 / (a L) of each electrode, a third of the pores and solids, the whole of the
      // separator, and the salt in the steady state: its slope (1 - t+) w / (F D) everywhere.
      const double F = faraday_constant, V = gas_constant * T / F, c = 1000;
      const Electrolyte& e = cell.electrolyte;
      const double a = 1 - e.transference_number(c, T), K = 2 * V * a * a / (F * c);
      double expected = cell.contact_resistance;
      const auto pores = [&](double L, double porosity, double tortuosity, double share) {
        expected += share * L * tortuosity / porosity * (1 / e.conductivity(c, T) + K / e.diffusivity(c, T));
      };
      const auto electrode = [&](const Electrode& l, double x) {
        const double i0 = l.host.exchange_current_density(0.5, T) * 2 * std::sqrt(x * (1 - x));
        const double slope = (l.host.potential(x + 1e-6, T) - l.host.potential(x - 1e-6, T)) / 2e-6;
        const double Z_D0 = -slope * l.particle_radius / (F * l.host.diffusivity(x, T) * l.host.maximum_concentration);
        expected += (V / i0 + Z_D0 / 5) / l.roughness() + l.thickness / (3 * l.electronic_conductivity);
        pores(l.thickness, l.porosity, l.tortuosity, 1.0 / 3);
      };
      electrode(cell.positive, at.positive);
      if (cell.negative)
        electrode(*cell.negative, at.negative);
      else
        expected += V / cell.counter->exchange_current_density(0.5, T);
      pores(cell.separator.thickness, cell.separator.porosity, cell.separator.tortuosity, 1);
      CHECK_THAT(low.real(), WithinRel(expected, 1e-4));
      double sum = 0;
      for (const PartFigure& part : Z.figures()) sum += part.resistance;
      CHECK_THAT(sum, WithinRel(expected, 1e-6));
    }
  }
}

TEST_CASE("the parts add up to the whole at every frequency", "[model][impedance]") {
  for (const bool full : {true, false}) {
    for (const Reaction reaction : {Reaction::even, Reaction::uneven}) {
      for (const ElectrolyteModel electrolyte : {ElectrolyteModel::resolved, ElectrolyteModel::uniform}) {
        Cell cell = full ? published() : published_half_cell();
        cell.inductance = 2e-7;
        const Impedance Z = of(cell, reaction, electrolyte);
        for (double frequency = 1e-5; frequency < 2e6; frequency *= 10) {
          CAPTURE(full, frequency);
          Complex sum = 0;
          for (const Complex part : Z.parts(frequency)) sum += part;
          check_complex(sum, Z(frequency), 1e-9);
          CHECK(Z(frequency).real() > 0);  // nothing in it gives energy away
        }
      }
    }
  }
}

TEST_CASE("a change of one resistance moves the whole by the part that it is of", "[model][impedance]") {
  // dZ = (part / R) dR of a reciprocal network: by differences, at a frequency where every part counts. Uniform salt.
  const double frequency = 30, step = 1e-5;
  const auto whole = [&](const Cell& cell) { return of(cell, Reaction::uneven, ElectrolyteModel::uniform)(frequency); };
  const PartImpedances parts = of(published(), Reaction::uneven, ElectrolyteModel::uniform).parts(frequency);
  const auto check = [&](ImpedancePart part, void (*scale)(Cell&, double)) {
    Cell more = published(), less = published();
    scale(more, 1 + step);
    scale(less, 1 - step);
    CAPTURE(static_cast<int>(part));
    check_complex((whole(more) - whole(less)) / (2 * step), parts[static_cast<std::size_t>(part)], 1e-6);
  };
  check(ImpedancePart::positive_pores, [](Cell& c, double by) { c.positive.tortuosity *= by; });
  check(ImpedancePart::negative_pores, [](Cell& c, double by) { c.negative->tortuosity *= by; });
  check(ImpedancePart::positive_solid, [](Cell& c, double by) { c.positive.electronic_conductivity /= by; });
  check(ImpedancePart::contact, [](Cell& c, double by) { c.contact_resistance *= by; });
  check(ImpedancePart::separator, [](Cell& c, double by) { c.separator.tortuosity *= by; });
}

TEST_CASE("an even reaction is right below 1 Hz, and 112 % off at 100 kHz", "[model][impedance]") {
  // The published NMC811 set with double layers of 0.2 F/m2 at half charge: at most 0.7 % of |Z| below 1 Hz, 112 % at
  // 100 kHz. Numbers of the task, found there by another calculation of the same equations.
  Cell cell = published();
  cell.contact_resistance = 0;
  for (double* layer : {&cell.positive.double_layer, &cell.negative->double_layer}) *layer = 0.2;
  const Impedance even = of(cell, Reaction::even), uneven = of(cell);
  const auto off = [&](double f) { return std::abs(even(f) - uneven(f)) / std::abs(uneven(f)); };
  double most = 0;
  for (double f = 1e-4; f < 1.01; f *= std::sqrt(10.0)) most = std::max(most, off(f));
  CHECK_THAT(most, WithinAbs(0.0065, 0.0005));
  CHECK_THAT(off(1e5), WithinAbs(1.12, 0.005));
}

TEST_CASE("leads turn the spectrum inductive and double layers short-circuit charge transfer", "[model][impedance]") {
  Cell cell = published_half_cell();
  const Complex without = of(cell)(1e5);
  cell.inductance = 1e-6;
  check_complex(of(cell)(1e5) - without, Complex(0, turn * 1e5 * 1e-6 * cell.plate_area), 1e-9);
  // At 1 GHz what is left of the lithium's charge transfer is 1 / (i omega C); of the cell, contact and separator and
  // a layer of which the current stays at the separator.
  const double f = 1e9;
  check_complex(of(cell).parts(f)[static_cast<std::size_t>(ImpedancePart::negative_transfer)],
                1.0 / Complex(0, turn * f * cell.counter->double_layer), 1e-4);
  const auto figures = of(cell).figures();
  CHECK_THAT(of(cell).figures()[static_cast<std::size_t>(ImpedancePart::negative_transfer)].at.value(),
             WithinRel(1 / (turn * gas_constant * 298.15 / faraday_constant / 5 * 0.3), 1e-9));
  CHECK(figures[static_cast<std::size_t>(ImpedancePart::negative_grains)].resistance == 0);
}
