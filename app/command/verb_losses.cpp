#include <fmt/format.h>

#include <algorithm>
#include <ostream>

#include "app/answer/document.hpp"
#include "app/answer/words.hpp"
#include "app/render/output.hpp"
#include "app/render/table.hpp"
#include "app/study/losses.hpp"

namespace onegrain::app {

namespace {

void print(std::ostream& out, const Job& job, const LossReport& r) {
  out << job.sheet.name << "\n" << wrapped(losses_headline(job, r)) << "\n";
  const nlohmann::json json = losses_json(job, r);
  Table parts({{"where it goes", Table::Align::left}, {"mAh"}, {"% of missing"}, {"mWh"}});
  for (const nlohmann::json& p : json["parts"]) {
    parts.add({p["loss"], digits(p["capacity_mAh"], 3),
               fmt::format("{:.1f}", 100 * p["share_of_missing"].get<double>()), digits(p["energy_mWh"], 3)});
  }
  parts.add(
      {"all that is missing", digits(json["missing_capacity_mAh"], 3), "100.0", digits(json["missing_energy_mWh"], 3)});
  out << parts.text();
  out << wrapped(
             "Each share is the Shapley value over all orders in which the losses could be switched off, so that they "
             "add up.")
      << "\n\n";
  Table levers({{"change at the bench, at the same C-rate", Table::Align::left},
                {"% given"},
                {"gain, points"},
                {"mAh/cm2"},
                {"mWh/cm2"}});
  for (const Lever& l : r.levers) {
    if (!l.possible) {
      levers.add({l.change, "-", "-", "-", "-"});
      continue;
    }
    levers.add({l.change, fmt::format("{:.1f}", 100 * l.share), fmt::format("{:+.1f}", 100 * l.gained_share),
                digits(l.capacity / 36000, 3), digits(l.energy / 36000, 3)});
  }
  out << levers.text() << "\nside effects:\n";
  for (const Lever& l : r.levers) out << "- " << wrapped(l.change + ": " + l.side_effect, 100, "  ");
  for (const std::string& w : job.bench.warnings) out << "\nwarning: " << wrapped(w, 100, "  ");
  out << "\n" << wrapped(electrolyte_remark(job.electrolyte)) << "\ncautions:\n";
  for (const std::string& c : cautions()) out << "- " << wrapped(c, 100, "  ");
}

}  // namespace

void losses(const Request& request, const Channels& channels) {
  const Job job = load_job(request, channels);
  const LossReport report = find_losses(request, job);
  nlohmann::json summary = provenance_json(request, job.sheet);
  summary["headline"] = losses_headline(job, report);
  summary["losses"] = losses_json(job, report);
  summary["warnings"] = job.bench.warnings;
  summary["cautions"] = cautions();
  if (request.json)
    channels.results << summary.dump(1) << '\n';
  else
    print(channels.results, job, report);
  if (request.out.empty()) return;

  CurveTable table(job);
  const solver::StepSolution& step = report.curve.curve.step;
  table.add(step, solver::moments(step, request.points, true), 0, 1);
  nlohmann::json document = cell_document(request, job, losses_headline(job, report));
  document["losses"] = losses_json(job, report);
  add_curves(document, job, {report.curve}, request.points);
  write_results(request, channels, summary, document, table.text());
}

}  // namespace onegrain::app
