#include <algorithm>
#include <cmath>

#include "solver/estimation/fit.hpp"

// What the reaction resolved over the depth of the layers adds to the curves of a fit.
namespace onegrain::solver {

namespace {

constexpr double moved_by =
    0.05;  // of z: its curvature then costs a few per cent of a derivative, noise of 0.05 mV less

}  // namespace

model::Cell CellFit::beginning_of(std::size_t index, const Eigen::VectorXd& z, const model::Cell& cell) const {
  const double q = starting_charge(cell, problem_.curves[index].start) + passed_before(index, z);
  model::Cell begins = cell;
  begins.inventory.positive -= q / cell.positive.capacity();
  if (cell.is_full_cell()) begins.inventory.negative += q / cell.negative->capacity();
  return begins;
}

std::vector<ReactionCourse> CellFit::reaction(const Eigen::VectorXd& z) const {
  const model::Cell now = gentle_cell(z);
  std::vector<ReactionCourse> courses;
  for (std::size_t c = 0; c < problem_.curves.size(); ++c)
    courses.push_back(reaction_course(beginning_of(c, z, now), problem_.curves[c].run, workspace_, problem_.electrolyte,
                                      electrolyte(c, z, now), problem_.accuracy));
  return courses;
}

/// By differences, one parameter after the other; zero for those that do not change it, and where a changed cell has no
/// answer.
Eigen::MatrixXd CellFit::reaction_slopes(std::size_t index, const Eigen::VectorXd& z,
                                         const ReactionCourse& here) const {
  const auto rows = static_cast<Eigen::Index>(problem_.curves[index].run.times.size());
  Eigen::MatrixXd slopes = Eigen::MatrixXd::Zero(rows, size_);
  for (std::size_t k = 0; k < problem_.free.size(); ++k) {
    const FreeParameter& p = problem_.free[k];
    if (p.quantity == FreeQuantity::contact_resistance) continue;
    if (p.quantity == FreeQuantity::start && p.curve != index) continue;
    const auto column = static_cast<Eigen::Index>(k);
    const double step = z[column] + moved_by > p.coordinate(p.upper) ? -moved_by : moved_by;
    Eigen::VectorXd moved = z;
    moved[column] += step;
    try {
      const model::Cell cell = gentle_cell(moved);
      const ReactionCourse there =
          reaction_course(beginning_of(index, moved, cell), problem_.curves[index].run, workspace_,
                          problem_.electrolyte, electrolyte(index, moved, cell), problem_.accuracy, here.points);
      if (there.adds.empty()) continue;
      for (Eigen::Index row = 0; row < rows; ++row) {
        const std::size_t at = std::min({static_cast<std::size_t>(row), here.adds.size() - 1, there.adds.size() - 1});
        slopes(row, column) = (there.adds[at] - here.adds[at]) / step;
      }
    } catch (const model::ImpossibleBalance&) {
    } catch (const IntegrationFailure&) {
    }
  }
  return slopes;
}

double CellFit::added(std::size_t index, Eigen::Index row, const Eigen::VectorXd& z) const {
  const double here = added_[index].at(static_cast<std::size_t>(row));
  return added_slopes_.empty() ? here : here + added_slopes_[index].row(row).dot(z - added_at_);
}

double CellFit::resolve_reaction(const Eigen::VectorXd& z, bool slopes) const {
  std::vector<ReactionCourse> now = reaction(z);
  double off = 0;
  for (std::size_t c = 0; c < now.size(); ++c) {
    ReactionCourse change = now[c];
    for (std::size_t k = 0; k < change.adds.size() && !added_.empty(); ++k)
      change.adds[k] -= added(c, static_cast<Eigen::Index>(k), z);
    off = std::max(off, change.rms());
  }
  added_slopes_.clear();
  if (slopes)
    for (std::size_t c = 0; c < now.size(); ++c)
      added_slopes_.push_back(
          now[c].adds.empty()
              ? Eigen::MatrixXd::Zero(static_cast<Eigen::Index>(problem_.curves[c].run.times.size()), size_)
              : reaction_slopes(c, z, now[c]));
  added_ = std::move(now);
  added_at_ = z;
  return off;
}

}  // namespace onegrain::solver
