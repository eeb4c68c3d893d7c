#include "app/render/curves_file.hpp"

#include <fmt/format.h>

#include <cmath>
#include <ostream>

#include "app/answer/numbers.hpp"

namespace onegrain::app::render {

void write_curves(std::ostream& out, const answer::CurvesTable& course) {
  std::vector<answer::Scale> scales;
  const char* before = "";
  for (const auto& [title, measure] : course.columns) {
    const std::string unit = measure.shown_unit();
    out << before << title << " / " << (unit.empty() ? "1" : unit);
    scales.emplace_back(measure);
    before = ",";
  }
  out << "\n";
  std::string line;
  course.rows.each([&](const answer::Row& row) {
    line.clear();
    for (std::size_t k = 0; k < row.size(); ++k) {
      if (k > 0) line += ',';
      const auto* si = std::get_if<double>(&row[k]);
      const double value = si ? scales[k](*si) : NAN;
      if (std::isfinite(value)) fmt::format_to(std::back_inserter(line), "{:.10g}", value == 0 ? 0.0 : value);
    }
    out << line << '\n';
    return static_cast<bool>(out);
  });
}

}  // namespace onegrain::app::render
