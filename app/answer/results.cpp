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

std::string command_line(const Request& request) {
  std::string command = "onegrain";
  for (const std::string& word : request.words) {
    command += word.find(' ') == std::string::npos ? " " + word : " '" + word + "'";
  }
  return command;
}

json provenance_json(const Request& request, const params::Sheet& sheet) {
  json files = json::array();
  for (const params::SourceFile& f : sheet.files) {
    files.push_back({{"name", params::valid_utf8(f.name)}, {"shipped", f.shipped}, {"sha256", f.sha256}});
  }
  return {{"program", "onegrain"},
          {"version", ONEGRAIN_VERSION},
          {"command", params::valid_utf8(command_line(request))},
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
