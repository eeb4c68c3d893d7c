#include <fmt/format.h>

#include <cmath>

#include "app/answer/ceiling_words.hpp"
#include "app/answer/numbers.hpp"

// How well the plausible cells that were taken tell what all of them survive.

namespace onegrain::app::answer {

namespace {

/// "2.9 %", or that it is not known.
std::string half_width_words(const study::SampledQuantile& q) {
  return std::isfinite(q.half_width()) ? digits(100 * q.half_width(), 2) + " %" : "more than 100 %";
}

}  // namespace

std::string sampling_words(const Job& job, const study::CeilingAsked& asked, const study::PlausibleCells& p) {
  std::string words = fmt::format(
      "{} plausible cells, every value with a spread drawn from its own distribution (seed {}). As far as so many "
      "tell, "
      "{} of all survive {}; its 95 % interval reaches from {} to {} (half-width {}), and its lower end is what is "
      "recommended.",
      p.count, asked.seed, percent(study::confident_share), rate_words(job, p.confident.value),
      rate_words(job, p.confident.low), rate_words(job, p.confident.high), half_width_words(p.confident));
  if (p.confident.half_width() > asked.within)
    words += fmt::format(" That is more than the {} asked for: --samples {} or more would narrow it.",
                         percent(asked.within), 4 * p.count);
  words += fmt::format(" What half of them survive is known with a half-width of {}.", half_width_words(p.median));
  return words;
}

std::string over_temperature_words(const study::CeilingFound& f) {
  std::string places;
  for (const study::CeilingAtTemperature& t : f.temperatures) {
    if (!t.sampled) continue;
    places += fmt::format("{}{:.4g} degC ({})", places.empty() ? "" : ", ", t.temperature - 273.15,
                          half_width_words(*t.sampled));
  }
  return "With confidence: the lower end of what " + percent(study::confident_share) +
         " survive, from the first of the same plausible cells at " + places +
         ", the half-width of the 95 % interval in brackets; between these, from the neighbours.";
}

}  // namespace onegrain::app::answer
