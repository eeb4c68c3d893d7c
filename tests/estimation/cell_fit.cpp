// A cell as a function of what is free: derivatives, and what a voltage can tell.

#include <cmath>

#include "tests/estimation/fit_cells.hpp"

using namespace fit_test;

namespace {

struct Row {
  const char* name;
  bool varying, half, at_voltage, lithium, start = false;
};

Cell cell_of(const Row& row) {
  Cell cell = tests::published_cell(row.varying);
  if (row.half) {
    cell.negative.reset();
    cell.counter = model::LithiumMetal{model::Property::constant(20.0)};
    cell.inventory = {0.4, 0};
  }
  cell.contact_resistance = 4e-4;
  return cell;
}

/// Two runs, and every kind of quantity free that such a cell has.
FitProblem everything_free(const Row& row) {
  const Cell cell = cell_of(row);
  FitProblem problem{cell, model::ElectrolyteModel::resolved, {}, {}, {}};
  const double sign = row.half ? 1 : -1;
  int number = 0;
  for (const double rate : {0.3, 1.5}) {
    FitCurve curve{"run", pulse(sign * rate * one_c, 900 / rate, 400, 30), VectorXd::Zero(30), {}};
    if (row.at_voltage) curve.start.rest_voltage = row.half ? 3.8 : 4.05 + 0.03 * number++;
    problem.curves.push_back(curve);
  }
  problem.free = {free_in(cell, "tp", Q::diffusion_time), free_in(cell, "ip", Q::exchange_current_density),
                  free_in(cell, "in", Q::exchange_current_density, true), free_in(cell, "Qp", Q::capacity),
                  free_in(cell, "r", Q::contact_resistance)};
  if (!row.half) {
    problem.free.push_back(free_in(cell, "tn", Q::diffusion_time, true));
    problem.free.push_back(free_in(cell, "Qn", Q::capacity, true));
  }
  if (row.lithium) problem.free.push_back(free_in(cell, "Li", Q::lithium));
  if (row.start) {
    FreeParameter begins{"start", Q::start, false, -0.02 * cell.positive.capacity(), -1e6, 1e6, false};
    begins.unit = 0.1 * cell.positive.capacity();
    begins.curve = 1;
    problem.free.push_back(begins);
  }
  problem.free.push_back({"separator", Q::other, false, cell.separator.tortuosity, 0.1, 100});
  // the same numbers not by their logarithm
  problem.free[3].logarithmic = false;
  problem.free[3].unit = 0.1 * problem.free[3].nominal;
  problem.rebuild = [cell](const std::vector<double>& others) {
    Cell other = cell;
    other.separator.tortuosity = others[0];
    return other;
  };
  problem.potentials.push_back({"Up", false, 3, 0.2, 0.9});
  if (!row.half) problem.potentials.push_back({"Un", true, 4, 0.1, 0.95});
  return problem;
}

}  // namespace

TEST_CASE("every derivative that a fit goes by is its difference quotient in the limit",
          "[estimation][fit][jacobian]") {
  // Central differences over h and h/2 with Richardson's extrapolation.
  const auto row = GENERATE(values<Row>({
      {"full cell from rest voltages, lithium free", false, false, true, true},
      {"full cell from rest voltages, lithium free, diffusivities with composition", true, false, true, true},
      {"full cell some way from rest voltages, lithium free", false, false, true, true, true},
      {"full cell some way from a known state", false, false, false, false, true},
      {"half cell some way from rest voltages", false, true, true, false, true},
      {"full cell from rest voltages, lithium as given", false, false, true, false},
      {"full cell from a known state", false, false, false, false},
      {"half cell from rest voltages", false, true, true, false},
      {"half cell from a known state", true, true, false, false},
  }));
  CAPTURE(row.name);
  FitProblem problem = everything_free(row);
  problem.accuracy = tight;
  const CellFit fit(problem);
  REQUIRE(fit.voltage_count() == 60);
  REQUIRE(fit.residual_count() == 60 + fit.size() + 5 + (row.half ? 0 : 6));

  VectorXd z = VectorXd::Zero(fit.size()), difference;
  for (Eigen::Index k = 0; k < z.size(); ++k)
    z[k] = k < static_cast<Eigen::Index>(problem.free.size()) ? 0.03 * std::cos(2.0 * static_cast<double>(k))
                                                              : 2e-3 * std::sin(static_cast<double>(k));
  MatrixXd jacobian;
  REQUIRE(fit.voltages(z, difference, &jacobian));
  REQUIRE((jacobian.rows() == 60 && jacobian.cols() == fit.size()));
  problem.accuracy = {};
  MatrixXd by_default;
  REQUIRE(CellFit(problem).voltages(z, difference, &by_default));
  const auto quotient = [&](Eigen::Index k, double h) {
    VectorXd moved = z, above, below;
    moved[k] = z[k] + h;
    REQUIRE(fit.voltages(moved, above, nullptr));
    moved[k] = z[k] - h;
    REQUIRE(fit.voltages(moved, below, nullptr));
    return VectorXd((above - below) / (2 * h));
  };
  for (Eigen::Index k = 0; k < fit.size(); ++k) {
    const bool potential = k >= static_cast<Eigen::Index>(problem.free.size());
    const double h = potential ? 2e-4 : 2e-3;
    const VectorXd limit = (4 * quotient(k, h / 2) - quotient(k, h)) / 3;
    const double at_tight = (jacobian.col(k) - limit).norm(), usual = (by_default.col(k) - limit).norm();
    // a coefficient that no surface passes has no derivative to be relative to
    const double scale = std::max(limit.norm(), potential ? 1e-2 : 1e-12);
    const std::string name = potential ? "potential" : problem.free[static_cast<std::size_t>(k)].name;
    CAPTURE(k, name, at_tight / scale, usual / scale);
    // `other` is a difference over 0.02 itself
    CHECK(at_tight < (name == "separator" ? 5e-3 : 2e-4) * scale);
    CHECK(usual < (name == "separator" ? 5e-3 : 2e-3) * scale);
  }
}

TEST_CASE("radius and diffusivity apart, or surface and exchange current density apart, leave no trace in any voltage",
          "[estimation][fit]") {
  // R -> s R, D -> s^2 D, i0 -> s i0 turns r into s r, and the specific surface 3 eps / R into its s-th part: the
  // equations of a spherical grain (Crank, ch. 6) and of charge transfer are the same.
  const bool varying = GENERATE(false, true);
  CAPTURE(varying);
  const Cell cell = tests::published_cell(varying);
  const Run run = pulse(-1.3 * one_c, 1200, 600, 60);
  const VectorXd given = simulated(cell, run, {}, model::ElectrolyteModel::resolved);
  for (const double s : {0.3, 1.7, 2.0}) {
    Cell other = cell;
    for (model::Electrode* e : {&other.positive, &*other.negative}) {
      e->particle_radius *= s;
      e->host.diffusivity = e->host.diffusivity.scaled(s * s);
      e->host.exchange_current_density = e->host.exchange_current_density.scaled(s);
    }
    const double largest = (simulated(other, run, {}, model::ElectrolyteModel::resolved) - given).cwiseAbs().maxCoeff();
    CAPTURE(s, largest);
    CHECK(largest < 1e-9);
    Cell without = other;  // and what is left out does leave a trace
    without.positive.host.diffusivity = cell.positive.host.diffusivity;
    CHECK((simulated(without, run, {}, model::ElectrolyteModel::resolved) - given).cwiseAbs().maxCoeff() > 1e-3);
  }
}

TEST_CASE("a parameter and its coordinate are one another's inverse", "[estimation][fit]") {
  const FreeParameter by_ratio{"a", Q::diffusion_time, false, 250, 1, 1e5};
  const FreeParameter by_difference{"b", Q::contact_resistance, false, 2e-3, 0, 1, false, 5e-4};
  CHECK_THAT(by_ratio.value(std::log(3)), WithinRel(750, 1e-14));
  CHECK_THAT(by_difference.value(-2), WithinRel(1e-3, 1e-14));
  for (const double z : {-2.5, 0.0, 0.7}) {
    CHECK_THAT(by_ratio.coordinate(by_ratio.value(z)), WithinAbs(z, 1e-14));
    CHECK_THAT(by_difference.coordinate(by_difference.value(z)), WithinAbs(z, 1e-12));
  }
}

TEST_CASE("a run that the salt cannot carry is refused with its name", "[estimation][fit]") {
  const Cell cell = tests::published_cell();
  FitProblem problem{
      cell, model::ElectrolyteModel::resolved, {{"5C", pulse(-8 * one_c, 600, 0, 20), VectorXd::Zero(20), {}}}, {}, {}};
  problem.free = {free_in(cell, "tp", Q::diffusion_time)};
  CHECK_THROWS_WITH(
      CellFit(problem),
      "5C: the electrolyte of the sheet cannot carry the measured current: salt used up; check the plate area, the "
      "coating thickness and the porosity");
  problem.electrolyte = model::ElectrolyteModel::uniform;
  CHECK_NOTHROW(CellFit(problem));
}
