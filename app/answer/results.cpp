#include "app/answer/results.hpp"

#include <fmt/format.h>

#include <cmath>
#include <cstdlib>

#include "params/text/printable.hpp"

namespace onegrain::app {

using nlohmann::json;

json number(double value) {
  if (!std::isfinite(value)) return nullptr;
  return std::strtod(fmt::format("{:.10g}", value).c_str(), nullptr);
}

std::string ended_by(const solver::StepSolution& step) { return solver::name_of(step.ended_by()); }

std::string untrusted(const solver::Trust& trust) {
  std::string text;
  for (const std::string& reason : trust.reasons) text += (text.empty() ? "" : "; ") + reason;
  return text;
}

json point_json(const Job& job, const NamedCurve& named) {
  const solver::Curve& c = named.curve;
  json point;
  point["label"] = named.label;
  point["c_rate"] = number(named.c_rate);
  point["direction"] = c.is_charge() ? "charge" : "discharge";
  point["current_mA"] = number(std::abs(job.milliamperes(c.current)));
  point["capacity_mAh"] = number(job.milliampere_hours(c.capacity));
  point["capacity_fraction"] = number(c.capacity / job.base.one_hour_charge);
  point["mean_voltage_V"] = number(c.mean_voltage);
  point["energy_mWh"] = number(c.energy * job.plate_area() / 3.6);
  point["duration_s"] = number(c.step.duration());
  point["ended_by"] = ended_by(c.step);
  const solver::Trust trust = solver::judge(c.step);
  point["trusted"] = trust.trusted();
  if (!trust.trusted()) point["note"] = untrusted(trust);
  return point;
}

json curve_json(const Job& job, const NamedCurve& named, int points) {
  json result = point_json(job, named);
  json time = json::array(), capacity = json::array(), voltage = json::array(), negative = json::array(),
       separator_side = json::array();
  std::vector<double> moments = solver::moments(named.curve.step, points, false);
  moments.resize(static_cast<std::size_t>(points), moments.back());  // a curve without duration repeats its only moment
  for (const double t : moments) {
    const solver::Point p = named.curve.step.at(t);
    time.push_back(number(t));
    capacity.push_back(number(job.milliampere_hours(std::abs(named.curve.current) * t)));
    voltage.push_back(number(p.terminal.voltage));
    negative.push_back(number(p.terminal.negative_potential + p.terminal.negative_overpotential));
    separator_side.push_back(number(p.terminal.separator_side));
  }
  result["time_s"] = std::move(time);
  result["capacity_mAh"] = std::move(capacity);
  result["capacity_total_mAh"] = number(job.milliampere_hours(named.curve.capacity));
  result["voltage_V"] = std::move(voltage);
  if (job.cell.is_full_cell()) result["negative_potential_V"] = std::move(negative);
  result["separator_side_V"] = std::move(separator_side);  // of the negative; half cell: of the working electrode
  return result;
}

json step_json(const Job& job, const NamedStep& named) {
  const solver::StepSolution& s = named.run.solution;
  const solver::Point first = s.first(), last = s.last();
  return {{"step", named.run.step + 1},
          {"repetition", named.run.repetition + 1},
          {"label", named.label},
          {"start_s", number(named.run.start_time)},
          {"duration_s", number(s.duration())},
          {"capacity_mAh", number(job.milliampere_hours(last.charge - first.charge))},
          {"energy_mWh", number(s.duration() > 0 ? s.energy() * job.plate_area() / 3.6 : 0.0)},
          {"first_voltage_V", number(first.terminal.voltage)},
          {"last_voltage_V", number(last.terminal.voltage)},
          {"last_current_mA", number(job.milliamperes(last.current))},
          {"ended_by", ended_by(s)}};
}

namespace {

json figure(const params::Figure& f, const char* unit) {
  const double scale = *unit ? 1 / params::in_unit(1, unit) : 1.0;
  return {{"value", number(f.value / scale)}, {"plus_minus", number(f.plus_minus / scale)}};
}

json electrode_json(const params::ElectrodeBench& e) {
  json j;
  j["material"] = e.material;
  if (e.coating_loading) j["coating_loading_mg_cm2"] = figure(*e.coating_loading, "mg/cm2");
  if (e.active_loading) j["active_loading_mg_cm2"] = figure(*e.active_loading, "mg/cm2");
  if (e.active_mass) j["active_mass_mg"] = figure(*e.active_mass, "mg");
  j["thickness_um"] = figure(e.thickness, "um");
  j["active_fraction"] = figure(e.active_fraction, "");
  j["porosity"] = figure(e.porosity, "");
  j["inactive_fraction"] = figure(e.inactive_fraction, "");
  j["tortuosity"] = figure(e.tortuosity, "");
  j["areal_capacity_mAh_cm2"] = figure(e.areal_capacity, "mAh/cm2");
  j["areal_capacity_in_window_mAh_cm2"] = figure(e.areal_capacity_in_window, "mAh/cm2");
  if (e.theoretical_capacity) j["theoretical_capacity_mAh_g"] = figure(*e.theoretical_capacity, "mAh/g");
  if (e.specific_capacity) j["specific_capacity_mAh_g"] = figure(*e.specific_capacity, "mAh/g");
  if (e.specific_capacity_in_window) {
    j["specific_capacity_in_window_mAh_g"] = figure(*e.specific_capacity_in_window, "mAh/g");
  }
  j["maximum_concentration_mol_L"] = figure(e.maximum_concentration, "mol/L");
  if (e.crystal_concentration) j["crystal_concentration_mol_L"] = figure(*e.crystal_concentration, "mol/L");
  j["stoichiometry_full"] = figure(e.stoichiometry_full, "");
  j["stoichiometry_empty"] = figure(e.stoichiometry_empty, "");
  return j;
}

}  // namespace

json bench_json(const Job& job) {
  const params::Bench& b = job.bench;
  json j;
  j["plate_area_cm2"] = figure(b.plate_area, "cm2");
  j[job.cell.is_full_cell() ? "positive" : "working"] = electrode_json(b.positive);
  if (b.negative) j["negative"] = electrode_json(*b.negative);
  if (b.capacity_ratio) j["capacity_ratio"] = figure(*b.capacity_ratio, "");
  j["equilibrium_capacity_mAh"] = figure(b.equilibrium_capacity, "mAh");
  j["rated_capacity_mAh"] = figure(b.rated_capacity, "mAh");
  j["rated_capacity_stated"] = b.rated_capacity_stated;
  j["one_c_current_mA"] = figure(b.one_c_current, "mA");
  json rows = json::array();
  for (const params::RateRow& r : b.rates) {
    json row{{"rate", r.name},
             {"c_rate", number(r.c_rate)},
             {"current_mA", number(r.current * 1e3)},
             {"current_mA_cm2", number(r.current_density / 10)},
             {"hours", number(r.hours)}};
    if (r.specific_current) row["current_mA_g"] = number(*r.specific_current);
    rows.push_back(std::move(row));
  }
  j["rates"] = std::move(rows);
  j["warnings"] = b.warnings;
  j["assumptions"] = b.assumptions;
  return j;
}

json provenance_json(const Request& request, const params::Sheet& sheet) {
  json files = json::array();
  for (const params::SourceFile& f : sheet.files) {
    files.push_back({{"name", params::valid_utf8(f.name)}, {"shipped", f.shipped}, {"sha256", f.sha256}});
  }
  std::string command = "onegrain";
  for (const std::string& word : request.words) {
    command += word.find(' ') == std::string::npos ? " " + word : " '" + word + "'";
  }
  return {{"program", "onegrain"},
          {"version", ONEGRAIN_VERSION},
          {"command", params::valid_utf8(command)},
          {"sheet", sheet.name},
          {"files", std::move(files)}};
}

CurveTable::CurveTable(const Job& job) : job_(job) {
  for (const char* title :
       {"Test Time / s", "Voltage / V", "Current / A", "Step / 1", "Step Time / s", "Capacity / mAh"}) {
    columns_.push_back({title, {}});
  }
  const bool full = job.cell.is_full_cell();
  const std::string p = full ? "Positive" : "Working";
  for (const std::string& title :
       {p + " Surface Stoichiometry / 1", p + " Mean Stoichiometry / 1", p + " Potential vs Li / V",
        p + " Diffusion Overpotential / mV", p + " Charge-Transfer Overpotential / mV"}) {
    columns_.push_back({title, {}});
  }
  const std::vector<std::string> negative =
      full ? std::vector<std::string>{"Negative Surface Stoichiometry / 1", "Negative Mean Stoichiometry / 1",
                                      "Negative Potential vs Li / V", "Negative Diffusion Overpotential / mV",
                                      "Negative Charge-Transfer Overpotential / mV"}
           : std::vector<std::string>{"Lithium Charge-Transfer Overpotential / mV"};
  for (const std::string& title : negative) columns_.push_back({title, {}});
  for (const char* title : {"Electrolyte Drop / mV", "Concentration Overpotential / mV", "Electronic Drop / mV",
                            "Contact Drop / mV", "Separator-Side Potential vs Li / V", "Temperature / degC"}) {
    columns_.push_back({title, {}});
  }
}

void CurveTable::add(const solver::StepSolution& step, const std::vector<double>& moments, double start_time,
                     int index) {
  const model::Cell& cell = job_.cell;
  const double start_charge = step.first().charge;
  for (const double t : moments) {
    const solver::Point p = step.at(t);
    const model::Terminal& v = p.terminal;
    std::vector<double> row{start_time + t,
                            v.voltage,
                            p.current * cell.plate_area,
                            static_cast<double>(index),
                            t,
                            job_.milliampere_hours(p.charge - start_charge),
                            p.positive_surface,
                            p.positive_mean,
                            v.positive_potential + v.positive_overpotential,
                            1e3 * (v.positive_potential - cell.positive.host.potential(p.positive_mean, p.temperature)),
                            1e3 * v.positive_overpotential};
    if (cell.negative) {
      row.insert(row.end(),
                 {p.negative_surface, p.negative_mean, v.negative_potential + v.negative_overpotential,
                  1e3 * (v.negative_potential - cell.negative->host.potential(p.negative_mean, p.temperature)),
                  1e3 * v.negative_overpotential});
    } else {
      row.push_back(1e3 * v.negative_overpotential);
    }
    row.insert(row.end(), {1e3 * v.electrolyte, 1e3 * v.concentration, 1e3 * v.electronic, 1e3 * v.contact,
                           v.separator_side, p.temperature - 273.15});
    for (std::size_t k = 0; k < row.size(); ++k) columns_[k].values.push_back(row[k]);
  }
}

}  // namespace onegrain::app
