#include "params/sheet/bench.hpp"

#include <fmt/format.h>

#include <cmath>
#include <functional>
#include <limits>

#include "model/constants.hpp"
#include "model/root_search.hpp"
#include "params/sheet/rate.hpp"
#include "params/sheet/temperature.hpp"
#include "params/sheet/usual.hpp"

namespace onegrain::params {

namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

/// Everything that carries an uncertainty, as one row of numbers, so that one loop propagates all of it.
struct ElectrodeRow {
  double coating_loading = nan, active_loading = nan, active_mass = nan;
  double thickness = nan, active_fraction = nan, porosity = nan, inactive_fraction = nan, tortuosity = nan;
  double areal_capacity = nan, areal_capacity_in_window = nan;
  double theoretical_capacity = nan, specific_capacity = nan, specific_capacity_in_window = nan;
  double accessible_fraction = nan;
  double maximum_concentration = nan, crystal_concentration = nan, density = nan;
  double full = nan, empty = nan;
  double sauter_radius = nan, diffusion_radius = nan, specific_surface = nan;
};
struct Row {
  ElectrodeRow positive, negative;
  double capacity_ratio = nan, plate_area = nan, equilibrium_capacity = nan, rated_capacity = nan, one_c_current = nan;
};
static_assert(sizeof(Row) % sizeof(double) == 0);
constexpr std::size_t row_length = sizeof(Row) / sizeof(double);
const double* begin(const Row& row) { return reinterpret_cast<const double*>(&row); }

ElectrodeRow electrode_row(const ElectrodeSheet& electrode, const model::Electrode& layer, double plate_area,
                           double full, double empty) {
  ElectrodeRow row;
  const auto number = [](const std::optional<double>& value) { return value.value_or(nan); };
  row.coating_loading = number(electrode.loading(plate_area));
  row.active_loading = number(electrode.active_loading(plate_area));
  row.active_mass = row.active_loading * plate_area;
  row.thickness = layer.thickness;
  row.active_fraction = electrode.active_fraction(plate_area);
  row.accessible_fraction = electrode.accessible_fraction.si;
  row.porosity = layer.porosity;
  row.inactive_fraction = electrode.inactive_fraction(plate_area);
  row.tortuosity = layer.tortuosity;
  row.areal_capacity = layer.capacity();
  row.areal_capacity_in_window = row.areal_capacity * std::abs(full - empty);
  row.theoretical_capacity = number(electrode.material.theoretical_capacity());
  row.maximum_concentration = layer.host.maximum_concentration;
  row.crystal_concentration = number(electrode.material.crystal_concentration());
  row.density = number(electrode.material.density());
  row.specific_capacity = row.areal_capacity / row.active_loading;
  row.specific_capacity_in_window = row.areal_capacity_in_window / row.active_loading;
  row.specific_surface = number(electrode.specific_surface());
  if (electrode.grain_sizes) {
    row.sauter_radius = electrode.particle_radius.si;
    row.diffusion_radius = electrode.diffusion_radius();
  }
  row.full = full;
  row.empty = empty;
  return row;
}

/// Against lithium, where the cell is at its upper cut-off: at rest, or, where the negative is full before, at its
/// surfaces in the end [V].
double negative_potential_when_charged(const model::Cell& cell, const model::Window& window) {
  if (window.before_upper && !window.before_upper->of_positive)
    return cell.positive.host.potential(window.full.positive, cell.temperature) - cell.upper_voltage;
  return cell.negative->host.potential(window.full.negative, cell.temperature);
}

/// What is known beside the row, of the sheet as it stands.
struct AtCutOffs {
  model::Window window;
  double negative_potential;  ///< when charged [V]
};

Row row_of(const Sheet& sheet, AtCutOffs* at_cut_offs = nullptr) {
  const model::Cell cell = to_cell_of_any_porosity(sheet);
  const model::Window window = model::equilibrium_window(cell);
  if (at_cut_offs != nullptr)
    *at_cut_offs = {window, cell.negative ? negative_potential_when_charged(cell, window) : nan};
  Row row;
  row.plate_area = cell.plate_area;
  row.positive =
      electrode_row(sheet.positive, cell.positive, cell.plate_area, window.full.positive, window.empty.positive);
  if (sheet.negative) {
    row.negative =
        electrode_row(*sheet.negative, *cell.negative, cell.plate_area, window.full.negative, window.empty.negative);
    row.capacity_ratio = capacity_ratio(sheet, cell, window);
  }
  row.equilibrium_capacity = window.capacity * cell.plate_area;
  row.rated_capacity = model::one_hour_charge(cell, window) * cell.plate_area;
  row.one_c_current = row.rated_capacity / 3600;
  return row;
}

/// Half-widths of the 95 % intervals of a row: each value with a spread is moved by one standard deviation either way,
/// the effects are taken as independent and added in quadrature. Where one side cannot be balanced the other counts
/// alone.
Row half_widths(const Sheet& sheet, const Row& centre) {
  Row variance;
  auto* sums = reinterpret_cast<double*>(&variance);
  for (std::size_t k = 0; k < row_length; ++k) sums[k] = 0;
  Sheet varied = sheet;
  for_each_value(varied, [&](const std::string&, Value& value) {
    if (!value.spread.given()) return;
    const double before = value.si;
    const auto moved = [&](double deviations) -> std::optional<Row> {
      value.si = value.at_deviation(deviations);
      std::optional<Row> row;
      try {
        row = row_of(varied);
      } catch (const std::bad_alloc&) {
        throw;
      } catch (const std::exception&) {
      }
      value.si = before;
      return row;
    };
    const std::optional<Row> up = moved(1), down = moved(-1);
    for (std::size_t k = 0; k < row_length; ++k) {
      const double c = begin(centre)[k];
      const double effect = up && down ? 0.5 * (begin(*up)[k] - begin(*down)[k])
                            : up       ? begin(*up)[k] - c
                            : down     ? begin(*down)[k] - c
                                       : 0;
      if (std::isfinite(effect)) sums[k] += effect * effect;
    }
  });
  for (std::size_t k = 0; k < row_length; ++k) sums[k] = deviations_of_95_percent * std::sqrt(sums[k]);
  return variance;
}

BenchFigure figure(double value, double plus_minus, const Kind& kind) {
  // what is below round-off of a difference is no uncertainty
  return {value, plus_minus > 1e-9 * std::abs(value) ? plus_minus : 0, &kind};
}

std::optional<BenchFigure> maybe(double value, double plus_minus, const Kind& kind) {
  if (!std::isfinite(value)) return std::nullopt;
  return figure(value, plus_minus, kind);
}

ElectrodeBench electrode_bench(const ElectrodeSheet& electrode, const ElectrodeRow& v, const ElectrodeRow& pm) {
  ElectrodeBench bench;
  bench.key = electrode.key;
  bench.material = electrode.material.name;
  bench.second_phases = electrode.phases.has_value();
  bench.coating_loading = maybe(v.coating_loading, pm.coating_loading, LoadingKind::kind);
  bench.active_loading = maybe(v.active_loading, pm.active_loading, LoadingKind::kind);
  bench.active_mass = maybe(v.active_mass, pm.active_mass, MassKind::kind);
  bench.thickness = figure(v.thickness, pm.thickness, LengthKind::kind);
  bench.active_fraction = figure(v.active_fraction, pm.active_fraction, FractionKind::kind);
  if (electrode.accessible_fraction.origin == Origin::sheet || electrode.accessible_fraction.si != 1)
    bench.accessible_fraction = figure(v.accessible_fraction, pm.accessible_fraction, FractionKind::kind);
  bench.porosity = figure(v.porosity, pm.porosity, FractionKind::kind);
  bench.inactive_fraction = figure(v.inactive_fraction, pm.inactive_fraction, FractionKind::kind);
  bench.tortuosity = figure(v.tortuosity, pm.tortuosity, NumberKind::kind);
  bench.areal_capacity = figure(v.areal_capacity, pm.areal_capacity, ArealCapacityKind::kind);
  bench.areal_capacity_in_window =
      figure(v.areal_capacity_in_window, pm.areal_capacity_in_window, ArealCapacityKind::kind);
  bench.theoretical_capacity = maybe(v.theoretical_capacity, pm.theoretical_capacity, SpecificCapacityKind::kind);
  bench.specific_capacity = maybe(v.specific_capacity, pm.specific_capacity, SpecificCapacityKind::kind);
  bench.specific_capacity_in_window =
      maybe(v.specific_capacity_in_window, pm.specific_capacity_in_window, SpecificCapacityKind::kind);
  bench.maximum_concentration = figure(v.maximum_concentration, pm.maximum_concentration, SiteConcentrationKind::kind);
  bench.crystal_concentration = maybe(v.crystal_concentration, pm.crystal_concentration, SiteConcentrationKind::kind);
  bench.sauter_radius = maybe(v.sauter_radius, pm.sauter_radius, LengthKind::kind);
  bench.diffusion_radius = maybe(v.diffusion_radius, pm.diffusion_radius, LengthKind::kind);
  bench.specific_surface = maybe(v.specific_surface, pm.specific_surface, SpecificSurfaceKind::kind);
  if (electrode.grain_sizes)
    bench.size_note =
        fmt::format("{}, in {} classes", electrode.grain_sizes->made_of, electrode.grain_sizes->classes.size());
  bench.density = maybe(v.density, pm.density, DensityKind::kind);
  bench.stoichiometry_full = figure(v.full, pm.full, NumberKind::kind);
  bench.stoichiometry_empty = figure(v.empty, pm.empty, NumberKind::kind);
  return bench;
}

/// A warning that stands before any figure.
void doubt(Bench& bench, std::string sentence) {
  bench.doubts.push_back(sentence);
  bench.warnings.push_back(std::move(sentence));
}

void warn_electrode(const ElectrodeSheet& electrode, const ElectrodeBench& bench, Bench& whole) {
  std::vector<std::string>& warnings = whole.warnings;
  const std::string& key = bench.key;
  const double porosity = bench.porosity.value;
  const std::string fits = electrode.coating
                               ? fmt::format("a loading of {} without pores would be {} thick, the sheet says {}",
                                             show(bench.coating_loading->value, LoadingKind::kind, 4),
                                             show(bench.thickness.value * (1 - porosity), LengthKind::kind, 4),
                                             show(bench.thickness.value, LengthKind::kind, 4))
                               : "";
  if (porosity < 0) {
    doubt(whole,
          fmt::format("{}: the porosity comes out below 0 ({:.3g} %): {}; measure the loading and the thickness again, "
                      "and check the recipe",
                      key, 100 * porosity, fits));
  } else if (electrode.coating && porosity < 0.10) {
    doubt(whole, fmt::format("{}: a porosity of {:.3g} % is lower than pressing reaches: {}; measure the loading and "
                             "the thickness again",
                             key, 100 * porosity, fits));
  } else if (electrode.coating && porosity > 0.70) {
    doubt(whole, fmt::format("{}: a porosity of {:.3g} % is higher than a coating has, even unpressed: {}; measure the "
                             "thickness (foil subtracted) and the loading again",
                             key, 100 * porosity, fits));
  }
  if (bench.crystal_concentration) {
    const double off = bench.maximum_concentration.value / bench.crystal_concentration->value - 1;
    if (std::abs(off) > 0.1) {
      warnings.push_back(
          fmt::format("{}: the maximum concentration {} is {:+.0f} % off that of the crystal, {}; check the lattice "
                      "(diffraction) or 'maximum_concentration' of the card '{}'",
                      key, show(bench.maximum_concentration.value, SiteConcentrationKind::kind), 100 * off,
                      show(bench.crystal_concentration->value, SiteConcentrationKind::kind), electrode.material.card));
    }
  }
  if (bench.theoretical_capacity && bench.specific_capacity) {
    const double all = bench.specific_capacity->value / electrode.accessible_fraction.si;  // as if all took part
    const double off = all / bench.theoretical_capacity->value - 1;
    if (std::abs(off) > 0.1) {
      warnings.push_back(
          fmt::format("{}: {} of active material is {:+.0f} % off the theoretical {} (n F / M); check density, maximum "
                      "concentration and formula of the card '{}'",
                      key, show(all, SpecificCapacityKind::kind, 4), 100 * off,
                      show(bench.theoretical_capacity->value, SpecificCapacityKind::kind, 4), electrode.material.card));
    }
  }
  const PotentialCard& potential = electrode.material.open_circuit_potential;
  const double low = std::min(bench.stoichiometry_full.value, bench.stoichiometry_empty.value);
  const double high = std::max(bench.stoichiometry_full.value, bench.stoichiometry_empty.value);
  // Less than a hundredth beyond the measured range is how any fit of end points comes out.
  if (low < potential.lower - 0.01 || high > potential.upper + 0.01) {
    warnings.push_back(
        fmt::format("{}: used from x = {:.3f} to {:.3f}, but its potential is known from {:.3g} to {:.3g} only; the "
                    "ends are extrapolated",
                    key, low, high, potential.lower, potential.upper));
  }
}

/// Contacts that take a good part of the window by themselves, or more than contacts of coin cells do.
void warn_contacts(const Sheet& sheet, Bench& bench) {
  constexpr double share = 0.2, most = 300e-4;  // of the window (judgement); ohm m2, common practice: 5 to 100 ohm.cm2
  const double density = bench.one_c_current.value / bench.plate_area.value;
  const double drop = sheet.contact_resistance.si * density, window = sheet.upper_voltage.si - sheet.lower_voltage.si;
  if (drop > share * window || sheet.contact_resistance.si > most) {
    doubt(bench,
          fmt::format("contact_resistance = {} takes {} at 1C by itself, of a window of {}: look at its unit, which is "
                      "resistance times area, and at the contacts",
                      sheet.contact_resistance.written, show(drop, VoltageKind::kind, 3),
                      show(window, VoltageKind::kind, 3)));
  }
}

/// Where the negative is full: what comes of it depends on its potential then.
void warn_full_negative(Bench& bench, double potential_when_charged) {
  if (!bench.negative) return;
  constexpr double lithium_may_plate = 0.2;  // V at rest; a current lowers it by tens of millivolts (judgement)
  if (!(potential_when_charged < lithium_may_plate)) {
    if (bench.capacity_ratio && bench.capacity_ratio->value < 1) {
      bench.warnings.push_back(fmt::format(
          "N/P is {:.3f}, below 1: the negative is full before the cell is, {:.2f} V against lithium at the "
          "upper cut-off, and sets the capacity; weigh both coatings again if that is not meant",
          bench.capacity_ratio->value, potential_when_charged));
    }
    return;
  }
  if (bench.capacity_ratio && bench.capacity_ratio->value < 1) {
    doubt(bench,
          fmt::format("N/P is {:.3f}, below 1: the negative is full before the cell is, and lithium will plate; weigh "
                      "both coatings again, "
                      "or make the negative heavier or the positive lighter",
                      bench.capacity_ratio->value));
  }
  if (bench.negative->stoichiometry_full.value > 0.98) {
    doubt(bench,
          fmt::format("negative: x = {:.3f} at the upper cut-off, full; lithium will plate; weigh both coatings again, "
                      "or lower the upper cut-off",
                      bench.negative->stoichiometry_full.value));
  }
}

RestEnd rest_end(const Sheet& sheet, const model::Window& window, bool upper) {
  const model::HostEnd& host = upper ? *window.before_upper : *window.before_lower;
  const model::Stoichiometries& x = upper ? window.full : window.empty;
  RestEnd end;
  end.key = host.of_positive ? sheet.positive.key : "negative";
  end.upper = upper;
  end.host_full = host.host_full;
  end.cut_off = upper ? sheet.upper_voltage.si : sheet.lower_voltage.si;
  end.voltage = host.voltage;
  end.stoichiometry = host.of_positive ? x.positive : x.negative;
  const std::string name = end.key == "working" ? "working electrode" : end.key;
  const char *state = end.host_full ? "full" : "empty", *which = upper ? "upper" : "lower";
  end.brief = fmt::format("At rest the {} is {} before the {} cut-off is met.", name, state, which);
  end.text = fmt::format(
      "At rest the {} is {} (x = {:.6f}, the cell at {:.3f} V) before the {} cut-off of {:.3f} V is met: the {} cell "
      "rests there and capacity counts to there; under current the cut-off is met while grain surfaces are {}",
      name, state, end.stoichiometry, end.voltage, which, end.cut_off, upper ? "charged" : "discharged", state);
  return end;
}

}  // namespace

double capacity_ratio(const Sheet& sheet, const model::Cell& cell, const model::Window& window) {
  if (!sheet.formation_loss) return cell.negative->capacity() / window.capacity;
  // Where the negative would be full before the cell is, its diving potential would hide just that: x_p is then taken
  // against a negative with room.
  const model::OpenCircuitPotential& negative = cell.negative->host.potential;
  const double roomy = std::min(0.95, negative.upper());
  if (window.full.negative <= roomy) return model::capacity_ratio(cell, window);
  const double target = cell.upper_voltage + negative(roomy, cell.temperature);
  const auto excess = [&](double x) { return cell.positive.host.potential(x, cell.temperature) - target; };
  const double least = model::nearest_at_rest, most = 1 - least;  // the potential falls with filling
  const double full = excess(least) <= 0  ? least
                      : excess(most) >= 0 ? most
                                          : model::bracketed_root(excess, least, most);
  return cell.negative->capacity() / (cell.positive.capacity() * (1 - full));
}

const char* capacity_ratio_basis(const Sheet& sheet) {
  return sheet.formation_loss ? "the negative's room over the lithium of the first charge"
                              : "the negative's room over the charge between the cut-offs";
}

Bench bench(const Sheet& sheet, const std::vector<double>& c_rates) {
  Bench result;
  AtCutOffs at_cut_offs{};
  const Row row = row_of(sheet, &at_cut_offs);
  result.window = at_cut_offs.window;
  if (result.window.before_lower) result.rest_ends.push_back(rest_end(sheet, result.window, false));
  if (result.window.before_upper) result.rest_ends.push_back(rest_end(sheet, result.window, true));
  const Row pm = half_widths(sheet, row);
  result.positive = electrode_bench(sheet.positive, row.positive, pm.positive);
  if (sheet.negative) {
    result.negative = electrode_bench(*sheet.negative, row.negative, pm.negative);
    result.capacity_ratio = figure(row.capacity_ratio, pm.capacity_ratio, NumberKind::kind);
  }
  result.plate_area = figure(row.plate_area, pm.plate_area, AreaKind::kind);
  result.equilibrium_capacity = figure(row.equilibrium_capacity, pm.equilibrium_capacity, ChargeKind::kind);
  result.rated_capacity = figure(row.rated_capacity, pm.rated_capacity, ChargeKind::kind);
  result.rated_capacity_stated = sheet.rated_capacity.has_value();
  result.one_c_current = figure(row.one_c_current, pm.one_c_current, CurrentKind::kind);
  for (const double c_rate : c_rates) {
    const double current = c_rate * row.one_c_current;
    RateRow rate{c_rate, rate_name(c_rate), current, current / row.plate_area, std::nullopt, 1 / c_rate};
    if (result.positive.active_loading)
      rate.specific_current = rate.current_density / result.positive.active_loading->value;
    result.rates.push_back(rate);
  }

  for (std::string& sentence : unusual_values(sheet)) doubt(result, std::move(sentence));
  warn_contacts(sheet, result);
  warn_electrode(sheet.positive, result.positive, result);
  if (sheet.negative) warn_electrode(*sheet.negative, *result.negative, result);
  warn_full_negative(result, at_cut_offs.negative_potential);
  if (result.rated_capacity_stated) {
    const double share = result.rated_capacity.value / result.equilibrium_capacity.value;
    if (share > 1.1 || share < 0.7) {
      doubt(
          result,
          fmt::format("the rated capacity {} is {:.0f} % of what these electrodes hold between the cut-offs, {}; check "
                      "it, the masses and the disc",
                      show(result.rated_capacity.value, ChargeKind::kind, 4), 100 * share,
                      show(result.equilibrium_capacity.value, ChargeKind::kind, 4)));
    }
  }
  if (std::abs(sheet.temperature.si - 298.15) > 0.5) {
    if (const std::string unknown = unknown_over_temperature(sheet); !unknown.empty()) {
      result.warnings.push_back(
          fmt::format("at {} the values of 25 degC stand for {}, since no activation energy is given: a real cell is "
                      "slower in the cold, and quicker in the heat, than shown here",
                      show(sheet.temperature.si, TemperatureKind::kind, 3), unknown));
    }
  }
  result.assumptions = sheet.assumptions;
  for (const RestEnd& end : result.rest_ends) result.assumptions.push_back(end.text);
  return result;
}

}  // namespace onegrain::params
