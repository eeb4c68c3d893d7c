#include <fmt/format.h>

#include <charconv>
#include <cmath>
#include <ostream>

#include "app/answer/document.hpp"
#include "app/answer/words.hpp"
#include "app/render/output.hpp"
#include "app/render/report.hpp"
#include "app/render/table.hpp"
#include "app/study/ceiling.hpp"
#include "params/sheet/protocol.hpp"

namespace onegrain::app {

namespace {

/// "0..0.8" or "10..80 %".
solver::ChargeWindow window_of(const std::string& text) {
  const auto wrong = [&] {
    throw CommandLineError(
        "--soc '" + text +
        "': write two states of charge such as 0..0.8, the first below the second, both from 0 to 1");
  };
  const auto dots = text.find("..");
  if (dots == std::string::npos) wrong();
  const auto number_in = [&](std::string part) {
    double value = std::nan("");
    const auto [end, error] = std::from_chars(part.data(), part.data() + part.size(), value);
    if (error != std::errc{} || end != part.data() + part.size()) wrong();
    return value;
  };
  const solver::ChargeWindow window{number_in(text.substr(0, dots)), number_in(text.substr(dots + 2))};
  if (!(window.from >= 0 && window.from < window.to && window.to <= 1)) wrong();
  return window;
}

CeilingOptions options_of(const Request& request) {
  CeilingOptions options;
  options.soc = window_of(request.soc);
  try {
    options.limits.plating_margin = params::parse<params::Voltage>(request.margin).si();
  } catch (const params::QuantityError& error) {
    throw CommandLineError("--margin '" + request.margin + "': " + error.what());
  }
  if (!(options.limits.plating_margin >= 0 && options.limits.plating_margin <= 0.5)) {
    throw CommandLineError("--margin '" + request.margin + "': outside 0 to 500 mV");
  }
  options.samples = request.samples;
  options.seed = request.seed;
  options.threads = request.threads;
  options.staircase = request.staircase;
  return options;
}

void print(std::ostream& out, const Job& job, const CeilingOptions& options, const CeilingResult& r) {
  out << job.sheet.name << "\n" << wrapped(ceiling_headline(job, options, r)) << "\n\n";
  for (std::size_t k = 0; k < cautions().size(); ++k) out << "- " << wrapped(cautions()[k], 100, "  ");

  Table answers({{"highest charge rate", Table::Align::left}, {"C"}, {"mA"}});
  const auto row = [&](const std::string& name, double i) {
    answers.add({name, digits(job.c_rate(i), 3), digits(job.milliamperes(i), 3)});
  };
  if (!r.currents.empty()) {
    row(fmt::format("that {:.0f} % of the plausible cells survive: the recommendation", 100 * confidence),
        r.recommended);
    row("that half of them survive", r.median);
  }
  row("of the cell as the sheet has it", r.nominal.current);
  row("  had the reaction been taken as even across the coatings", r.even_current);
  row("  what a plain single-particle model would have said", r.plain_current);
  out << "\n" << answers.text();
  if (r.unsolved > 0)
    out << wrapped(
        fmt::format("{} of {} plausible cells could not be solved and count as surviving no rate; the first: {}",
                    r.unsolved, r.currents.size(), r.unsolved_because));

  out << "\nmargins of the cell as the sheet has it, charged at the recommended rate\n";
  Table margins({{"limit", Table::Align::left}, {"worst"}, {"allowed"}, {"left"}, {"at % SOC"}});
  for (const nlohmann::json& m : margins_json(job, r.charge)) {
    margins.add(
        {m["limit"], m["worst"], m["allowed"], m["left"], fmt::format("{:.0f}", 100 * m["at_soc"].get<double>())});
  }
  out << margins.text();

  if (!r.costs.empty()) {
    out << "\nwhat to measure next: the rate if one value were known exactly\n";
    Table costs({{"value", Table::Align::left}, {"now", Table::Align::left}, {"rate, C"}, {"gain, %"}});
    const nlohmann::json list = ceiling_json(job, options, r)["unknowns"];
    for (std::size_t k = 0; k < std::min<std::size_t>(8, list.size()); ++k) {
      costs.add({list[k]["text"], list[k]["value"], digits(list[k]["c_rate_if_known"], 3),
                 digits(list[k]["gain_percent"], 2)});
    }
    out << costs.text();
  }
  if (!r.temperatures.empty()) {
    out << "\nover temperature (common practice: never charge below 0 degC, reduce below 10 degC)\n";
    Table map({{"degC"}, {"nominal, C"}, {"95 %, C"}, {"limited by", Table::Align::left}});
    for (const AtTemperature& t : r.temperatures) {
      map.add({fmt::format("{:.0f}", t.temperature - 273.15), digits(job.c_rate(t.current), 3),
               r.currents.empty() ? "-" : digits(job.c_rate(t.confident_current), 3), name_of(t.limited_by, job)});
    }
    out << map.text();
  }
  if (!r.staircase.steps.empty()) {
    out << "\nstaircase\n";
    Table steps({{"from %"}, {"to %"}, {"C"}, {"mA"}, {"minutes"}, {"limited by", Table::Align::left}});
    for (const solver::StaircaseStep& s : r.staircase.steps) {
      steps.add({fmt::format("{:.0f}", 100 * s.from), fmt::format("{:.0f}", 100 * s.to),
                 digits(job.c_rate(s.current), 3), digits(job.milliamperes(s.current), 4), digits(s.duration / 60, 3),
                 name_of(s.limited_by, job)});
    }
    out << steps.text();
    out << wrapped(fmt::format(
        "{:.0f} min in all; {:.0f} min at the constant ceiling; {} at constant current, then constant voltage.",
        r.staircase.duration() / 60, r.constant_current_time / 60,
        std::isfinite(r.constant_current_constant_voltage_time)
            ? fmt::format("{:.0f} min", r.constant_current_constant_voltage_time / 60)
            : std::string("never")));
  }
  if (!r.no_staircase_because.empty())
    out << "\nwarning: "
        << wrapped("there is no staircase: one of its charges could not be calculated: " + r.no_staircase_because + ".",
                   100, "  ");
  for (const std::string& w : job.bench.warnings) out << "\nwarning: " << wrapped(w, 100, "  ");
}

}  // namespace

void ceiling(const Request& request, const Channels& channels) {
  const CeilingOptions options = options_of(request);
  const Job job = load_job(request, channels);
  const CeilingResult result = find_ceiling(job, options, channels);

  nlohmann::json summary = provenance_json(request, job.sheet);
  summary["headline"] = ceiling_headline(job, options, result);
  summary["ceiling"] = ceiling_json(job, options, result);
  summary["margins"] = margins_json(job, result.charge);
  summary["warnings"] = job.bench.warnings;
  summary["cautions"] = cautions();
  if (request.json)
    channels.results << summary.dump(1) << '\n';
  else
    print(channels.results, job, options, result);
  if (request.out.empty()) return;

  nlohmann::json document = cell_document(request, job, ceiling_headline(job, options, result));
  document["ceiling"] = ceiling_document(job, options, result);
  std::vector<std::pair<std::string, std::string>> more;
  if (!result.staircase.steps.empty()) more.emplace_back("staircase.yaml", staircase_protocol(job, result.staircase));
  write_results(request, channels, summary, document, "", more);
}

}  // namespace onegrain::app
