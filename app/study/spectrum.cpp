#include "app/study/spectrum.hpp"

#include <algorithm>
#include <cmath>

namespace onegrain::app::study {

namespace {

constexpr double lowest_frequency = 1e-7, highest_frequency = 1e9;  // Hz; half a year, and far beyond any instrument
constexpr std::size_t most_states = 50, most_frequencies = 2000;

std::vector<double> numbers_of(const std::string& option, const std::string& text, double least, double most,
                               const std::string& expected) {
  std::vector<double> numbers;
  std::size_t from = 0;
  while (from <= text.size()) {
    const std::size_t to = std::min(text.find(',', from), text.size());
    const std::string word = text.substr(from, to - from);
    const auto value = params::parse_number(word);
    if (!value || !(*value >= least && *value <= most))
      throw CommandLineError(option + " '" + text + "': '" + word + "' is not " + expected);
    numbers.push_back(*value);
    from = to + 1;
  }
  return numbers;
}

}  // namespace

double Spectrum::resistance() const {
  double sum = 0;
  for (const model::PartFigure& part : figures) sum += part.resistance;
  return sum;
}

std::vector<double> states_of_charge(const std::string& text) {
  std::vector<double> states = numbers_of("--from-soc", text, 0, 1, "a state of charge; write numbers from 0 to 1");
  if (states.size() > most_states) throw CommandLineError("--from-soc: 50 states of charge at most");
  return states;
}

std::vector<double> frequencies(const std::string& text, int per_decade) {
  const std::string expected = "a frequency in hertz from 1e-7 to 1e9, written such as 0.01";
  const auto read = [&](const std::string& part) {
    return numbers_of("--frequencies", part, lowest_frequency, highest_frequency, expected);
  };
  const std::size_t dots = text.find("..");
  if (dots == std::string::npos) {
    std::vector<double> list = read(text);
    std::sort(list.rbegin(), list.rend());
    list.erase(std::unique(list.begin(), list.end()), list.end());
    if (list.size() > most_frequencies) throw CommandLineError("--frequencies: 2000 at most");
    return list;
  }
  const std::vector<double> first = read(text.substr(0, dots)), last = read(text.substr(dots + 2));
  if (first.size() != 1 || last.size() != 1 || first.front() == last.front())
    throw CommandLineError("--frequencies '" + text + "': a range has two ends, such as 1e-3..1e5");
  const double low = std::min(first.front(), last.front()), high = std::max(first.front(), last.front());
  const int steps = std::max(1, static_cast<int>(std::ceil(std::log10(high / low) * per_decade - 1e-9)));
  if (static_cast<std::size_t>(steps) >= most_frequencies)
    throw CommandLineError("--per-decade: 2000 frequencies at most");
  std::vector<double> list;
  for (int k = 0; k <= steps; ++k) {
    const double f = high * std::pow(low / high, static_cast<double>(k) / steps);
    list.push_back(k == 0 ? high : k == steps ? low : f);
  }
  return list;
}

std::vector<Spectrum> spectra(const Job& job, const std::vector<double>& states, const std::vector<double>& frequency) {
  std::vector<Spectrum> all;
  for (const double soc : states) {
    const model::Stoichiometries at = model::at_state_of_charge(job.bench.window, soc);
    Spectrum s{soc,
               at,
               model::equilibrium_voltage(job.cell, at, job.cell.temperature),
               model::Impedance(job.cell, at, job.electrolyte, job.reaction),
               frequency,
               {},
               {},
               {}};
    s.figures = s.impedance.figures();
    for (model::PartFigure& part : s.figures) part.resistance /= job.plate_area();
    if (s.stable()) {
      for (const double f : frequency) {
        const model::Complex whole = s.impedance(f) / job.plate_area();
        if (!std::isfinite(whole.real()) || !std::isfinite(whole.imag()) || !(whole.real() > 0))
          throw NotCompleted("the impedance at " + params::plain_number(f) + " Hz comes out as no impedance can be");
        s.whole.push_back(whole);
        s.parts.push_back(s.impedance.parts(f));
        for (model::Complex& part : s.parts.back()) part /= job.plate_area();
      }
    }
    all.push_back(std::move(s));
  }
  return all;
}

OtherReaction other_reaction(const Job& job, const Spectrum& spectrum) {
  const model::Reaction other = job.reaction == model::Reaction::even ? model::Reaction::uneven : model::Reaction::even;
  const model::Impedance impedance(job.cell, spectrum.at, job.electrolyte, other);
  OtherReaction most{0, spectrum.frequency.front()};
  for (std::size_t k = 0; k < spectrum.whole.size(); ++k) {
    const model::Complex its = impedance(spectrum.frequency[k]) / job.plate_area();
    const double share =
        std::abs(its - spectrum.whole[k]) / std::abs(other == model::Reaction::uneven ? its : spectrum.whole[k]);
    if (share > most.share) most = {share, spectrum.frequency[k]};
  }
  return most;
}

}  // namespace onegrain::app::study
