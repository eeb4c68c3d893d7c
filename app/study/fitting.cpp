#include "app/study/fitting.hpp"

#include <algorithm>
#include <cmath>

#include "model/constants.hpp"

namespace onegrain::app::study {

namespace {

using solver::FreeParameter;
using solver::FreeQuantity;

constexpr double factor_of_cards =
    1.17;  // ln(10) / 1.96: what diffusion and kinetics of a card without spread are known to
constexpr double reference_filling = 0.5;
constexpr int potential_pieces = 24;
constexpr double most_moved = 1.1;  // times the capacity, from where a start is looked for

/// Standard deviation of the logarithm of a value that its spread leaves; infinite without spread.
double deviation_of_logarithm(const params::Value& value) {
  const double infinite = std::numeric_limits<double>::infinity();
  if (!value.spread.given()) return infinite;
  if (value.spread.form == params::Spread::Form::factor) return std::log(value.spread.size) / 1.96;
  return value.si != 0 ? std::abs(value.spread.size / value.si) / 1.96 : infinite;
}

/// Independent spreads of factors; unknown where any is.
double together(double a, double b) { return std::hypot(a, b); }

params::ElectrodeSheet* electrode_named(params::Sheet& sheet, const std::string& name, bool& negative) {
  negative = name.starts_with("negative.");
  if (negative) return sheet.negative ? &*sheet.negative : nullptr;
  return name.starts_with(sheet.positive.key + ".") || name.starts_with("positive.") ? &sheet.positive : nullptr;
}

/// The standard deviation of a start that is to be estimated too, as a share of the capacity.
std::optional<double> start_known_to(const Recording& r) {
  const Beginning& b = r.beginning;
  if (b.from == Beginning::From::fitted) return std::numeric_limits<double>::infinity();
  if (b.is_told() || b.spread <= known_within) return std::nullopt;
  return b.spread / 1.96;
}

struct Builder {
  const Job& job;
  const std::vector<Recording>& recordings;
  Fitting& fitting;
  std::vector<std::string> others;  // paths

  params::Sheet& sheet() { return fitting.sheet; }
  model::Cell& cell() { return fitting.problem.cell; }

  void add(FreeParameter p, const params::Kind& kind) {
    for (const FreeParameter& known : fitting.problem.free) {
      if (known.name == p.name) return;
    }
    fitting.problem.free.push_back(std::move(p));
    fitting.kinds.push_back(&kind);
  }

  void add_within(const std::string& name, FreeQuantity quantity, bool negative, double nominal, double factor,
                  double prior, const params::Kind& kind) {
    FreeParameter p{name, quantity, negative, nominal, nominal / factor, nominal * factor};
    p.prior = prior;
    add(std::move(p), kind);
  }

  void diffusion_time(const params::ElectrodeSheet& e, bool negative) {
    const model::Electrode& layer = negative ? *cell().negative : cell().positive;
    const double D = layer.host.diffusivity(reference_filling, model::reference_temperature);
    const double radius = deviation_of_logarithm(e.particle_radius);
    add_within(
        e.key + ".diffusion_time", FreeQuantity::diffusion_time, negative,
        layer.particle_radius * layer.particle_radius / D, 1e4,
        together(deviation_of_logarithm(e.material.diffusion_coefficient), std::isfinite(radius) ? 2 * radius : 0.0),
        params::Time::kind());
  }

  void exchange(const params::ElectrodeSheet& e, bool negative) {
    const model::Electrode& layer = negative ? *cell().negative : cell().positive;
    const double radius = deviation_of_logarithm(e.particle_radius);
    add_within(
        e.key + ".exchange_current_density", FreeQuantity::exchange_current_density, negative,
        layer.host.exchange_current_density(reference_filling, model::reference_temperature), 1e4,
        together(deviation_of_logarithm(e.material.exchange_current_density), std::isfinite(radius) ? radius : 0.0),
        params::CurrentDensity::kind());
  }

  void capacity(const params::ElectrodeSheet& e, bool negative) {
    const model::Electrode& layer = negative ? *cell().negative : cell().positive;
    add_within(e.key + ".capacity", FreeQuantity::capacity, negative, layer.capacity(), 3,
               deviation_of_logarithm(e.accessible_fraction), params::ArealCapacity::kind());
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
    known = model::OpenCircuitPotential(model::Property(
        model::Curve::approximation([before = known](double x) { return before(x, model::reference_temperature); },
                                    p.lower, p.upper, 1e-7, model::Curve::Beyond::tangent)));
    fitting.problem.potentials.push_back(p);
  }

  void contact() {
    const params::Value& stated = sheet().contact_resistance;
    FreeParameter p{"contact_resistance", FreeQuantity::contact_resistance, false, stated.si, 0, 1, false, 1e-4};
    if (stated.spread.form == params::Spread::Form::absolute) p.prior = stated.spread.size / 1.96 / p.unit;
    if (stated.spread.form == params::Spread::Form::factor)
      p.prior = stated.si * (stated.spread.size - 1) / 1.96 / p.unit;
    add(std::move(p), params::ArealResistance::kind());
  }

  void lithium() {
    if (!cell().is_full_cell())
      throw CommandLineError("--free lithium: the lithium of a half cell has no end; leave it out");
    const double content = cell().inventory.positive * cell().positive.capacity() +
                           cell().inventory.negative * cell().negative->capacity();
    add_within("lithium", FreeQuantity::lithium, false, content, 3, std::numeric_limits<double>::infinity(),
               params::ArealCapacity::kind());
  }

  void by_path(const std::string& name) {
    params::Value* value = params::find_value(sheet(), name);
    if (!value && name == "separator.tortuosity") {
      sheet().separator.tortuosity =
          params::assumed<params::Number>(std::pow(sheet().separator.porosity.si, -0.5), "tortuosity", "porosity^-0.5");
      value = &*sheet().separator.tortuosity;
    }
    bool negative = false;
    params::ElectrodeSheet* e = electrode_named(sheet(), name, negative);
    if (!value && e && name == e->key + ".tortuosity") {
      e->tortuosity =
          params::assumed<params::Number>(e->tortuosity_value(job.plate_area()), "tortuosity", "porosity^-0.5");
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
    if (!(value->si > 0))
      throw CommandLineError("--free '" + name + "': the sheet gives no positive value to start from");
    const bool share = value->kind == &params::FractionKind::kind;
    FreeParameter p{name,      FreeQuantity::other, false,
                    value->si, value->si / 20,      share ? std::min(1.0, value->si * 20) : value->si * 20};
    p.prior = deviation_of_logarithm(*value);
    others.push_back(name);
    add(std::move(p), *value->kind);
  }

  /// Where the run of the next curve begins.
  /// @param known  standard deviation as a share of the capacity, infinite where nothing tells it
  /// @param from   what the charge is counted from: the state that was read, or else full, which every cell has
  void start(const Recording& r, double known, solver::Start& from) {
    const double holds = job.bench.window.capacity;
    const double begins = solver::starting_charge(job.cell, from);
    if (!std::isfinite(known)) from.rest_voltage = AtRest(job).voltage(1);
    const double passed = begins - solver::starting_charge(job.cell, from);
    FreeParameter p{"start of " + r.name(),      FreeQuantity::start,         false, passed,
                    passed - most_moved * holds, passed + most_moved * holds, false};
    p.unit = 0.1 * holds;
    p.prior = known * holds / p.unit;
    p.curve = fitting.problem.curves.size();
    for (const FreeParameter& other : fitting.problem.free)
      if (other.name == p.name) p.name += " (" + std::to_string(p.curve + 1) + ")";
    add(std::move(p), params::ArealCapacity::kind());
  }

  void one(const std::string& name) {
    bool negative = false;
    params::ElectrodeSheet* e = electrode_named(sheet(), name, negative);
    const std::string what = name.substr(name.find('.') + 1);
    if (e && what == "diffusion_time") return diffusion_time(*e, negative);
    if (e && what == "exchange_current_density") return exchange(*e, negative);
    if (e && what == "capacity") return capacity(*e, negative);
    if (e && what == "potential") return potential(*e, negative);
    if (e &&
        (what == "particle_radius" || what == "diffusion_coefficient" || what == "material.diffusion_coefficient")) {
      fitting.replaced.push_back({name, e->key});
      return diffusion_time(*e, negative);
    }
    if (name == "contact_resistance") return contact();
    if (name == "lithium") return lithium();
    by_path(name);
  }
};

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

solver::FitCurve fit_curve(const Recording& r) {
  solver::FitCurve curve{r.name(), r.run, Eigen::VectorXd(static_cast<Eigen::Index>(r.rows.size())), r.start};
  for (std::size_t k = 0; k < r.rows.size(); ++k)
    curve.voltage[static_cast<Eigen::Index>(k)] = r.measured.record.voltage[r.rows[k]];
  curve.weight = solver::weights_by_slope(r.charge, curve.voltage);
  return curve;
}

Fitting prepare_fit(const Job& job, const std::vector<Recording>& recordings, const std::vector<std::string>& names) {
  Fitting fitting{
      job.sheet, {job.cell, job.electrolyte, {}, {}, {}, {.relative_tolerance = 1e-6, .absolute_factor = 0.1}}, {}, {}};
  fitting.problem.reaction = job.reaction;
  Builder builder{job, recordings, fitting, {}};
  std::vector<std::string> wanted = names;
  if (wanted.empty()) {
    for (const std::string& name : free_names(job.sheet)) {
      if (name.find(".potential") == std::string::npos && name != "separator.tortuosity") wanted.push_back(name);
    }
  }
  for (const std::string& name : wanted) builder.one(name);
  for (const Recording& r : recordings) {
    solver::FitCurve curve = fit_curve(r);
    if (const auto known = start_known_to(r)) builder.start(r, *known, curve.start);
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

Estimation estimation(const Request& request, const Channels& channels, Job& job, const std::vector<std::string>& names,
                      bool curves_alone) {
  std::vector<Recording> recordings;
  for (std::size_t k = 1; k < request.files.size(); ++k) {
    recordings.push_back(load_recording(request, channels, job, request.files[k],
                                        {static_cast<std::size_t>(request.fit_points), UntoldStart::free}));
  }
  Fitting fitting = prepare_fit(job, recordings, names);
  if (curves_alone)
    for (FreeParameter& p : fitting.problem.free) {
      if (p.quantity == FreeQuantity::start) continue;  // by the record
      const bool of_a_card =
          p.quantity == FreeQuantity::diffusion_time || p.quantity == FreeQuantity::exchange_current_density;
      p.prior = !of_a_card ? std::numeric_limits<double>::infinity() : std::min(p.prior, factor_of_cards);
    }
  auto problem = std::make_unique<solver::CellFit>(fitting.problem);
  return {std::move(recordings), std::move(fitting),
          std::move(problem),    {},
          job.plate_area(),      static_cast<std::size_t>(request.fit_points)};
}

}  // namespace onegrain::app::study
