#include <fmt/format.h>

#include "app/answer/answers.hpp"
#include "app/answer/cell.hpp"
#include "app/render/table.hpp"

// `bench`: no study of its own; params::bench() has done the sums.

namespace onegrain::app::answer {

Answer bench(const Request&, const Channels&, Job& job) {
  const params::Bench& b = job.bench;
  Answer said;
  said.headline =
      fmt::format("1C is {} for this cell: it should hold {} between {} and {} V.", b.one_c_current.text(3),
                  b.equilibrium_capacity.text(3), digits(job.cell.lower_voltage, 3), digits(job.cell.upper_voltage, 3));
  if (b.capacity_ratio) {
    said.headline += fmt::format(" N/P is {}.", b.capacity_ratio->text(3));
    said.assumptions.push_back(
        std::string("N/P: ") + params::capacity_ratio_basis(job.sheet) +
        (job.sheet.formation_loss ? ", of powders as made" : "; the sheet does not tell the first charge"));
  }
  for (const params::RestEnd& end : b.rest_ends) said.headline += " " + end.brief;
  said.sections = {{"Currents for this cell", {currents(job)}, {}, page}, {"The cell in numbers", cell_figures(job)}};
  said.sections.push_back({"", {currents(job)}, {}, static_cast<Places>(terminal | summary)});
  said.all_assumptions_on_terminal = true;
  said.tells_the_cell = true;
  return said;
}

}  // namespace onegrain::app::answer
