#include "app/fitting.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <ctime>

#include "app/ensemble.hpp"
#include "app/table.hpp"
#include "model/constants.hpp"

namespace onegrain::app {

namespace {

using solver::FreeParameter;
using solver::Quantity;

constexpr double reference_filling = 0.5;
constexpr double usual_spread_of_potential = 0.02;  // V; between half cells of one material, common practice
constexpr int potential_pieces = 24;

/// Standard deviation of the logarithm of a value that its spread leaves; infinite without spread.
double deviation_of_logarithm(const params::Value& value) {
  const double infinite = std::numeric_limits<double>::infinity();
  if (!value.spread.given()) return infinite;
  if (value.spread.form == params::Spread::Form::factor) return std::log(value.spread.size) / 1.96;
  return value.si != 0 ? std::abs(value.spread.size / value.si) / 1.96 : infinite;
}

/// Independent spreads of factors; unknown where any is.
double together(double a, double b) { return std::hypot(a, b); }

bool starts_with(const std::string& text, const char* prefix) { return text.rfind(prefix, 0) == 0; }

params::ElectrodeSheet* electrode_named(params::Sheet& sheet, const std::string& name, bool& negative) {
  negative = starts_with(name, "negative.");
  if (negative) return sheet.negative ? &*sheet.negative : nullptr;
  return starts_with(name, (sheet.positive.key + ".").c_str()) || starts_with(name, "positive.") ? &sheet.positive : nullptr;
}

struct Builder {
  const Job& job;
  const std::vector<Recording>& recordings;
  Fitting& fitting;
  std::vector<std::string> others;  // paths

  params::Sheet& sheet() { return fitting.sheet; }
  model::Cell& cell() { return fitting.problem.cell; }

  void add(FreeParameter p, std::string label, std::string unit) {
    for (const FreeParameter& known : fitting.problem.free) {
      if (known.name == p.name) return;
    }
    fitting.problem.free.push_back(std::move(p));
    fitting.labels.push_back(std::move(label));
    fitting.units.push_back(std::move(unit));
  }

  void add_within(const std::string& name, Quantity quantity, bool negative, double nominal, double factor, double prior, std::string label,
                  std::string unit) {
    FreeParameter p{name, quantity, negative, nominal, nominal / factor, nominal * factor};
    p.prior = prior;
    add(std::move(p), std::move(label), std::move(unit));
  }

  void diffusion_time(const params::ElectrodeSheet& e, bool negative) {
    const model::Electrode& layer = negative ? *cell().negative : cell().positive;
    const double D = layer.host.diffusivity(reference_filling, model::reference_temperature);
    const double radius = deviation_of_logarithm(e.particle_radius);
    add_within(e.key + ".diffusion_time", Quantity::diffusion_time, negative, layer.particle_radius * layer.particle_radius / D, 1e4,
               together(deviation_of_logarithm(e.material.diffusion_coefficient), std::isfinite(radius) ? 2 * radius : 0.0),
               "time of diffusion R^2/D in the grains of the " + e.key, "s");
  }

  void exchange(const params::ElectrodeSheet& e, bool negative) {
    const model::Electrode& layer = negative ? *cell().negative : cell().positive;
    const double radius = deviation_of_logarithm(e.particle_radius);
    add_within(e.key + ".exchange_current_density", Quantity::exchange_current_density, negative,
               layer.host.exchange_current_density(reference_filling, model::reference_temperature), 1e4,
               together(deviation_of_logarithm(e.material.exchange_current_density), std::isfinite(radius) ? radius : 0.0),
               "exchange current density of the " + e.key, "A/m2");
  }

  void capacity(const params::ElectrodeSheet& e, bool negative) {
    const model::Electrode& layer = negative ? *cell().negative : cell().positive;
    add_within(e.key + ".capacity", Quantity::capacity, negative, layer.capacity(), 3, deviation_of_logarithm(e.accessible_fraction),
               "capacity of the " + e.key + ", full minus empty", "mAh/cm2");
  }

  void potential(const params::ElectrodeSheet& e, bool negative) {
    const params::PropertyValue& U = e.material.open_circuit_potential.potential;
    solver::FreePotential p{e.key + ".potential", negative, potential_pieces, 0, 1};
    if (U.spread.form == params::Spread::Form::absolute) p.prior = U.spread.size / 1.96;
    // What the cell can pass between its cut-offs, and a little on either side.
    const model::Window& w = job.bench.window;
    const double a = negative ? w.empty.negative : w.full.positive, b = negative ? w.full.negative : w.empty.positive;
    p.lower = std::max(0.002, a - 0.08 * (b - a));
    p.upper = std::min(0.998, b + 0.08 * (b - a));
    // The card's potential with the range that the new card will have, so that both go on in the same way beyond it. A
    // coefficient of the temperature stays with the card and is left out here.
    model::OpenCircuitPotential& known = (negative ? cell().negative->host : cell().positive.host).potential;
    known = model::OpenCircuitPotential(model::Property(model::Curve::approximation(
        [before = known](double x) { return before(x, model::reference_temperature); }, p.lower, p.upper, 1e-7, model::Curve::Beyond::tangent)));
    fitting.problem.potentials.push_back(p);
  }

  void contact() {
    const params::Value& stated = sheet().contact_resistance;
    FreeParameter p{"contact_resistance", Quantity::contact_resistance, false, stated.si, 0, 1, false, 1e-4};
    if (stated.spread.form == params::Spread::Form::absolute) p.prior = stated.spread.size / 1.96 / p.unit;
    if (stated.spread.form == params::Spread::Form::factor) p.prior = stated.si * (stated.spread.size - 1) / 1.96 / p.unit;
    add(std::move(p), "contact resistance", "ohm.cm2");
  }

  void lithium() {
    if (!cell().is_full_cell()) throw CommandLineError("--free lithium: the lithium of a half cell has no end; leave it out");
    const double content = cell().inventory.positive * cell().positive.capacity() + cell().inventory.negative * cell().negative->capacity();
    add_within("lithium", Quantity::lithium, false, content, 3, std::numeric_limits<double>::infinity(), "lithium that both electrodes share", "mAh/cm2");
  }

  void by_path(const std::string& name) {
    params::Value* value = params::find_value(sheet(), name);
    if (!value && name == "separator.tortuosity") {
      sheet().separator.tortuosity = params::assumed<params::Number>(std::pow(sheet().separator.porosity.si, -0.5), "tortuosity", "porosity^-0.5");
      value = &*sheet().separator.tortuosity;
    }
    bool negative = false;
    params::ElectrodeSheet* e = electrode_named(sheet(), name, negative);
    if (!value && e && name == e->key + ".tortuosity") {
      e->tortuosity = params::assumed<params::Number>(e->tortuosity_value(job.plate_area()), "tortuosity", "porosity^-0.5");
      value = &*e->tortuosity;
    }
    if (!value) {
      std::vector<std::string> known = free_names(sheet());
      const std::string near = params::nearest(name, known);
      std::string message = "--free '" + name + "' is nothing that can be estimated";
      if (!near.empty()) throw CommandLineError(message + "; did you mean '" + near + "'?");
      message += "; there are ";
      for (std::size_t k = 0; k < known.size(); ++k) message += (k == 0 ? "" : ", ") + known[k];
      throw CommandLineError(message + ", and any value of the sheet by its path, such as positive.tortuosity");
    }
    if (!(value->si > 0)) throw CommandLineError("--free '" + name + "': the sheet gives no positive value to start from");
    const bool share = value->kind == &params::FractionKind::kind;
    FreeParameter p{name, Quantity::other, false, value->si, value->si / 20, share ? std::min(1.0, value->si * 20) : value->si * 20};
    p.prior = deviation_of_logarithm(*value);
    others.push_back(name);
    add(std::move(p), name, value->kind->unit);
  }

  void one(const std::string& name) {
    bool negative = false;
    params::ElectrodeSheet* e = electrode_named(sheet(), name, negative);
    const std::string what = name.substr(name.find('.') + 1);
    if (e && what == "diffusion_time") return diffusion_time(*e, negative);
    if (e && what == "exchange_current_density") return exchange(*e, negative);
    if (e && what == "capacity") return capacity(*e, negative);
    if (e && what == "potential") return potential(*e, negative);
    if (e && (what == "particle_radius" || what == "diffusion_coefficient" || what == "material.diffusion_coefficient")) {
      fitting.notes.push_back(fmt::format("{} was asked for. No voltage tells a radius and a diffusion coefficient apart: only R^2/D shows. {}.diffusion_time is "
                                          "estimated instead; with the radius of the sheet it gives D. A micrograph tells the radius.", name, e->key));
      return diffusion_time(*e, negative);
    }
    if (name == "contact_resistance") return contact();
    if (name == "lithium") return lithium();
    by_path(name);
  }
};

std::string today() {
  const std::time_t now = std::time(nullptr);
  return fmt::format("{:%Y-%m-%d}", fmt::gmtime(now));
}

std::string base_name(const std::string& path) {
  const std::size_t slash = path.find_last_of('/');
  return slash == std::string::npos ? path : path.substr(slash + 1);
}

}  // namespace

std::vector<std::string> free_names(const params::Sheet& sheet) {
  std::vector<std::string> names;
  std::vector<const params::ElectrodeSheet*> electrodes = {&sheet.positive};
  if (sheet.negative) electrodes.push_back(&*sheet.negative);
  for (const char* what : {"diffusion_time", "exchange_current_density", "capacity", "potential"}) {
    for (const params::ElectrodeSheet* e : electrodes) names.push_back(e->key + "." + what);
  }
  names.emplace_back("contact_resistance");
  if (sheet.negative) names.emplace_back("lithium");
  names.emplace_back("separator.tortuosity");
  return names;
}

Fitting prepare_fit(const Job& job, const std::vector<Recording>& recordings, const std::vector<std::string>& names) {
  Fitting fitting{job.sheet, {job.cell, job.electrolyte, {}, {}, {}, {.relative_tolerance = 1e-6, .absolute_factor = 0.1}}, {}, {}, {}};
  Builder builder{job, recordings, fitting, {}};
  std::vector<std::string> wanted = names;
  if (wanted.empty()) {
    for (const std::string& name : free_names(job.sheet)) {
      if (name.find(".potential") == std::string::npos && name != "separator.tortuosity") wanted.push_back(name);
    }
  }
  for (const std::string& name : wanted) builder.one(name);
  for (const Recording& r : recordings) {
    solver::FitCurve curve{base_name(r.file), r.run, Eigen::VectorXd(static_cast<Eigen::Index>(r.rows.size())), r.start};
    for (std::size_t k = 0; k < r.rows.size(); ++k) curve.voltage[static_cast<Eigen::Index>(k)] = r.measured.record.voltage[r.rows[k]];
    std::vector<double> charge;
    const params::Record& record = r.measured.record;
    double passed = 0;
    std::size_t before = r.first_row;
    for (const std::size_t row : r.rows) {
      for (; before < row; ++before) passed += 0.5 * (record.current[before] + record.current[before + 1]) * (record.time[before + 1] - record.time[before]);
      charge.push_back(passed);
    }
    curve.weight = solver::weights_by_slope(charge, curve.voltage);
    fitting.problem.curves.push_back(std::move(curve));
  }
  if (!builder.others.empty()) {
    fitting.problem.rebuild = [sheet = fitting.sheet, paths = builder.others](const std::vector<double>& values) {
      params::Sheet changed = sheet;
      for (std::size_t k = 0; k < paths.size(); ++k) params::find_value(changed, paths[k])->si = values[k];
      return params::to_cell(changed);
    };
  }
  return fitting;
}

std::vector<Eigen::VectorXd> fit_starts(const Fitting& fitting, int count) {
  const auto parameters = static_cast<Eigen::Index>(fitting.problem.free.size());
  Eigen::Index size = parameters;
  for (const solver::FreePotential& p : fitting.problem.potentials) size += p.pieces + 3;
  std::vector<Eigen::VectorXd> starts;
  for (int s = 0; s + 1 < count; ++s) {
    const Eigen::VectorXd deviations = plausible_deviations(1, s, parameters);
    Eigen::VectorXd z = Eigen::VectorXd::Zero(size);
    for (Eigen::Index k = 0; k < parameters; ++k) {
      const FreeParameter& p = fitting.problem.free[static_cast<std::size_t>(k)];
      const double usual = p.quantity == Quantity::capacity || p.quantity == Quantity::lithium ? 0.02 : p.logarithmic ? 1.0 : 0.3 * std::max(p.nominal / p.unit, 1.0);
      z[k] = std::clamp(deviations[k] * (std::isfinite(p.prior) ? std::min(p.prior, 1.5 * usual) : usual), p.coordinate(p.lower) + 1e-6, p.coordinate(p.upper) - 1e-6);
    }
    starts.push_back(std::move(z));
  }
  return starts;
}

double in_estimate_unit(const Fitting& fitting, std::size_t index, double si) {
  const std::string& unit = fitting.units[index];
  return unit.empty() ? si : params::in_unit(si, unit);
}

std::string show_estimate(const Fitting& fitting, std::size_t index, double si, int significant) {
  if (!std::isfinite(si)) return si > 0 ? "unbounded" : "0";
  const double value = in_estimate_unit(fitting, index, si);
  return digits(std::abs(value) < 1e-9 ? 0 : value, significant);
}

std::string direction_text(const solver::Direction& direction, const Fitting& fitting) {
  std::vector<std::pair<double, std::string>> parts;
  for (std::size_t k = 0; k < fitting.problem.free.size(); ++k) {
    parts.emplace_back(direction.weights[static_cast<Eigen::Index>(k)], fitting.problem.free[k].name);
  }
  auto from = static_cast<Eigen::Index>(fitting.problem.free.size());
  for (const solver::FreePotential& p : fitting.problem.potentials) {
    parts.emplace_back(direction.weights.segment(from, p.pieces + 3).norm(), p.name);
    from += p.pieces + 3;
  }
  std::sort(parts.begin(), parts.end(), [](const auto& a, const auto& b) { return std::abs(a.first) > std::abs(b.first); });
  if (std::abs(parts.front().first) > 0.95) return parts.front().second;
  std::string text;
  for (std::size_t k = 0; k < parts.size() && std::abs(parts[k].first) > 0.25; ++k) {
    text += (k == 0 ? "" : k == 1 ? " against " : ", ") + parts[k].second;
  }
  return text;
}

std::vector<FurtherTest> further_tests(const Job& job, const Fitting& fitting, const solver::CellFit& fit, const solver::FitResult& result) {
  model::Cell cell = fit.cell(result.z);
  solver::Workspace workspace;
  std::vector<FurtherTest> tests;
  double fastest = 0;
  for (const solver::FitCurve& c : fitting.problem.curves) {
    for (const solver::Stretch& s : c.run.stretches) {
      if (const auto* drive = std::get_if<model::CurrentDrive>(&s.step.drive)) fastest = std::max(fastest, std::abs(drive->current));
    }
  }
  const double one_c = job.base.one_hour_charge / 3600;

  const auto judge = [&](const std::string& name, solver::FitProblem problem, const Eigen::VectorXd& z) {
    const Eigen::VectorXd then = solver::standard_errors_with(fit, result, solver::CellFit(std::move(problem)), z);
    FurtherTest test{name, {}};
    for (std::size_t k = 0; k < fitting.problem.free.size(); ++k) {
      const auto index = static_cast<Eigen::Index>(k);
      const double now = result.uncertainty.standard_error[index];
      test.narrower.push_back(std::isfinite(then[index]) && then[index] > 0 ? std::max(1.0, now / then[index]) : 1.0);
    }
    tests.push_back(std::move(test));
  };
  // A step of a constant current to the cut-off, then rest; compared at even times.
  const auto curve_of = [&](const model::Cell& which, double current, double most, double rest) -> std::optional<solver::FitCurve> {
    solver::Simulator simulator(which, workspace, {}, job.electrolyte);
    const model::Window window = model::equilibrium_window(which);
    const double from = current < 0 ? (most > 0 ? 0.5 : 1.0) : (most > 0 ? 0.5 : 0.0);
    solver::FitCurve c;
    c.start.rest_voltage = model::equilibrium_voltage(which, model::at_state_of_charge(window, from), which.temperature);
    solver::State state = simulator.at_rest(model::at_state_of_charge(window, from));
    model::Step step{model::CurrentDrive{current}, {}, ""};
    step.until.voltage = current > 0 ? which.upper_voltage : which.lower_voltage;
    if (most > 0) step.until.time = most;
    const double duration = simulator.run(state, step).duration();
    if (!(duration > 20)) return std::nullopt;
    step.until = {.time = duration};
    c.run.stretches.push_back({step, 0});
    if (rest > 0) c.run.stretches.push_back({{model::CurrentDrive{0}, {.time = rest}, ""}, duration});
    const int points = 150;
    for (int k = 1; k < points; ++k) c.run.times.push_back(std::max(1.0, (duration + rest) * k / points));
    c.voltage = Eigen::VectorXd::Zero(static_cast<Eigen::Index>(c.run.times.size()));
    return c;
  };
  const auto full_test = [&](const std::string& name, double current, double most, double rest) {
    try {
      const auto curve = curve_of(cell, current, most, rest);
      if (!curve) return;
      solver::FitProblem problem = fitting.problem;
      problem.curves = {*curve};
      judge(name, std::move(problem), result.z);
    } catch (const std::runtime_error&) {  // a test that this cell cannot do
    }
  };
  full_test("a discharge at C/30 from full", -one_c / 30, 0, 0);
  const double faster = std::max(2 * one_c, std::round(2 * fastest / one_c) * one_c);
  full_test(fmt::format("a discharge at {} from full", params::rate_name(faster / one_c)), -faster, 0, 0);
  full_test("a pulse of ten minutes at 1C from half charge, and an hour of rest", -one_c, 600, 3600);
  if (!cell.is_full_cell()) return tests;

  const auto lithium = params::load_lithium_metal("lithium_metal");
  if (!lithium.value) return tests;
  for (const bool negative : {false, true}) {
    const params::ElectrodeSheet& e = negative ? *fitting.sheet.negative : fitting.sheet.positive;
    solver::FitProblem problem{fitting.problem.cell, job.electrolyte, {}, {}, {}};
    Eigen::VectorXd z(fit.size());
    Eigen::Index count = 0;
    for (std::size_t k = 0; k < fitting.problem.free.size(); ++k) {
      FreeParameter p = fitting.problem.free[k];
      if (p.quantity == Quantity::lithium || p.quantity == Quantity::contact_resistance || p.quantity == Quantity::other || p.negative != negative) continue;
      p.negative = false;
      problem.free.push_back(p);
      z[count++] = result.z[static_cast<Eigen::Index>(k)];
    }
    auto from = static_cast<Eigen::Index>(fitting.problem.free.size());
    for (const solver::FreePotential& p : fitting.problem.potentials) {
      if (p.negative == negative) {
        problem.potentials.push_back(p);
        problem.potentials.back().negative = false;
        z.segment(count, p.pieces + 3) = result.z.segment(from, p.pieces + 3);
        count += p.pieces + 3;
      }
      from += p.pieces + 3;
    }
    model::Cell& half = problem.cell;
    if (negative) half.positive = *half.negative;
    half.negative.reset();
    half.counter = lithium.value->to_model({half.temperature, false});
    half.inventory = {0.5, 0};
    half.charged_state.reset();
    const model::OpenCircuitPotential& U = (negative ? cell.negative->host : cell.positive.host).potential;
    const model::Window& w = job.bench.window;
    half.upper_voltage = negative ? U(w.empty.negative, half.temperature) : U(w.full.positive, half.temperature);
    half.lower_voltage = negative ? U(w.full.negative, half.temperature) : U(w.empty.positive, half.temperature);
    try {
      for (const double rate : {1.0 / 20, 1.0}) {
        model::Cell tested = half;
        solver::CellFit made({half, job.electrolyte, {}, problem.free, problem.potentials});
        tested = made.cell(z.head(count));
        if (const auto curve = curve_of(tested, -rate * one_c, 0, 0)) problem.curves.push_back(*curve);
      }
      if (!problem.curves.empty()) judge(fmt::format("a half cell of the {} against lithium, at C/20 and 1C", e.key), problem, z.head(count));
    } catch (const std::runtime_error&) {
    }
  }
  return tests;
}

std::vector<std::pair<std::string, std::string>> fitted_files(const Job& job, const Fitting& fitting, const solver::CellFit& fit,
                                                              const solver::FitResult& result, const std::vector<Recording>& recordings) {
  using params::Revision;
  using params::Spread;
  std::string files;
  for (const Recording& r : recordings) files += (files.empty() ? "" : ", ") + base_name(r.file);
  const std::string made = fmt::format("fitted on {} to {}, by onegrain " ONEGRAIN_VERSION, today(), files);

  std::vector<Revision> sheet, positive, negative;
  const model::Cell cell = fit.cell(result.z);
  bool lithium = false;
  for (std::size_t k = 0; k < fitting.problem.free.size(); ++k) {
    const FreeParameter& p = fitting.problem.free[k];
    const solver::Estimate& e = result.estimates[k];
    const double lower = std::max(e.profile.lower, p.lower), upper = std::min(e.profile.upper, p.upper);
    // All estimates go into the sheet: they belong together, and one left at its old value would spoil the others. Where an
    // end is open, the other end counts for both.
    const double below = e.profile.lower_open ? 0 : std::log(e.value / std::max(lower, 1e-300)), above = e.profile.upper_open ? 0 : std::log(std::max(upper, 1e-300) / std::max(e.value, 1e-300));
    const double factor_spread = std::clamp(std::exp(std::max(below, above)), 1.01, 1000.0);
    const auto spread = [&](double scale) -> Spread {
      const double value = e.value * scale, half = 0.5 * (upper - lower) * scale;
      if (p.logarithmic && factor_spread > 1.2) return {Spread::Form::factor, factor_spread};
      if (half <= 0) return {};
      return value > 0 && half >= 0.95 * value ? Spread{Spread::Form::factor, std::clamp(upper / e.value, 1.05, 1000.0)} : Spread{Spread::Form::absolute, half};
    };
    const std::string source = fmt::format("{}; 95 % interval {} to {} {}", made, show_estimate(fitting, k, lower), show_estimate(fitting, k, upper), fitting.units[k]);
    const params::ElectrodeSheet& electrode = p.negative ? *fitting.sheet.negative : fitting.sheet.positive;
    std::vector<Revision>& card = p.negative ? negative : positive;
    const auto scale_card = [&](const char* key, const params::PropertyValue& value, double factor, double by) {
      if (!value.function && value.scaled_by == 1) {
        card.push_back({key, params::yaml_value(value.si * factor, *value.kind, spread(by), source)});
        return;
      }
      card.push_back({std::string(key) + ".scaled_by", params::plain_number(value.scaled_by * factor, 6)});
      card.push_back({std::string(key) + ".spread", fmt::format("factor {}", params::plain_number(factor_spread, 3))});
      card.push_back({std::string(key) + ".source", params::quoted(source + "; before: " + value.source)});
    };
    switch (p.quantity) {
      case Quantity::diffusion_time: {
        const params::PropertyValue& D = electrode.material.diffusion_coefficient;
        const double factor = p.nominal / e.value;
        // D goes with the inverse of the time: the interval is that of a factor
        if (!D.function && D.scaled_by == 1) {
          const Spread s{Spread::Form::factor, factor_spread};
          card.push_back({"diffusion_coefficient", params::yaml_value(D.si * factor, *D.kind, s, source + " of R^2/D, with the radius of the sheet")});
        } else {
          scale_card("diffusion_coefficient", D, factor, 1);
        }
        break;
      }
      case Quantity::exchange_current_density: {
        const params::PropertyValue& i0 = electrode.material.exchange_current_density;
        scale_card("exchange_current_density", i0, e.value / p.nominal, i0.function ? 1 : i0.si / p.nominal);
        break;
      }
      case Quantity::capacity: {
        const double before = electrode.accessible_fraction.si;
        sheet.push_back({electrode.key + ".accessible_fraction", params::yaml_value(before * e.value / p.nominal, params::FractionKind::kind, spread(before / p.nominal), source)});
        break;
      }
      case Quantity::contact_resistance:
        sheet.push_back({"contact_resistance", params::yaml_value(e.value, params::ArealResistanceKind::kind, e.value > 0 ? spread(1) : Spread{}, source)});
        break;
      case Quantity::lithium: lithium = true; break;
      case Quantity::other: {
        params::Sheet copy = fitting.sheet;
        const params::Value* value = params::find_value(copy, p.name);
        if (starts_with(p.name, (electrode.key + ".material.").c_str())) card.push_back({p.name.substr(electrode.key.size() + 10), params::yaml_value(e.value, *value->kind, spread(1), source)});
        else if (!starts_with(p.name, "electrolyte.") && !starts_with(p.name, "counter.")) sheet.push_back({p.name, params::yaml_value(e.value, *value->kind, spread(1), source)});
        break;
      }
    }
  }
  if (lithium) {
    const model::Window w = model::equilibrium_window(cell);
    sheet.push_back({"formation_loss", ""});
    sheet.push_back({"charged_state", fmt::format("{{positive: {{value: {:.5f}, source: {}}}, negative: {:.5f}}}", w.full.positive, params::quoted(made), w.full.negative)});
  }

  std::vector<std::pair<std::string, std::string>> written;
  const auto write_card = [&](const params::ElectrodeSheet& e, std::vector<Revision>& revisions, bool is_negative) {
    for (const solver::FreePotential& p : fitting.problem.potentials) {
      if (p.negative != is_negative) continue;
      const model::OpenCircuitPotential& U = (is_negative ? cell.negative->host : cell.positive.host).potential;
      const std::string table = e.key + "_potential_fitted.csv";
      std::string rows = "stoichiometry,potential / V\n";
      const double low = p.lower, high = p.upper;
      constexpr int count = 600;
      for (int k = 0; k <= count; ++k) {
        const double x = low + (high - low) * k / count;
        rows += fmt::format("{:.6f},{:.6f}\n", x, U(x, model::reference_temperature));
      }
      written.emplace_back(table, rows);
      const params::PotentialCard& before = e.material.open_circuit_potential;
      std::string entropic;
      revisions.push_back({"open_circuit_potential.expression", ""});
      revisions.push_back({"open_circuit_potential.unit", ""});
      revisions.push_back({"open_circuit_potential.table", table});
      revisions.push_back({"open_circuit_potential.range", fmt::format("[{:.6f}, {:.6f}]", low, high)});
      revisions.push_back({"open_circuit_potential.source", params::quoted(made + ": the shape of the slowest curve; before: " + before.potential.source)});
    }
    if (revisions.empty()) return;
    const std::string card = e.key + "_fitted";
    const params::SourceFile* source = params::find_file_named(job.sheet.files, e.material.file);
    if (!source || !source->text) throw NotCompleted("the card of the " + e.key + " stands inside the sheet; give it a file of its own to have it fitted");
    written.emplace_back(card + ".yaml", params::revised(*source->text, source->name, revisions));
    for (const params::SourceFile* table : params::files_named_by(job.sheet.files, source->name)) {
      if (table->text) written.emplace_back(table->named_as, *table->text);
    }
    sheet.push_back({e.key + ".material", card});
  };
  write_card(fitting.sheet.positive, positive, false);
  if (fitting.sheet.negative) write_card(*fitting.sheet.negative, negative, true);
  const params::SourceFile& original = job.sheet.files.front();
  sheet.push_back({"name", params::quoted(job.sheet.name + ", fitted")});
  written.insert(written.begin(), {"fitted.yaml", params::revised(*original.text, original.name, sheet)});
  // tables and cards that the new sheet still refers to and that lie beside the old one
  for (const params::SourceFile& file : job.sheet.files) {
    if (file.shipped || !file.text || &file == &original || file.named_as.empty()) continue;
    const std::string name = file.named_as.find('.') == std::string::npos ? file.named_as + ".yaml" : file.named_as;
    if (std::none_of(written.begin(), written.end(), [&](const auto& w) { return w.first == name; })) written.emplace_back(name, *file.text);
  }
  return written;
}

namespace {

bool told(const solver::Estimate& e, const FreeParameter& p) {
  if (e.prior_share > 0.5) return false;
  return p.logarithmic ? e.profile.upper / std::max(e.profile.lower, 1e-300) < 4 && !e.profile.lower_open && !e.profile.upper_open
                       : e.profile.upper - e.profile.lower < 2 * std::max(std::abs(e.value), p.unit) && !e.profile.upper_open;
}

std::string remark_on(const solver::Estimate& e, const FreeParameter& p) {
  if (e.at_bound) return "at the end of the range that was searched";
  if (e.prior_share > 0.8) return "the data tell next to nothing beyond the sheet";
  if (e.prior_share > 0.5) return "told by the sheet more than by the data";
  if (!told(e, p)) return "only its order of magnitude";
  return "";
}

}  // namespace

bool is_told(const Fitting& fitting, const solver::FitResult& result, std::size_t index) { return told(result.estimates[index], fitting.problem.free[index]); }
std::string remark(const Fitting& fitting, const solver::FitResult& result, std::size_t index) { return remark_on(result.estimates[index], fitting.problem.free[index]); }

Derived derived(const solver::CellFit& fit, const solver::FitResult& result, const std::function<double(const model::Cell&)>& quantity) {
  const double value = quantity(fit.cell(result.z));
  Eigen::VectorXd gradient(fit.size());
  for (Eigen::Index k = 0; k < gradient.size(); ++k) {
    const double se = result.uncertainty.standard_error[k], h = std::isfinite(se) ? std::clamp(0.05 * se, 1e-6, 0.02) : 1e-3;
    Eigen::VectorXd up = result.z, down = result.z;
    up[k] += h;
    down[k] -= h;
    try {
      gradient[k] = (quantity(fit.cell(up)) - quantity(fit.cell(down))) / (2 * h);
    } catch (const model::ImpossibleBalance&) {
      gradient[k] = 0;
    }
  }
  double variance = 0;
  for (Eigen::Index a = 0; a < gradient.size(); ++a) {
    for (Eigen::Index b = 0; b < gradient.size(); ++b) {
      if (gradient[a] != 0 && gradient[b] != 0) variance += gradient[a] * gradient[b] * result.uncertainty.covariance(a, b);
    }
  }
  const double half = result.uncertainty.quantile * std::sqrt(std::max(0.0, variance));
  return {value, value - half, value + half};
}

nlohmann::json fit_json(const Job& job, const Fitting& fitting, const solver::CellFit& fit, const solver::FitResult& result,
                        const std::vector<Recording>& recordings, const std::vector<FurtherTest>& tests) {
  using nlohmann::json;
  const auto value = [&](std::size_t k, double si) { return number(in_estimate_unit(fitting, k, si)); };
  json parameters = json::array(), names = json::array();
  for (std::size_t k = 0; k < result.estimates.size(); ++k) {
    const solver::Estimate& e = result.estimates[k];
    const FreeParameter& p = fitting.problem.free[k];
    names.push_back(e.name);
    parameters.push_back({{"name", e.name}, {"label", fitting.labels[k]}, {"unit", fitting.units[k]}, {"before", value(k, p.nominal)}, {"estimate", value(k, e.value)},
                          {"lower", value(k, std::max(e.profile.lower, p.lower))}, {"upper", value(k, e.profile.upper)}, {"lower_open", e.profile.lower_open}, {"upper_open", e.profile.upper_open},
                          {"linear_lower", value(k, std::max(e.linearised.lower, p.lower))}, {"linear_upper", value(k, e.linearised.upper)}, {"logarithmic", p.logarithmic},
                          {"share_known_before", number(e.prior_share)}, {"at_bound", e.at_bound}, {"told", told(e, p)}, {"remark", remark_on(e, p)}});
  }
  json matrix = json::array();
  for (std::size_t a = 0; a < result.estimates.size(); ++a) {
    json row = json::array();
    for (std::size_t b = 0; b < result.estimates.size(); ++b) row.push_back(number(result.uncertainty.correlation(static_cast<Eigen::Index>(a), static_cast<Eigen::Index>(b))));
    matrix.push_back(std::move(row));
  }
  json untold = json::array(), further = json::array();
  for (const solver::Direction& d : result.untold) untold.push_back(direction_text(d, fitting));
  for (const FurtherTest& t : tests) {
    json narrower;
    for (std::size_t k = 0; k < t.narrower.size(); ++k) narrower[fitting.problem.free[k].name] = number(t.narrower[k]);
    further.push_back({{"test", t.test}, {"narrower", narrower}});
  }
  Eigen::VectorXd difference;
  fit.voltages(result.z, difference, nullptr);
  json curves = json::array();
  Eigen::Index at = 0;
  for (std::size_t c = 0; c < fitting.problem.curves.size(); ++c) {
    const solver::FitCurve& curve = fitting.problem.curves[c];
    const solver::CurveMisfit& m = result.misfits[c];
    const params::Record& record = recordings[c].measured.record;
    json time = json::array(), charge = time, measured = time, model = time, residual = time;
    double passed = 0;
    std::size_t before = recordings[c].first_row;
    for (std::size_t k = 0; k < recordings[c].rows.size(); ++k, ++at) {
      for (; before < recordings[c].rows[k]; ++before) passed += 0.5 * (record.current[before] + record.current[before + 1]) * (record.time[before + 1] - record.time[before]);
      const double V = curve.voltage[static_cast<Eigen::Index>(k)];
      time.push_back(number(curve.run.times[k] / 3600));
      charge.push_back(number(passed / 3.6));
      measured.push_back(number(V));
      model.push_back(number(V + difference[at]));
      residual.push_back(number(1e3 * difference[at]));
    }
    curves.push_back({{"file", m.name}, {"rms_mV", number(1e3 * m.rms)}, {"mean_mV", number(1e3 * m.mean)}, {"largest_mV", number(1e3 * m.largest)},
                      {"correlation_points", number(m.correlation_time)}, {"points", curve.voltage.size()}, {"start", recordings[c].start_text},
                      {"rows_read", recordings[c].measured.rows_read}, {"rows_left_out", recordings[c].measured.doubts.left_out()},
                      {"trace", {{"time_h", time}, {"charge_mAh", charge}, {"measured_V", measured}, {"model_V", model}, {"residual_mV", residual}}}});
  }
  json potentials = json::array();
  auto from = static_cast<Eigen::Index>(fitting.problem.free.size());
  for (const solver::FreePotential& p : fitting.problem.potentials) {
    json x = json::array(), correction = x, deviation = x;
    const Eigen::Index n = p.pieces + 3;
    for (int k = 0; k <= 100; ++k) {
      const double here = p.lower + (p.upper - p.lower) * k / 100;
      const Eigen::RowVectorXd basis = solver::correction_basis(p, here);
      x.push_back(number(here));
      correction.push_back(number(1e3 * basis.dot(result.z.segment(from, n))));
      deviation.push_back(number(1e3 * std::sqrt(std::max(0.0, (basis * result.uncertainty.covariance.block(from, from, n, n) * basis.transpose()).value()))));
    }
    potentials.push_back({{"name", p.name}, {"stoichiometry", x}, {"correction_mV", correction}, {"standard_deviation_mV", deviation}});
    from += n;
  }
  return {{"parameters", parameters}, {"correlation", {{"names", names}, {"matrix", matrix}}}, {"untold", untold}, {"further_tests", further}, {"curves", curves},
          {"potentials", potentials}, {"noise_mV", number(1e3 * result.noise)}, {"independent_points", number(result.independent_points)}, {"starts", result.starts},
          {"starts_agreeing", result.starts_agreeing}, {"evaluations", result.evaluations}, {"converged", result.converged}, {"ended_by", result.ended_by}, {"notes", fitting.notes},
          {"electrolyte", job.electrolyte == model::ElectrolyteModel::resolved ? "resolved" : "uniform"}};
}

}  // namespace onegrain::app
