#pragma once

#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <string>

#include "params/sheet/sheet.hpp"
#include "tests/catch.hpp"

/// Sheets for tests, and what tests of sheets share. The numbers are invented.
namespace sheets {

using onegrain::params::Loaded;
using onegrain::params::read_sheet;
using onegrain::params::Sheet;

inline const std::string full_cell = R"(onegrain: 1
name: Harbour teaching lab, coin cell 07
arrangement: full_cell
temperature: 25 degC
disc_diameter: 14 mm
voltage_window: {lower: 2.8 V, upper: 4.2 V}
contact_resistance: 12 ohm.cm2
positive:
  material: nmc622
  coating:
    loading: 11.8 mg/cm2
    thickness: 52 um
    recipe: {active: 94 wt%, carbon: 3 wt%, binder: 3 wt%}
  particle_radius: 4.8 um
negative:
  material: graphite
  layer: {thickness: 60 um, active_fraction: 62 %, porosity: 33 %}
  particle_radius: 8 um
formation_loss: 8 %
separator: {thickness: 25 um, porosity: 45 %}
electrolyte: carbonate_1M
)";

inline const std::string half_cell = R"(onegrain: 1
name: half cell
arrangement: half_cell
temperature: 25 degC
plate_area: 1.54 cm2
voltage_window: {lower: 3.0 V, upper: 4.3 V}
working:
  material: nmc622
  coating:
    coated_disc_mass: 25.3 mg
    foil_mass: 7.1 mg
    thickness: 52 um
    recipe: {active: 94 wt%, carbon: 3 wt%, binder: 3 wt%}
    densities: {binder: 1.6 g/cm3}
  particle_radius: 4.8 um
separator: {thickness: 260 um, porosity: 90 %, tortuosity: 1.3}
electrolyte: carbonate_1M
)";

/// The sheet with a line (or part of one) replaced.
inline std::string with(std::string text, const std::string& from, const std::string& to) {
  const std::size_t at = text.find(from);
  REQUIRE(at != std::string::npos);
  return text.replace(at, from.size(), to);
}

inline Loaded<Sheet> read(const std::string& text) { return read_sheet(text, "coin07.yaml", "/nonexistent"); }
inline std::string faults_of(const std::string& text) { return read(text).faults.text(); }

inline Sheet sound(const std::string& text) {
  Loaded<Sheet> loaded = read(text);
  INFO(loaded.faults.text());
  REQUIRE(loaded.value);
  return *loaded.value;
}

/// A folder for cards beside a sheet.
struct Folder {
  std::filesystem::path path =
      std::filesystem::temp_directory_path() / ("onegrain_params_sheet_" + std::to_string(getpid()));
  Folder() {
    std::filesystem::remove_all(path);
    std::filesystem::create_directories(path);
  }
  ~Folder() { std::filesystem::remove_all(path); }
  void write(const std::string& name, const std::string& text) const {
    std::ofstream(path / name, std::ios::binary) << text;
  }
};

}  // namespace sheets
