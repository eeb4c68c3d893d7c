#pragma once

#include <optional>
#include <string>
#include <vector>

#include "params/sheet/sheet.hpp"

/// What tests tell of several quantities together: JointKnowledge of a sheet, all of it as one normal distribution.
namespace onegrain::params {

/// The quantity of this name in a cell that this sheet makes, as JointKnowledge has it [SI]; nothing where it has none.
/// A value by its path is that of the sheet.
std::optional<double> quantity_of(const Sheet& sheet, const model::Cell& cell, const std::string& name);

/// The path of the value whose own spread the knowledge of this quantity takes the place of; "" for lithium, which
/// stands for the formation loss and the charged state.
std::string replaced_by_knowledge(const std::string& name);

/// All parts of a sheet's knowledge put together: where several name one quantity their information adds up, as that of
/// independent tests does,
///
///     P = sum_e C_e^-1,    P m = sum_e C_e^-1 m_e,
///
/// with C_e the covariance of a part. A quantity is counted by its logarithm where one of its spreads is a factor.
class Knowledge {
 public:
  explicit Knowledge(const std::vector<JointKnowledge>& parts);

  std::size_t count() const { return quantities_.size(); }
  /// With the value at the mean, and the spread that it has by itself.
  const std::vector<KnownQuantity>& quantities() const { return quantities_; }
  /// The quantities moved by standard normal deviations, one for each: mean + L deviations, L L' the covariance [SI].
  std::vector<double> moved(const Eigen::Ref<const Eigen::VectorXd>& deviations) const;
  /// From slopes by the deviations of moved() to slopes by a standard deviation of each quantity, all that hangs
  /// together with it moving along.
  Eigen::VectorXd by_quantity(const Eigen::Ref<const Eigen::VectorXd>& slopes) const;

  /// Two parts that contradict one another, at 1 % (chi squared, E. B. Wilson, M. M. Hilferty, PNAS 17, 684 (1931)):
  /// the quantity that is furthest off, and what each part says of it.
  struct Contradiction {
    std::string name, one, other;
    Place place;
  };
  const std::optional<Contradiction>& contradiction() const { return contradiction_; }

 private:
  void contradict(const std::vector<JointKnowledge>& parts, double chi_squared, double freedom);

  std::vector<KnownQuantity> quantities_;
  std::vector<bool> logarithmic_;
  Eigen::VectorXd mean_;
  Eigen::MatrixXd lower_;
  std::optional<Contradiction> contradiction_;
};

/// Knowledge as one line of YAML, to stand under the key `knowledge` of a sheet.
std::string yaml_of(const std::vector<JointKnowledge>& parts);

/// What is left of earlier knowledge once these quantities are known anew.
std::vector<JointKnowledge> without_quantities(std::vector<JointKnowledge> parts,
                                               const std::vector<std::string>& names);

}  // namespace onegrain::params
