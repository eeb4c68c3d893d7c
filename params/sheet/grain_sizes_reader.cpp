#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "params/sheet/grain_sizes.hpp"
#include "params/sheet/keys.hpp"
#include "params/text/delimited.hpp"
#include "params/text/library.hpp"

namespace onegrain::params {

namespace {

constexpr std::size_t fewest_counted = 10;  // a mean of fewer is none
constexpr double whole_within = 0.01;       // of rounded shares

/// The lists of a file beside the sheet: one column of diameters, or diameters and shares.
struct SizesOfFile {
  std::vector<double> diameters, volumes;
};

std::optional<double> factor_of(const Title& title, const Dimension& dimension) {
  try {
    const Unit unit = parse_unit(title.unit);
    if (unit.dimension == dimension) return unit.factor;
  } catch (const UnitError&) {
  }
  return std::nullopt;
}

/// Rows of a table, each with a fault of its own.
bool read_rows(const Delimited& table, const std::string& file, double factor, double factor_of_volume, Faults& faults,
               SizesOfFile& result) {
  const int before = faults.errors();
  for (const DelimitedRow& row : table.rows) {
    if (faults.errors() > before + 10) break;
    const std::optional<double>& number = row.numbers[0];
    const double D = number ? *number * factor : 0;
    if (!number || !(D >= 2 * reason::grain_radius.lower && D <= 2 * reason::grain_radius.upper)) {
      faults.error({file, row.line, 1}, "", row.cells[0],
                   number ? "a diameter between 0.002 um and 2000 um is expected" : "not a finite number");
      continue;
    }
    if (factor_of_volume > 0) {
      const std::optional<double>& volume = row.numbers[1];
      if (!volume || *volume < 0) {
        faults.error({file, row.line, 1}, "", row.cells[1], "a share of the volume is expected, 0 or more");
        continue;
      }
      result.volumes.push_back(*volume * factor_of_volume);
    }
    result.diameters.push_back(D);
  }
  return faults.errors() == before;
}

std::optional<SizesOfFile> read_file_of_sizes(Fields& fields, const char* key, const std::string& name, bool volumes) {
  const DocumentReading& reading = fields.reading();
  const std::string file = reading.folder.empty() || name.starts_with('/') ? name : reading.folder + "/" + name;
  Faults missing;
  const std::optional<std::string> text =
      reading.shipped ? std::nullopt : read_file(file, missing, std::size_t{4} << 20);
  if (!text) {
    for (const Fault& fault : missing.sorted()) fields.error(key, fault.text());
    if (reading.shipped) fields.error(key, "no such table is shipped");
    return std::nullopt;
  }
  add_file(*reading.files, source_file(file, false, *text, reading.file, name));
  const std::optional<Delimited> table = read_delimited(*text, file, *reading.faults);
  if (!table) return std::nullopt;
  const Place header{file, table->header_line, 1};
  const char* expected = volumes ? "expected two columns, such as 'diameter / um, volume / %'"
                                 : "expected one column, such as 'diameter / um', with a grain in each row";
  const std::size_t columns = volumes ? 2 : 1;
  if (table->titles.size() != columns || table->titles[0].name != "diameter" ||
      (volumes && table->titles[1].name != "volume")) {
    reading.faults->error(header, "", table->titles.empty() ? "" : table->titles[0].whole, expected);
    return std::nullopt;
  }
  const std::optional<double> factor = factor_of(table->titles[0], LengthKind::kind.dimension);
  const std::optional<double> of_volume = !volumes                        ? std::optional(0.0)
                                          : table->titles[1].unit.empty() ? std::optional(1.0)
                                                                          : factor_of(table->titles[1], {});
  if (!factor || !of_volume) {
    reading.faults->error(header, "", table->titles[factor ? 1 : 0].whole, expected);
    return std::nullopt;
  }
  SizesOfFile result;
  if (!read_rows(*table, file, *factor, *of_volume, *reading.faults, result)) return std::nullopt;
  return result;
}

/// Whether shares are a whole, and what they are shares of.
bool check_whole(Fields& fields, double sum) {
  if (std::abs(sum - 1) <= whole_within) return true;
  fields.error_here(fmt::format("the classes add up to {:.4g} % of the volume, not 100 %", 100 * sum));
  return false;
}

bool from_three(Fields& fields, GrainSizes& sizes, std::vector<SizeClass>& all) {
  const double d10 = sizes.d10->si, d50 = sizes.d50->si, d90 = sizes.d90->si;
  if (!(d10 < d50 && d50 < d90)) {
    fields.error(d10 < d50 ? "d90" : "d10",
                 fmt::format("d10 < d50 < d90 is expected, and here they are {}, {} and {}",
                             show(d10, LengthKind::kind), show(d50, LengthKind::kind), show(d90, LengthKind::kind)));
    return false;
  }
  if (d90 > 100 * d10) {
    fields.error("d90",
                 fmt::format("{:.0f} times d10: no powder of one kind is so broad; look at the units, and give a "
                             "bimodal powder as its table",
                             d90 / d10));
    return false;
  }
  all = distribution(d10, d50, d90);
  sizes.largest = d90;
  if (is_log_normal(d10, d50, d90)) {
    sizes.made_of = "log-normal through d10 and d90";
    return true;
  }
  sizes.made_of = "two half log-normals that meet at d50";
  sizes.note = fmt::format(
      "d10, d50 and d90 are not those of one log-normal distribution (d50^2 / (d10 d90) = {:.2f}): two halves that "
      "meet "
      "at d50 are taken; a bimodal powder needs its table",
      d50 * d50 / (d10 * d90));
  return true;
}

/// The distribution of what was written; false after a fault.
bool read_distribution(Fields& fields, GrainSizes& sizes, std::vector<SizeClass>& all, double& deviation) {
  if (sizes.d50) return from_three(fields, sizes, all);
  if (!sizes.written.empty()) {
    double sum = 0;
    for (const WrittenClass& its : sizes.written) {
      all.push_back({its.diameter.si, its.volume.si});
      sum += its.volume.si;
    }
    sizes.made_of = fmt::format("{} classes as written", all.size());
    return check_whole(fields, sum);
  }
  const bool counted = !sizes.counted.empty();
  const char* key = counted ? "counted" : "table";
  const std::optional<SizesOfFile> found =
      read_file_of_sizes(fields, key, counted ? sizes.counted : sizes.table, !counted);
  if (!found) return false;
  if (!counted) {
    double sum = 0;
    for (std::size_t k = 0; k < found->diameters.size(); ++k) {
      all.push_back({found->diameters[k], found->volumes[k]});
      sum += found->volumes[k];
    }
    sizes.made_of = fmt::format("{} classes of '{}'", all.size(), sizes.table);
    if (std::abs(sum - 1) <= whole_within) return true;
    fields.error(
        key, fmt::format("the classes of '{}' add up to {:.4g} % of the volume, not 100 %", sizes.table, 100 * sum));
    return false;
  }
  if (found->diameters.size() < fewest_counted) {
    fields.error(key,
                 fmt::format("{} grains; at least {} are needed to tell anything of a powder, and sixty tell R32 to "
                             "some per cent",
                             found->diameters.size(), fewest_counted));
    return false;
  }
  all = volumes_of(found->diameters);
  deviation = uncertainty_of_counting(found->diameters);
  sizes.made_of = fmt::format("{} counted grains of '{}', numbers made volumes", all.size(), sizes.counted);
  return true;
}

}  // namespace

std::optional<Given<Length>> radius_of_sizes(Fields& fields, GrainSizes& sizes) {
  std::vector<SizeClass> all;
  double deviation = 0;
  if (!read_distribution(fields, sizes, all, deviation)) return std::nullopt;
  sizes.classes = fewer(all);
  if (sizes.classes.empty()) {
    fields.error_here("no class has any volume");
    return std::nullopt;
  }
  for (const SizeClass& its : sizes.classes) {
    if (!sizes.d50) sizes.largest = std::max(sizes.largest, its.diameter);
  }
  Given<Length> radius;
  radius.si = size_means(all).r32;
  radius.written = fmt::format("{} (R32)", show(radius.si, LengthKind::kind, 4));
  radius.source = sizes.made_of;
  const Node& here = fields.here();
  radius.place = fields.reading().at(here.line, here.column);
  radius.path = fields.path();
  if (deviation > 0) {
    radius.spread = {Spread::Form::factor, std::exp(deviations_of_95_percent * deviation)};
  } else if (sizes.d50 && sizes.d50->spread.form == Spread::Form::factor) {
    radius.spread = sizes.d50->spread;
  } else if (sizes.d50 && sizes.d50->spread.given()) {
    radius.spread = {Spread::Form::absolute, sizes.d50->spread.size * radius.si / sizes.d50->si};
  }
  return radius;
}

}  // namespace onegrain::params
