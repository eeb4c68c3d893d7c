#include "app/render/report.hpp"

#include <nlohmann/json.hpp>
#include <stdexcept>

#include "app/render/html.hpp"

namespace onegrain::app {
namespace {

using nlohmann::json;

std::string text_at(const json& document, const json::json_pointer& where) {
  if (!document.contains(where) || !document.at(where).is_string()) return {};
  // Through a dump, so that bytes that are not UTF-8 are replaced here as they are in the data.
  const json clean = json::parse(document.at(where).dump(-1, ' ', false, json::error_handler_t::replace));
  return clean.get<std::string>();
}

std::string title_of(const json& document) {
  const std::string cell = text_at(document, json::json_pointer("/cell/name"));
  const std::string verb = text_at(document, json::json_pointer("/verb"));
  std::string title = cell.empty() ? "onegrain report" : cell;
  if (!verb.empty()) title += ": " + verb;
  return render::html_text(title);
}

/// The sentences and the cautions as HTML, for readers whose browser runs no script.
std::string headlines_in_html(const json& document) {
  const std::string whole = text_at(document, json::json_pointer("/headline"));
  std::string html;
  if (!whole.empty()) html += "<p class=\"headline\">" + render::html_text(whole) + "</p>\n";
  return html;
}

std::string cautions_in_html(const json& document) {
  const json::json_pointer where("/cautions");
  if (!document.contains(where) || !document.at(where).is_array()) return {};
  std::vector<std::string> items;
  for (std::size_t i = 0; i < document.at(where).size(); ++i) {
    const std::string caution = text_at(document, where / i);
    if (!caution.empty()) items.push_back(caution);
  }
  return render::html_list("Before you charge a cell", "cautions", items);
}

/// What stands in the template for `@NAME@`.
std::string filling(std::string_view name, const json& document) {
  if (name == "TITLE") return title_of(document);
  if (name == "HEADLINES") return headlines_in_html(document);
  if (name == "CAUTIONS") return cautions_in_html(document);
  if (name == "STYLE") return std::string(web_asset("render/web/report.css"));
  if (name == "DRAWING") return std::string(web_asset("render/web/d3_subset.min.js"));
  if (name == "SCRIPTS") {
    std::string scripts;
    for (const auto* file : {"render/web/report_text.js", "render/web/report_charts.js", "render/web/report_plots.js",
                             "render/web/report_panes.js", "render/web/report_measured.js", "render/web/report.js"})
      scripts += web_asset(file);
    return scripts;
  }
  if (name == "DATA") return render::json_for_script(document);
  throw std::logic_error("report.html: unknown part '" + std::string(name) + "'");
}

}  // namespace

std::string render_report(const nlohmann::json& document) {
  return render::filled(web_asset("render/web/report.html"),
                        [&](std::string_view name) { return filling(name, document); });
}

}  // namespace onegrain::app
