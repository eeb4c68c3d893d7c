#include "app/answer/document.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/words.hpp"
#include "app/render/table.hpp"

namespace onegrain::app {

using nlohmann::json;

namespace {

std::string spelled(std::string key) {
  std::replace(key.begin(), key.end(), '_', ' ');
  return key;
}

/// The heading and the label of a value in the list of inputs, from its path.
std::pair<std::string, std::string> place_of(const Job& job, const std::string& path) {
  const auto dot = path.find('.');
  if (dot == std::string::npos) return {"Cell", spelled(path)};
  const std::string first = path.substr(0, dot);
  std::string rest = path.substr(dot + 1);
  std::string group = spelled(first);
  group[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(group[0])));
  const bool positive = first == "positive" || first == "working";
  if (positive || first == "negative") {
    const std::string& material = positive ? job.bench.positive.material : job.bench.negative->material;
    group += ": " + material;
    for (const char* prefix : {"coating.", "layer.", "recipe.", "material."}) {
      if (rest.rfind(prefix, 0) == 0) rest.erase(0, std::string(prefix).size());
    }
  } else if (first == "voltage_window" || first == "charged_state") {
    group = "Cell";
    rest = path;
  }
  std::replace(rest.begin(), rest.end(), '.', ' ');
  return {group, spelled(rest)};
}

json inputs(const Job& job) {
  json groups = json::array();
  params::for_each_value(job.sheet, [&](const std::string& path, const params::Value& value) {
    const auto [group, label] = place_of(job, path);
    auto at =
        std::find_if(groups.begin(), groups.end(), [&, name = group](const json& g) { return g["group"] == name; });
    if (at == groups.end()) {
      groups.push_back({{"group", group}, {"rows", json::array()}});
      at = groups.end() - 1;
    }
    json row{{"label", label}, {"value", value.written.empty() ? params::show(value.si, *value.kind) : value.written}};
    if (value.spread.form == params::Spread::Form::absolute)
      row["spread"] = "± " + params::show(value.spread.size, *value.kind, 3);
    if (value.spread.form == params::Spread::Form::factor)
      row["spread"] = fmt::format("within a factor {}", digits(value.spread.size, 2));
    if (!value.source.empty()) row["source"] = value.source;
    if (value.origin == params::Origin::assumed)
      row["source"] = value.source.empty() ? "default of the program" : "default: " + value.source;
    (*at)["rows"].push_back(std::move(row));
  });
  return groups;
}

json result(const std::string& label, const params::Figure& f, int significant = 3, const std::string& note = "",
            bool key = false) {
  json r{{"label", label}, {"value", params::show(f.value, *f.kind, significant)}};
  if (f.plus_minus > 0) r["plus_minus"] = "± " + params::show(f.plus_minus, *f.kind, 2);
  if (!note.empty()) r["note"] = note;
  if (key) r["key"] = true;
  return r;
}

void add_electrode(json& results, const params::ElectrodeBench& e) {
  std::string name = e.key;
  name[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(name[0])));
  const auto add = [&](const char* what, const params::Figure& f, const std::string& note = "") {
    results.push_back(result(name + ": " + what, f, 3, note));
  };
  if (e.active_mass) add("active mass", *e.active_mass);
  if (e.active_loading) add("active mass per area", *e.active_loading);
  add("active volume fraction", e.active_fraction);
  add("porosity", e.porosity);
  add("carbon and binder, volume fraction", e.inactive_fraction);
  add("areal capacity, grains full minus empty", e.areal_capacity);
  add("areal capacity between the cut-offs", e.areal_capacity_in_window);
  if (e.theoretical_capacity) add("theoretical capacity of the formula", *e.theoretical_capacity);
  if (e.specific_capacity_in_window)
    add("capacity between the cut-offs per active mass", *e.specific_capacity_in_window);
  add("stoichiometry when the cell is full", e.stoichiometry_full);
  add("stoichiometry when the cell is empty", e.stoichiometry_empty);
}

json results(const Job& job) {
  const params::Bench& b = job.bench;
  json list = json::array();
  std::string note = fmt::format("{} mA/cm2", digits(job.base.one_hour_charge / 3600 / 10, 3));
  if (job.base.active_loading) {
    note += fmt::format(", {} mA/g of {}", digits(job.base.one_hour_charge / 3600 / *job.base.active_loading, 3),
                        b.positive.material);
  }
  list.push_back(result("Current for 1C", b.one_c_current, 3, note, true));
  list.push_back(result("Capacity between the cut-offs, at rest", b.equilibrium_capacity, 3,
                        fmt::format("{} to {} V", digits(job.cell.lower_voltage, 3), digits(job.cell.upper_voltage, 3)),
                        true));
  if (b.rated_capacity_stated) list.push_back(result("Rated capacity, as stated", b.rated_capacity, 3, "", true));
  if (b.capacity_ratio)
    list.push_back(result("N/P", *b.capacity_ratio, 3, "the negative's room over the lithium that arrives", true));
  list.push_back(result("Areal capacity of the " + b.positive.key, b.positive.areal_capacity_in_window, 3,
                        "between the cut-offs", true));
  list.push_back(result("Porosity of the " + b.positive.key, b.positive.porosity, 3, "", true));
  if (b.negative) list.push_back(result("Porosity of the negative", b.negative->porosity, 3, "", true));
  list.push_back(result("Plate area", b.plate_area));
  add_electrode(list, b.positive);
  if (b.negative) add_electrode(list, *b.negative);
  return list;
}

json layer(const std::string& name, const char* kind, double thickness, double solid, double pores) {
  return {{"name", name},
          {"kind", kind},
          {"thickness_um", number(thickness * 1e6)},
          {"solid_fraction", number(solid)},
          {"pore_fraction", number(pores)}};
}

json layers(const Job& job) {
  const model::Cell& c = job.cell;
  json list = json::array();
  if (c.negative) {
    list.push_back(
        layer("negative", "negative", c.negative->thickness, c.negative->active_fraction, c.negative->porosity));
  } else {
    list.push_back({{"name", "lithium"}, {"kind", "lithium"}});
  }
  list.push_back(
      layer("separator", "separator", c.separator.thickness, 1 - c.separator.porosity, c.separator.porosity));
  list.push_back(
      layer(job.bench.positive.key, "positive", c.positive.thickness, c.positive.active_fraction, c.positive.porosity));
  return list;
}

bool invented(const Job& job) {
  std::string text = job.sheet.name + " " + job.sheet.note;
  std::transform(text.begin(), text.end(), text.begin(),
                 [](unsigned char ch) { return static_cast<char>(std::tolower(ch)); });
  return text.find("invented") != std::string::npos;
}

}  // namespace

json cell_document(const Request& request, const Job& job, const std::string& headline) {
  json d;
  d["program"] = {{"name", "onegrain"}, {"version", ONEGRAIN_VERSION}};
  d["verb"] = request.verb;
  d["headline"] = headline;
  json& cell = d["cell"];
  cell["name"] = job.sheet.name;
  cell["arrangement"] = job.cell.is_full_cell() ? "full_cell" : "half_cell";
  cell["invented"] = invented(job);
  cell["layers"] = layers(job);
  cell["inputs"] = inputs(job);
  cell["results"] = results(job);
  json table = json::array();
  for (const params::RateRow& r : job.bench.rates) {
    json row{{"label", r.name},
             {"current_mA", number(r.current * 1e3)},
             {"current_mA_cm2", number(r.current_density / 10)},
             {"hours", number(r.hours)}};
    if (r.specific_current) row["current_mA_g"] = number(*r.specific_current);
    table.push_back(std::move(row));
  }
  cell["rate_table"] = std::move(table);
  cell["warnings"] = job.bench.warnings;
  cell["assumptions"] = job.bench.assumptions;
  cell["assumptions"].push_back(electrolyte_remark(job.electrolyte));
  for (const std::string& criterion : trust_criteria()) cell["assumptions"].push_back(criterion);
  cell["assumptions"].push_back(
      "Numerics: even polynomials inside each grain, as many as an error estimate asks for (at least 12); CVODE with a "
      "relative tolerance of 1e-5 on what has no closed form; voltages are within 0.05 mV of the converged solution of "
      "these equations.");
  d["cautions"] = cautions();
  json provenance = json::array();
  const json record = provenance_json(request, job.sheet);
  provenance.push_back({"program", "onegrain " ONEGRAIN_VERSION});
  provenance.push_back({"command", record["command"]});
  for (const auto& file : record["files"]) {
    provenance.push_back({file["shipped"] ? "shipped file" : "file",
                          file["name"].get<std::string>() + ", SHA-256 " + file["sha256"].get<std::string>()});
  }
  d["provenance"] = std::move(provenance);
  return d;
}

}  // namespace onegrain::app
