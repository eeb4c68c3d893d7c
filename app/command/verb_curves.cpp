#include <fmt/format.h>

#include <ostream>

#include "app/answer/document.hpp"
#include "app/answer/words.hpp"
#include "app/job.hpp"
#include "app/render/output.hpp"
#include "app/render/table.hpp"

namespace onegrain::app {

namespace {

std::vector<NamedCurve> run_curves(const Request& request, const Job& job) {
  solver::Workspace workspace;
  solver::Simulator simulator(job.cell, workspace, {}, job.electrolyte);
  std::vector<bool> directions;
  if (request.both || !request.charge) directions.push_back(false);
  if (request.both || request.charge) directions.push_back(true);
  std::vector<NamedCurve> curves;
  for (const bool charge : directions) {
    const solver::State start = request.from_soc
                                    ? simulator.at_rest(model::at_state_of_charge(job.bench.window, *request.from_soc))
                                    : solver::start_of(simulator, job.bench.window, charge);
    for (const params::Rate& rate : params::parse_rates(request.rates, job.base)) {
      const double current = charge ? rate.current_density : -rate.current_density;
      curves.push_back({rate.written, rate.c_rate, solver::constant_current(simulator, start, current)});
    }
  }
  return curves;
}

void print_curves(std::ostream& out, const Job& job, const std::vector<NamedCurve>& curves,
                  const std::string& headline) {
  out << job.sheet.name << "\n" << wrapped(headline) << "\n";
  Table table({{"rate", Table::Align::left},
               {"direction", Table::Align::left},
               {"mA"},
               {"mAh"},
               {"% of rated"},
               {"mean V"},
               {"mWh"},
               {"lasts"},
               {"ended by", Table::Align::left}});
  for (const NamedCurve& c : curves) {
    table.add({c.label, c.curve.is_charge() ? "charge" : "discharge",
               digits(std::abs(job.milliamperes(c.curve.current))), digits(job.milliampere_hours(c.curve.capacity)),
               digits(100 * c.curve.capacity / job.base.one_hour_charge, 3), digits(c.curve.mean_voltage),
               digits(c.curve.energy * job.plate_area() / 3.6), duration(c.curve.step.duration()),
               ended_by(c.curve.step)});
  }
  out << table.text();
  for (const NamedCurve& c : curves) {
    const solver::Trust trust = solver::judge(c.curve.step);
    if (!trust.trusted()) {
      out << "(?) "
          << wrapped(fmt::format("{} {}: not to be relied on: {}", c.label,
                                 c.curve.is_charge() ? "charge" : "discharge", untrusted(trust)),
                     100, "    ");
    }
  }
  for (const std::string& w : job.bench.warnings) out << "\nwarning: " << wrapped(w, 100, "  ");
  out << "\n" << wrapped(electrolyte_remark(job.electrolyte));
  out << "\ncautions:\n";
  for (const std::string& c : cautions()) out << "- " << wrapped(c, 100, "  ");
}

/// Both verbs draw and write the same; they differ in the JSON that a script would read.
void curves_verb(const Request& request, const Channels& channels, bool with_arrays) {
  const Job job = load_job(request, channels);
  const std::vector<NamedCurve> curves = run_curves(request, job);
  const std::string headline = rates_headline(job, curves);

  nlohmann::json summary = provenance_json(request, job.sheet);
  summary["headline"] = headline;
  summary["rated_capacity_mAh"] = number(job.milliampere_hours(job.base.one_hour_charge));
  nlohmann::json list = nlohmann::json::array();
  for (const NamedCurve& c : curves)
    list.push_back(with_arrays ? curve_json(job, c, request.points) : point_json(job, c));
  summary[with_arrays ? "curves" : "points"] = std::move(list);
  summary["warnings"] = job.bench.warnings;
  summary["cautions"] = cautions();

  if (request.json) {
    channels.results << summary.dump(1) << '\n';
  } else {
    print_curves(channels.results, job, curves, headline);
  }
  if (request.out.empty()) return;

  CurveTable table(job);
  double start = 0;
  for (std::size_t k = 0; k < curves.size(); ++k) {
    const solver::StepSolution& step = curves[k].curve.step;
    table.add(step, solver::moments(step, request.points, true), start, static_cast<int>(k) + 1);
    start += step.duration();
  }
  nlohmann::json document = cell_document(request, job, headline);
  add_curves(document, job, curves, request.points);
  write_results(request, channels, summary, document, table.text());
}

}  // namespace

void curve(const Request& request, const Channels& channels) { curves_verb(request, channels, true); }
void rates(const Request& request, const Channels& channels) { curves_verb(request, channels, false); }

}  // namespace onegrain::app
