#include "params/sheet/wanted.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "model/root_search.hpp"

namespace onegrain::params {

namespace {

using What = Wanted::What;

constexpr double thinnest = 0.02, thickest = 50;  // of the coating of the sheet

std::string_view trim(std::string_view text) {
  while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  while (!text.empty() && text.back() == ' ') text.remove_suffix(1);
  return text;
}

const Kind& kind_of(What what) {
  switch (what) {
    case What::n_to_p:
      return NumberKind::kind;
    case What::areal_capacity:
      return ArealCapacityKind::kind;
    case What::porosity:
      break;
  }
  return FractionKind::kind;
}

ElectrodeSheet& electrode_of(Sheet& sheet, const std::string& key) {
  return key == "negative" ? *sheet.negative : sheet.positive;
}

const BenchFigure& figure_of(const Bench& bench, const Wanted& wanted) {
  const ElectrodeBench& electrode = wanted.electrode == "negative" ? *bench.negative : bench.positive;
  switch (wanted.what) {
    case What::n_to_p:
      return *bench.capacity_ratio;
    case What::areal_capacity:
      return electrode.areal_capacity_in_window;
    case What::porosity:
      break;
  }
  return electrode.porosity;
}

/// A coating that is `factor` times as heavy and as thick.
void draw(ElectrodeSheet& electrode, double factor) {
  if (electrode.layer) {
    electrode.layer->thickness.si *= factor;
    return;
  }
  Coating& coating = *electrode.coating;
  coating.thickness.si *= factor;
  if (coating.loading) {
    coating.loading->si *= factor;
  } else {
    coating.coated_disc_mass->si =
        coating.foil_mass->si + factor * (coating.coated_disc_mass->si - coating.foil_mass->si);
  }
}

Sheet drawn(const Sheet& sheet, const Wanted& wanted, double factor) {
  Sheet other = sheet;
  ElectrodeSheet& electrode = electrode_of(other, wanted.electrode);
  if (wanted.what == What::porosity)
    electrode.coating->thickness.si *= factor;
  else
    draw(electrode, factor);
  return other;
}

/// What is wanted, of a coating that is `factor` times that of the sheet; nothing where that makes no cell.
std::optional<double> reached_by(const Sheet& sheet, const Wanted& wanted, double factor) {
  const Sheet other = drawn(sheet, wanted, factor);
  try {
    if (wanted.what == What::porosity)
      return (wanted.electrode == "negative" ? *other.negative : other.positive).porosity(other.plate_area());
    const model::Cell cell = to_cell_of_any_porosity(other);
    const model::Window window = model::equilibrium_window(cell);
    if (wanted.what == What::n_to_p) return capacity_ratio(other, cell, window);
    return window.capacity;
  } catch (const model::ImpossibleBalance&) {
    return std::nullopt;
  }
}

void without_spread_of_the_coating(ElectrodeSheet& electrode, bool thickness) {
  if (electrode.layer) {
    electrode.layer->thickness.spread = {};
    return;
  }
  Coating& coating = *electrode.coating;
  if (thickness) {
    coating.thickness.spread = {};
    return;
  }
  if (coating.loading) coating.loading->spread = {};
  if (coating.coated_disc_mass) coating.coated_disc_mass->spread = {};
  if (coating.foil_mass) coating.foil_mass->spread = {};
}

}  // namespace

Wanted parse_wanted(std::string_view text, const Sheet& sheet) {
  const std::string example =
      "such as 'n_to_p = 1.10', 'areal_capacity = 2 mAh/cm2 +- 0.1 mAh/cm2' or "
      "'negative.porosity = 30 %'";
  const std::size_t sign = text.find('=');
  if (sign == std::string_view::npos)
    throw WantedError("'" + std::string(text) + "': what is wanted is expected, " + example);
  std::string_view name = trim(text.substr(0, sign)), value = trim(text.substr(sign + 1));
  Wanted wanted{};
  const bool full = sheet.is_full_cell();
  std::string key;
  if (const std::size_t dot = name.find('.'); dot != std::string_view::npos) {
    key = std::string(name.substr(0, dot));
    name = name.substr(dot + 1);
    if (full ? key != "positive" && key != "negative" : key != "working")
      throw WantedError("'" + key + "': " + (full ? "'positive' or 'negative'" : "'working'") +
                        " is expected in front of '.'");
  }
  if (name == "n_to_p") {
    wanted.what = What::n_to_p;
    if (!full) throw WantedError("'n_to_p': a half cell has no N/P");
  } else if (name == "areal_capacity") {
    wanted.what = What::areal_capacity;
  } else if (name == "porosity") {
    wanted.what = What::porosity;
  } else {
    throw WantedError("'" + std::string(name) + "': n_to_p, areal_capacity or porosity is expected, " + example);
  }
  wanted.electrode = !key.empty() ? key : !full ? "working" : wanted.what == What::n_to_p ? "negative" : "positive";
  std::string_view tolerance;
  for (const std::string_view mark : {std::string_view("+-"), std::string_view("\u00b1")}) {
    const std::size_t at = value.find(mark);
    if (at == std::string_view::npos) continue;
    tolerance = trim(value.substr(at + mark.size()));
    value = trim(value.substr(0, at));
    break;
  }
  const Kind& kind = kind_of(wanted.what);
  try {
    wanted.value = parse_quantity(value, kind);
    if (!tolerance.empty()) wanted.tolerance = parse_quantity(tolerance, kind);
  } catch (const QuantityError& wrong) {
    throw WantedError("'" + std::string(text) + "': " + wrong.what());
  }
  const bool possible = wanted.what == What::n_to_p     ? wanted.value >= 0.2 && wanted.value <= 5
                        : wanted.what == What::porosity ? wanted.value >= 0.1 && wanted.value <= 0.8
                                                        : wanted.value > 0;
  if (!possible)
    throw WantedError(fmt::format("'{}': {} is expected", text,
                                  wanted.what == What::n_to_p     ? "an N/P from 0.2 to 5"
                                  : wanted.what == What::porosity ? "a porosity that pressing leaves, 10 to 80 %,"
                                                                  : "a capacity above 0"));
  if (wanted.tolerance && !(*wanted.tolerance > 0 && *wanted.tolerance < wanted.value))
    throw WantedError(fmt::format("'{}': a tolerance above 0 and below the value is expected", text));
  return wanted;
}

DrawnCoating coating_for(const Sheet& sheet, const Wanted& wanted) {
  const ElectrodeSheet& as_is = wanted.electrode == "negative" ? *sheet.negative : sheet.positive;
  const bool of_porosity = wanted.what == What::porosity;
  if (of_porosity && !as_is.coating)
    throw WantedError(wanted.electrode +
                      ".layer states its porosity itself; a 'coating' of loading, thickness and recipe "
                      "tells which thickness makes it");
  // Both rise or fall with the coating throughout, but a cell may not balance at an end.
  double low = 1, high = 1, step = 1.05;
  std::optional<double> at_low = reached_by(sheet, wanted, 1), at_high = at_low;
  const bool rises = of_porosity || wanted.what == What::areal_capacity || wanted.electrode == "negative";
  const auto enclosed = [&] { return at_low && at_high && (*at_low - wanted.value) * (*at_high - wanted.value) <= 0; };
  while (at_low && at_high && !enclosed() && low > thinnest && high < thickest) {
    const bool more = (*at_low < wanted.value) == rises;
    if (more) {
      low = high, at_low = at_high;
      at_high = reached_by(sheet, wanted, high *= step);
    } else {
      high = low, at_high = at_low;
      at_low = reached_by(sheet, wanted, low /= step);
    }
    step *= 1.1;
  }
  if (!enclosed())
    throw WantedError(
        fmt::format("no coating of the {} gives this with the other electrode and the cut-offs as they are",
                    wanted.electrode == "working" ? "working electrode" : wanted.electrode));
  const auto excess = [&](double factor) { return reached_by(sheet, wanted, factor).value() - wanted.value; };
  const double factor = low == high ? low : model::bracketed_root(excess, low, high, 1e-12);
  Sheet there = drawn(sheet, wanted, factor);
  ElectrodeSheet& electrode = electrode_of(there, wanted.electrode);
  DrawnCoating result{};
  result.loading = electrode.loading(there.plate_area());
  if (result.loading) result.disc = *result.loading * there.plate_area();
  result.thickness = electrode.thickness();
  const Bench as_drawn = bench(there, {});
  result.reached = figure_of(as_drawn, wanted);
  const std::vector<std::string> before = bench(sheet, {}).doubts;
  for (const std::string& doubt : as_drawn.doubts) {
    if (std::find(before.begin(), before.end(), doubt) == before.end()) result.doubts.push_back(doubt);
  }
  const double more = reached_by(sheet, wanted, 1.01 * factor).value_or(wanted.value);
  const double less = reached_by(sheet, wanted, 0.99 * factor).value_or(wanted.value);
  result.by_one_per_cent = 0.5 * (more - less);
  without_spread_of_the_coating(electrode, of_porosity);
  result.others = figure_of(bench(there, {}), wanted).plus_minus;
  if (wanted.tolerance) {
    const double room = *wanted.tolerance * *wanted.tolerance - result.others * result.others;
    result.allowed = room > 0 ? std::sqrt(room) / std::abs(100 * result.by_one_per_cent) : 0;
  }
  return result;
}

}  // namespace onegrain::params
