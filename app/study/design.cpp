#include "app/study/design.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "app/command/commands.hpp"
#include "model/balance.hpp"
#include "params/number/quantity.hpp"
#include "solver/estimation/low_discrepancy.hpp"

namespace onegrain::app::study {

namespace {

constexpr int most_designs = 10'000'000;
constexpr double wide = 10;  // a range over more than this factor is spaced by factors

std::vector<std::string> split(const std::string& text, const std::string& at) {
  std::vector<std::string> parts;
  std::size_t from = 0;
  for (std::size_t to = text.find(at); to != std::string::npos; to = text.find(at, from)) {
    parts.push_back(text.substr(from, to - from));
    from = to + at.size();
  }
  parts.push_back(text.substr(from));
  return parts;
}

/// "30", "60", "120 um": the unit of the last one is that of those that have none.
std::vector<double> quantities(const std::string& option, std::vector<std::string> words, const params::Kind& kind) {
  const std::string& last = words.back();
  const std::size_t unit = last.find_first_not_of(" 0123456789.+-eE");
  std::vector<double> values;
  for (std::string& word : words) {
    const bool bare = word.find_first_not_of(" 0123456789.+-eE") == std::string::npos;
    if (bare && unit != std::string::npos) word += " " + last.substr(unit);
    try {
      values.push_back(params::parse_quantity(word, kind));
    } catch (const params::QuantityError& error) {
      throw CommandLineError(option + ": '" + word + "': " + error.what());
    }
  }
  return values;
}

Varied parsed(const std::string& text, const params::Kind& kind, const std::string& path, const std::string& range) {
  const std::string option = "--vary '" + text + "'";
  Varied varied{path, range, &kind, {}, 0, 0, false, {}};
  if (range.find("..") != std::string::npos) {
    const std::vector<double> ends = quantities(option, split(range, ".."), kind);
    if (ends.size() != 2 || !(ends[0] < ends[1]))
      throw CommandLineError(option + ": a range goes from a smaller to a larger value, such as 30..120 um");
    varied.from = ends[0];
    varied.to = ends[1];
    varied.by_factors = !kind.absolute_temperature && ends[0] > 0 && ends[1] / ends[0] > wide;
    return varied;
  }
  varied.listed = quantities(option, split(range, ","), kind);
  std::sort(varied.listed.begin(), varied.listed.end());
  if (std::adjacent_find(varied.listed.begin(), varied.listed.end()) != varied.listed.end())
    throw CommandLineError(option + ": a value stands there twice");
  varied.from = varied.listed.front();
  varied.to = varied.listed.back();
  return varied;
}

/// Of what was weighed, as independent.
params::Spread spread_of_loading(const params::Coating& coating, double loading) {
  const auto size = [](const params::Value& mass) {
    return mass.spread.form == params::Spread::Form::absolute ? mass.spread.size : 0.0;
  };
  const double masses = std::hypot(size(*coating.coated_disc_mass), size(*coating.foil_mass));
  if (!(masses > 0)) return {};
  const double area = (coating.coated_disc_mass->si - coating.foil_mass->si) / loading;
  return {params::Spread::Form::absolute, masses / area};
}

}  // namespace

double Varied::at(double share) const {
  if (!listed.empty()) {
    const auto count = static_cast<double>(listed.size());
    return listed[static_cast<std::size_t>(std::clamp(std::floor(share * count), 0.0, count - 1))];
  }
  if (share <= 0) return from;
  if (share >= 1) return to;
  return by_factors ? from * std::pow(to / from, share) : from + share * (to - from);
}

Designs::Designs(const params::Sheet& sheet, const std::vector<std::string>& vary, const std::string& places,
                 int sample, std::uint64_t seed, bool same_n_to_p)
    : sheet_(sheet), area_(sheet.plate_area()), sample_(sample), count_(sample), seed_(seed) {
  if (vary.empty()) throw CommandLineError("--vary: name at least one value of the sheet with its range");
  params::Sheet copy = sheet;
  for (const std::string& text : vary) {
    const std::size_t equals = text.find('=');
    if (equals == std::string::npos || equals == 0 || equals + 1 == text.size())
      throw CommandLineError(
          "--vary '" + text +
          "': write a value of the sheet and its range, such as positive.coating.thickness=30..120um");
    const std::string path = text.substr(0, equals);
    const params::Value* value = params::find_value(copy, path);
    const bool porosity = drawn_part(path) == "coating.porosity";
    const bool function = value != nullptr && (value->of_function || path.ends_with("open_circuit_potential"));
    if ((value == nullptr && !drawn_part(path)) || function)
      throw CommandLineError(
          "--vary '" + text +
          "': " + (function ? "this is a formula or a table, not one number" : "the sheet has no such value") +
          "; `onegrain schema keys` lists what a sheet may have, and a coating has porosity beside them");
    const params::Kind& kind = drawn_part(path) == "coating.loading" ? params::LoadingKind::kind
                               : porosity                            ? params::FractionKind::kind
                                                                     : *value->kind;
    for (const Varied& other : varied_)
      if (other.path == path) throw CommandLineError("--vary '" + text + "': " + path + " is varied twice");
    varied_.push_back(parsed(text, kind, path, text.substr(equals + 1)));
    varied_.back().as_sheet = nominal_of(path);
  }
  for (const char* key : {"positive", "negative", "working"}) {
    const auto drawn = std::count_if(varied_.begin(), varied_.end(), [&](const Varied& v) {
      return v.path.rfind(std::string(key) + ".coating.", 0) == 0 && drawn_part(v.path);
    });
    if (drawn > 2)
      throw CommandLineError(
          fmt::format("--vary: of thickness, porosity and loading of the {} coating two make the third", key));
  }
  if (sample_ == 0) {
    const std::vector<std::string> numbers = split(places, ",");
    count_ = 1;
    for (std::size_t k = 0; k < varied_.size(); ++k) {
      const auto number = params::parse_number(numbers.size() == 1 ? numbers[0] : k < numbers.size() ? numbers[k] : "");
      if (!number || *number != std::floor(*number) || !(*number >= 2 && *number <= 10000) ||
          (numbers.size() != 1 && numbers.size() != varied_.size()))
        throw CommandLineError("--places '" + places +
                               "': a whole number of places from 2, for all that is varied or one for each");
      places_.push_back(varied_[k].listed.empty() ? static_cast<int>(*number)
                                                  : static_cast<int>(varied_[k].listed.size()));
      if (static_cast<double>(count_) * places_.back() > most_designs)
        throw CommandLineError("--places: ten million designs at most; `--sample 10000` fills many ranges with fewer");
      count_ *= places_.back();
    }
  }
  if (same_n_to_p) {
    const auto moved = [&](const char* key) {
      return std::any_of(varied_.begin(), varied_.end(), [&](const Varied& v) { return v.path.rfind(key, 0) == 0; });
    };
    if (!sheet.is_full_cell()) throw CommandLineError("--same-n-to-p: a half cell has no N/P");
    if (moved("positive.") == moved("negative."))
      throw CommandLineError("--same-n-to-p: vary values of one electrode; the other one is drawn to it");
    follows_positive_ = moved("positive.");
  }
}

/// "coating.thickness" and its like for a path of an electrode that has such a part; nothing for other paths.
std::optional<std::string> Designs::drawn_part(const std::string& path) const {
  const std::size_t point = path.find('.');
  if (point == std::string::npos) return std::nullopt;
  const std::string key = path.substr(0, point), rest = path.substr(point + 1);
  const params::ElectrodeSheet* electrode = key == sheet_.positive.key                       ? &sheet_.positive
                                            : sheet_.negative && key == sheet_.negative->key ? &*sheet_.negative
                                                                                             : nullptr;
  if (electrode == nullptr) return std::nullopt;
  const bool known = electrode->coating
                         ? rest == "coating.thickness" || rest == "coating.porosity" || rest == "coating.loading"
                         : rest == "layer.thickness" || rest == "layer.porosity";
  return known ? std::optional(rest) : std::nullopt;
}

double Designs::nominal_of(const std::string& path) const {
  const params::ElectrodeSheet& electrode =
      sheet_.negative && path.rfind(sheet_.negative->key + ".", 0) == 0 ? *sheet_.negative : sheet_.positive;
  const std::optional<std::string> part = drawn_part(path);
  if (part == "coating.porosity") return electrode.porosity(area_);
  if (part == "coating.loading") return *electrode.loading(area_);
  params::Sheet copy = sheet_;
  return params::find_value(copy, path)->si;
}

std::vector<double> Designs::values(int k) const {
  std::vector<double> result(varied_.size());
  if (sample_ > 0) {
    const Eigen::VectorXd point = solver::scrambled_sobol_point(
        solver::mixed_bits(seed_), static_cast<std::uint32_t>(k), static_cast<Eigen::Index>(varied_.size()));
    for (std::size_t n = 0; n < result.size(); ++n) result[n] = varied_[n].at(point[static_cast<Eigen::Index>(n)]);
    return result;
  }
  for (std::size_t n = varied_.size(); n-- > 0; k /= places_[n]) {
    const int place = k % places_[n];
    result[n] = varied_[n].listed.empty() ? varied_[n].at(static_cast<double>(place) / (places_[n] - 1))
                                          : varied_[n].listed[static_cast<std::size_t>(place)];
  }
  return result;
}

/// Draws a coating with what is given of it; see the class.
void Designs::draw(params::ElectrodeSheet& electrode, const params::ElectrodeSheet& as_sheet,
                   const Drawn& drawn) const {
  const double porosity = as_sheet.porosity(area_);
  if (electrode.layer) {
    params::Layer& layer = *electrode.layer;
    const double wanted = drawn.porosity.value_or(porosity), kept = (1 - wanted) / (1 - porosity);
    layer.thickness.si = drawn.thickness.value_or(drawn.porosity ? layer.thickness.si / kept : layer.thickness.si);
    layer.active_fraction.si *= kept;
    layer.porosity.si = wanted;
    return;
  }
  params::Coating& coating = *electrode.coating;
  const double before = *as_sheet.loading(area_);
  // Thickness of the solids alone per loading: of the ink, whatever else of it is varied.
  const double solids = (1 - electrode.porosity(area_)) * coating.thickness.si / before;
  const double wanted = drawn.porosity.value_or(porosity);
  double loading = before, thickness = 0;
  if (drawn.thickness && drawn.loading) {
    thickness = *drawn.thickness;
    loading = *drawn.loading;
  } else if (drawn.thickness) {
    thickness = *drawn.thickness;
    loading = (1 - wanted) * thickness / solids;
  } else {
    loading = drawn.loading.value_or(before);
    thickness = loading * solids / (1 - wanted);
  }
  coating.thickness.si = thickness;
  params::Value value = coating.loading ? static_cast<params::Value>(*coating.loading) : params::Value();
  value.kind = &params::LoadingKind::kind;
  if (!coating.loading) value.spread = spread_of_loading(coating, before);
  value.si = loading;
  coating.loading = params::Given<params::Loading>(value);
  coating.coated_disc_mass.reset();
  coating.foil_mass.reset();
}

void Designs::scale(params::ElectrodeSheet& electrode, double factor) const {
  Drawn drawn;
  if (electrode.layer)
    drawn.thickness = electrode.layer->thickness.si * factor;
  else
    drawn.loading = *electrode.loading(area_) * factor;
  const params::ElectrodeSheet before = electrode;
  draw(electrode, before, drawn);
}

params::Sheet Designs::sheet_of(const std::vector<double>& values) const {
  params::Sheet sheet = sheet_;
  sheet.rated_capacity.reset();
  Drawn positive, negative;
  for (std::size_t n = 0; n < varied_.size(); ++n) {
    const std::string& path = varied_[n].path;
    if (const auto part = drawn_part(path)) {
      Drawn& drawn = path.rfind("negative.", 0) == 0 ? negative : positive;
      (part->find("thickness") != std::string::npos  ? drawn.thickness
       : part->find("porosity") != std::string::npos ? drawn.porosity
                                                     : drawn.loading) = values[n];
    } else {
      params::find_value(sheet, path)->si = values[n];
    }
  }
  if (positive.any()) draw(sheet.positive, sheet_.positive, positive);
  if (negative.any()) draw(*sheet.negative, *sheet_.negative, negative);
  if (follows_positive_) {
    const auto capacities = [](const params::Sheet& of) {
      const model::Cell cell = params::to_cell_of_any_porosity(of);
      return std::pair(cell.positive.capacity(), cell.negative->capacity());
    };
    const auto [p0, n0] = capacities(sheet_);
    const auto [p, n] = capacities(sheet);
    if (*follows_positive_)
      scale(*sheet.negative, p / p0 * n0 / n);
    else
      scale(sheet.positive, n / n0 * p0 / p);
  }
  return sheet;
}

}  // namespace onegrain::app::study
