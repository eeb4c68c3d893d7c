#include <fmt/format.h>

#include <ostream>

#include "app/answer/document.hpp"
#include "app/answer/measured_words.hpp"
#include "app/answer/words.hpp"
#include "app/render/output.hpp"
#include "app/render/table.hpp"
#include "app/study/overlay.hpp"

namespace onegrain::app {

namespace {

std::string millivolts_or_dash(const std::optional<double>& value) { return value ? millivolts(*value) : "-"; }

void print(std::ostream& out, const Job& job, const Overlay& overlay) {
  out << job.sheet.name << "\n" << wrapped(overlay_headline(overlay)) << "\n";
  for (const OverlaidRun& run : overlay.runs) {
    const Recording& r = run.recording;
    out << r.file << ": "
        << wrapped(
               fmt::format("{}; {} of {} rows compared{}{}.", answer::start_words(r),
                           r.rows.size() - run.rows_not_reached, r.measured.rows_read,
                           run.rows_not_reached > 0
                               ? fmt::format(", {} lie beyond the end of the model", run.rows_not_reached)
                               : "",
                           r.has_temperature ? "; at the measured temperature" : "; at the temperature of the sheet"),
               100, "  ");
    Table table({{"step"},
                 {"", Table::Align::left},
                 {"rate"},
                 {"degC"},
                 {"rms / mV"},
                 {"mean"},
                 {"largest"},
                 {"mAh measured"},
                 {"predicted"},
                 {"2-95 %: model / mV"},
                 {"one resistance"},
                 {"other cells"}});
    for (const OverlaidStep& s : run.steps) {
      table.add({std::to_string(s.number + 1), params::step_kind_name(s.recorded.kind), nominal_rate(s.c_rate),
                 s.temperature ? digits(*s.temperature - 273.15, 3) : "-", millivolts(s.distance.rms),
                 millivolts(s.distance.mean), millivolts(s.distance.largest),
                 s.c_rate > 0 ? digits(s.capacity / 3.6, 4) : "-",
                 s.model_capacity ? digits(*s.model_capacity / 3.6, 4) : "-", millivolts_or_dash(s.model_rms_there),
                 s.resistance_rms ? millivolts_or_dash(s.resistance_rms) + (s.resistance_fitted_here ? " (fitted)" : "")
                                  : "-",
                 millivolts_or_dash(s.between_cells_rms)});
    }
    out << table.text();
    for (const OverlaidStep& s : run.steps) {
      if (!s.model_ended_by.empty())
        out << wrapped(
            fmt::format("step {}: the model ends before the measurement: {}.", s.number + 1, s.model_ended_by), 100,
            "  ");
      if (!s.trusted)
        out << "(?) "
            << wrapped(fmt::format("step {}: not to be relied on: {}", s.number + 1, s.untrusted_because), 100, "    ");
    }
    out << "\n";
  }
  out << wrapped(
             "Differences are calculated minus measured, weighted with time; what a jump of the current does within a "
             "second is not compared.")
      << "\n";
  const std::string why = why_text(job, overlay);
  if (!why.empty()) out << wrapped(why) << "\n";
  out << wrapped(electrolyte_remark(job.electrolyte)) << "\ncautions:\n";
  for (const std::string& c : cautions()) out << "- " << wrapped(c, 100, "  ");
}

/// The measured and the calculated curves as columns.
std::string curves_of(const Overlay& overlay) {
  std::vector<params::Column> columns;
  for (const char* title : {"Test Time / s", "Voltage / V", "Current / A", "Step", "Calculated Voltage / V", "Run"})
    columns.push_back({title, {}});
  double run_number = 0;
  for (const OverlaidRun& run : overlay.runs) {
    ++run_number;
    for (const OverlaidStep& s : run.steps) {
      for (std::size_t k = 0; k < s.time.size(); ++k) {
        const double row[] = {s.time[k],  s.measured[k], s.current[k], static_cast<double>(s.number + 1),
                              s.model[k], run_number};
        for (std::size_t c = 0; c < columns.size(); ++c) columns[c].values.push_back(row[c]);
      }
    }
  }
  return params::delimited_text(columns);
}

}  // namespace

void overlay(const Request& request, const Channels& channels) {
  Job job = load_job(request, channels);
  const Overlay result = make_overlay(request, channels, job);
  const std::string headline = overlay_headline(result);
  nlohmann::json summary = provenance_json(request, job.sheet);
  summary["headline"] = headline;
  summary["overlay"] = overlay_json(job, result);
  summary["warnings"] = job.bench.warnings;
  summary["cautions"] = cautions();
  if (request.json)
    channels.results << summary.dump(1) << '\n';
  else
    print(channels.results, job, result);
  if (request.out.empty()) return;
  nlohmann::json document = cell_document(request, job, headline);
  document["overlay"] = summary["overlay"];
  write_results(request, channels, summary, document, curves_of(result));
}

}  // namespace onegrain::app
