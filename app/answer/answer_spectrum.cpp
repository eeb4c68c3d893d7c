#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>

#include "app/answer/answers.hpp"
#include "app/answer/examination.hpp"
#include "app/answer/measured_spectrum_words.hpp"
#include "app/answer/numbers.hpp"
#include "app/answer/spectrum_words.hpp"
#include "app/answer/words.hpp"

// `spectrum`: impedance predicted from the sheet, and which part of the cell it is of.

namespace onegrain::app::answer {

namespace {

using model::Complex, model::ImpedancePart, study::Spectrum;

const Measure spectrum_ohms{&resistance_kind, nullptr, 4}, spectrum_hertz{&frequency_kind, nullptr, 3},
    soc_measure = measure<params::Fraction>(nullptr, 3);

std::vector<const Spectrum*> stable_ones(const std::vector<Spectrum>& spectra) {
  std::vector<const Spectrum*> list;
  for (const Spectrum& s : spectra)
    if (s.stable()) list.push_back(&s);
  return list;
}

std::string headline_of(const Job& job, const Spectrum& s) {
  const Complex fast = s.impedance(1e3) / job.plate_area(), slow = s.impedance(1) / job.plate_area();
  std::string text = fmt::format(
      "At rest at {} state of charge and {} the cell shows {} ohm at 1 kHz and {} ohm at 1 Hz (real parts).",
      soc_percent(s.soc), params::show(job.cell.temperature, params::Temperature::kind(), 3), digits(fast.real(), 3),
      digits(slow.real(), 3));
  std::vector<ImpedancePart> parts = parts_in_order(s);
  std::stable_sort(parts.begin(), parts.end(),
                   [&](ImpedancePart a, ImpedancePart b) { return s.figure(a).resistance > s.figure(b).resistance; });
  std::vector<std::string> largest;
  for (std::size_t k = 0; k < std::min<std::size_t>(3, parts.size()); ++k)
    largest.push_back(fmt::format("{} ({} ohm)", name_of(parts[k], job), digits(s.figure(parts[k]).resistance, 2)));
  return text + fmt::format(" Towards low frequency its resistance comes to {} ohm; the largest parts are {}.",
                            digits(s.resistance(), 3), listed(largest));
}

Table parts_table(const Job& job, const std::vector<const Spectrum*>& spectra) {
  Table table{"",
              "Parts of the resistance, as the frequency goes to zero, those of high frequency first",
              {{"", "state of charge", soc_measure},
               {"", "part", {}},
               {"", "resistance", Measure{&resistance_kind, nullptr, 3}},
               {"", "per plate area", measure<params::ArealResistance>(nullptr, 3)},
               {"", "of all", soc_measure},
               {"", "seen as", {}},
               {"", "", {}}},
              {},
              read,
              read};
  for (const Spectrum* s : spectra) {
    for (const ImpedancePart part : parts_in_order(*s)) {
      const model::PartFigure& figure = s->figure(part);
      table.rows.add({s->soc, name_of(part, job), figure.resistance, figure.resistance * job.plate_area(),
                      figure.resistance / s->resistance(), seen_as(*s, part), figure.at ? hertz(*figure.at) : ""});
    }
  }
  return table;
}

/// What stands at the top of the page.
Figures important(const Job& job, const Spectrum& s) {
  const Measure three{&resistance_kind, nullptr, 3};
  Figures figures{"", "", {}, page};
  const auto add = [&](const std::string& name, double value) {
    Figure figure{"", name, value, three};
    figure.at_the_top = name;
    figure.note = "at rest at " + soc_percent(s.soc) + " state of charge";
    figures.figures.push_back(std::move(figure));
  };
  add("Real part at 1 kHz", s.impedance(1e3).real() / job.plate_area());
  add("Real part at 1 Hz", s.impedance(1).real() / job.plate_area());
  add("Resistance towards low frequency", s.resistance());
  return figures;
}

/// A few frequencies for the screen; all of them are in curves.csv and the summary.
Table values_table(const std::vector<const Spectrum*>& spectra) {
  Table table{"",
              "Impedance, once a decade; every frequency is in curves.csv and summary.json",
              {{"", "state of charge", soc_measure},
               {"", "frequency", {}},
               {"", "real", spectrum_ohms},
               {"", "imaginary", spectrum_ohms},
               {"", "magnitude", spectrum_ohms},
               {"", "phase", measure<params::Angle>("deg", 3)}},
              {},
              read,
              read};
  for (const Spectrum* s : spectra) {
    double next = INFINITY;
    for (std::size_t k = 0; k < s->frequency.size(); ++k) {
      if (s->frequency[k] > next && k + 1 < s->frequency.size()) continue;
      next = s->frequency[k] / 9.99;
      const Complex z = s->whole[k];
      table.rows.add({s->soc, hertz(s->frequency[k]), z.real(), z.imag(), std::abs(z), std::arg(z)});
    }
  }
  return table;
}

Listed for_the_summary(const Job& job, const std::vector<const Spectrum*>& spectra) {
  Listed list{"spectra", {}};
  for (const Spectrum* s : spectra) {
    const auto alone = [](const char* key, double value, const Measure& measure) {
      Figure figure{key, "", value, measure};
      figure.alone = true;
      return figure;
    };
    Arrays arrays{
        "",
        {{"frequency", spectrum_hertz, s->frequency}, {"real", spectrum_ohms, {}}, {"imaginary", spectrum_ohms, {}}}};
    for (const Complex z : s->whole) {
      arrays.arrays[1].values.push_back(z.real());
      arrays.arrays[2].values.push_back(z.imag());
    }
    Table parts{"parts",
                "",
                {{"part", "", {}}, {"part_resistance", "", spectrum_ohms}, {"part_frequency", "", spectrum_hertz}},
                {},
                summary};
    for (const ImpedancePart part : parts_in_order(*s)) {
      const model::PartFigure& figure = s->figure(part);
      parts.rows.add({name_of(part, job), figure.resistance, figure.at ? TableCell(*figure.at) : TableCell()});
    }
    list.members.push_back(
        {Figures{"",
                 "",
                 {alone("soc", s->soc, soc_measure), alone("rest_voltage", s->voltage, measure<params::Voltage>()),
                  alone("low_frequency_resistance", s->resistance(), spectrum_ohms)},
                 summary},
         std::move(arrays), std::move(parts)});
  }
  return list;
}

/// Columns of the open standard first.
CurvesTable curves_of(const Job& job, const std::vector<const Spectrum*>& spectra) {
  CurvesTable curves{{{"Frequency", spectrum_hertz},
                      {"Real Impedance", spectrum_ohms},
                      {"Imaginary Impedance", spectrum_ohms},
                      {"State of Charge", measure<params::Number>()},
                      {"Rest Voltage", measure<params::Voltage>("V")}},
                     {}};
  const std::vector<ImpedancePart> parts = parts_in_order(*spectra.front());
  for (const ImpedancePart part : parts) {
    std::string name = name_of(part, job);
    name.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(name.front())));
    curves.columns.emplace_back(name + " Real Impedance", spectrum_ohms);
    curves.columns.emplace_back(name + " Imaginary Impedance", spectrum_ohms);
  }
  for (const Spectrum* s : spectra) {
    for (std::size_t k = 0; k < s->frequency.size(); ++k) {
      Row row{s->frequency[k], s->whole[k].real(), s->whole[k].imag(), s->soc, s->voltage};
      for (const ImpedancePart part : parts) {
        row.emplace_back(s->parts[k][static_cast<std::size_t>(part)].real());
        row.emplace_back(s->parts[k][static_cast<std::size_t>(part)].imag());
      }
      curves.rows.add(row);
    }
  }
  return curves;
}

void state_impedance_model(Answer& said, const Job& job) {
  said.assumptions.push_back(model_remark(job));
  said.assumptions.push_back(
      "Impedance: the equations of the cell about rest, for amplitudes small against 26 mV (RT/F). Grains are spheres "
      "of one size; grains of many sizes, films and the passing of current between grains smear arcs and lines out.");
  said.assumptions.push_back(
      "The double layer is thin against the pores and one capacitance per surface; its current feeds the salt as that "
      "of charge transfer does.");
  said.assumptions.push_back(
      job.sheet.inductance ? "Leads: their inductance as the sheet states it."
                           : "Leads: no inductance is stated, so that no spectrum bends below the real axis here.");
  said.assumptions.push_back(
      "Parts of the impedance: in every element its drop times its current (Tellegen's theorem), so that they add up. "
      "Where "
      "the reaction is resolved the pores share the current with the surface at high frequency: both arcs then lean on "
      "each other.");
}

}  // namespace

Answer spectrum(const Request& request, const Channels& channels, Job& job) {
  refuse_several_sizes(job, "the impedance of grains is that of one size");
  const std::vector<double> states = study::states_of_charge(request.states.empty() ? "0.5" : request.states),
                            frequency = study::frequencies(request.frequencies, request.per_decade);
  const std::vector<study::MeasuredBeside> measured = measured_spectra(request, channels, job, states);
  const std::vector<Spectrum> all = study::spectra(job, states, frequency);
  Answer said;
  examine(measured, !request.states.empty(), said);
  for (const Finding& finding : spectrum_findings(job, all)) take(said.findings, finding);
  const std::vector<const Spectrum*> spectra = stable_ones(all);
  const Spectrum& shown = *spectra[spectra.size() / 2];
  said.headline = headline_of(job, shown) + measured_words(job, measured);
  if (!measured.empty()) {
    said.sections.push_back(measured_section(measured));
    said.more_curves.emplace_back("measured.csv", measured_points(measured));
  }
  Section curves{"Impedance over its frequencies", {}, Section::Beside::none, page};
  curves.blocks = {nyquist_plot(spectra), frequency_plot(spectra)};
  Section parts{"Which part of the cell is which part of the spectrum", {}, Section::Beside::none, page};
  parts.blocks = {arcs_plot(job, shown), parts_plot(job, shown)};
  said.sections.push_back(std::move(curves));
  said.sections.push_back(std::move(parts));
  said.sections.push_back({"Parts of the resistance", {important(job, shown), parts_table(job, spectra)}});
  said.sections.push_back({"Impedance in numbers", {values_table(spectra), for_the_summary(job, spectra)}});
  state_impedance_model(said, job);
  said.curves = curves_of(job, spectra);
  return said;
}

}  // namespace onegrain::app::answer
