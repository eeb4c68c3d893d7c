#include <fmt/format.h>

#include <ostream>

#include "app/answer/document.hpp"
#include "app/answer/words.hpp"
#include "app/job.hpp"
#include "app/render/output.hpp"
#include "app/render/table.hpp"
#include "params/sheet/protocol.hpp"

namespace onegrain::app {

void follow(const Request& request, const Channels& channels) {
  Job job = load_job(request, channels);
  const auto loaded = params::load_protocol(request.protocol, job.sheet, job.base);
  if (!loaded.value) throw UnsoundInput(loaded.faults.text());
  channels.narration << loaded.faults.text();
  job.sheet.files.insert(job.sheet.files.end(), loaded.files.begin(), loaded.files.end());
  const model::Protocol& protocol = *loaded.value;

  solver::Workspace workspace;
  solver::Simulator simulator(job.cell, workspace, {}, job.electrolyte);
  const solver::State start =
      request.from_soc ? simulator.at_rest(model::at_state_of_charge(job.bench.window, *request.from_soc))
                       : solver::start_of(simulator, job.bench.window, solver::starts_with_charge(protocol, job.cell));
  std::vector<NamedStep> steps;
  for (solver::ProtocolStep& step : solver::run_protocol(simulator, start, protocol)) {
    steps.push_back({protocol.steps[static_cast<std::size_t>(step.step)].label, std::move(step)});
  }
  const std::string headline = follow_headline(job, steps);

  nlohmann::json summary = provenance_json(request, job.sheet);
  summary["headline"] = headline;
  nlohmann::json list = nlohmann::json::array();
  for (const NamedStep& s : steps) list.push_back(step_json(job, s));
  summary["steps"] = list;
  summary["warnings"] = job.bench.warnings;
  summary["cautions"] = cautions();

  if (request.json) {
    channels.results << summary.dump(1) << '\n';
  } else {
    std::ostream& out = channels.results;
    out << job.sheet.name << "\n" << wrapped(headline) << "\n";
    Table table({{"step"},
                 {"", Table::Align::left},
                 {"lasts"},
                 {"mAh"},
                 {"V at start"},
                 {"V at end"},
                 {"mA at end"},
                 {"ended by", Table::Align::left}});
    for (const NamedStep& s : steps) {
      const solver::Point first = s.run.solution.first(), last = s.run.solution.last();
      table.add({protocol.repeat > 1 ? fmt::format("{}.{}", s.run.repetition + 1, s.run.step + 1)
                                     : std::to_string(s.run.step + 1),
                 s.label, duration(s.run.solution.duration()),
                 digits(job.milliampere_hours(last.charge - first.charge)), digits(first.terminal.voltage),
                 digits(last.terminal.voltage), digits(job.milliamperes(last.current), 3), ended_by(s.run.solution)});
    }
    out << table.text();
    for (const NamedStep& s : steps) {
      const solver::Trust trust = solver::judge(s.run.solution);
      if (!trust.trusted())
        out << "(?) " << wrapped(fmt::format("{}: not to be relied on: {}", s.label, untrusted(trust)), 100, "    ");
    }
    out << "\n" << wrapped(electrolyte_remark(job.electrolyte)) << "\ncautions:\n";
    for (const std::string& c : cautions()) out << "- " << wrapped(c, 100, "  ");
  }
  if (request.out.empty()) return;
  CurveTable table(job);
  for (std::size_t k = 0; k < steps.size(); ++k) {
    const solver::ProtocolStep& run = steps[k].run;
    table.add(run.solution, solver::moments(run.solution, request.points, true), run.start_time,
              static_cast<int>(k) + 1);
  }
  nlohmann::json document = cell_document(request, job, headline);
  add_protocol(document, job, steps, request.points);
  write_results(request, channels, summary, document, table.text());
}

}  // namespace onegrain::app
