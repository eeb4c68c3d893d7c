#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <ostream>

#include "app/answer/measured_spectrum_words.hpp"
#include "app/answer/numbers.hpp"
#include "app/answer/spectrum_words.hpp"
#include "app/answer/words.hpp"
#include "params/text/printable.hpp"

namespace onegrain::app::answer {

using model::Complex, study::MeasuredBeside;

namespace {

const Measure shown_ohms{&resistance_kind, nullptr, 4}, shown_hertz{&frequency_kind, nullptr, 4};
constexpr double much = 0.3;         // misfit that no cell of the same design shows (common practice)
constexpr double felt_leads = 0.05;  // inductive share of |Z| at the highest frequency that is worth a word

std::string ohm(double value) { return digits(value, 3) + " ohm"; }

/// "below 56 mHz", "at 18 Hz", "at 11 points between 3.2 mHz and 56 mHz".
std::string where_it_fails(const MeasuredBeside& m) {
  std::vector<std::size_t> failing;
  for (std::size_t k = 0; k < m.data.size(); ++k)
    if (!m.test.passes[k]) failing.push_back(k);
  const std::size_t first = failing.front(), last = failing.back(), all = m.data.size();
  if (failing.size() == 1) return "at " + hertz(m.data.frequency[first]);
  const bool together = last - first + 1 == failing.size();
  if (together && last + 1 == all) return "from " + hertz(m.data.frequency[first]) + " downwards";
  if (together && first == 0) return "from " + hertz(m.data.frequency[last]) + " upwards";
  return fmt::format("between {} and {}", hertz(m.data.frequency[last]), hertz(m.data.frequency[first]));
}

std::string why_it_fails(const MeasuredBeside& m) {
  const bool slow = !m.test.passes.back(), fast = !m.test.passes.front();
  if (slow && !fast)
    return "the cell drifted while its slow points were taken: let it rest longer, or stop at a higher frequency";
  if (fast && !slow) return "leads or the instrument are seen there: shorten the leads, use four of them";
  return "a contact moved, or something else disturbed the measurement: repeat it";
}

Series measured_line(const MeasuredBeside& m, bool passing, int order) {
  Series line{passing ? "measured" : "left out", passing ? LineRole::measured : LineRole::other, order};
  line.joined = false;
  line.marked = true;
  for (std::size_t k = 0; k < m.data.size(); ++k) {
    if (m.test.passes[k] != passing) continue;
    line.x.push_back(m.data.real[k]);
    line.y.push_back(-m.data.imaginary[k]);
    line.told.push_back({hertz(m.data.frequency[k]), fmt::format("{} ohm, imaginary {} ohm", digits(m.data.real[k], 4),
                                                                 digits(m.data.imaginary[k], 4))});
  }
  return line;
}

Plot over_each_other(const MeasuredBeside& m) {
  Plot plot;
  plot.title = m.data.name + ", and the prediction at " + soc_percent(m.predicted.soc);
  plot.description = fmt::format(
      "Negative imaginary part over real part: measured from {} to {}, and predicted at the same frequencies.",
      hertz(m.data.frequency.front()), hertz(m.data.frequency.back()));
  plot.x = {"Real part", shown_ohms, {0.0}};
  plot.y = {"Negative imaginary part", shown_ohms, {0.0}};
  plot.equal = true;
  plot.names = Plot::Names::right;
  plot.series.push_back(measured_line(m, true, 0));
  if (m.test.failing() > 0) plot.series.push_back(measured_line(m, false, 0));
  Series line{"predicted"};
  for (std::size_t k = 0; k < m.data.size(); ++k) {
    line.x.push_back(m.predicted.whole[k].real());
    line.y.push_back(-m.predicted.whole[k].imag());
    line.told.push_back({"predicted", hertz(m.data.frequency[k])});
  }
  plot.series.push_back(std::move(line));
  return plot;
}

Plot residuals(const MeasuredBeside& m) {
  Plot plot;
  plot.title = "What no linear cell at rest can show";
  plot.description =
      "Measured less what fits the relations of Kramers and Kronig, over the magnitude, against frequency.";
  plot.x = {"Frequency", shown_hertz};
  plot.x.logarithmic = true;
  for (double f = std::pow(10, std::ceil(std::log10(m.data.frequency.back()))); f <= m.data.frequency.front(); f *= 10)
    plot.x.ticks.emplace_back(f, hertz(f));
  plot.y = {"Residual over magnitude", measure<params::Fraction>(nullptr, 2), {-m.test.limit, m.test.limit}};
  plot.low = true;
  plot.names = Plot::Names::right;
  plot.levels = {{m.test.limit, ""}, {-m.test.limit, "limit of the test"}};
  Series real{"real", LineRole::predicted}, imaginary{"imaginary", LineRole::other};
  for (std::size_t k = m.data.size(); k-- > 0;) {
    for (Series* line : {&real, &imaginary}) line->x.push_back(m.data.frequency[k]);
    real.y.push_back(m.test.residuals[k].real());
    imaginary.y.push_back(m.test.residuals[k].imag());
  }
  for (Series* line : {&real, &imaginary}) {
    line->marked = true;
    plot.series.push_back(std::move(*line));
  }
  return plot;
}

/// The point next to a frequency; none where the spectrum does not come near it.
std::optional<std::size_t> point_near(const MeasuredBeside& m, double frequency) {
  std::size_t nearest = 0;
  for (std::size_t k = 1; k < m.data.size(); ++k)
    if (std::abs(std::log(m.data.frequency[k] / frequency)) < std::abs(std::log(m.data.frequency[nearest] / frequency)))
      nearest = k;
  return std::abs(std::log(m.data.frequency[nearest] / frequency)) < 0.5 ? std::optional(nearest) : std::nullopt;
}

Table numbers(const std::vector<MeasuredBeside>& measured) {
  Table table{"",
              "Measured and predicted, once a decade",
              {{"", "file", {}},
               {"", "frequency", {}},
               {"", "real measured", shown_ohms},
               {"", "predicted", shown_ohms},
               {"", "imaginary measured", shown_ohms},
               {"", "predicted", shown_ohms},
               {"", "", {}}},
              {},
              read,
              read};
  for (const MeasuredBeside& m : measured) {
    for (int decade = 6; decade >= -5; --decade) {
      const auto k = point_near(m, std::pow(10, decade));
      if (!k) continue;
      table.rows.add({m.data.name, hertz(m.data.frequency[*k]), m.data.real[*k], m.predicted.whole[*k].real(),
                      m.data.imaginary[*k], m.predicted.whole[*k].imag(), m.test.passes[*k] ? "" : "left out"});
    }
  }
  return table;
}

Table for_the_summary(const std::vector<MeasuredBeside>& measured) {
  Table table{"measured",
              "",
              {{"file", "", {}},
               {"soc", "", measure<params::Fraction>()},
               {"points_measured", "", counted()},
               {"points_failing", "", counted()},
               {"misfit_share", "", measure<params::Fraction>()},
               {"noise_share", "", measure<params::Fraction>()},
               {"series_resistance", "", shown_ohms},
               {"model_series_resistance", "", shown_ohms},
               {"frequency", "", shown_hertz},
               {"real", "", shown_ohms},
               {"imaginary", "", shown_ohms},
               {"model_real", "", shown_ohms},
               {"model_imaginary", "", shown_ohms}},
              {},
              summary};
  for (const MeasuredBeside& m : measured) {
    std::vector<double> real, imaginary;
    for (const Complex z : m.predicted.whole) {
      real.push_back(z.real());
      imaginary.push_back(z.imag());
    }
    table.rows.add({m.data.name, m.predicted.soc, static_cast<double>(m.data.size()),
                    static_cast<double>(m.test.failing()), m.misfit, m.test.noise, m.series_measured,
                    m.series_predicted, m.data.frequency, m.data.real, m.data.imaginary, real, imaginary});
  }
  return table;
}

}  // namespace

std::vector<MeasuredBeside> measured_spectra(const Request& request, const Channels& channels, Job& job,
                                             const std::vector<double>& states) {
  const std::size_t count = request.files.size() - 1;
  if (count > 0 && states.size() != 1 && states.size() != count)
    throw CommandLineError(fmt::format(
        "--from-soc: {} states for {} measured spectra; give one for all, or one for each", states.size(), count));
  std::vector<MeasuredBeside> measured;
  for (std::size_t k = 0; k < count; ++k) {
    auto loaded = params::load_spectrum(request.files[k + 1], request.columns);
    if (!loaded.value) throw UnsoundInput(loaded.faults.text());
    const params::MeasuredSpectrum& data = *loaded.value;
    if (!channels.quiet)
      channels.narration << params::one_line(data.name) << ": " << data.rows_read << " rows read, " << data.left_out
                         << " left out; " << params::one_line(data.columns) << '\n';
    job.sheet.files.insert(job.sheet.files.end(), loaded.files.begin(), loaded.files.end());
    measured.push_back(study::beside_measured(job, std::move(*loaded.value), states[states.size() == 1 ? 0 : k]));
  }
  return measured;
}

void examine(const std::vector<MeasuredBeside>& measured, bool state_told, Answer& said) {
  if (!measured.empty() && !state_told)
    take(said.findings, Finding{"state_not_told",
                                "the state of charge of the measured spectrum is not told, and half full is taken: say "
                                "it, --from-soc 0.8."});
  for (const MeasuredBeside& m : measured) {
    if (m.test.failing() > 0)
      take(said.findings,
           Finding{
               "kramers_kronig",
               fmt::format("{} of {} points of {} ({}) cannot be those of a linear cell at rest and are left out: {}.",
                           m.test.failing(), m.data.size(), m.data.name, where_it_fails(m), why_it_fails(m))});
    if (m.data.turned)
      said.warnings.push_back(m.data.name +
                              ": the imaginary part is positive over most frequencies, as no cell at rest is; it was "
                              "taken as the negative imaginary part");
    if (m.data.further_sweeps > 0)
      said.warnings.push_back(fmt::format("{}: {} further sweep{} of the frequency in the same file {} not taken",
                                          m.data.name, m.data.further_sweeps, m.data.further_sweeps == 1 ? "" : "s",
                                          m.data.further_sweeps == 1 ? "was" : "were"));
    if (m.misfit > much)
      take(said.findings,
           Finding{"measured_apart", fmt::format("the prediction misses {} by {} % of its magnitude: the sheet is not "
                                                 "that of this cell, or not in this state.",
                                                 m.data.name, digits(100 * m.misfit, 2))});
  }
}

std::string measured_words(const Job& job, const std::vector<MeasuredBeside>& measured) {
  std::string words;
  for (const MeasuredBeside& m : measured) {
    const double more = m.series_measured - m.series_predicted;
    words += fmt::format(
        " Measured in {}: the prediction misses it by {} % of its magnitude, most at {}. It meets the real axis at {}, "
        "predicted {}",
        m.data.name, digits(100 * m.misfit, 2), hertz(m.data.frequency[m.worst]), ohm(m.series_measured),
        ohm(m.series_predicted));
    if (std::abs(more) > 0.05 * m.series_measured)
      words += fmt::format(": contact, leads and electrolyte have {} {} than the sheet says ({} ohm.cm2)",
                           ohm(std::abs(more)), more > 0 ? "more" : "less",
                           digits(std::abs(more) * job.plate_area() * 1e4, 2));
    words += ".";
    const double leads = 2 * M_PI * m.data.frequency.front() * m.test.inductance / std::abs(m.measured(0));
    if (leads > felt_leads && !job.sheet.inductance)
      words += fmt::format(" Its leads have about {} nH; the sheet knows none (`inductance`).",
                           digits(m.test.inductance * 1e9, 2));
  }
  return words;
}

Section measured_section(const std::vector<MeasuredBeside>& measured) {
  Section section{"Measured and predicted", {}, Section::Beside::two};
  for (const MeasuredBeside& m : measured) {
    section.blocks.push_back(over_each_other(m));
    section.blocks.push_back(residuals(m));
  }
  section.blocks.push_back(numbers(measured));
  section.blocks.push_back(for_the_summary(measured));
  return section;
}

CurvesTable measured_points(const std::vector<MeasuredBeside>& measured) {
  CurvesTable table{{{"Frequency", shown_hertz},
                     {"Real Impedance", shown_ohms},
                     {"Imaginary Impedance", shown_ohms},
                     {"Predicted Real Impedance", shown_ohms},
                     {"Predicted Imaginary Impedance", shown_ohms},
                     {"Residual of the Real Part", measure<params::Number>(nullptr, 4)},
                     {"Residual of the Imaginary Part", measure<params::Number>(nullptr, 4)},
                     {"Left Out", measure<params::Number>()},
                     {"File", counted()}},
                    {}};
  for (std::size_t n = 0; n < measured.size(); ++n) {
    const MeasuredBeside& m = measured[n];
    for (std::size_t k = 0; k < m.data.size(); ++k)
      table.rows.add({m.data.frequency[k], m.data.real[k], m.data.imaginary[k], m.predicted.whole[k].real(),
                      m.predicted.whole[k].imag(), m.test.residuals[k].real(), m.test.residuals[k].imag(),
                      m.test.passes[k] ? 0.0 : 1.0, static_cast<double>(n + 1)});
  }
  return table;
}

}  // namespace onegrain::app::answer
