#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <ctime>

#include "app/fitting.hpp"
#include "model/constants.hpp"

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

std::vector<std::pair<std::string, std::string>> fitted_files(const Job& job, const Fitting& fitting, const solver::CellFit& fit,
                                                              const solver::FitResult& result, const std::vector<Recording>& recordings) {
  using params::Revision;
  using params::Spread;
  std::string files;
  for (const Recording& r : recordings) files += (files.empty() ? "" : ", ") + r.name();
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
        if (p.name.starts_with(electrode.key + ".material.")) card.push_back({p.name.substr(electrode.key.size() + 10), params::yaml_value(e.value, *value->kind, spread(1), source)});
        else if (!p.name.starts_with("electrolyte.") && !p.name.starts_with("counter.")) sheet.push_back({p.name, params::yaml_value(e.value, *value->kind, spread(1), source)});
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

}  // namespace onegrain::app
