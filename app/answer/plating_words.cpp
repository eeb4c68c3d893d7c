#include "app/answer/plating_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/numbers.hpp"
#include "app/answer/words.hpp"

namespace onegrain::app::answer {

namespace {

/// Rounded to its dangerous side: down.
std::string mV(double volts) {
  const double value = 1e3 * volts, step = std::abs(value) < 10 ? 10 : 1;
  const double down = std::floor(value * step + 1e-6) / step;
  return fmt::format("{:.{}f} mV", down == 0 ? 0.0 : down, step > 1 ? 1 : 0);
}

const char* electrode_of(const Job& job) { return job.cell.is_full_cell() ? "negative" : "working electrode"; }

/// "-117 mV: can plate", "4.1 mV: too near", "35 mV"; nothing where there is no such potential.
std::string lowest_words(const Job& job, const std::optional<study::SeparatorSide>& side) {
  if (!side) return "";
  const double lowest = side->lowest();
  const std::string value = mV(lowest);
  if (lowest < 0) return value + ": can plate";
  return value + (lowest < study::plating_margin(job.cell) ? ": too near" : "");
}

}  // namespace

std::string few(std::vector<std::string> names) {
  constexpr std::size_t most = 5;
  if (names.size() > most) {
    const std::size_t more = names.size() - (most - 1);
    names.resize(most - 1);
    names.push_back(fmt::format("{} more", more));
  }
  return listed(names);
}

std::string charging(const Job& job, const std::string& at) {
  return (job.cell.is_full_cell() ? "Charging at " : "Lithiating at ") + at;
}

void PlatingTold::add(const std::string& name, const std::string& what, const study::Plating& found) {
  all_.push_back({name, what, found});
}

std::string PlatingTold::warning(const One& one) const {
  const study::Plating& found = one.found;
  const auto from = [&](double charge) {
    const double passed = job_.milliampere_hours(charge);
    return passed > 0 ? fmt::format("from {} mAh on", digits(passed, 3)) : std::string("from the start");
  };
  std::string text = one.what + ": ";
  if (found.charge_at_lithium) {
    text += fmt::format(
        "{} the {} falls below 0 V against lithium at the side of the separator, to {} at the lowest: lithium metal "
        "can plate on it.",
        from(*found.charge_at_lithium), electrode_of(job_), mV(found.lowest));
    return text;
  }
  return text + fmt::format(
                    "{} the {} lies less than {} above lithium at the side of the separator, {} at the lowest: inside "
                    "the margin that a charge ceiling keeps from plating.",
                    from(found.first_charge), electrode_of(job_), mV(found.kept), mV(found.lowest));
}

std::string PlatingTold::sentence() const {
  std::vector<std::string> plating, near;
  double lowest = 0, nearest = INFINITY;
  for (const One& one : all_) {
    (one.found.can_plate() ? plating : near).push_back(one.name);
    if (one.found.can_plate())
      lowest = std::min(lowest, one.found.lowest);
    else
      nearest = std::min(nearest, one.found.lowest);
  }
  std::string text;
  if (!plating.empty())
    text = fmt::format("lithium can plate at {}: the {} falls below 0 V against lithium there, to {} at the lowest.",
                       few(plating), electrode_of(job_), mV(lowest));
  if (!near.empty())
    text += fmt::format("{} {} the {} comes to {} of lithium's potential, inside the margin of {}.",
                        text.empty() ? "at" : " At", few(near), electrode_of(job_), mV(nearest),
                        mV(all_.front().found.kept));
  return text;
}

void PlatingTold::tell(Answer& said) const {
  if (all_.empty()) return;
  take(said.findings, Finding{"plating", sentence()});
  std::vector<std::string> names;
  for (const One& one : all_) {
    said.warnings.push_back(warning(one));
    names.push_back(one.name);
  }
  said.cautions.push_back(
      fmt::format("Do not {} this cell at {} on this prediction: lithium that plates can grow through the separator "
                  "and short the cell. `onegrain ceiling` names the rate that keeps clear of it.",
                  job_.cell.is_full_cell() ? "charge" : "lithiate", few(names)));
  said.recommends = true;
}

std::vector<TableColumn> lowest_columns(const Job& job) {
  return {{"", job.cell.is_full_cell() ? "negative, lowest" : "against lithium, lowest", {}, read},
          {"lowest_separator_side", "", measure<params::Voltage>(), summary}};
}

void add_lowest(Row& row, const Job& job, const std::optional<study::SeparatorSide>& side) {
  row.emplace_back(lowest_words(job, side));
  row.push_back(side ? TableCell(side->lowest()) : TableCell());
}

}  // namespace onegrain::app::answer
