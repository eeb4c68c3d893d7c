#include "app/render/report.hpp"

#include <array>
#include <charconv>
#include <cmath>
#include <nlohmann/json.hpp>
#include <stdexcept>
#include <utility>

namespace onegrain::app {
namespace {

using nlohmann::json;

/// The number that eight significant digits of `value` stand for; NaN and infinities as they are.
double shortened(double value) {
  if (!std::isfinite(value)) return value;
  std::array<char, 32> digits{};
  const auto [end, fault] =
      std::to_chars(digits.data(), digits.data() + digits.size(), value, std::chars_format::general, 8);
  if (fault != std::errc{}) return value;
  double shorter = value;
  std::from_chars(digits.data(), end, shorter);
  return shorter;
}

json with_shortened_numbers(json document) {
  if (document.is_number_float()) return shortened(document.get<double>());
  if (document.is_structured())
    for (auto& part : document) part = with_shortened_numbers(std::move(part));
  return document;
}

/// JSON that may stand inside a script element: there `</script` would end the element and `<!--` change how it is
/// read. Outside of strings JSON holds none of `<`, `>` and `&`, and inside `\u003c` means the same.
std::string json_for_script(const json& document) {
  const std::string text = document.dump(-1, ' ', false, json::error_handler_t::replace);
  std::string safe;
  safe.reserve(text.size() + text.size() / 16);
  for (const char c : text) switch (c) {
      case '<':
        safe += "\\u003c";
        break;
      case '>':
        safe += "\\u003e";
        break;
      case '&':
        safe += "\\u0026";
        break;
      default:
        safe += c;
    }
  return safe;
}

std::string html_text(std::string_view text) {
  std::string safe;
  for (const char c : text) switch (c) {
      case '<':
        safe += "&lt;";
        break;
      case '>':
        safe += "&gt;";
        break;
      case '&':
        safe += "&amp;";
        break;
      case '"':
        safe += "&quot;";
        break;
      default:
        safe += c;
    }
  return safe;
}

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
  return html_text(title);
}

/// The sentences and the cautions as HTML, for readers whose browser runs no script.
std::string headlines_in_html(const json& document) {
  const std::string whole = text_at(document, json::json_pointer("/headline"));
  const std::string ceiling = text_at(document, json::json_pointer("/ceiling/headline"));
  std::string html;
  if (!whole.empty()) html += "<p class=\"headline\">" + html_text(whole) + "</p>\n";
  if (!ceiling.empty() && ceiling != whole) html += "<p class=\"headline\">" + html_text(ceiling) + "</p>\n";
  return html;
}

std::string cautions_in_html(const json& document) {
  const json::json_pointer where("/cautions");
  if (!document.contains(where) || !document.at(where).is_array()) return {};
  std::string items;
  for (std::size_t i = 0; i < document.at(where).size(); ++i) {
    const std::string caution = text_at(document, where / i);
    if (!caution.empty()) items += "<li>" + html_text(caution) + "</li>\n";
  }
  if (items.empty()) return {};
  return "<section class=\"cautions\">\n<h2>Before you charge a cell</h2>\n<ul>\n" + items + "</ul>\n</section>\n";
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
                             "render/web/report_panes.js", "render/web/report_measured.js",
                             "render/web/report_balance.js", "render/web/report_estimates.js", "render/web/report.js"})
      scripts += web_asset(file);
    return scripts;
  }
  if (name == "DATA") return json_for_script(with_shortened_numbers(document));
  throw std::logic_error("report.html: unknown part '" + std::string(name) + "'");
}

}  // namespace

std::string render_report(const nlohmann::json& document) {
  // One pass over the template, so that an `@` in what is put in is never taken for a mark.
  const std::string_view html = web_asset("render/web/report.html");
  std::string page;
  for (std::size_t at = 0;;) {
    const std::size_t mark = html.find('@', at);
    page += html.substr(at, mark - at);
    if (mark == std::string_view::npos) return page;
    const std::size_t end = html.find('@', mark + 1);
    if (end == std::string_view::npos) throw std::logic_error("report.html: a mark is not closed");
    page += filling(html.substr(mark + 1, end - mark - 1), document);
    at = end + 1;
  }
}

}  // namespace onegrain::app
