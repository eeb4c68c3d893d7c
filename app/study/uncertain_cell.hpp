#pragma once

#include <Eigen/Dense>
#include <optional>
#include <string>
#include <vector>

#include "model/cell.hpp"
#include "params/sheet/knowledge.hpp"

/// A cell as far as its sheet knows it: every value with a spread, and what tests tell of several quantities together.
namespace onegrain::app {

/// A value that is known within a spread only.
struct Unknown {
  std::string path;     ///< "negative.particle_radius", or a quantity of the sheet's knowledge
  std::string written;  ///< "8 um ± 0.8 um"
};

/// The sheet with every value that has a spread moved by so many standard deviations. A number that must stay positive,
/// or below one, is kept 0.1 % inside.
params::Sheet moved(const params::Sheet& sheet, const Eigen::Ref<const Eigen::VectorXd>& deviations);

class UncertainCell {
 public:
  explicit UncertainCell(params::Sheet sheet);

  /// Values with a spread in the order of the sheet, less those that knowledge takes the place of; then the quantities
  /// of the knowledge.
  const std::vector<Unknown>& unknowns() const { return unknowns_; }
  Eigen::Index count() const { return static_cast<Eigen::Index>(unknowns_.size()); }
  const params::Sheet& sheet() const { return sheet_; }
  /// The same cell at another temperature [K].
  UncertainCell at(double temperature) const;

  /// The cell with the unknowns moved by independent standard normal deviations. What a test tells is kept whatever
  /// else is drawn: with another radius R^2/D stays, and the exchange current of all grains together; with other masses
  /// the capacity. The quantities of the knowledge are moved together, as they hang together.
  /// @throws model::ImpossibleBalance, std::domain_error  as params::to_cell()
  model::Cell cell(const Eigen::Ref<const Eigen::VectorXd>& deviations) const;

  /// From slopes by the deviations of cell() to slopes by a standard deviation of each unknown, all that hangs together
  /// with it moving along: their squares are what the variance loses were that one known exactly.
  Eigen::VectorXd by_unknown(const Eigen::Ref<const Eigen::VectorXd>& slopes) const;

 private:
  params::Sheet sheet_;  // without the spreads that knowledge takes the place of
  params::Knowledge knowledge_;
  std::optional<model::Cell> as_stated_;  // where there is knowledge
  std::vector<Unknown> unknowns_;
  Eigen::Index values_ = 0;  // unknowns that are values of the sheet
};

}  // namespace onegrain::app
