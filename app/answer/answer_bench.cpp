#include <fmt/format.h>

#include "app/answer/answers.hpp"
#include "app/answer/cell.hpp"
#include "app/answer/numbers.hpp"
#include "app/study/second_phases.hpp"
#include "params/sheet/rate.hpp"
#include "params/sheet/wanted.hpp"
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

std::string with_its_name(const std::string& key) { return key == "working" ? "working electrode" : key; }

/// Which coating gives what is wanted, a sentence or two.
std::string sentence_for(const Job& job, const std::string& text, const params::Wanted& wanted,
                         const params::DrawnCoating& coating) {
  const params::Kind& kind = *coating.reached.kind;
  const bool pressed = wanted.what == params::Wanted::What::porosity;
  std::string said = fmt::format("{}: ", params::one_line(text));
  const std::string thick = params::show(coating.thickness, params::LengthKind::kind, 3);
  if (pressed)
    said += fmt::format("press the {} to {}", with_its_name(wanted.electrode), thick);
  else if (coating.loading)
    said += fmt::format(
        "draw the {} at {} ({} of dry coating on a disc of {}), pressed to {}, which leaves the porosity "
        "that it has",
        with_its_name(wanted.electrode), params::show(*coating.loading, params::LoadingKind::kind, 4),
        params::show(*coating.disc, params::MassKind::kind, 4),
        params::show(job.plate_area(), params::AreaKind::kind, 3), thick);
  else
    said += fmt::format("make the layer of the {} {} thick", with_its_name(wanted.electrode), thick);
  const char* what = pressed || !coating.loading ? "thickness" : "loading";
  if (coating.reached.plus_minus > 0)
    said += fmt::format(". With the spreads of the sheet it comes to {}", coating.reached.text());
  said += fmt::format("; 1 % more {} moves it by {}", what, params::show(coating.by_one_per_cent, kind, 2));
  if (coating.allowed && *coating.allowed > 0) {
    said += fmt::format(". To keep ± {} in 95 % of all cells the {} may be off by ± {} %",
                        params::show(*wanted.tolerance, kind, 3), what, digits(100 * *coating.allowed, 2));
  } else if (coating.allowed) {
    said += fmt::format(
        ". ± {} cannot be kept in 95 % of all cells, however well the {} is met: the other spreads alone "
        "make ± {}",
        params::show(*wanted.tolerance, kind, 3), what, params::show(coating.others, kind, 2));
  }
  said += ".";
  for (const std::string& doubt : coating.doubts) said += " But then: " + doubt + ".";
  return said;
}

/// What to draw for what is wanted; one thing at a time, the rest of the cell as it is.
void add_wanted(Answer& said, const Request& request, const Job& job) {
  if (request.wanted.empty()) return;
  Bullets list;
  Table table{"bench.coatings",
              "",
              {{"wanted", "", {}},
               {"electrode", "", {}},
               {"loading", "", measure<params::Loading>()},
               {"dry_mass", "", measure<params::Mass>()},
               {"drawn_thickness", "", measure<params::Length>()},
               {"allowed_share", "", Measure{}},
               {"text", "", {}}},
              {},
              summary};
  for (const std::string& text : request.wanted) {
    try {
      const params::Wanted wanted = params::parse_wanted(text, job.sheet);
      const params::DrawnCoating coating = params::coating_for(job.sheet, wanted);
      list.items.push_back(sentence_for(job, text, wanted, coating));
      const auto number = [](const std::optional<double>& value) { return value ? TableCell(*value) : TableCell(); };
      table.rows.add({text, wanted.electrode, number(coating.loading), number(coating.disc), coating.thickness,
                      number(coating.allowed), list.items.back()});
    } catch (const params::WantedError& wrong) {
      throw CommandLineError(std::string("--for ") + wrong.what());
    }
  }
  said.headline = list.items.front() + " " + said.headline;
  said.sections.push_back({"Which coating to draw", {list, table}});
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
  add_wanted(said, request, job);
  add_second_phases(said, request, job);
  said.all_assumptions_on_terminal = true;
  said.tells_the_cell = true;
  return said;
}

}  // namespace onegrain::app::answer
