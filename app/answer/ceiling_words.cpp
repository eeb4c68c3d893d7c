#include "app/answer/ceiling_words.hpp"

#include <fmt/format.h>

#include <cmath>

#include "app/answer/numbers.hpp"
#include "params/sheet/temperature.hpp"

namespace onegrain::app::answer {

using solver::Limit;

bool empties(const Job& job) {
  return !job.cell.is_full_cell() && job.sheet.positive.material.role == params::Role::positive;
}

bool charges(const Job& job) { return job.cell.is_full_cell() || empties(job); }

std::string name_of(Limit limit, const Job& job) {
  const bool full = job.cell.is_full_cell();
  switch (limit) {
    case Limit::plating:
      return full ? "lithium plating on the negative" : "lithium plating on the working electrode";
    case Limit::voltage:
      return charges(job) ? "the upper voltage limit" : "the lower voltage limit";
    case Limit::positive_surface:
      return full ? "grain surfaces of the positive that run empty" : "grain surfaces that run empty";
    case Limit::negative_surface:
      return full ? "grain surfaces of the negative that fill up" : "grain surfaces that fill up";
    case Limit::temperature:
      return "the temperature of the cell";
    case Limit::positive_stress:
      return full ? "cracking of the positive's grains" : "cracking of the grains";
    case Limit::negative_stress:
      return full ? "cracking of the negative's grains" : "cracking of the grains";
    case Limit::salt:
      return "salt that runs out in the pores";
    case Limit::unsolved:
      return "the calculation, which finds no solution for a faster charge";
  }
  return "";
}

std::string quantity_name(Limit limit, const Job& job) {
  const bool full = job.cell.is_full_cell();
  switch (limit) {
    case Limit::plating:
      return full ? "potential of the negative against lithium, at its separator side"
                  : "potential of the working electrode against lithium, at its separator side";
    case Limit::voltage:
      return "voltage at the terminals";
    case Limit::positive_surface:
      return full ? "filling of the positive's grain surfaces" : "filling of the grain surfaces";
    case Limit::negative_surface:
      return full ? "filling of the negative's grain surfaces" : "filling of the grain surfaces";
    case Limit::temperature:
      return "temperature of the cell";
    case Limit::positive_stress:
      return full ? "tension in the positive's grains" : "tension in the grains";
    case Limit::negative_stress:
      return full ? "tension in the negative's grains" : "tension in the grains";
    case Limit::salt:
      return "lowest salt, of its starting concentration";
    case Limit::unsolved:
      return "the calculation";
  }
  return "";
}

std::string rate_words(const Job& job, double current) { return text_of(job.c_rate(current), allowed_rate()); }

std::string current_words(const Job& job, double current) {
  return text_of(current * job.plate_area(), measure<params::Current>(nullptr, 3, Rounding::down));
}

std::string minutes_words(double duration) {
  const double minutes = duration / 60;
  return (minutes >= 10 ? fmt::format("{:.0f}", minutes) : digits(minutes, 3)) + " min";
}

std::string percent(double share) { return fmt::format("{:.4g} %", 100 * share); }

std::string words_of_path(const Job& job, const std::string& path) {
  std::string rest = path, of;
  const auto cut = [&](const std::string& prefix) {
    if (rest.rfind(prefix, 0) != 0) return false;
    rest.erase(0, prefix.size());
    return true;
  };
  if (cut("positive."))
    of = " of the positive";
  else if (cut("negative."))
    of = " of the negative";
  else if (cut("working."))
    of = " of the working electrode";
  else if (cut("electrolyte."))
    of = " of the electrolyte";
  else if (cut("separator."))
    of = " of the separator";
  else if (cut("counter."))
    of = " of the lithium metal";
  const bool material = cut("material.");
  for (const char* form : {"coating.", "layer.", "crystal."}) cut(form);
  if (material) {
    const bool first = path.rfind("positive.", 0) == 0 || path.rfind("working.", 0) == 0;
    if (first || path.rfind("negative.", 0) == 0)
      of = " of " + (first ? job.bench.positive.material : job.bench.negative->material);
  }
  for (char& c : rest) {
    if (c == '_' || c == '.') c = ' ';
  }
  if (rest == "a" || rest == "c" || rest == "b") rest = "lattice parameter " + rest;
  return rest + of;
}

std::string temperature_remark(const Job& job) {
  const std::string unknown = params::unknown_over_temperature(job.sheet);
  if (unknown.empty()) return "";
  if (!params::tells_of_temperature(job.sheet)) {
    return "There is no map over temperature: no activation energy is given for " + unknown +
           ", so that the cold would look nearly as fast as 25 degC. This rate says nothing about a cold cell.";
  }
  return "The map over temperature is too fast in the cold: no activation energy is given for " + unknown +
         ", and the value at 25 degC stands at every temperature.";
}

namespace {

/// How a limit is told: the unit for people with so many decimals, the unit of the summary, that of a distance to it.
struct Told {
  Measure shown, distance_shown;
  int decimals;
  Measure stored, distance_stored;
};

Told told(Limit limit) {
  const Measure volts = measure<params::Voltage>(), millivolts = measure<params::Voltage>("mV"),
                share = measure<params::Fraction>(), celsius = measure<params::Temperature>(),
                kelvin = measure<params::TemperatureDifference>(), stress = measure<params::Pressure>(), pure;
  switch (limit) {
    case Limit::plating:
      return {millivolts, millivolts, 1, volts, volts};
    case Limit::voltage:
      return {volts, volts, 3, volts, volts};
    case Limit::temperature:
      return {celsius, kelvin, 1, celsius, kelvin};
    case Limit::positive_stress:
    case Limit::negative_stress:
      return {stress, stress, 1, stress, stress};
    case Limit::salt:
      return {share, share, 1, pure, pure};
    case Limit::positive_surface:
    case Limit::negative_surface:
    case Limit::unsolved:
      break;
  }
  return {pure, pure, 3, pure, pure};
}

std::string fixed(double si, const Measure& measure, int decimals, Rounding rounding) {
  const double step = std::pow(10.0, decimals), scaled = Scale(measure)(si) * step;
  const double last = rounding == Rounding::down ? std::floor(scaled + 1e-6)
                      : rounding == Rounding::up ? std::ceil(scaled - 1e-6)
                                                 : std::round(scaled);
  const std::string unit = measure.shown_unit();
  return fmt::format("{:.{}f}{}{}", last == 0 ? 0.0 : last / step, decimals, unit.empty() ? "" : " ", unit);
}

/// Pairs of a key and a measure that some limits are stored in; the others have no such key.
const std::vector<std::pair<Measure, Measure>>& stored_in() {
  static const std::vector<std::pair<Measure, Measure>> all = {
      {told(Limit::plating).stored, told(Limit::plating).distance_stored},
      {told(Limit::salt).stored, told(Limit::salt).distance_stored},
      {told(Limit::temperature).stored, told(Limit::temperature).distance_stored},
      {told(Limit::positive_stress).stored, told(Limit::positive_stress).distance_stored}};
  return all;
}

}  // namespace

Table margins_table(const Job& job, const solver::JudgedCharge& charge, bool recommended) {
  Table table{"margins",
              std::string("margins of the cell as the sheet has it, charged at ") +
                  (recommended ? "the recommended rate" : "C/200"),
              {{"limit", "limit", {}},
               {"quantity", "of what", {}, static_cast<Places>(page | summary)},
               {"", "worst", {}, read},
               {"", "allowed", {}, read},
               {"", "left", {}, read},
               {"at_soc", "at state of charge", measure<params::Fraction>(nullptr, 2)},
               {"kept", "kept", {}}},
              {},
              everywhere,
              read};
  for (const auto& [value, distance] : stored_in()) {
    table.columns.push_back({"worst", "", value, summary});
    table.columns.push_back({"allowed", "", value, summary});
    table.columns.push_back({"left", "", distance, summary});
  }
  constexpr double far_above = 0.5;  // V above lithium: a plating limit that nothing comes near to is not listed
  for (const solver::Margin& m : charge.margins) {
    if (m.limit == Limit::plating && m.worst > far_above) continue;
    const Told t = told(m.limit);
    const bool above = solver::must_stay_above(m.limit, charges(job));
    Row row{name_of(m.limit, job),
            quantity_name(m.limit, job),
            fixed(m.worst, t.shown, t.decimals, above ? Rounding::down : Rounding::up),
            (above ? "at least " : "at most ") + fixed(m.allowed, t.shown, t.decimals, Rounding::nearest),
            fixed(m.left, t.distance_shown, t.decimals, Rounding::down),
            m.soc,
            m.kept()};
    for (const auto& [value, distance] : stored_in()) {
      const bool here = value.kind == t.stored.kind;
      for (const double number : {m.worst, m.allowed, m.left}) {
        row.emplace_back();
        if (here) row.back() = number;
      }
    }
    table.rows.add(row);
  }
  return table;
}

}  // namespace onegrain::app::answer
