#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/results.hpp"
#include "app/render/table.hpp"
#include "app/study/pulses.hpp"

namespace onegrain::app {

namespace {

std::vector<double> values_of(const std::vector<MeasuredPulse>& pulses, double (*value)(const MeasuredPulse&)) {
  std::vector<double> values;
  for (const MeasuredPulse& p : pulses) {
    if (p.by_fit && p.by_square_root) values.push_back(value(p));
  }
  std::sort(values.begin(), values.end());
  return values;
}

std::string plural(std::size_t n, const char* what) { return fmt::format("{} {}{}", n, what, n == 1 ? "" : "s"); }

}  // namespace

WithinFactor diffusivity(const PulseReport& report, const WithinFactor& per_second) {
  return {per_second.value * report.radius * report.radius,
          std::exp(std::hypot(std::log(per_second.factor), 2 * std::log(report.radius_factor)))};
}

std::string pulses_headline(const PulseReport& report) {
  std::size_t interruptions = 0;
  std::vector<double> per_second;
  for (const MeasuredPulse& p : report.pulses) {
    interruptions += p.interruption;
    if (p.by_fit) per_second.push_back(p.by_fit->value);
  }
  std::sort(per_second.begin(), per_second.end());
  std::string text = plural(report.pulses.size() - interruptions, "pulse");
  if (interruptions > 0) text += " and " + plural(interruptions, "interruption");
  if (report.full_cell) {
    return text + ". A full cell tells its resistance; the diffusion in one electrode takes a half cell.";
  }
  if (per_second.empty()) return text + "; none of them tells a diffusion coefficient, for the reasons below.";
  const double R2 = report.radius * report.radius;
  text += fmt::format("; {} tell{} the diffusion coefficient of the grains: ", per_second.size(),
                      per_second.size() == 1 ? "s" : "");
  const std::string least = digits(R2 * per_second.front(), 2), most = digits(R2 * per_second.back(), 2);
  text += (least == most ? least : least + " to " + most) +
          fmt::format(" m2/s (R = {} um)", digits(1e6 * report.radius, 3));
  const std::vector<double> bias =
      values_of(report.pulses, [](const MeasuredPulse& p) { return p.by_square_root->value / p.by_fit->value; });
  if (!bias.empty()) {
    const double middle = bias[bias.size() / 2];
    text += fmt::format(". The square-root formula gives {:.0f} % {}{}", 100 * std::abs(middle - 1),
                        middle < 1 ? "less" : "more", bias.size() > 1 ? " (median)" : "");
  }
  return text + ".";
}

std::vector<std::string> pulses_method(const PulseReport& report) {
  if (report.full_cell)
    return {
        "'at once' is the jump between the two rows around a switch of the current; 'relaxation' what the rest adds to "
        "it."};
  return {
      fmt::format("D by the sphere: the whole pulse and the relaxation after it, from {} on (double layer and salt in "
                  "the pores, which settles in {} by the sheet, "
                  "are over by then; at most a tenth of the pulse), fitted with the diffusion in a sphere against the "
                  "change of the potential from rest to rest.",
                  report.salt_settles > 1 ? "1 s or the settling of the salt" : "1 s", duration(report.salt_settles)),
      "D by the square root: 4 / (9 pi) R2 / t (dE_s / dE_t)2, Weppner and Huggins (1977), dE_t from 0.5 s or the "
      "first row after it; it holds for pulses that are short "
      "against R2/D.",
      fmt::format("D is D/R2 times R2 with R = {} um of the sheet; 'within' is the factor either way that holds it "
                  "with 95 %, {}.",
                  digits(1e6 * report.radius, 3),
                  report.radius_factor > 1 ? "the radius included"
                                           : "the radius taken as exact, since the sheet states no spread"),
      "'at once' is the jump between the two rows around a switch of the current, whichever two lie closer together; "
      "'fit' holds all that follows the current "
      "before the fit begins: charge transfer and salt too."};
}

nlohmann::json pulses_json(const Job& job, const PulseReport& report) {
  using nlohmann::json;
  const double area = job.plate_area() * 1e4;  // [cm2]
  const auto maybe = [](const std::optional<double>& v, double scale = 1) {
    return v ? number(scale * *v) : json(nullptr);
  };
  json list = json::array();
  const MeasuredPulse* example = nullptr;
  for (const MeasuredPulse& p : report.pulses) {
    json row{{"file", p.file},
             {"number", p.number},
             {"kind", p.interruption ? "interruption" : "pulse"},
             {"direction", p.current > 0 ? "charge" : "discharge"},
             {"start_s", number(p.start)},
             {"duration_s", number(p.duration)},
             {"current_mA", number(1e3 * p.current)},
             {"charge_mAh", number(p.charge / 3.6)},
             {"rest_before_V", maybe(p.before)},
             {"rest_after_V", maybe(p.after)},
             {"relaxation_mV", maybe(p.relaxation, 1e3)},
             {"trusted", p.reasons.empty()},
             {"reasons", p.reasons},
             {"notes", p.notes}};
    if (p.before && p.after && !p.interruption) {
      row["change_mV"] = number(1e3 * (*p.after - *p.before));
      row["change_plus_minus_mV"] = number(1e3 * normal_95 * p.change_uncertainty);
    }
    if (!report.full_cell) {
      row["stoichiometry"] = maybe(p.stoichiometry);
      row["stoichiometry_plus_minus"] = p.stoichiometry ? number(p.stoichiometry_spread) : json(nullptr);
      row["stoichiometry_from"] = p.stoichiometry_from;
    }
    for (const auto& [key, jump] : {std::pair("on", &p.on), std::pair("off", &p.off)}) {
      if (!*jump) continue;
      row[fmt::format("jump_{}_ohm", key)] = number((*jump)->resistance);
      row[fmt::format("jump_{}_ohm_cm2", key)] = number((*jump)->resistance * area);
      row[fmt::format("jump_{}_within_s", key)] = number((*jump)->within);
    }
    if (p.reasons.empty() && p.fitted_resistance) {
      row["fitted_resistance_ohm"] = number(*p.fitted_resistance);
      row["fitted_resistance_ohm_cm2"] = number(*p.fitted_resistance * area);
    }
    const auto add = [&](const std::string& name, const WithinFactor& d) {
      const WithinFactor D = diffusivity(report, d);
      row[name] = {{"per_R2_1_s", number(d.value)},
                   {"per_R2_within_factor", number(d.factor)},
                   {"m2_s", number(D.value)},
                   {"m2_s_within_factor", number(D.factor)}};
    };
    if (p.by_fit) add("diffusivity_fit", *p.by_fit);
    if (p.by_square_root) add("diffusivity_square_root", *p.by_square_root);
    if (p.by_two_points)
      row["diffusivity_two_points"] = {{"per_R2_1_s", number(*p.by_two_points)},
                                       {"m2_s", number(*p.by_two_points * report.radius * report.radius)}};
    if (p.by_fit) {
      row["theta"] = number(p.fit.theta);
      row["misfit_mV"] = number(1e3 * p.fit.misfit);
    }
    list.push_back(std::move(row));
    if (p.by_fit && !p.interruption && (example == nullptr || p.by_fit->factor < example->by_fit->factor)) example = &p;
  }
  json result{{"headline", pulses_headline(report)},
              {"method", pulses_method(report)},
              {"recorder_step_mV", number(1e3 * report.resolution)},
              {"salt_settles_s", number(report.salt_settles)},
              {"pulses", std::move(list)}};
  if (!report.full_cell) {
    result["radius_um"] = number(1e6 * report.radius);
    result["radius_within_factor"] = number(report.radius_factor);
  }
  if (example != nullptr) {  // of many rows about 300
    const solver::PulseRows& rows = example->rows;
    std::vector<double> time = rows.time, voltage = rows.voltage;
    for (std::size_t k = 0; k < rows.rest_time.size() && rows.rest_time[k] <= 3 * rows.duration; ++k) {
      time.push_back(rows.duration + rows.rest_time[k]);
      voltage.push_back(rows.rest_voltage[k]);
    }
    const std::vector<double> fitted = solver::fitted_voltage(rows, example->fit, time);
    json t = json::array(), v = t, f = t;
    const std::size_t every = std::max<std::size_t>(1, time.size() / 300);
    for (std::size_t k = 0; k < time.size(); k += every) {
      t.push_back(number(time[k]));
      v.push_back(number(voltage[k]));
      f.push_back(number(fitted[k]));
    }
    result["example"] = {{"file", example->file},
                         {"number", example->number},
                         {"duration_s", number(rows.duration)},
                         {"fit_from_s", number(rows.fit_from)},
                         {"time_s", std::move(t)},
                         {"voltage_V", std::move(v)},
                         {"fitted_V", std::move(f)}};
  }
  return result;
}

std::string pulses_table(const Job& job, const PulseReport& report) {
  std::vector<params::Column> columns;
  const auto add = [&](const char* title, const auto& value) {
    params::Column column{title, {}};
    for (const MeasuredPulse& p : report.pulses) column.values.push_back(value(p));
    columns.push_back(std::move(column));
  };
  const double area = job.plate_area() * 1e4, R2 = report.radius * report.radius;
  add("pulse", [](const MeasuredPulse& p) { return p.number; });
  add("start / s", [](const MeasuredPulse& p) { return p.start; });
  add("duration / s", [](const MeasuredPulse& p) { return p.duration; });
  add("current / mA", [](const MeasuredPulse& p) { return 1e3 * p.current; });
  add("rest before / V", [](const MeasuredPulse& p) { return p.before.value_or(NAN); });
  add("rest after / V", [](const MeasuredPulse& p) { return p.after.value_or(NAN); });
  add("relaxation / mV", [](const MeasuredPulse& p) { return 1e3 * p.relaxation.value_or(NAN); });
  add("resistance at once / ohm.cm2",
      [&](const MeasuredPulse& p) { return p.closest_jump() ? area * p.closest_jump()->resistance : NAN; });
  add("resistance of the fit / ohm.cm2", [&](const MeasuredPulse& p) {
    return p.reasons.empty() && p.fitted_resistance ? area * *p.fitted_resistance : NAN;
  });
  if (!report.full_cell) {
    add("stoichiometry", [](const MeasuredPulse& p) { return p.stoichiometry.value_or(NAN); });
    add("D/R2 by the sphere / (1/s)", [](const MeasuredPulse& p) { return p.by_fit ? p.by_fit->value : NAN; });
    add("D by the sphere / (m2/s)", [&](const MeasuredPulse& p) { return p.by_fit ? R2 * p.by_fit->value : NAN; });
    add("D known within a factor",
        [&](const MeasuredPulse& p) { return p.by_fit ? diffusivity(report, *p.by_fit).factor : NAN; });
    add("D by the square root / (m2/s)",
        [&](const MeasuredPulse& p) { return p.by_square_root ? R2 * p.by_square_root->value : NAN; });
  }
  return params::delimited_text(columns);
}

}  // namespace onegrain::app
