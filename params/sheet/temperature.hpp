#pragma once

#include <string>
#include <vector>

#include "params/sheet/sheet.hpp"

/// What the sheet and its cards say about temperature. A process without an activation energy runs as fast in the cold
/// as at 25 degC, which no real one does.
namespace onegrain::params {

/// A process that is slower in the cold.
struct ThermalProcess {
  std::string key;   ///< "negative", "electrolyte", "counter", ...: the part of the sheet
  std::string name;  ///< "diffusion in the grains of the negative"
  bool known;        ///< an activation energy above zero, or a formula that holds the temperature
  bool decisive;     ///< of the grains that take lithium up: these two set how fast a charge plates lithium in the cold
};

/// Diffusion in the grains and charge transfer of each electrode, charge transfer at the lithium of a half cell,
/// conduction and diffusion of the salt.
std::vector<ThermalProcess> thermal_processes(const Sheet& sheet);

/// "diffusion in the grains of the negative, charge transfer at the negative and salt diffusion": those that are not
/// known; empty if all are.
std::string unknown_over_temperature(const Sheet& sheet);

/// Whether results at other temperatures mean anything: false if neither of the decisive processes is known.
bool tells_of_temperature(const Sheet& sheet);

}  // namespace onegrain::params
