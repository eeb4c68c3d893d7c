#include <fmt/format.h>

#include "app/answer/answers.hpp"
#include "app/answer/cell.hpp"
#include "app/answer/numbers.hpp"
#include "app/study/second_phases.hpp"
#include "params/sheet/rate.hpp"
#include "params/text/printable.hpp"

// `bench`: no study of its own; params::bench() has done the sums.

namespace onegrain::app::answer {

namespace {

std::string shown(double value, const params::Kind& kind, int digits = 3) { return params::show(value, kind, digits); }

/// "3.0 wt% NiO"
std::string phases_of(const params::ElectrodeSheet& electrode) {
  std::string names;
  for (const params::SecondPhase& phase : electrode.phases->others)
    names += (names.empty() ? "" : ", ") + digits(100 * phase.mass.si, 2) + " wt% " + params::one_line(phase.name);
  return names;
}

/// What second phases cost, a sentence each, and the same in the summary.
void add_second_phases(Answer& said, const Request& request, Job& job) {
  if (!job.sheet.positive.phases && !(job.sheet.negative && job.sheet.negative->phases)) return;
  const params::Rate rate = params::parse_rate(request.at_rate, job.base);
  Bullets list;
  Table table{"bench.second_phases",
              "",
              {{"electrode", "", {}},
               {"phases", "", {}},
               {"host_share", "", Measure{}},
               {"powder_capacity", "", measure<params::SpecificCapacity>()},
               {"pure_powder_capacity", "", measure<params::SpecificCapacity>()},
               {"areal_capacity_between_cut_offs", "", measure<params::ArealCapacity>()},
               {"pure_areal_capacity", "", measure<params::ArealCapacity>()},
               {"rate", "", {}},
               {"delivered_capacity", "", measure<params::Charge>()},
               {"pure_delivered_capacity", "", measure<params::Charge>()}},
              {},
              summary};
  for (const study::SecondPhasesCost& cost : study::second_phases(job, rate)) {
    const params::ElectrodeSheet& electrode = cost.key == "negative" ? *job.sheet.negative : job.sheet.positive;
    std::string text =
        fmt::format("{} in the powder of the {} leaves {} % of its volume to the host: ", phases_of(electrode),
                    cost.key == "working" ? "working electrode" : cost.key, digits(100 * cost.host_volume_share, 5));
    if (cost.powder)
      text += fmt::format("{} of powder instead of {}, ", shown(*cost.powder, params::SpecificCapacity::kind(), 4),
                          shown(*cost.pure_powder, params::SpecificCapacity::kind(), 4));
    text += fmt::format("{} instead of {}", shown(cost.areal, params::ArealCapacity::kind(), 4),
                        shown(cost.pure_areal, params::ArealCapacity::kind(), 4));
    if (cost.delivered && cost.pure_delivered)
      text += fmt::format("; at {} the cell gives {} instead of {}", cost.rate,
                          shown(*cost.delivered, params::Charge::kind(), 4),
                          shown(*cost.pure_delivered, params::Charge::kind(), 4));
    list.items.push_back(text + " from the same coating of the host alone.");
    const auto number = [](const std::optional<double>& value) { return value ? TableCell(*value) : TableCell(); };
    table.rows.add({cost.key, phases_of(electrode), cost.host_share, number(cost.powder), number(cost.pure_powder),
                    cost.areal, cost.pure_areal, cost.rate, number(cost.delivered), number(cost.pure_delivered)});
  }
  said.sections.push_back({"What second phases cost", {list, table}});
}

}  // namespace

Answer bench(const Request& request, const Channels&, Job& job) {
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
  add_second_phases(said, request, job);
  said.all_assumptions_on_terminal = true;
  said.tells_the_cell = true;
  return said;
}

}  // namespace onegrain::app::answer
