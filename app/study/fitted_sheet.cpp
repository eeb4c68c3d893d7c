#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <ctime>

#include "app/result_folder.hpp"
#include "app/study/fitting.hpp"
#include "app/study/new_sheet.hpp"
#include "model/constants.hpp"
#include "params/text/document.hpp"

// From estimates back to a sheet and its cards.
namespace onegrain::app {

using solver::FreeParameter;
using solver::Quantity;

namespace {

std::string today() {
  const std::time_t now = std::time(nullptr);
  return fmt::format("{:%Y-%m-%d}", fmt::gmtime(now));
}

}  // namespace

std::vector<std::pair<std::string, std::string>> fitted_files(const Job& job, const Fitting& fitting,
                                                              const solver::CellFit& fit,
                                                              const solver::FitResult& result,
                                                              const std::vector<Recording>& recordings,
                                                              const std::string& folder) {
  using params::Spread;
  std::string files;
  for (const Recording& r : recordings) files += (files.empty() ? "" : ", ") + r.name();
  const std::string made = fmt::format("fitted on {} to {}, by onegrain " ONEGRAIN_VERSION, today(), files);

  NewSheet sheet(job.sheet, taken_names(folder));
  const model::Cell cell = fit.cell(result.z);
  bool lithium = false;
  for (std::size_t k = 0; k < fitting.problem.free.size(); ++k) {
    const FreeParameter& p = fitting.problem.free[k];
    const solver::Estimate& e = result.estimates[k];
    const double lower = std::max(e.profile.lower, p.lower), upper = std::min(e.profile.upper, p.upper);
    // All estimates go into the sheet: they belong together, and one left at its old value would spoil the others.
    // Where an end is open, the other end counts for both.
    const double below = e.profile.lower_open ? 0 : std::log(e.value / std::max(lower, 1e-300)),
                 above = e.profile.upper_open ? 0 : std::log(std::max(upper, 1e-300) / std::max(e.value, 1e-300));
    const double factor_spread = std::clamp(std::exp(std::max(below, above)), 1.01, 1000.0);
    const auto spread = [&](double scale) -> Spread {
      const double value = e.value * scale, half = 0.5 * (upper - lower) * scale;
      if (p.logarithmic && factor_spread > 1.2) return {Spread::Form::factor, factor_spread};
      if (half <= 0) return {};
      return value > 0 && half >= 0.95 * value ? Spread{Spread::Form::factor, std::clamp(upper / e.value, 1.05, 1000.0)}
                                               : Spread{Spread::Form::absolute, half};
    };
    const std::string source = fmt::format("{}; 95 % interval {} to {} {}", made, show_estimate(fitting, k, lower),
                                           show_estimate(fitting, k, upper), fitting.units[k]);
    const params::ElectrodeSheet& electrode = p.negative ? *fitting.sheet.negative : fitting.sheet.positive;
    const std::string material = electrode.key + ".material.";
    const auto scale = [&](const std::string& path, double factor, const std::string& source_before) {
      sheet.revise(path + ".scaled_by", params::plain_number(factor, 6));
      sheet.revise(path + ".spread", fmt::format("factor {}", params::plain_number(factor_spread, 3)));
      sheet.revise(path + ".source", params::quoted(source + "; before: " + source_before));
    };
    const auto scale_card = [&](const char* key, const params::PropertyValue& value, double factor, double by) {
      if (!value.function && value.scaled_by == 1) {
        sheet.revise(material + key, params::yaml_value(value.si * factor, *value.kind, spread(by), source));
        return;
      }
      scale(material + key, value.scaled_by * factor, value.source);
    };
    switch (p.quantity) {
      case Quantity::diffusion_time: {
        const params::PropertyValue& D = electrode.material.diffusion_coefficient;
        const double factor = p.nominal / e.value;
        // D goes with the inverse of the time: the interval is that of a factor
        if (!D.function && D.scaled_by == 1) {
          const Spread s{Spread::Form::factor, factor_spread};
          sheet.revise(
              material + "diffusion_coefficient",
              params::yaml_value(D.si * factor, *D.kind, s, source + " of R^2/D, with the radius of the sheet"));
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
        sheet.revise(electrode.key + ".accessible_fraction",
                     params::yaml_value(before * e.value / p.nominal, params::FractionKind::kind,
                                        spread(before / p.nominal), source));
        break;
      }
      case Quantity::contact_resistance:
        sheet.revise("contact_resistance", params::yaml_value(e.value, params::ArealResistanceKind::kind,
                                                              e.value > 0 ? spread(1) : Spread{}, source));
        break;
      case Quantity::lithium:
        lithium = true;
        break;
      case Quantity::other: {
        params::Sheet copy = fitting.sheet;
        const params::Value* value = params::find_value(copy, p.name);
        if (sheet.holds_function(p.name)) {
          scale(p.name, e.value, value->source);
        } else {
          sheet.revise(p.name, params::yaml_value(e.value, *value->kind, spread(1), source));
        }
        break;
      }
    }
  }
  if (lithium) {
    const model::Window w = model::equilibrium_window(cell);
    sheet.revise("formation_loss", "");
    sheet.revise("charged_state", fmt::format("{{positive: {{value: {:.7f}, source: {}}}, negative: {:.7f}}}",
                                              w.full.positive, params::quoted(made), w.full.negative));
  }

  for (const solver::FreePotential& p : fitting.problem.potentials) {
    const params::ElectrodeSheet& electrode = p.negative ? *fitting.sheet.negative : fitting.sheet.positive;
    const model::OpenCircuitPotential& U = (p.negative ? cell.negative->host : cell.positive.host).potential;
    std::string rows = "stoichiometry,potential / V\n";
    constexpr int count = 600;
    for (int k = 0; k <= count; ++k) {
      const double x = p.lower + (p.upper - p.lower) * k / count;
      rows += fmt::format("{:.6f},{:.6f}\n", x, U(x, model::reference_temperature));
    }
    const std::string potential = electrode.key + ".material.open_circuit_potential.";
    sheet.revise(potential + "expression", "");
    sheet.revise(potential + "unit", "");
    sheet.revise_table(potential + "table", electrode.key + "_potential_fitted", std::move(rows));
    sheet.revise(potential + "range", fmt::format("[{:.6f}, {:.6f}]", p.lower, p.upper));
    sheet.revise(potential + "source", params::quoted(made + ": the shape of the slowest curve; before: " +
                                                      electrode.material.open_circuit_potential.potential.source));
  }
  sheet.revise("name", params::quoted(job.sheet.name + ", fitted"));
  return sheet.files();
}

solver::FitResult as_given(const Fitting& fitting, const solver::CellFit& fit) {
  solver::FitResult result{};
  result.z = Eigen::VectorXd::Zero(fit.size());
  for (const FreeParameter& p : fitting.problem.free) {
    solver::Estimate estimate{};
    estimate.name = p.name;
    estimate.value = p.value(0);
    estimate.profile.lower = p.lower;
    estimate.profile.upper = p.upper;
    result.estimates.push_back(std::move(estimate));
  }
  return result;
}

}  // namespace onegrain::app
