#pragma once

#include <nlohmann/json.hpp>
#include <vector>

#include "app/answer/results.hpp"

/// The document behind report.html; its schema is that of render_report().
namespace onegrain::app {

/// The cell on one page: what goes in, what comes out, the currents, warnings, assumptions, cautions, provenance.
nlohmann::json cell_document(const Request& request, const Job& job, const std::string& headline);

}  // namespace onegrain::app
