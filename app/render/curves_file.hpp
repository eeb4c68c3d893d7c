#pragma once

#include <iosfwd>

#include "app/answer/answer.hpp"

namespace onegrain::app::render {

/// curves.csv: titles with their units, "Voltage / V", then the rows, one at a time, with 10 significant digits.
void write_curves(std::ostream& out, const answer::CurvesTable& course);

}  // namespace onegrain::app::render
