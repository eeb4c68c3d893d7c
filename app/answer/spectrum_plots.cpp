#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/numbers.hpp"
#include "app/answer/spectrum_words.hpp"

namespace onegrain::app::answer {

using model::Complex, model::ImpedancePart, study::Spectrum;

namespace {

const Measure plotted_ohms{&resistance_kind, nullptr, 4};

const Axis& real_part_axis() {
  static const Axis axis{"Real part", plotted_ohms};
  return axis;
}
const Axis& imaginary_part_axis() {
  static const Axis axis{"Negative imaginary part", plotted_ohms, {0.0}};
  return axis;
}

Axis frequency_axis(const std::vector<double>& frequency) {
  Axis axis{"Frequency", {&frequency_kind, nullptr, 3}};
  axis.logarithmic = true;
  const int low = static_cast<int>(std::floor(std::log10(frequency.back()))),
            high = static_cast<int>(std::ceil(std::log10(frequency.front())));
  for (const int step : {3, 1}) {  // mHz, Hz and kHz first
    for (int k = low; k <= high; ++k) {
      if (step == 1 && k % 3 == 0) continue;
      if (step == 1 || k % 3 == 0) axis.ticks.emplace_back(std::pow(10, k), hertz(std::pow(10, k)));
    }
  }
  return axis;
}

bool is_decade(double frequency) {
  const double log = std::log10(frequency);
  return std::abs(log - std::round(log)) < 1e-6;
}

/// What stands under the pointer at a frequency.
std::vector<std::string> told_at(double frequency, Complex z, const std::string& label) {
  std::vector<std::string> words;
  if (!label.empty()) words.push_back(label);
  words.push_back(hertz(frequency));
  words.push_back(fmt::format("{} ohm, imaginary {} ohm", digits(z.real(), 4), digits(z.imag(), 4)));
  words.push_back(fmt::format("|Z| {} ohm, phase {:.1f} degrees", digits(std::abs(z), 4), 180 / M_PI * std::arg(z)));
  return words;
}

std::string label_of(const std::vector<const Spectrum*>& spectra, const Spectrum& s) {
  return spectra.size() > 1 ? "at " + soc_percent(s.soc) : "";
}

}  // namespace

Plot nyquist_plot(const std::vector<const Spectrum*>& spectra) {
  Plot plot;
  plot.title = "Negative imaginary over real part, on equal axes";
  plot.x = real_part_axis();
  plot.y = imaginary_part_axis();
  plot.x.include = {0.0};
  plot.equal = true;
  plot.names = spectra.size() > 1 ? Plot::Names::right : Plot::Names::none;
  for (std::size_t n = 0; n < spectra.size(); ++n) {
    const Spectrum& s = *spectra[n];
    Series line{label_of(spectra, s), LineRole::in_order, static_cast<int>(n)};
    for (std::size_t k = 0; k < s.frequency.size(); ++k) {
      line.x.push_back(s.whole[k].real());
      line.y.push_back(-s.whole[k].imag());
      line.at_points.push_back(n == 0 && is_decade(s.frequency[k]) ? hertz(s.frequency[k]) : "");
      line.told.push_back(told_at(s.frequency[k], s.whole[k], line.label));
    }
    line.marked = s.frequency.size() <= 40 && spectra.size() == 1;
    plot.series.push_back(std::move(line));
  }
  const Spectrum& s = *spectra.front();
  plot.description = fmt::format(
      "Negative imaginary part over real part, one ohm as long on both axes, from {} at {} ohm to {} at {} ohm.",
      hertz(s.frequency.front()), digits(s.whole.front().real(), 3), hertz(s.frequency.back()),
      digits(s.whole.back().real(), 3));
  return plot;
}

Plot frequency_plot(const std::vector<const Spectrum*>& spectra) {
  Plot plot;
  plot.title = "Impedance against frequency";
  plot.description = "Real part and negative imaginary part against frequency.";
  plot.x = frequency_axis(spectra.front()->frequency);
  plot.y = {"Impedance", plotted_ohms, {0.0}};
  plot.names = Plot::Names::right;
  for (std::size_t n = 0; n < spectra.size(); ++n) {
    const Spectrum& s = *spectra[n];
    const std::string where = spectra.size() > 1 ? " at " + soc_percent(s.soc) : "";
    Series real{"real" + where, LineRole::in_order, static_cast<int>(2 * n)},
        imaginary{"negative imaginary" + where, LineRole::in_order, static_cast<int>(2 * n + 1)};
    for (std::size_t k = s.frequency.size(); k-- > 0;) {  // names stand at the last point, to the right
      for (Series* line : {&real, &imaginary}) {
        line->x.push_back(s.frequency[k]);
        line->told.push_back(told_at(s.frequency[k], s.whole[k], line->label));
      }
      real.y.push_back(s.whole[k].real());
      imaginary.y.push_back(-s.whole[k].imag());
    }
    plot.series.push_back(std::move(real));
    plot.series.push_back(std::move(imaginary));
  }
  return plot;
}

Plot arcs_plot(const Job& job, const Spectrum& s) {
  Plot plot;
  plot.title = fmt::format("Which arc is whose, at {} state of charge", soc_percent(s.soc));
  plot.description = "What every part of the cell would draw alone, one beside the other, with the whole above them.";
  plot.x = real_part_axis();
  plot.y = imaginary_part_axis();
  plot.x.include = {0.0};
  plot.equal = true;
  plot.names = Plot::Names::right;
  Series whole{"the cell", LineRole::measured};
  double highest = 0;
  for (const Complex z : s.whole) {
    whole.x.push_back(z.real());
    whole.y.push_back(-z.imag());
    highest = std::max(highest, -z.imag());
  }
  plot.y.most = highest;
  plot.y.least = 0;
  plot.series.push_back(std::move(whole));
  const std::vector<ImpedancePart> parts = parts_in_order(s);
  const double worth_drawing = 0.003 * s.resistance();
  double from = 0;
  int order = 0;
  for (const ImpedancePart part : parts) {
    const std::size_t which = static_cast<std::size_t>(part);
    const double resistance = s.figures[which].resistance;
    if (resistance > worth_drawing) {
      Series line{name_of(part, job), LineRole::in_order, order++};
      if (!s.figures[which].at) {
        line.x = {from, from + resistance};
        line.y = {0, 0};
      }
      for (std::size_t k = 0; s.figures[which].at && k < s.frequency.size(); ++k) {
        const Complex z = s.parts[k][which];
        line.x.push_back(from + z.real());
        line.y.push_back(-z.imag());
        line.told.push_back({line.label, hertz(s.frequency[k])});
      }
      plot.series.push_back(std::move(line));
    }
    from += resistance;
  }
  return plot;
}

Plot parts_plot(const Job& job, const Spectrum& s) {
  Plot plot;
  plot.title = "The same against frequency";
  plot.description =
      "Negative imaginary part of every part of the cell against frequency: where it stands highest an arc "
      "has its top.";
  plot.x = frequency_axis(s.frequency);
  plot.y = imaginary_part_axis();
  plot.names = Plot::Names::right;
  int order = 0;
  double highest = 0;  // an upright line of the grains would leave no room for the arcs
  for (const ImpedancePart part : parts_in_order(s)) {
    const auto& figure = s.figure(part);
    if (!figure.at || figure.resistance < 0.003 * s.resistance()) continue;
    Series line{name_of(part, job), LineRole::in_order, order++};
    const bool of_grains = part == ImpedancePart::positive_grains || part == ImpedancePart::negative_grains;
    for (std::size_t k = s.frequency.size(); k-- > 0;) {
      line.x.push_back(s.frequency[k]);
      line.y.push_back(-s.parts[k][static_cast<std::size_t>(part)].imag());
      if (!of_grains) highest = std::max(highest, line.y.back());
    }
    plot.series.push_back(std::move(line));
  }
  if (highest > 0) plot.y.most = 1.3 * highest;
  return plot;
}

}  // namespace onegrain::app::answer
