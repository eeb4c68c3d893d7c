#include "app/study/uncertain_cell.hpp"

#include <algorithm>
#include <optional>
#include <utility>

namespace onegrain::app {

namespace {

/// An electrode of the sheet and of the cell that it makes.
struct Side {
  params::ElectrodeSheet& sheet;
  const model::Electrode& as_stated;  ///< of the sheet as it is
};

std::vector<Side> sides_of(params::Sheet& sheet, const model::Cell& as_stated) {
  std::vector<Side> sides{{sheet.positive, as_stated.positive}};
  if (sheet.negative) sides.push_back({*sheet.negative, *as_stated.negative});
  return sides;
}

void drop_replaced_spreads(params::Sheet& sheet, const params::Knowledge& knowledge) {
  std::vector<std::string> replaced;
  for (const params::KnownQuantity& known : knowledge.quantities()) {
    replaced.push_back(params::replaced_by_knowledge(known.name));
    if (known.name == "lithium")
      replaced.insert(replaced.end(), {"formation_loss", "charged_state.positive", "charged_state.negative"});
  }
  params::for_each_value(sheet, [&](const std::string& path, params::Value& value) {
    if (std::find(replaced.begin(), replaced.end(), path) != replaced.end()) value.spread = {};
  });
}

/// Quantities with their values, by name.
class Told {
 public:
  Told(const std::vector<params::KnownQuantity>& quantities, std::vector<double> values)
      : quantities_(quantities), values_(std::move(values)) {}
  std::optional<double> of(const std::string& name) const {
    for (std::size_t k = 0; k < values_.size(); ++k)
      if (quantities_[k].name == name) return values_[k];
    return std::nullopt;
  }

 private:
  const std::vector<params::KnownQuantity>& quantities_;
  std::vector<double> values_;
};

}  // namespace

params::Sheet moved(const params::Sheet& sheet, const Eigen::Ref<const Eigen::VectorXd>& deviations) {
  params::Sheet result = sheet;
  Eigen::Index k = 0;
  params::for_each_value(result, [&](const std::string&, params::Value& value) {
    if (!value.spread.given()) return;
    const double before = value.si;
    double after = value.at_deviation(deviations[k++]);
    if (before > 0 && !value.kind->absolute_temperature) after = std::max(after, 1e-3 * before);
    if (value.kind == &params::FractionKind::kind && before < 1) after = std::min(after, 1 - 1e-3 * (1 - before));
    value.si = after;
  });
  return result;
}

UncertainCell::UncertainCell(params::Sheet sheet) : sheet_(std::move(sheet)), knowledge_(sheet_.knowledge) {
  drop_replaced_spreads(sheet_, knowledge_);
  params::for_each_value(std::as_const(sheet_), [&](const std::string& path, const params::Value& value) {
    if (value.spread.given()) unknowns_.push_back({path, value.text()});
  });
  values_ = count();
  for (const params::KnownQuantity& known : knowledge_.quantities())
    unknowns_.push_back({known.name, known.value.text()});
  if (knowledge_.count() > 0) as_stated_ = params::to_cell(sheet_);
}

UncertainCell UncertainCell::at(double temperature) const {
  UncertainCell other = *this;
  other.sheet_.temperature.si = temperature;
  return other;
}

model::Cell UncertainCell::cell(const Eigen::Ref<const Eigen::VectorXd>& deviations) const {
  params::Sheet sheet = moved(sheet_, deviations.head(values_));
  if (knowledge_.count() == 0) return params::to_cell(sheet);
  const Told told(knowledge_.quantities(), knowledge_.moved(deviations.tail(count() - values_)));
  for (const params::KnownQuantity& known : knowledge_.quantities())
    if (params::Value* value = params::find_value(sheet, known.name)) value->si = *told.of(known.name);

  const std::vector<Side> sides = sides_of(sheet, *as_stated_);
  const auto of_cell = [&](model::Cell& cell, const Side& side) -> model::Electrode& {
    return &side.sheet == &sheet.positive ? cell.positive : *cell.negative;
  };
  model::Cell cell = params::to_cell(sheet);
  bool balanced = true;
  for (const Side& side : sides) {
    const std::optional<double> capacity = told.of(side.sheet.key + ".capacity");
    if (!capacity) continue;
    side.sheet.accessible_fraction.si *= *capacity / of_cell(cell, side).capacity();
    balanced = false;
  }
  if (!balanced) cell = params::to_cell(sheet);
  for (const Side& side : sides) {
    model::Electrode& e = of_cell(cell, side);
    if (const auto time = told.of(side.sheet.key + ".diffusion_time")) {
      const double now = *params::quantity_of(sheet, cell, side.sheet.key + ".diffusion_time");
      e.host.diffusivity = e.host.diffusivity.scaled(now / *time);
    }
    if (const auto density = told.of(side.sheet.key + ".exchange_current_density")) {
      // For the grain surface that the values of the sheet make; a capacity known beside it carries that along.
      const double carried = told.of(side.sheet.key + ".capacity") ? e.capacity() / side.as_stated.capacity() : 1.0;
      const double now = *params::quantity_of(sheet, cell, side.sheet.key + ".exchange_current_density");
      const double surface = side.as_stated.roughness() * carried / e.roughness();
      e.host.exchange_current_density = e.host.exchange_current_density.scaled(*density * surface / now);
    }
  }
  if (const auto lithium = told.of("lithium")) {
    // Any state with this much will do: the windows follow from it.
    cell.inventory.negative =
        (*lithium - cell.inventory.positive * cell.positive.capacity()) / cell.negative->capacity();
    cell.charged_state.reset();
  }
  return cell;
}

Eigen::VectorXd UncertainCell::by_unknown(const Eigen::Ref<const Eigen::VectorXd>& slopes) const {
  Eigen::VectorXd result = slopes;
  if (knowledge_.count() > 0) result.tail(count() - values_) = knowledge_.by_quantity(slopes.tail(count() - values_));
  return result;
}

}  // namespace onegrain::app
