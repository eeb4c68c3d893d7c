#include "app/answer/fitted_sheet.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <ctime>
#include <optional>

#include "app/answer/fit_words.hpp"
#include "app/answer/numbers.hpp"
#include "app/result_folder.hpp"
#include "app/study/new_sheet.hpp"
#include "model/constants.hpp"
#include "model/decompositions.hpp"
#include "params/sheet/knowledge.hpp"
#include "params/text/document.hpp"

// From estimates back to a sheet and its cards.
namespace onegrain::app::answer {

namespace {

using params::Spread;
using solver::FreeParameter;
using solver::FreeQuantity;

std::string today() {
  const std::time_t now = std::time(nullptr);
  return fmt::format("{:%Y-%m-%d}", fmt::gmtime(now));
}

/// One estimate and how well it is known, on its way to the sheet.
class Written {
 public:
  Written(const study::Estimation& estimation, const solver::FitResult& result, std::size_t index,
          const std::string& made, NewSheet& sheet)
      : estimation_(estimation),
        index_(index),
        p_(estimation.free()[index]),
        value_(result.estimates[index].value),
        electrode_(estimation.electrode(p_.negative)),
        sheet_(sheet) {
    const solver::ProfileInterval& profile = result.estimates[index].profile;
    lower_ = std::max(profile.lower, p_.lower);
    upper_ = std::min(profile.upper, p_.upper);
    // Where an end is open, the other end counts for both.
    const double below = profile.lower_open ? 0 : std::log(value_ / std::max(lower_, 1e-300)),
                 above = profile.upper_open ? 0 : std::log(std::max(upper_, 1e-300) / std::max(value_, 1e-300));
    factor_ = std::clamp(std::exp(std::max(below, above)), 1.0001, 1000.0);
    factor_spread_ = std::max(factor_, 1.01);
    const Measure m = measure_of(estimation, index);
    source_ = fmt::format("{}; 95 % interval {} to {}", made, digits_of(lower_, m), text_of(upper_, m));
  }

  /// Nothing for what is no quantity of the cell, as a start, or is known as the factor of a formula alone.
  std::optional<params::KnownQuantity> known() const {
    if (p_.quantity == FreeQuantity::start) return std::nullopt;
    if (p_.quantity == FreeQuantity::other && sheet_.holds_function(p_.name)) return std::nullopt;
    params::KnownQuantity quantity{p_.name, {}};
    quantity.value.si = value_;
    quantity.value.kind = measure_of(estimation_, index_).kind;
    quantity.value.spread = p_.logarithmic ? Spread{Spread::Form::factor, factor_}
                                           : Spread{Spread::Form::absolute, std::max(upper_ - value_, value_ - lower_)};
    if (quantity.value.spread.form == Spread::Form::absolute && !(quantity.value.spread.size > 0)) return std::nullopt;
    return quantity;
  }

  void write() {
    switch (p_.quantity) {
      case FreeQuantity::diffusion_time:
        return diffusion_time();
      case FreeQuantity::exchange_current_density: {
        const params::PropertyValue& i0 = electrode_.material.exchange_current_density;
        return scale_card("exchange_current_density", i0, value_ / p_.nominal, i0.function ? 1 : i0.si / p_.nominal);
      }
      case FreeQuantity::capacity: {
        const double before = electrode_.accessible_fraction.si;
        return sheet_.revise(electrode_.key + ".accessible_fraction",
                             params::yaml_value(before * value_ / p_.nominal, params::FractionKind::kind,
                                                spread(before / p_.nominal), source_));
      }
      case FreeQuantity::contact_resistance:
        return sheet_.revise("contact_resistance", params::yaml_value(value_, params::ArealResistanceKind::kind,
                                                                      value_ > 0 ? spread(1) : Spread{}, source_));
      case FreeQuantity::lithium:
        return;  // as the charged state, once all is known
      case FreeQuantity::start:
        return;  // of a record, not of the cell
      case FreeQuantity::other:
        return by_path();
    }
  }

 private:
  Spread spread(double factor) const {
    const double value = value_ * factor, half = 0.5 * (upper_ - lower_) * factor;
    if (p_.logarithmic && factor_spread_ > 1.2) return {Spread::Form::factor, factor_spread_};
    if (half <= 0) return {};
    return value > 0 && half >= 0.95 * value ? Spread{Spread::Form::factor, std::clamp(upper_ / value_, 1.05, 1000.0)}
                                             : Spread{Spread::Form::absolute, half};
  }
  /// A formula or a table stays and is multiplied.
  void scale(const std::string& path, double factor, const std::string& source_before) {
    sheet_.revise(path + ".scaled_by", params::plain_number(factor, 6));
    sheet_.revise(path + ".spread", fmt::format("factor {}", params::plain_number(factor_spread_, 3)));
    sheet_.revise(path + ".source", params::quoted(source_ + "; before: " + source_before));
  }
  void scale_card(const char* key, const params::PropertyValue& value, double factor, double by) {
    const std::string path = electrode_.key + ".material." + key;
    if (value.function || value.scaled_by != 1) return scale(path, value.scaled_by * factor, value.source);
    sheet_.revise(path, params::yaml_value(value.si * factor, *value.kind, spread(by), source_));
  }
  /// D goes with the inverse of the time: the interval is that of a factor.
  void diffusion_time() {
    const params::PropertyValue& D = electrode_.material.diffusion_coefficient;
    const double factor = p_.nominal / value_;
    if (D.function || D.scaled_by != 1) return scale_card("diffusion_coefficient", D, factor, 1);
    sheet_.revise(electrode_.key + ".material.diffusion_coefficient",
                  params::yaml_value(D.si * factor, *D.kind, {Spread::Form::factor, factor_spread_},
                                     source_ + " of R^2/D, with the radius of the sheet"));
  }
  void by_path() {
    params::Sheet copy = estimation_.fitting.sheet;
    const params::Value* value = params::find_value(copy, p_.name);
    if (sheet_.holds_function(p_.name)) return scale(p_.name, value_, value->source);
    sheet_.revise(p_.name, params::yaml_value(value_, *value->kind, spread(1), source_));
  }

  const study::Estimation& estimation_;
  std::size_t index_;
  const FreeParameter& p_;
  double value_;
  const params::ElectrodeSheet& electrode_;
  NewSheet& sheet_;
  double lower_, upper_, factor_, factor_spread_;  // the last as it is written with three digits
  std::string source_;
};

/// What the estimates tell together: each as wide as its own interval, hanging together as in the linearised model.
/// Nothing of a search that has not settled: a later verb would draw from it without a doubt.
void write_knowledge(const std::vector<params::JointKnowledge>& before, const solver::FitResult& result,
                     const std::vector<Written>& written, const std::string& made, NewSheet& sheet) {
  if (!result.converged) return;
  constexpr double rounded = 1 - 1e-5;  // six digits of a correlation leave it positive definite
  params::JointKnowledge joint;
  std::vector<Eigen::Index> places;
  std::vector<std::string> names;
  for (std::size_t k = 0; k < written.size(); ++k) {
    const std::optional<params::KnownQuantity> known = written[k].known();
    if (!known) continue;
    joint.of.push_back(*known);
    names.push_back(known->name);
    places.push_back(static_cast<Eigen::Index>(k));
  }
  if (joint.of.empty()) return;
  joint.correlation = rounded * result.uncertainty.correlation(places, places);
  joint.correlation.diagonal().setOnes();
  if (!model::cholesky(joint.correlation)) joint.correlation.setIdentity();
  joint.source = made;
  std::vector<params::JointKnowledge> all = params::without_quantities(before, names);
  all.push_back(std::move(joint));
  sheet.revise("knowledge", params::yaml_of(all));
}

void write_potential(const study::Estimation& estimation, const model::Cell& cell, const solver::FreePotential& p,
                     const std::string& made, NewSheet& sheet) {
  const params::ElectrodeSheet& electrode = estimation.electrode(p.negative);
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

}  // namespace

std::vector<std::pair<std::string, std::string>> fitted_files(const Job& job, const study::Estimation& estimation,
                                                              const solver::FitResult& result,
                                                              const std::string& folder) {
  std::string files;
  for (const Recording& r : estimation.recordings) files += (files.empty() ? "" : ", ") + r.name();
  const std::string made = fmt::format("fitted on {} to {}, by onegrain " ONEGRAIN_VERSION, today(), files);

  NewSheet sheet(job.sheet, taken_names(folder));
  const model::Cell cell = estimation.problem->cell(result.z);
  // All estimates go into the sheet: they belong together, and one left at its old value would spoil the others.
  bool lithium = false;
  std::vector<Written> written;
  for (std::size_t k = 0; k < estimation.free().size(); ++k) {
    written.emplace_back(estimation, result, k, made, sheet).write();
    lithium = lithium || estimation.free()[k].quantity == FreeQuantity::lithium;
  }
  if (lithium) {
    const model::Window w = model::equilibrium_window(cell);
    sheet.revise("formation_loss", "");
    sheet.revise("charged_state", fmt::format("{{positive: {{value: {:.7f}, source: {}}}, negative: {:.7f}}}",
                                              w.full.positive, params::quoted(made), w.full.negative));
  }
  for (const solver::FreePotential& p : estimation.fitting.problem.potentials)
    write_potential(estimation, cell, p, made, sheet);
  write_knowledge(job.sheet.knowledge, result, written, made, sheet);
  sheet.revise("name", params::quoted(job.sheet.name + ", fitted"));
  return sheet.files();
}

}  // namespace onegrain::app::answer
