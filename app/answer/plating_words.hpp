#pragma once

#include <string>
#include <utility>
#include <vector>

#include "app/answer/answer.hpp"
#include "app/study/plating.hpp"

/// Charges in which lithium can plate, or comes near to it: said in the headline, in the table, in the warnings and in
/// the cautions, by every verb that shows a charge.
namespace onegrain::app::answer {

/// "Charging at 5C" for "5C"; in a half cell, where it is a discharge that fills the host, "Lithiating at 5C".
std::string charging(const Job& job, const std::string& at);

/// "C/2, 1C and 5C"; of more than five the first four and how many more.
std::string few(std::vector<std::string> names);

class PlatingTold {
 public:
  explicit PlatingTold(const Job& job) : job_(job) {}

  /// @param name  short, for the headline: "2C", "step 3"
  /// @param what  the subject of the warning: "Charging at 2C", "Step 3, charge C/2"
  void add(const std::string& name, const std::string& what, const study::Plating& found);

  /// A finding, which begins the headline, warnings and a caution; the cautions then stand right under the headline.
  void tell(Answer& said) const;

 private:
  struct One {
    std::string name, what;
    study::Plating found;
  };
  std::string sentence() const;
  std::string warning(const One& one) const;

  const Job& job_;
  std::vector<One> all_;
};

/// The columns "negative, lowest" of a table of charges, and their cells for one of them: "-117 mV: can plate",
/// "4.1 mV: too near", "35 mV"; nothing where there is no such potential.
std::vector<TableColumn> lowest_columns(const Job& job);
void add_lowest(Row& row, const Job& job, const std::optional<study::SeparatorSide>& side);

}  // namespace onegrain::app::answer
