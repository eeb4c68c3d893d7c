#include "params/sheet/usual.hpp"

#include <fmt/format.h>

#include <array>
#include <string_view>

namespace onegrain::params {

namespace {

struct Usual {
  std::string_view path;  ///< the end of it
  double least, most;     ///< SI
  std::string_view look;  ///< what to look for
};

// Common practice, from memory: grains from those of lithium iron phosphate (tens of nanometres) to single crystals and
// flakes of graphite; coatings from research films to energy cells; separators from ceramic films to glass fibre;
// porosities of polyolefin films to glass fibre, 100 % for a gap that a model leaves to the electrolyte alone;
// tortuosities by impedance; losses of the first charge up to those of silicon.
constexpr double um = 1e-6;
constexpr std::array usual = {
    Usual{"particle_radius", 0.01 * um, 40 * um,
          "it is the radius of a grain, half of what a micrograph measures across; look at the unit"},
    Usual{"coating.thickness", 3 * um, 400 * um, "one side of the foil, foil subtracted; look at the unit"},
    Usual{"layer.thickness", 3 * um, 400 * um, "one side of the foil, foil subtracted; look at the unit"},
    Usual{"recipe.active", 0.4, 1, "the share of active material in the dry coating"},
    Usual{"phases.host", 0.7, 1, "the share of the host in the powder, by mass"},
    Usual{"active_fraction", 0.15, 0.9, "the volume of active material in the coating, not its mass"},
    Usual{"layer.porosity", 0.1, 0.75, "the volume of pores in the coating"},
    Usual{"accessible_fraction", 0.3, 1.2, "the share of the host that takes part"},
    Usual{"coating.tortuosity", 1, 15, "what divides the conductivity of its pores"},
    Usual{"layer.tortuosity", 1, 15, "what divides the conductivity of its pores"},
    Usual{"separator.tortuosity", 1, 10, "what divides the conductivity of its pores"},
    Usual{"separator.thickness", 4 * um, 1500 * um, "all sheets together; look at the unit"},
    Usual{"separator.porosity", 0.2, 1, "the volume of its pores"},
    Usual{"formation_loss", 0, 0.4, "the share of the first charge that does not come back"},
};

bool ends_with(std::string_view text, std::string_view end) {
  return text.size() >= end.size() && text.substr(text.size() - end.size()) == end &&
         (text.size() == end.size() || text[text.size() - end.size() - 1] == '.');
}

std::string range(const Usual& u, const Kind& kind) {
  const std::string most = show(u.most, kind, 3);
  return u.least > 0 ? fmt::format("from {} to {}", show(u.least, kind, 3), most) : fmt::format("up to {}", most);
}

}  // namespace

std::vector<std::string> unusual_values(const Sheet& sheet) {
  constexpr double rounding = 1e-9;
  std::vector<std::string> found;
  for_each_value(sheet, [&](const std::string& path, const Value& value) {
    if (value.origin != Origin::sheet || path.find("material.") != std::string::npos) return;
    for (const Usual& u : usual) {
      if (!ends_with(path, u.path)) continue;
      if (value.si < u.least * (1 - rounding) || value.si > u.most * (1 + rounding)) {
        found.push_back(
            fmt::format("{} = {}, where {} is usual: {}", path, value.written, range(u, *value.kind), u.look));
      } else if (value.spread.form == Spread::Form::absolute && value.spread.size > value.si && value.si > 0) {
        found.push_back(
            fmt::format("{} = {} has a spread of {}, more than itself: one known within a factor says so, "
                        "such as 'spread: factor 2'",
                        path, value.written, value.spread_text()));
      }
    }
  });
  // Common practice, from memory: data sheets of cells allow discharge from -20 to 60 degC.
  constexpr double usual_cold = 273.15 - 20, usual_heat = 273.15 + 60;
  if (const double T = sheet.temperature.si; T < usual_cold - 0.01 || T > usual_heat + 0.01) {
    found.push_back(fmt::format(
        "at {}, where from -20 to 60 degC is usual for cells, nobody has measured what the cards "
        "hold: electrolytes of carbonates {}, and the figures carry on from warmer and colder days",
        show(T, TemperatureKind::kind, 3), T < usual_cold ? "thicken and may freeze" : "react with both electrodes"));
  }
  return found;
}

}  // namespace onegrain::params
