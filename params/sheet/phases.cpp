#include "params/sheet/phases.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>

#include "params/card/cif_crystal.hpp"

namespace onegrain::params {

namespace {

// Z M / (V N_A) of unit cells of the Crystallography Open Database; a test makes them again from the files.
constexpr std::array known_phases = {
    KnownPhase{"NiO", "NiO", 6849.8, "bunsenite, COD 9008693"},
    KnownPhase{"CoO", "CoO", 6407.7, "COD 9008618"},
    KnownPhase{"MnO", "MnO", 5365.7, "manganosite, COD 9008674"},
    KnownPhase{"Li2O", "Li2O", 2013.9, "COD 9009059"},
    KnownPhase{"LiOH", "LiOH", 1459.4, "COD 9008958"},
    KnownPhase{"Li2CO3", "Li2CO3", 2099.2, "zabuyelite, COD 9008283"},
    KnownPhase{"anatase", "TiO2", 3892.0, "COD 9009086"},
    KnownPhase{"rutile", "TiO2", 4249.0, "COD 9009083"},
    KnownPhase{"graphite", "C", 2280.8, "COD 9008569"},
    KnownPhase{"Si", "Si", 2329.4, "COD 9008566"},
    KnownPhase{"Li", "Li", 533.3, "COD 9008542"},
};

std::string in_small_letters(std::string text) {
  std::transform(text.begin(), text.end(), text.begin(),
                 [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; });
  return text;
}

}  // namespace

double Phases::host_share() const {
  double sum = host.si;
  for (const SecondPhase& phase : others) sum += phase.mass.si;
  return host.si / sum;
}

double Phases::volume_of_others() const {
  double sum = host.si, volume = 0;
  for (const SecondPhase& phase : others) {
    sum += phase.mass.si;
    volume += phase.mass.si / phase.density;
  }
  return volume / sum;
}

const KnownPhase* known_phase(const std::string& name) {
  const std::string wanted = in_small_letters(name);
  for (const KnownPhase& phase : known_phases) {
    if (in_small_letters(phase.name) == wanted) return &phase;
  }
  return nullptr;
}

std::vector<std::string> known_phase_names() {
  std::vector<std::string> names;
  for (const KnownPhase& phase : known_phases) names.emplace_back(phase.name);
  return names;
}

bool find_density(Fields& fields, const std::string& key, SecondPhase& phase) {
  const DocumentReading& reading = fields.reading();
  const std::string file = phase.name + ".cif";
  const bool plain = phase.name.find('/') == std::string::npos && phase.name.size() < 100;
  std::error_code ignored;
  if (!reading.shipped && plain &&
      std::filesystem::exists(reading.folder.empty() ? file : reading.folder + "/" + file, ignored)) {
    const std::optional<CifCrystal> crystal = read_cif_crystal(fields, key, file, "");
    if (!crystal) return false;
    const std::optional<double> density = crystal->density();
    if (!density) {
      fields.error(key, fmt::format("'{}' tells no density: it needs Z and a formula (_cell_formula_units_Z, "
                                    "_chemical_formula_sum)",
                                    crystal->file));
      return false;
    }
    phase.density = *density;
    phase.source = crystal->file;
    return true;
  }
  if (const KnownPhase* known = known_phase(phase.name)) {
    phase.density = known->density;
    phase.source = known->source;
    return true;
  }
  std::string names;
  for (const std::string& name : known_phase_names()) names += (names.empty() ? "" : ", ") + name;
  fields.error(key,
               fmt::format("nobody here knows the density of '{}': put its CIF beside the sheet, as '{}'; known by "
                           "name are {}",
                           phase.name, file, names));
  return false;
}

bool check_sum(Fields& fields, const Phases& phases) {
  double sum = phases.host.si;
  for (const SecondPhase& phase : phases.others) sum += phase.mass.si;
  if (std::abs(sum - 1) <= 0.01) return true;
  fields.error_here(fmt::format("the phases add up to {:.4g} %, not 100 %", 100 * sum));
  return false;
}

std::optional<Phases> read_phases(Fields& electrode, const std::string& key) {
  std::optional<Fields> fields = electrode.mapping(key,
                                                   "mass shares of the powder, such as {host: 97 wt%, NiO: 3 wt%}, or "
                                                   "{cif: refinement.cif}");
  if (!fields) return std::nullopt;
  const int before = fields->reading().faults->errors();
  if (fields->has("cif")) {
    const std::optional<std::string> cif = fields->text("cif"), host = fields->text("host");
    fields->finish();
    if (!cif || fields->reading().faults->errors() > before) return std::nullopt;
    return read_phases_of_cif(*fields, *cif, host.value_or(""));
  }
  Phases phases;
  phases.host = fields->required<Fraction>("host", limits::positive_share, "wt%");
  for (const Entry& entry : fields->here().entries) {
    if (entry.key == "host") continue;
    SecondPhase phase;
    phase.name = entry.key;
    if (const std::optional<Given<Fraction>> mass = fields->optional<Fraction>(entry.key, limits::share, "wt%"))
      phase.mass = *mass;
    if (!find_density(*fields, entry.key, phase)) continue;
    phases.others.push_back(std::move(phase));
  }
  if (fields->reading().faults->errors() > before) return std::nullopt;
  if (phases.others.empty()) {
    fields->error_here("no second phase; a powder of the host alone needs no 'phases'");
    return std::nullopt;
  }
  if (!check_sum(*fields, phases)) return std::nullopt;
  return phases;
}

}  // namespace onegrain::params
