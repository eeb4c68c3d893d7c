#include <fmt/format.h>

#include <ostream>

#include "app/answer/document.hpp"
#include "app/answer/words.hpp"
#include "app/command/data.hpp"
#include "app/render/output.hpp"
#include "app/render/table.hpp"
#include "app/study/pulses.hpp"

namespace onegrain::app {

namespace {

/// What is true of one pulse, or of several that follow each other.
struct Remark {
  std::string file;
  int first, last;
  std::string text;
};

void add(std::vector<Remark>& remarks, const MeasuredPulse& p, const std::string& text) {
  for (Remark& r : remarks) {
    if (r.file == p.file && r.last + 1 == p.number && r.text == text) {
      r.last = p.number;
      return;
    }
  }
  remarks.push_back({p.file, p.number, p.number, text});
}

void print(std::ostream& out, const char* heading, const std::vector<Remark>& remarks, bool name_files) {
  if (!remarks.empty()) out << "\n" << heading << "\n";
  for (const Remark& r : remarks) {
    const std::string pulses =
        r.first == r.last ? fmt::format("pulse {}", r.first) : fmt::format("pulses {} to {}", r.first, r.last);
    out << "- " << wrapped(pulses + (name_files ? " of " + r.file : "") + ": " + r.text, 100, "  ");
  }
}

void print(std::ostream& out, const Job& job, const PulseReport& report) {
  out << job.sheet.name << "\n" << wrapped(pulses_headline(report));
  const double area = job.plate_area() * 1e4;
  for (std::size_t first = 0; first < report.pulses.size();) {
    const std::string& file = report.pulses[first].file;
    Table resistances({{"pulse"},
                       {"lasts"},
                       {"mA"},
                       {"rest, V"},
                       {"at once, ohm.cm2"},
                       {"within, s"},
                       {"fit, ohm.cm2"},
                       {"relaxation, mV"}});
    Table diffusion({{"pulse"},
                     {"rest, V"},
                     {"x"},
                     {"moves, mV"},
                     {"D/R2, 1/s"},
                     {"D, m2/s"},
                     {"within"},
                     {"D by square root"},
                     {"which is"}});
    for (; first < report.pulses.size() && report.pulses[first].file == file; ++first) {
      const MeasuredPulse& p = report.pulses[first];
      const std::optional<Jump> jump = p.closest_jump();
      const std::string name = std::to_string(p.number) + (p.interruption ? " (long)" : ""),
                        rest = digits(p.interruption || !p.before ? p.after.value_or(NAN) : *p.before);
      resistances.add({name, duration(p.duration), digits(1e3 * p.current), rest,
                       jump ? digits(area * jump->resistance, 3) : "-", jump ? digits(jump->within, 2) : "-",
                       p.reasons.empty() && p.fitted_resistance ? digits(area * *p.fitted_resistance, 3) : "-",
                       digits(1e3 * p.relaxation.value_or(NAN), 3)});
      std::vector<std::string> cells = {
          name, rest, p.stoichiometry ? fmt::format("{:.3f} ± {:.3f}", *p.stoichiometry, p.stoichiometry_spread) : "-",
          p.interruption || !p.before || !p.after ? "-" : fmt::format("{:.2f}", 1e3 * (*p.after - *p.before))};
      if (p.by_fit) {
        const WithinFactor D = diffusivity(report, *p.by_fit);
        cells.insert(cells.end(), {digits(p.by_fit->value, 3), digits(D.value, 3), fmt::format("x/ {:.2f}", D.factor)});
      } else {
        cells.insert(cells.end(), {"-", "-", "-"});
      }
      cells.push_back(p.by_square_root ? digits(report.radius * report.radius * p.by_square_root->value, 3) : "-");
      cells.push_back(p.by_fit && p.by_square_root
                          ? fmt::format("{:+.0f} %", 100 * (p.by_square_root->value / p.by_fit->value - 1))
                          : "-");
      diffusion.add(std::move(cells));
    }
    out << "\n" << file << "\n";
    if (!report.full_cell) out << diffusion.text() << "\n";
    out << resistances.text();
  }

  const bool several = report.pulses.front().file != report.pulses.back().file;
  std::vector<Remark> reasons, notes, places;
  for (const MeasuredPulse& p : report.pulses) {
    for (const std::string& reason : p.reasons) add(reasons, p, reason);
    for (const std::string& note : p.notes) add(notes, p, note);
    if (!report.full_cell) add(places, p, p.stoichiometry_from);
  }
  print(out, "no diffusion coefficient is offered for", reasons, several);
  print(out, "notes:", notes, several);
  print(out, "stoichiometry x from", places, several);
  out << "\n";
  for (const std::string& line : pulses_method(report)) out << wrapped(line);
  for (const std::string& w : job.bench.warnings) out << "\nwarning: " << wrapped(w, 100, "  ");
  out << "\ncautions:\n";
  for (const std::string& c : cautions()) out << "- " << wrapped(c, 100, "  ");
}

}  // namespace

void pulses(const Request& request, const Channels& channels) {
  Job job = load_job(request, channels);
  PulseReport report;
  for (std::size_t k = 1; k < request.files.size(); ++k) {
    const params::Measured data = read_data(request, channels, request.files[k], job.sheet.files);
    add_pulses(report, job, request.files[k], data.record);
  }
  nlohmann::json summary = provenance_json(request, job.sheet);
  summary["headline"] = pulses_headline(report);
  summary["pulses"] = pulses_json(job, report);
  summary["warnings"] = job.bench.warnings;
  summary["cautions"] = cautions();
  if (request.json)
    channels.results << summary.dump(1) << '\n';
  else
    print(channels.results, job, report);
  if (request.out.empty()) return;
  nlohmann::json document = cell_document(request, job, pulses_headline(report));
  document["pulses"] = summary["pulses"];
  write_results(request, channels, summary, document, "", {{"pulses.csv", pulses_table(job, report)}});
}

}  // namespace onegrain::app
