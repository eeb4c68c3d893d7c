#include "app/answer/cell.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>

#include "app/answer/numbers.hpp"

namespace onegrain::app::answer {

namespace {

std::string spelled(std::string key) {
  std::replace(key.begin(), key.end(), '_', ' ');
  return key;
}

std::string capital(std::string text) {
  text[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(text[0])));
  return text;
}

/// "positive", "negative", "working electrode".
std::string called(const std::string& key) { return key == "working" ? "working electrode" : key; }

Figures electrode_figures(const params::ElectrodeBench& e) {
  Figures block{"bench." + e.key, called(e.key) + ": " + e.material, {}};
  const auto add = [&](const char* key, const char* label, const params::BenchFigure& from,
                       const char* unit = nullptr) { block.figures.push_back(figure(key, label, from, unit)); };
  const auto add_if = [&](const char* key, const char* label, const std::optional<params::BenchFigure>& from,
                          const char* unit = nullptr) {
    if (from) add(key, label, *from, unit);
  };
  add_if("coating_loading", "coating per area", e.coating_loading);
  add_if("active_loading", "active mass per area", e.active_loading);
  add_if("active_mass", "active mass", e.active_mass);
  add_if("accessible_fraction", "share of the host that takes part", e.accessible_fraction);
  add("thickness", "thickness", e.thickness);
  add("active_fraction", "active volume fraction", e.active_fraction);
  add("porosity", "porosity", e.porosity);
  block.figures.back().at_the_top = "Porosity of the " + called(e.key);
  add("inactive_fraction",
      e.second_phases ? "carbon, binder and second phases, volume fraction" : "carbon and binder, volume fraction",
      e.inactive_fraction);
  add("tortuosity", "tortuosity", e.tortuosity);
  add_if("sauter_radius", "radius that charge transfer sees (R32)", e.sauter_radius, "um");
  if (e.sauter_radius) block.figures.back().note = e.size_note;
  add_if("diffusion_radius", "radius that slow diffusion sees", e.diffusion_radius, "um");
  add_if("specific_surface", "surface of the grains, smooth spheres", e.specific_surface);
  add_if("theoretical_capacity", "theoretical capacity of the formula", e.theoretical_capacity);
  add_if("specific_capacity", "capacity per active mass, full minus empty", e.specific_capacity);
  add_if("specific_capacity_in_window", "capacity per active mass, between cut-offs", e.specific_capacity_in_window);
  add("areal_capacity", "areal capacity, full minus empty", e.areal_capacity);
  add("areal_capacity_in_window", "areal capacity, between cut-offs", e.areal_capacity_in_window);
  if (e.key != "negative") block.figures.back().at_the_top = "Areal capacity of the " + called(e.key);
  block.figures.back().note = "between the cut-offs";
  add("maximum_concentration", "lithium sites", e.maximum_concentration, "mol/L");
  add_if("crystal_concentration", "lithium sites of the crystal", e.crystal_concentration, "mol/L");
  const bool half = e.key == "working";  // where "full" and "empty" would be heard of the host
  add("stoichiometry_full", half ? "stoichiometry, at the upper cut-off" : "stoichiometry, cell full",
      e.stoichiometry_full);
  add("stoichiometry_empty", half ? "stoichiometry, at the lower cut-off" : "stoichiometry, cell empty",
      e.stoichiometry_empty);
  return block;
}

std::string one_c_note(const Job& job) {
  const double density = job.base.one_hour_charge / 3600;
  std::string note = fmt::format("{} mA/cm2", digits(density / 10, 3));
  if (job.base.active_loading)
    note += fmt::format(", {} mA/g of {}", digits(density / *job.base.active_loading, 3), job.bench.positive.material);
  return note;
}

/// The heading and the label of a value in the list of inputs, from its path.
std::pair<std::string, std::string> place_of(const Job& job, const std::string& path) {
  const auto dot = path.find('.');
  if (dot == std::string::npos) return {"Cell", spelled(path)};
  const std::string first = path.substr(0, dot);
  std::string rest = path.substr(dot + 1);
  std::string group = capital(spelled(first));
  const bool positive = first == "positive" || first == "working";
  if (positive || first == "negative") {
    group += ": " + (positive ? job.bench.positive.material : job.bench.negative->material);
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

Row input(const std::string& label, const params::Value& value) {
  const std::string spread = value.spread_text();
  std::string source = value.source;
  if (value.origin == params::Origin::assumed)
    source = value.source.empty() ? "default of the program" : "default: " + value.source;
  return {label, value.written.empty() ? params::show(value.si, *value.kind) : value.written, spread, source};
}

Layers::Layer layer(const std::string& name, Layers::Layer::Look look, double thickness, const char* firm, double solid,
                    double pores) {
  using Fill = Layers::Share::Fill;
  std::vector<Layers::Share> shares = {{"pores", pores, Fill::empty}};
  if (1 - pores - solid > 1e-6) shares.push_back({"carbon and binder", 1 - pores - solid, Fill::binder});
  shares.push_back({firm, solid, Fill::own});
  return {name, look, thickness, shares};
}

Layers drawing(const Job& job) {
  using Look = Layers::Layer::Look;
  const model::Cell& c = job.cell;
  Layers layers{"Layers, thickness to scale; height: share of the volume", "", {}};
  if (c.negative) {
    layers.layers.push_back(layer("negative", Look::negative, c.negative->thickness, "grains",
                                  c.negative->active_fraction, c.negative->porosity));
  }
  layers.layers.push_back(layer("separator", Look::separator, c.separator.thickness, "solid", 1 - c.separator.porosity,
                                c.separator.porosity));
  layers.layers.push_back(layer(called(job.bench.positive.key), Look::positive, c.positive.thickness, "grains",
                                c.positive.active_fraction, c.positive.porosity));
  std::string words;
  for (const Layers::Layer& l : layers.layers)
    words += (words.empty() ? "" : ", ") + l.name + " " + params::show(l.thickness, params::Length::kind(), 3);
  layers.description = "From one side to the other: " + words + ".";
  return layers;
}

/// Where a host is full or empty at rest before a cut-off is met.
Table rests_before_cut_offs(const std::vector<params::RestEnd>& ends) {
  const Measure volts = measure<params::Voltage>(nullptr, 4);
  Table table{"bench.rest_before_cut_off",
              "Rest ends before a cut-off",
              {{"cut_off", "cut-off", {}},
               {"cut_off", "at", volts},
               {"electrode", "electrode", {}},
               {"host", "is at rest", {}},
               {"stoichiometry", "at stoichiometry", Measure{&params::NumberKind::kind, nullptr, 7}},
               {"rest_voltage", "already at", volts},
               {"text", "", {}, summary}},
              {}};
  for (const params::RestEnd& end : ends) {
    table.rows.add({end.upper ? "upper" : "lower", end.cut_off, end.key, end.host_full ? "full" : "empty",
                    end.stoichiometry, end.voltage, end.text});
  }
  return table;
}

}  // namespace

Figure figure(std::string key, std::string label, const params::BenchFigure& from, const char* unit) {
  Figure made{std::move(key), std::move(label), from.value, {from.kind, unit}};
  made.uncertainty = ErrorBar::plus_minus(from.plus_minus);
  return made;
}

std::vector<Block> cell_figures(const Job& job) {
  const params::Bench& b = job.bench;
  Figures cell{"bench", "cell", {}};
  const auto add = [&](const char* key, const char* label, const params::BenchFigure& from, const char* top,
                       const std::string& note) {
    cell.figures.push_back(figure(key, label, from));
    cell.figures.back().at_the_top = top;
    cell.figures.back().note = note;
  };
  add("one_c_current", "current for 1C", b.one_c_current, "Current for 1C", one_c_note(job));
  add("equilibrium_capacity", "capacity between the cut-offs, at rest", b.equilibrium_capacity,
      "Capacity between the cut-offs, at rest",
      fmt::format("{} to {} V", digits(job.cell.lower_voltage, 3), digits(job.cell.upper_voltage, 3)));
  const bool stated = b.rated_capacity_stated;
  add("rated_capacity", stated ? "rated capacity, as stated" : "rated capacity: the one at rest", b.rated_capacity,
      stated ? "Rated capacity, as stated" : "", "");
  cell.figures.back().alone = true;
  Figure margin{"rated_capacity_plus_minus", "", b.rated_capacity.plus_minus, {b.rated_capacity.kind}};
  margin.alone = true;
  margin.places = summary;
  cell.figures.push_back(std::move(margin));
  if (b.capacity_ratio) add("capacity_ratio", "N/P", *b.capacity_ratio, "N/P", params::capacity_ratio_basis(job.sheet));
  add("plate_area", "plate area", b.plate_area, "", "");
  std::vector<Block> blocks = {cell, Facts{"bench", {{"rated_capacity_stated", stated}}}};
  const auto electrode = [&](const params::ElectrodeBench& e) {
    blocks.push_back(Facts{"bench." + e.key, {{"material", e.material}}});
    blocks.push_back(electrode_figures(e));
  };
  electrode(b.positive);
  if (b.negative) electrode(*b.negative);
  if (!b.rest_ends.empty()) blocks.push_back(rests_before_cut_offs(b.rest_ends));
  return blocks;
}

Table currents(const Job& job) {
  Table table{"bench.rates",
              "Which current is which rate",
              {{"rate", "C-rate", {}},
               {"c_rate", "", Measure{}, summary},
               {"current", "current", measure<params::Current>()},
               {"current", "per plate area", measure<params::CurrentDensity>("mA/cm2")},
               {"current", "per active mass", measure<params::SpecificCurrent>()},
               {"", "full charge takes", lasting()},
               {"hours", "", Measure{}, summary}}};  // a key from before units stood in keys
  for (const params::RateRow& r : job.bench.rates) {
    table.rows.add({r.name, r.c_rate, r.current, r.current_density,
                    r.specific_current ? TableCell(*r.specific_current) : TableCell(), 3600 * r.hours, r.hours});
  }
  return table;
}

Section what_went_in(const Job& job) {
  Section section{"What went in", {drawing(job)}};
  section.places = page;
  std::vector<Table> groups;
  params::for_each_value(job.sheet, [&](const std::string& path, const params::Value& value) {
    const auto [group, label] = place_of(job, path);
    auto at = std::find_if(groups.begin(), groups.end(), [&, name = group](const Table& t) { return t.title == name; });
    if (at == groups.end()) {
      groups.push_back(
          Table{"", group, {{"", "quantity", {}}, {"", "value", {}}, {"", "spread (95 %)", {}}, {"", "source", {}}}});
      at = groups.end() - 1;
    }
    at->rows.add(input(label, value));
  });
  for (Table& group : groups) section.blocks.push_back(std::move(group));
  return section;
}

bool invented(const Job& job) {
  std::string text = job.sheet.name + " " + job.sheet.note;
  std::transform(text.begin(), text.end(), text.begin(),
                 [](unsigned char ch) { return static_cast<char>(std::tolower(ch)); });
  return text.find("invented") != std::string::npos;
}

}  // namespace onegrain::app::answer
