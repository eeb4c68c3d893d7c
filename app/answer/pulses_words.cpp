#include "app/answer/pulses_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/measured_words.hpp"
#include "app/answer/numbers.hpp"

namespace onegrain::app::answer {

using study::MeasuredPulse;
using study::PulseRemark;
using study::PulseReport;

namespace {

std::string hundredths_of_mV(double volts) { return fmt::format("{:.2f} mV", 1e3 * volts); }
std::string factor_words(double factor) { return factor < 1000 ? digits(factor, 2) : "of more than 1000"; }
std::string plural(std::size_t n, const char* what) { return fmt::format("{} {}{}", n, what, n == 1 ? "" : "s"); }

double by_sphere(const PulseReport& report, const MeasuredPulse& p) {
  return study::diffusivity(report, *p.by_fit).value;
}
double by_root(const PulseReport& report, const MeasuredPulse& p) {
  return study::diffusivity(report, *p.by_square_root).value;
}

/// " 9.1e-15 to 1.7e-14 m2/s (R = 8.00 um), each within a factor 2.7 or less."
std::string range_words(const PulseReport& report, const std::vector<const MeasuredPulse*>& told) {
  std::vector<double> values, bias;
  double factor = 1;
  for (const MeasuredPulse* p : told) {
    values.push_back(by_sphere(report, *p));
    factor = std::max(factor, study::diffusivity(report, *p->by_fit).factor);
    if (p->by_square_root) bias.push_back(p->by_square_root->value / p->by_fit->value);
  }
  std::sort(values.begin(), values.end());
  std::sort(bias.begin(), bias.end());
  const std::string least = digits(values.front(), 2), most = digits(values.back(), 2);
  std::string text = fmt::format("{} m2/s (R = {} um), {}within a factor {}{}.",
                                 least == most ? least : least + " to " + most, digits(1e6 * report.radius, 3),
                                 told.size() > 1 ? "each " : "", digits(factor, 2), told.size() > 1 ? " or less" : "");
  if (bias.empty()) return text;
  const double middle = bias[bias.size() / 2];
  return text + fmt::format(" The square-root formula gives {:.0f} % {}{}.", 100 * std::abs(middle - 1),
                            middle < 1 ? "less" : "more", bias.size() > 1 ? " (median)" : "");
}

}  // namespace

std::string words_of(const PulseRemark& remark) {
  using What = PulseRemark::What;
  const auto& n = remark.numbers;
  switch (remark.what) {
    case What::full_cell:
      return "full cell: the voltage is that of two electrodes; a half cell tells the diffusion in one";
    case What::no_rest_after:
      return "no rest follows";
    case What::no_rest_before:
      return "no rest goes before";
    case What::current_varies:
      return "the current is not constant";
    case What::rows_apart:
      return fmt::format("too few rows: {} lie between the rows around a switch of the current, the pulse lasts {}",
                         duration(n[0]), duration(n[1]));
    case What::rest_short:
      return fmt::format("incomplete rest: it lasts {}, the pulse {}", duration(n[0]), duration(n[1]));
    case What::rest_moves:
      return fmt::format(
          "incomplete rest: its second half still moves the voltage by {}, the pulse the potential at rest by {}",
          hundredths_of_mV(n[0]), hundredths_of_mV(n[1]));
    case What::potential_flat:
      return fmt::format(
          "flat potential: the pulse moves the potential at rest by {}, known to within {} (recorder step {}, drift in "
          "the second half of the rest {})",
          hundredths_of_mV(n[0]), hundredths_of_mV(n[1]), hundredths_of_mV(n[2]), hundredths_of_mV(n[3]));
    case What::rows_few:
      return fmt::format("too few rows: {:.0f} in the pulse from {} on, {:.0f} are needed", n[0], duration(n[1]), n[2]);
    case What::no_sphere:
      return fmt::format(
          "no sphere fits: the rows of the pulse and the change from rest to rest contradict each other, or the pulse "
          "of {} is long against R2/D",
          duration(n[0]));
    case What::noise:
      return fmt::format("noise: the rows scatter by {} about the fit, the pulse moves them by {}",
                         hundredths_of_mV(n[0]), hundredths_of_mV(n[1]));
    case What::two_spheres:
      return fmt::format("not one sphere: the pulse gives D/R2 = {} 1/s, the relaxation after it {} 1/s",
                         digits(n[0], 2), digits(n[1], 2));
    case What::potential_bends:
      return fmt::format(
          "curved potential: it bends so much between the rests around this pulse that D/R2 would be known only within "
          "a factor {}; shorter pulses tell more",
          factor_words(n[0]));
    case What::pulse_long:
      return fmt::format(
          "long pulse: it lasts {}, R2/D is about {}; its shape no longer tells the diffusion coefficient",
          duration(n[0]), duration(n[1]));
    case What::uncertain:
      return fmt::format("too uncertain: D/R2 would be known only within a factor {}", factor_words(n[0]));
    case What::no_slope:
      return "too few rows: the slope before the interruption cannot be read";
    case What::slope_flat:
      return "flat potential: the voltage before the interruption does not move with the current";
    case What::slope_bends:
      return "the voltage before the interruption bends too much for one slope";
    case What::relaxation_short:
      return fmt::format("incomplete rest: it lasts {}, its second half still moves the voltage by {}, all of it by {}",
                         duration(n[0]), hundredths_of_mV(n[1]), hundredths_of_mV(n[2]));
    case What::row_for_rest:
      return "the record begins with it: the row before the current stands for the rest";
    case What::salt_not_settled:
      return fmt::format(
          "short against the salt in the pores, which settles in {} by the sheet; part of what is fitted may be salt",
          duration(n[0]));
    case What::relaxation_alone:
      return "from the relaxation alone, with the slope that the voltage had before";
  }
  return "";
}

std::string words_of(const study::Anchor& anchor) {
  if (anchor.pulse == 0)
    return "not known: no rest of this record lies where the potential of the card is steep and found at one place "
           "only";
  if (anchor.beyond)
    return fmt::format("not known: charge, counted from pulse {}, would leave 0 to 1; check capacity and masses",
                       anchor.pulse);
  if (anchor.own) return "the potential at rest, by the card";
  return fmt::format("charge, counted from pulse {} with its potential at rest of {} V", anchor.pulse,
                     digits(anchor.potential, 4));
}

std::string pulses_headline(const PulseReport& report) {
  std::size_t interruptions = 0;
  std::vector<const MeasuredPulse*> told;
  for (const MeasuredPulse& p : report.pulses) {
    interruptions += p.interruption;
    if (p.by_fit) told.push_back(&p);
  }
  std::string text = plural(report.pulses.size() - interruptions, "pulse");
  if (interruptions > 0) text += " and " + plural(interruptions, "interruption");
  if (report.full_cell)
    return text + ". A full cell tells its resistance; the diffusion in one electrode takes a half cell.";
  if (told.empty()) return text + "; none of them tells a diffusion coefficient, for the reasons below.";
  return text +
         fmt::format("; {} tell{} the diffusion coefficient of the grains: ", told.size(),
                     told.size() == 1 ? "s" : "") +
         range_words(report, told);
}

std::vector<std::string> pulses_method(const PulseReport& report) {
  if (report.full_cell)
    return {
        "\u201cat once\u201d is the jump between the two rows around a switch of the current; \u201crelaxation\u201d "
        "what the rest adds to it."};
  return {
      fmt::format("D by the sphere: the whole pulse and the relaxation after it, from {} on (double layer and salt in "
                  "the pores, which settles in {} by the sheet, are over by then; at most a tenth of the pulse), "
                  "fitted with the diffusion in a sphere against the change of the potential from rest to rest.",
                  report.salt_settles > 1 ? "1 s or the settling of the salt" : "1 s", duration(report.salt_settles)),
      "D by the square root: 4 / (9 pi) R2 / t (dE_s / dE_t)2, Weppner and Huggins (1977), dE_t from 0.5 s or the "
      "first row after it; it holds for pulses that are short against R2/D.",
      fmt::format("D is D/R2 times R2 with R = {} um of the sheet; it lies with 95 % between itself over the factor "
                  "and itself times the factor, {}.",
                  digits(1e6 * report.radius, 3),
                  report.radius_factor > 1 ? "the radius included"
                                           : "the radius taken as exact, since the sheet states no spread"),
      "\u201cat once\u201d is the jump between the two rows around a switch of the current, whichever two lie closer "
      "together; \u201cby the fit\u201d holds all that follows the current before the fit begins: charge transfer and "
      "salt too."};
}

std::optional<Plot> diffusion_plot(const PulseReport& report) {
  Plot plot;
  plot.title = "Diffusion coefficient in the grains";
  plot.x = {"Stoichiometry", measure<params::Number>(nullptr, 3)};
  plot.y = {"D, logarithmic", measure<params::Diffusivity>("m2/s", 3)};
  plot.y.logarithmic = true;
  plot.names = Plot::Names::none;
  plot.key = {{LineRole::predicted, "diffusion in a sphere"}, {LineRole::other, "square-root formula"}};
  Series sphere{"diffusion in a sphere", LineRole::predicted}, root{"square-root formula", LineRole::other};
  for (Series* s : {&sphere, &root})
    s->also = {{"pulse", counted(), {}},
               {"known within a factor", measure<params::Number>(nullptr, 2), {}},
               {"stoichiometry \u00b1", measure<params::Number>(nullptr, 2), {}}};
  const auto add = [](Series& to, const MeasuredPulse& p, double x, double value, double factor) {
    to.x.push_back(x);
    to.y.push_back(value);
    to.low.push_back(value / factor);
    to.high.push_back(value * factor);
    to.also[0].values.push_back(p.number);
    to.also[1].values.push_back(factor);
    to.also[2].values.push_back(p.stoichiometry_spread);
  };
  // Both stand at the same stoichiometry: moved apart by a little, so that their bars do not hide each other.
  double low = 1, high = 0;
  for (const MeasuredPulse& p : report.pulses) {
    if (!p.stoichiometry) continue;
    low = std::min(low, *p.stoichiometry);
    high = std::max(high, *p.stoichiometry);
  }
  const double apart = 0.004 * std::max(0.05, high - low);
  for (const MeasuredPulse& p : report.pulses) {
    if (!p.stoichiometry) continue;
    if (p.by_fit)
      add(sphere, p, *p.stoichiometry - apart, by_sphere(report, p), study::diffusivity(report, *p.by_fit).factor);
    if (p.by_square_root)
      add(root, p, *p.stoichiometry + apart, by_root(report, p), study::diffusivity(report, *p.by_square_root).factor);
  }
  if (sphere.x.empty()) return std::nullopt;
  plot.description = fmt::format(
      "Diffusion coefficient against stoichiometry, with 95 % intervals: {} by the sphere, {} by the square root.",
      plural(sphere.x.size(), "pulse"), plural(root.x.size(), "pulse"));
  for (Series* s : {&sphere, &root}) {
    s->marked = true;
    s->joined = false;
    if (!s->x.empty()) plot.series.push_back(std::move(*s));
  }
  plot.x.include = {low - 0.02, high + 0.02};
  for (const double step : {1.0, 2.0, 5.0})  // whole decades first, where there is not room for all
    for (int power = -20; power < -6; ++power)
      plot.y.ticks.push_back({step * std::pow(10.0, power), fmt::format("{:.0f}e{}", step, power)});
  return plot;
}

FittedRows fitted_rows(const MeasuredPulse& pulse) {
  const solver::PulseRows& rows = pulse.rows;
  FittedRows all{rows.time, rows.voltage, {}};
  for (std::size_t k = 0; k < rows.rest_time.size() && rows.rest_time[k] <= 3 * rows.duration; ++k) {
    all.time.push_back(rows.duration + rows.rest_time[k]);
    all.voltage.push_back(rows.rest_voltage[k]);
  }
  all.fitted = solver::fitted_voltage(rows, pulse.fit, all.time);
  return all;
}

Plot pulse_plot(const MeasuredPulse& pulse) {
  const FittedRows rows = fitted_rows(pulse);
  const double off = pulse.rows.duration, last = rows.time.back();
  Plot plot;
  plot.title = fmt::format("One pulse and its fit: number {} of {}", pulse.number, file_name(pulse.file));
  plot.description = "Measured potential over the pulse and the rest after it, with the fit of diffusion in a sphere.";
  plot.x = {"Time since the pulse began",
            measure<params::Time>(last < 300        ? "s"
                                  : last < 3 * 3600 ? "min"
                                                    : "h",
                                  3),
            {0.0}};
  plot.y = {"Voltage", measure<params::Voltage>("V", 5)};
  plot.key = {{LineRole::measured, "measured"}, {LineRole::calculated, "diffusion in a sphere"}};
  plot.names = Plot::Names::none;
  plot.stages = {
      {0, pulse.rows.fit_from, ""}, {pulse.rows.fit_from, off, "pulse, fitted"}, {off, last, "rest, fitted"}};
  Series measured{"measured", LineRole::measured}, fitted{"diffusion in a sphere", LineRole::calculated};
  bool resting = false;
  for (std::size_t k = 0; k < rows.time.size(); ++k) {
    // the switch of the current is a jump, which no line should lean across
    if (!resting && rows.time[k] >= off) {
      for (Series* s : {&measured, &fitted}) {
        s->x.push_back(off);
        s->y.push_back(NAN);
      }
      resting = true;
    }
    const bool counts = rows.time[k] >= pulse.rows.fit_from && (!resting || rows.time[k] - off >= pulse.rows.fit_from);
    measured.x.push_back(rows.time[k]);
    measured.y.push_back(rows.voltage[k]);
    fitted.x.push_back(rows.time[k]);
    fitted.y.push_back(counts ? rows.fitted[k] : NAN);
  }
  plot.series = {std::move(measured), std::move(fitted)};
  return plot;
}

}  // namespace onegrain::app::answer
