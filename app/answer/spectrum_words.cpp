#include "app/answer/spectrum_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/numbers.hpp"
#include "app/answer/words.hpp"

namespace onegrain::app::answer {

using model::ImpedancePart, study::Spectrum;

std::string hertz(double frequency) {
  constexpr std::pair<double, const char*> units[] = {{1e6, "MHz"}, {1e3, "kHz"}, {1, "Hz"}, {1e-3, "mHz"}};
  for (const auto& [size, unit] : units)
    if (frequency >= 0.9995 * size) return digits(frequency / size, 2) + " " + unit;
  return digits(frequency * 1e6, 2) + " uHz";
}

std::string soc_percent(double soc) { return digits(100 * soc, 3) + " %"; }

std::string name_of(ImpedancePart part, const Job& job) {
  const bool full = job.cell.is_full_cell();
  const std::string p = full ? "the positive" : "the working electrode";
  switch (part) {
    case ImpedancePart::leads:
      return "inductance of the leads";
    case ImpedancePart::contact:
      return "contact";
    case ImpedancePart::separator:
      return "separator";
    case ImpedancePart::positive_pores:
      return "pores of " + p;
    case ImpedancePart::positive_solid:
      return "solid of " + p;
    case ImpedancePart::positive_transfer:
      return "charge transfer at " + p;
    case ImpedancePart::negative_pores:
      return "pores of the negative";
    case ImpedancePart::negative_solid:
      return "solid of the negative";
    case ImpedancePart::negative_transfer:
      return full ? "charge transfer at the negative" : "charge transfer at the lithium";
    case ImpedancePart::salt:
      return "diffusion of salt";
    case ImpedancePart::positive_grains:
      return "diffusion in grains of " + p;
    case ImpedancePart::negative_grains:
      return "diffusion in grains of the negative";
  }
  return "";
}

std::string seen_as(const Spectrum& s, ImpedancePart part) {
  switch (part) {
    case ImpedancePart::leads:
    case ImpedancePart::contact:
    case ImpedancePart::separator:
    case ImpedancePart::positive_solid:
    case ImpedancePart::negative_solid:
      return "shift along the real axis";
    case ImpedancePart::positive_pores:
    case ImpedancePart::negative_pores:
      return s.figure(part).at ? "line of 45 degrees above" : "shift along the real axis";
    case ImpedancePart::positive_transfer:
    case ImpedancePart::negative_transfer:
      return s.figure(part).at ? "arc, its top at" : "shift along the real axis";
    case ImpedancePart::salt:
      return "arc, its top about";
    case ImpedancePart::positive_grains:
    case ImpedancePart::negative_grains:
      return "line of 45 degrees, upright below";
  }
  return "";
}

std::vector<ImpedancePart> parts_in_order(const Spectrum& s) {
  std::vector<ImpedancePart> parts;
  for (std::size_t k = 0; k < model::impedance_parts; ++k)
    if (s.figures[k].resistance > 0) parts.push_back(static_cast<ImpedancePart>(k));
  std::stable_sort(parts.begin(), parts.end(), [&](ImpedancePart a, ImpedancePart b) {
    return s.figure(a).at.value_or(INFINITY) > s.figure(b).at.value_or(INFINITY);
  });
  return parts;
}

namespace {

// Judgement. Below `flat_slope` a step of the state of charge by a few per cent moves the slope by as much as itself,
// and what hysteresis leaves in it is larger; above `steep_slope` the last per cents of a host are all there is.
constexpr double flat_slope = 0.03, steep_slope = 20;  // V per whole host
constexpr double well_known_factor = 1.5, usual_factor = 3;

struct AtRest {
  std::string name;
  const params::ElectrodeSheet* sheet;
  const model::Electrode* electrode;
  double slope, x;
};

std::vector<AtRest> electrodes_at_rest(const Job& job, const Spectrum& s) {
  const bool full = job.cell.is_full_cell();
  std::vector<AtRest> all = {{full ? "positive" : "working electrode", &job.sheet.positive, &job.cell.positive,
                              s.impedance.positive_slope(), s.at.positive}};
  if (full)
    all.push_back({"negative", &*job.sheet.negative, &*job.cell.negative, s.impedance.negative_slope(), s.at.negative});
  return all;
}

/// "at 20 % the potential of the positive ..." for every state and side of which it is true.
template <class True>
std::vector<std::string> places_where(const Job& job, const std::vector<Spectrum>& spectra, const True& is_true) {
  std::vector<std::string> found;
  for (const Spectrum& s : spectra)
    for (const AtRest& side : electrodes_at_rest(job, s))
      if (is_true(s, side)) found.push_back(fmt::format("the {} at {}", side.name, soc_percent(s.soc)));
  return found;
}

void about_rest(const Job& job, const std::vector<Spectrum>& spectra, std::vector<Finding>& findings) {
  const auto say = [&](const char* rule, const std::vector<std::string>& where, const std::string& words) {
    if (!where.empty()) take(findings, Finding{rule, fmt::format("{}: {}", listed(where), words)});
  };
  say("unstable_rest", places_where(job, spectra, [](const Spectrum&, const AtRest& side) { return side.slope > 0; }),
      "on its card the potential rises with the lithium in the host, where no cell rests. No spectrum is told for that "
      "state of charge; look at the table or formula of the potential.");
  say("potential_not_measured",
      places_where(job, spectra,
                   [](const Spectrum&, const AtRest& side) {
                     const model::OpenCircuitPotential& U = side.electrode->host.potential;
                     return side.x < U.lower() || side.x > U.upper();
                   }),
      "its potential is not measured there but continued, and with it the slope that the low frequencies rest on.");
  say("flat_potential",
      places_where(job, spectra,
                   [](const Spectrum& s, const AtRest& side) { return s.stable() && side.slope > -flat_slope; }),
      "its potential is flat there. What its grains add at low frequency is the slope of that plateau, which a little "
      "charge, hysteresis and the making of the table move by as much as itself: not to be relied on.");
  say("steep_potential",
      places_where(job, spectra,
                   [](const Spectrum& s, const AtRest& side) { return s.stable() && side.slope < -steep_slope; }),
      "its host is all but full or empty there, and its potential runs away: low frequencies and charge transfer "
      "change within a per cent of the charge and tell the order only.");
}

void about_surfaces(const Job& job, const Spectrum& s, std::vector<Finding>& findings) {
  std::vector<std::string> assumed, uncertain;
  const auto judge = [&](const std::string& where, bool known, const params::PropertyValue& i0) {
    if (!known) assumed.push_back(where);
    if (!i0.spread.given()) {
      uncertain.push_back(
          fmt::format("{} (no spread is stated; cards differ by a factor of {:g} and more)", where, usual_factor));
    } else if (i0.spread.form == params::Spread::Form::factor ? i0.spread.size > well_known_factor
                                                              : i0.spread.size > 0.3 * std::abs(i0.si)) {
      uncertain.push_back(fmt::format("{} ({})", where, i0.spread_text()));
    }
  };
  for (const AtRest& side : electrodes_at_rest(job, s))
    judge("the " + side.name, side.sheet->known_double_layer() != nullptr,
          side.sheet->material.exchange_current_density);
  if (job.sheet.counter)
    judge("the lithium", job.sheet.counter->double_layer.has_value(), job.sheet.counter->exchange_current_density);
  if (!assumed.empty()) {
    take(findings,
         Finding{
             "double_layer_assumed",
             fmt::format(
                 "no double layer is stated for {}, and {} F/m2 of surface is taken (common practice). The frequencies "
                 "at which charge transfer and pores show rest on it, and may be ten times higher or lower; how large "
                 "their arcs "
                 "are does not. State 'double_layer' where a spectrum has told it.",
                 listed(assumed), digits(params::assumed_double_layer, 2))});
  }
  if (!uncertain.empty()) {
    take(findings,
         Finding{"uncertain_transfer",
                 fmt::format("the exchange current is uncertain at {}: so is the arc of charge transfer there.",
                             listed(uncertain))});
  }
}

void about_reaction(const Job& job, const Spectrum& s, std::vector<Finding>& findings) {
  constexpr double worth_a_word = 0.05;
  if (job.reaction != model::Reaction::even) return;
  const study::OtherReaction off = study::other_reaction(job, s);
  if (off.share < worth_a_word) return;
  take(findings,
       Finding{"even_reaction",
               fmt::format("taken as even over the depth of a coating, the reaction makes |Z| {} % wrong at {}, "
                           "where the current stays near the separator. Leave out '--reaction even'.",
                           digits(100 * off.share, 2), hertz(off.frequency))});
}

}  // namespace

std::vector<Finding> spectrum_findings(const Job& job, const std::vector<Spectrum>& spectra) {
  std::vector<Finding> findings;
  about_rest(job, spectra, findings);
  const auto told = std::find_if(spectra.begin(), spectra.end(), [](const Spectrum& s) { return s.stable(); });
  if (told == spectra.end()) {
    throw NotCompleted(
        "no state of charge asked for is one where this cell can rest: on the cards a potential rises with "
        "the lithium in its host there");
  }
  about_reaction(job, *told, findings);
  about_surfaces(job, *told, findings);
  return findings;
}

}  // namespace onegrain::app::answer
