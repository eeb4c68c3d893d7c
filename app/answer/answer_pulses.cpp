#include <fmt/format.h>

#include <algorithm>

#include "app/answer/answers.hpp"
#include "app/answer/examination.hpp"
#include "app/answer/measured_words.hpp"
#include "app/answer/numbers.hpp"
#include "app/answer/pulses_words.hpp"
#include "app/command/data.hpp"
#include "app/study/recorded.hpp"
#include "params/text/printable.hpp"

namespace onegrain::app::answer {

using study::JumpResistance;
using study::MeasuredPulse;
using study::PulseReport;
using study::WithinFactor;

namespace {

const Measure per_area = measure<params::ArealResistance>(nullptr, 3), seconds = measure<params::Time>("s", 2),
              millivolt = measure<params::Voltage>("mV", 3), volt = measure<params::Voltage>(),
              diffusivity = measure<params::Diffusivity>("m2/s", 3), per_second{&per_second_kind, nullptr, 3};

bool several_files(const PulseReport& report) { return report.pulses.front().file != report.pulses.back().file; }

std::string name_of_pulse(const PulseReport& report, const MeasuredPulse& p) {
  return (several_files(report) ? file_stem(p.file) + ", " : "") + std::to_string(p.number) +
         (p.interruption ? " (long)" : "");
}

TableCell maybe(const std::optional<double>& value, double factor = 1) {
  return value ? TableCell(factor * *value) : TableCell();
}
std::optional<double> rest_of(const MeasuredPulse& p) { return p.interruption || !p.before ? p.after : p.before; }
/// What the fit says of the resistance, where the pulse is believed.
std::optional<double> resistance_by_fit(const MeasuredPulse& p) {
  return p.reasons.empty() ? p.fitted_resistance : std::nullopt;
}

Table diffusion_table(const PulseReport& report) {
  Table table{"",
              "Diffusion, pulse by pulse",
              {{"", "pulse", {}},
               {"", "rest", volt},
               {"", "stoichiometry", {}},
               {"", "moves", millivolt},
               {"", "D/R2", per_second},
               {"", "D", diffusivity},
               {"", "within a factor", measure<params::Number>(nullptr, 3)},
               {"", "D by square root", diffusivity},
               {"", "which is", {}}},
              {},
              read};
  for (const MeasuredPulse& p : report.pulses) {
    const std::optional<WithinFactor> D =
        p.by_fit ? std::optional(study::diffusivity(report, *p.by_fit)) : std::nullopt;
    const std::optional<WithinFactor> root =
        p.by_square_root ? std::optional(study::diffusivity(report, *p.by_square_root)) : std::nullopt;
    const bool moved = !p.interruption && p.before && p.after;
    table.rows.add({name_of_pulse(report, p), maybe(rest_of(p)),
                    p.stoichiometry ? fmt::format("{:.3f} \u00b1 {:.3f}", *p.stoichiometry, p.stoichiometry_spread)
                                    : std::string("-"),
                    moved ? TableCell(*p.after - *p.before) : TableCell(),
                    p.by_fit ? TableCell(p.by_fit->value) : TableCell(), D ? TableCell(D->value) : TableCell(),
                    D ? TableCell(D->factor) : TableCell(), root ? TableCell(root->value) : TableCell(),
                    D && root ? fmt::format("{:+.0f} %", 100 * (root->value / D->value - 1)) : std::string("-")});
  }
  return table;
}

Table resistance_table(const Job& job, const PulseReport& report) {
  Table table{"",
              "Resistance, pulse by pulse",
              {{"", "pulse", {}},
               {"", "direction", {}},
               {"", "lasts", lasting()},
               {"", "current", measure<params::Current>()},
               {"", "rest", volt},
               {"", "at once", per_area},
               {"", "between rows", lasting()},
               {"", "by the fit", per_area},
               {"", "relaxation", millivolt}},
              {},
              read};
  for (const MeasuredPulse& p : report.pulses) {
    const std::optional<JumpResistance> jump = p.closest_jump();
    table.rows.add({name_of_pulse(report, p), std::string(p.current > 0 ? "charge" : "discharge"), p.duration,
                    std::abs(p.current), maybe(rest_of(p)),
                    jump ? TableCell(job.plate_area() * jump->resistance) : TableCell(),
                    jump ? TableCell(jump->within) : TableCell(), maybe(resistance_by_fit(p), job.plate_area()),
                    maybe(p.relaxation)});
  }
  return table;
}

/// What is true of one pulse, or of several that follow each other: "pulses 1 to 3: ...".
class Remarks {
 public:
  explicit Remarks(bool name_files) : name_files_(name_files) {}
  void add(const MeasuredPulse& p, const std::string& text) {
    for (Remark& r : all_) {
      if (r.file != p.file || r.last + 1 != p.number || r.text != text) continue;
      r.last = p.number;
      return;
    }
    all_.push_back({p.file, p.number, p.number, text});
  }
  void add_to(Section& section, const std::string& title) const {
    if (all_.empty()) return;
    Bullets list{title, {}};
    for (const Remark& r : all_) {
      const std::string pulses =
          r.first == r.last ? fmt::format("pulse {}", r.first) : fmt::format("pulses {} to {}", r.first, r.last);
      list.items.push_back(pulses + (name_files_ ? " of " + r.file : "") + ": " + r.text);
    }
    section.blocks.push_back(std::move(list));
  }

 private:
  struct Remark {
    std::string file;
    int first, last;
    std::string text;
  };
  bool name_files_;
  std::vector<Remark> all_;
};

void add_remarks(Section& section, const PulseReport& report) {
  const bool files = several_files(report);
  Remarks reasons(files), notes(files), places(files);
  for (const MeasuredPulse& p : report.pulses) {
    for (const study::PulseRemark& reason : p.reasons) reasons.add(p, words_of(reason));
    for (const study::PulseRemark& note : p.notes) notes.add(p, words_of(note));
    if (!report.full_cell) places.add(p, words_of(p.stoichiometry_from));
  }
  reasons.add_to(section, "No diffusion coefficient is offered for");
  notes.add_to(section, "Notes");
  places.add_to(section, "Where the stoichiometry comes from");
}

Figure alone(const std::string& key, double value, const Measure& m) {
  Figure figure{key, "", value, m};
  figure.alone = true;
  return figure;
}

/// D and D/R2 of one method.
Figures method_figures(const PulseReport& report, const std::string& key, const WithinFactor& per_R2) {
  const WithinFactor D = study::diffusivity(report, per_R2);
  return {key,
          "",
          {alone("per_R2", per_R2.value, per_second), alone("per_R2_within_factor", per_R2.factor, Measure{}),
           alone("m2_s", D.value, Measure{}), alone("m2_s_within_factor", D.factor, Measure{})}};  // SI is m2/s
}

std::vector<std::string> in_words(const std::vector<study::PulseRemark>& remarks) {
  std::vector<std::string> words;
  words.reserve(remarks.size());
  for (const study::PulseRemark& remark : remarks) words.push_back(words_of(remark));
  return words;
}

/// One pulse in the summary.
std::vector<Block> summary_pulse(const Job& job, const PulseReport& report, const MeasuredPulse& p) {
  const Measure ohm{&resistance_kind}, charge = measure<params::Charge>(), mV = millivolt;
  Facts facts{"",
              {{"file", p.file},
               {"kind", std::string(p.interruption ? "interruption" : "pulse")},
               {"direction", std::string(p.current > 0 ? "charge" : "discharge")},
               {"trusted", p.reasons.empty()},
               {"reasons", in_words(p.reasons)},
               {"notes", in_words(p.notes)}}};
  Figures figures{"", "", {}};
  const auto add = [&](const std::string& key, const std::optional<double>& value, const Measure& m) {
    if (value) figures.figures.push_back(alone(key, *value, m));
  };
  add("number", p.number, counted());
  add("start", p.start, seconds), add("duration", p.duration, seconds);
  add("current", std::abs(p.current), measure<params::Current>()), add("net_charge", p.charge, charge);
  add("rest_before", p.before, volt), add("rest_after", p.after, volt), add("relaxation", p.relaxation, mV);
  if (p.before && p.after && !p.interruption) {
    add("change", *p.after - *p.before, mV);
    add("change_plus_minus", study::normal_95 * p.change_uncertainty, mV);
  }
  if (!report.full_cell) {
    add("stoichiometry", p.stoichiometry, Measure{});
    if (p.stoichiometry) add("stoichiometry_plus_minus", p.stoichiometry_spread, Measure{});
    facts.facts.push_back({"stoichiometry_from", words_of(p.stoichiometry_from)});
  }
  for (const auto& [key, jump] : {std::pair("jump_on", &p.on), std::pair("jump_off", &p.off)}) {
    if (!*jump) continue;
    add(key, (*jump)->resistance, ohm), add(key, job.plate_area() * (*jump)->resistance, per_area);
    add(std::string(key) + "_within", (*jump)->within, seconds);
  }
  if (const auto fitted = resistance_by_fit(p)) {
    add("fitted_resistance", *fitted, ohm), add("fitted_resistance", job.plate_area() * *fitted, per_area);
  }
  if (p.by_fit) add("theta", p.fit.theta, Measure{}), add("misfit", p.fit.misfit, mV);
  std::vector<Block> blocks = {std::move(facts), std::move(figures)};
  if (p.by_fit) blocks.push_back(method_figures(report, "diffusivity_fit", *p.by_fit));
  if (p.by_square_root) blocks.push_back(method_figures(report, "diffusivity_square_root", *p.by_square_root));
  if (p.by_two_points) {
    blocks.push_back(Figures{"diffusivity_two_points",
                             "",
                             {alone("per_R2", *p.by_two_points, per_second),
                              alone("m2_s", *p.by_two_points * report.radius * report.radius, Measure{})}});
  }
  return blocks;
}

void add_example(Section& section, const MeasuredPulse& pulse) {
  const FittedRows all = fitted_rows(pulse);
  FittedRows few;
  const std::size_t every = std::max<std::size_t>(1, all.time.size() / 300);
  for (std::size_t k = 0; k < all.time.size(); k += every) {
    few.time.push_back(all.time[k]);
    few.voltage.push_back(all.voltage[k]);
    few.fitted.push_back(all.fitted[k]);
  }
  section.blocks.push_back(Facts{"pulses.example", {{"file", pulse.file}}});
  section.blocks.push_back(
      Figures{"pulses.example",
              "",
              {alone("number", pulse.number, counted()), alone("duration", pulse.rows.duration, seconds),
               alone("fit_from", pulse.rows.fit_from, seconds)}});
  section.blocks.push_back(Arrays{
      "pulses.example", {{"time", seconds, few.time}, {"voltage", volt, few.voltage}, {"fitted", volt, few.fitted}}});
}

Section summary_section(const Job& job, const PulseReport& report) {
  Section section{"", {}, Section::Beside::none, summary};
  section.blocks.push_back(Facts{"pulses", {{"headline", pulses_headline(report)}, {"method", pulses_method(report)}}});
  Figures figures{
      "pulses",
      "",
      {alone("recorder_step", report.resolution, millivolt), alone("salt_settles", report.salt_settles, seconds)}};
  if (!report.full_cell) {
    figures.figures.push_back(alone("radius", report.radius, measure<params::Length>()));
    figures.figures.push_back(alone("radius_within_factor", report.radius_factor, Measure{}));
  }
  section.blocks.push_back(std::move(figures));
  Listed list{"pulses.pulses", {}};
  for (const MeasuredPulse& p : report.pulses) list.members.push_back(summary_pulse(job, report, p));
  section.blocks.push_back(std::move(list));
  if (const MeasuredPulse* best = best_told(report)) add_example(section, *best);
  return section;
}

/// pulses.csv: one row a pulse.
CurvesTable pulses_curves(const Job& job, const PulseReport& report) {
  CurvesTable course{{{"Pulse", Measure{}},
                      {"Start", measure<params::Time>("s")},
                      {"Duration", measure<params::Time>("s")},
                      {"Current", measure<params::Current>()},
                      {"Rest Before", volt},
                      {"Rest After", volt},
                      {"Relaxation", millivolt},
                      {"Resistance at Once", per_area},
                      {"Resistance of the Fit", per_area}},
                     {}};
  if (!report.full_cell) {
    course.columns.insert(course.columns.end(), {{"Stoichiometry", Measure{}},
                                                 {"D/R2 by the Sphere", per_second},
                                                 {"D by the Sphere", diffusivity},
                                                 {"D Known Within a Factor", Measure{}},
                                                 {"D by the Square Root", diffusivity}});
  }
  for (const MeasuredPulse& p : report.pulses) {
    const auto jump = p.closest_jump();
    const std::optional<double> at_once = jump ? std::optional(jump->resistance) : std::nullopt;
    Row row{static_cast<double>(p.number),
            p.start,
            p.duration,
            p.current,
            maybe(p.before),
            maybe(p.after),
            maybe(p.relaxation),
            maybe(at_once, job.plate_area()),
            maybe(resistance_by_fit(p), job.plate_area())};
    if (!report.full_cell) {
      row.push_back(maybe(p.stoichiometry));
      row.push_back(p.by_fit ? TableCell(p.by_fit->value) : TableCell());
      row.push_back(p.by_fit ? TableCell(study::diffusivity(report, *p.by_fit).value) : TableCell());
      row.push_back(p.by_fit ? TableCell(study::diffusivity(report, *p.by_fit).factor) : TableCell());
      row.push_back(p.by_square_root ? TableCell(study::diffusivity(report, *p.by_square_root).value) : TableCell());
    }
    course.rows.add(row);
  }
  return course;
}

}  // namespace

Answer pulses(const Request& request, const Channels& channels, Job& job) {
  refuse_several_sizes(job, "a relaxation is read as that of grains of one size");
  PulseReport report;
  for (std::size_t k = 1; k < request.files.size(); ++k) {
    const params::Measured data = read_data(request, channels, request.files[k], job.sheet.files);
    require_signs(params::one_line(request.files[k]), data, params::recorded_steps(data.record));
    study::add_pulses(report, job, request.files[k], data.record);
  }
  Answer said;
  said.headline = pulses_headline(report);
  for (const MeasuredPulse& p : report.pulses) {
    const std::optional<JumpResistance> jump = p.closest_jump();
    if (!jump || jump->resistance > 0) continue;
    take(said.findings, Finding{"no_resistance",
                                fmt::format("the voltage jumps against the current at pulse {}: no resistance is below "
                                            "zero. Its rows are out of order, or its current has the wrong sign.",
                                            name_of_pulse(report, p))});
  }
  Section section{"Measured pulses", {}, Section::Beside::none, read};
  if (auto plot = diffusion_plot(report)) section.blocks.push_back(std::move(*plot));
  if (const MeasuredPulse* best = best_told(report)) section.blocks.push_back(pulse_plot(*best));
  if (!report.full_cell) section.blocks.push_back(diffusion_table(report));
  section.blocks.push_back(resistance_table(job, report));
  add_remarks(section, report);
  section.blocks.push_back(Bullets{"How this was obtained", pulses_method(report)});
  said.sections.push_back(std::move(section));
  said.sections.push_back(summary_section(job, report));
  said.more_curves.emplace_back("pulses.csv", pulses_curves(job, report));
  return said;
}

}  // namespace onegrain::app::answer
