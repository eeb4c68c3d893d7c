#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "model/decompositions.hpp"
#include "params/sheet/knowledge.hpp"
#include "params/text/revision.hpp"

// Parts of knowledge put together, and written down again.
namespace onegrain::params {

namespace {

constexpr double one_per_cent = 2.326347874040841;  // the same, one-sided 99 %
constexpr double half_filled = 0.5;                 // where quantities of a grain are told

/// "negative" of "negative.diffusion_time", where the name ends like that.
std::optional<std::string> electrode_in(const std::string& name, const char* quantity) {
  const std::string end = std::string(".") + quantity;
  if (name.size() <= end.size() || name.compare(name.size() - end.size(), end.size(), end) != 0) return std::nullopt;
  const std::string key = name.substr(0, name.size() - end.size());
  return key == "positive" || key == "negative" || key == "working" ? std::optional(key) : std::nullopt;
}

/// Mean and standard deviation of a quantity, or of its logarithm.
std::pair<double, double> in_coordinate(const Value& value, bool logarithmic) {
  const Spread& spread = value.spread;
  if (!logarithmic) return {value.si, spread.size / deviations_of_95_percent};
  const double si = std::max(value.si, 1e-300);
  const double deviation = spread.form == Spread::Form::factor ? std::log(spread.size) : spread.size / si;
  return {std::log(si), deviation / deviations_of_95_percent};
}

}  // namespace

std::string replaced_by_knowledge(const std::string& name) {
  if (const auto key = electrode_in(name, "diffusion_time")) return *key + ".material.diffusion_coefficient";
  if (const auto key = electrode_in(name, "exchange_current_density"))
    return *key + ".material.exchange_current_density";
  if (const auto key = electrode_in(name, "capacity")) return *key + ".accessible_fraction";
  return name == "lithium" ? "" : name;
}

std::optional<double> quantity_of(const Sheet& sheet, const model::Cell& cell, const std::string& name) {
  const auto electrode = [&](const char* quantity) -> const model::Electrode* {
    const auto key = electrode_in(name, quantity);
    if (!key) return nullptr;
    if (*key == sheet.positive.key) return &cell.positive;
    return cell.negative ? &*cell.negative : nullptr;
  };
  if (const model::Electrode* e = electrode("diffusion_time"))
    return e->particle_radius * e->particle_radius / e->host.diffusivity(half_filled, model::reference_temperature);
  if (const model::Electrode* e = electrode("exchange_current_density"))
    return e->host.exchange_current_density(half_filled, model::reference_temperature);
  if (const model::Electrode* e = electrode("capacity")) return e->capacity();
  if (name == "lithium") {
    if (!cell.negative) return std::nullopt;
    return cell.inventory.positive * cell.positive.capacity() + cell.inventory.negative * cell.negative->capacity();
  }
  std::optional<double> found;
  for_each_value(sheet, [&](const std::string& path, const Value& value) {
    if (path == name && !value.of_function) found = value.si;
  });
  return found;
}

Knowledge::Knowledge(const std::vector<JointKnowledge>& parts) {
  const auto place_of = [&](const std::string& name) {
    const auto at = std::find_if(quantities_.begin(), quantities_.end(),
                                 [&](const KnownQuantity& known) { return known.name == name; });
    return static_cast<std::size_t>(at - quantities_.begin());
  };
  for (const JointKnowledge& part : parts) {
    for (const KnownQuantity& known : part.of) {
      const std::size_t k = place_of(known.name);
      if (k == quantities_.size()) {
        quantities_.push_back(known);
        logarithmic_.push_back(false);
      }
      logarithmic_[k] = logarithmic_[k] || known.value.spread.form == Spread::Form::factor;
    }
  }
  const auto n = static_cast<Eigen::Index>(count());
  Eigen::MatrixXd information = Eigen::MatrixXd::Zero(n, n);
  Eigen::VectorXd weighted = Eigen::VectorXd::Zero(n);
  double squares = 0, told = 0;  // sum of m_e' C_e^-1 m_e, number of quantities in all parts
  for (const JointKnowledge& part : parts) {
    const auto size = static_cast<Eigen::Index>(part.of.size());
    Eigen::VectorXd mean(size), deviation(size);
    std::vector<Eigen::Index> at;
    for (Eigen::Index k = 0; k < size; ++k) {
      const KnownQuantity& known = part.of[static_cast<std::size_t>(k)];
      const std::size_t place = place_of(known.name);
      std::tie(mean[k], deviation[k]) = in_coordinate(known.value, logarithmic_[place]);
      at.push_back(static_cast<Eigen::Index>(place));
    }
    const Eigen::MatrixXd covariance = deviation.asDiagonal() * part.correlation * deviation.asDiagonal();
    const Eigen::MatrixXd inverse = model::definite_solution(covariance, Eigen::MatrixXd::Identity(size, size));
    information(at, at) += inverse;
    weighted(at) += inverse * mean;
    squares += mean.dot(inverse * mean);
    told += static_cast<double>(size);
  }
  if (n == 0) return;
  const Eigen::MatrixXd covariance = model::definite_solution(information, Eigen::MatrixXd::Identity(n, n));
  mean_ = covariance * weighted;
  lower_ = model::cholesky(covariance).value();
  for (std::size_t k = 0; k < count(); ++k) {
    const auto at = static_cast<Eigen::Index>(k);
    Value& value = quantities_[k].value;
    const double width = deviations_of_95_percent * std::sqrt(covariance(at, at));
    value.si = logarithmic_[k] ? std::exp(mean_[at]) : mean_[at];
    value.spread =
        logarithmic_[k] ? Spread{Spread::Form::factor, std::exp(width)} : Spread{Spread::Form::absolute, width};
    value.least = 0;
  }
  // sum_e (m_e - m)' C_e^-1 (m_e - m)
  if (told > static_cast<double>(n)) contradict(parts, squares - weighted.dot(mean_), told - static_cast<double>(n));
}

void Knowledge::contradict(const std::vector<JointKnowledge>& parts, double chi_squared, double freedom) {
  const double a = 2 / (9 * freedom), limit = freedom * std::pow(1 - a + one_per_cent * std::sqrt(a), 3);
  if (!(chi_squared > limit)) return;
  double furthest = -1;
  for (std::size_t p = 0; p < parts.size(); ++p) {
    for (std::size_t q = 0; q < p; ++q) {
      for (const KnownQuantity& one : parts[p].of) {
        for (const KnownQuantity& other : parts[q].of) {
          if (one.name != other.name) continue;
          const auto k = static_cast<std::size_t>(
              std::find_if(quantities_.begin(), quantities_.end(),
                           [&](const KnownQuantity& known) { return known.name == one.name; }) -
              quantities_.begin());
          const auto [at, width] = in_coordinate(one.value, logarithmic_[k]);
          const auto [there, other_width] = in_coordinate(other.value, logarithmic_[k]);
          const double off = std::abs(at - there) / std::hypot(width, other_width);
          if (off <= furthest) continue;
          furthest = off;
          const auto told = [](const JointKnowledge& part, const KnownQuantity& known) {
            return known.value.text() + (part.source.empty() ? "" : " (" + part.source + ")");
          };
          contradiction_ = {one.name, told(parts[q], other), told(parts[p], one), parts[p].place};
        }
      }
    }
  }
}

std::vector<double> Knowledge::moved(const Eigen::Ref<const Eigen::VectorXd>& deviations) const {
  std::vector<double> values;
  const Eigen::VectorXd at = mean_ + lower_ * deviations;
  for (std::size_t k = 0; k < count(); ++k) {
    const double coordinate = at[static_cast<Eigen::Index>(k)];
    values.push_back(logarithmic_[k] ? std::exp(coordinate) : std::max(0.0, coordinate));
  }
  return values;
}

Eigen::VectorXd Knowledge::by_quantity(const Eigen::Ref<const Eigen::VectorXd>& slopes) const {
  return (lower_ * slopes).array() / lower_.rowwise().norm().array();
}

std::string yaml_of(const std::vector<JointKnowledge>& parts) {
  std::string text;
  for (const JointKnowledge& part : parts) {
    std::string names, values, spreads, rows;
    for (std::size_t k = 0; k < part.of.size(); ++k) {
      const Value& value = part.of[k].value;
      const char* comma = k == 0 ? "" : ", ";
      const char* unit = value.kind == &TimeKind::kind ? "s" : nullptr;
      names += comma + part.of[k].name;
      values += comma + show(value.si, *value.kind, 7, unit);
      spreads += comma + (value.spread.form == Spread::Form::factor ? "factor " + plain_number(value.spread.size, 5)
                                                                    : show(value.spread.size, *value.kind, 4, unit));
      std::string row;
      for (Eigen::Index m = 0; m < part.correlation.cols(); ++m)
        row += (m == 0 ? "" : ", ") + fmt::format("{:.6g}", part.correlation(static_cast<Eigen::Index>(k), m));
      rows += comma + ("[" + row + "]");
    }
    text += fmt::format("{}{{of: [{}], values: [{}], spread: [{}], correlation: [{}]{}}}", text.empty() ? "" : ", ",
                        names, values, spreads, rows, part.source.empty() ? "" : ", source: " + quoted(part.source));
  }
  return "[" + text + "]";
}

std::vector<JointKnowledge> without_quantities(std::vector<JointKnowledge> parts,
                                               const std::vector<std::string>& names) {
  for (JointKnowledge& part : parts) {
    std::vector<Eigen::Index> kept;
    std::vector<KnownQuantity> of;
    for (std::size_t k = 0; k < part.of.size(); ++k) {
      if (std::find(names.begin(), names.end(), part.of[k].name) != names.end()) continue;
      kept.push_back(static_cast<Eigen::Index>(k));
      of.push_back(part.of[k]);
    }
    part.correlation = part.correlation(kept, kept).eval();
    part.of = std::move(of);
  }
  std::erase_if(parts, [](const JointKnowledge& part) { return part.of.empty(); });
  return parts;
}

}  // namespace onegrain::params
