#include "app/render/html.hpp"

#include <array>
#include <charconv>
#include <cmath>
#include <nlohmann/json.hpp>
#include <stdexcept>
#include <utility>

namespace onegrain::app::render {

using nlohmann::json;

namespace {

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

std::string utf8(const std::string& text) {
  const json clean = json::parse(json(text).dump(-1, ' ', false, json::error_handler_t::replace));
  return clean.get<std::string>();
}

}  // namespace

// In a script element `</script` would end it and `<!--` change how it is read. Outside of strings JSON holds none of
// `<`, `>` and `&`, and inside `\u003c` means the same.
std::string json_for_script(const json& document) {
  const std::string text = with_shortened_numbers(document).dump(-1, ' ', false, json::error_handler_t::replace);
  std::string safe;
  safe.reserve(text.size() + text.size() / 16);
  for (const char c : text) {
    if (c == '<')
      safe += "\\u003c";
    else if (c == '>')
      safe += "\\u003e";
    else if (c == '&')
      safe += "\\u0026";
    else
      safe += c;
  }
  return safe;
}

std::string html_text(const std::string& text) {
  std::string safe;
  for (const char c : utf8(text)) {
    if (c == '<')
      safe += "&lt;";
    else if (c == '>')
      safe += "&gt;";
    else if (c == '&')
      safe += "&amp;";
    else if (c == '"')
      safe += "&quot;";
    else
      safe += c;
  }
  return safe;
}

std::string html_list(const std::string& title, const std::string& style, const std::vector<std::string>& items) {
  if (items.empty()) return {};
  std::string html = "<section class=\"" + style + "\">\n<h2>" + html_text(title) + "</h2>\n<ul>\n";
  for (const std::string& item : items) html += "<li>" + html_text(item) + "</li>\n";
  return html + "</ul>\n</section>\n";
}

std::string filled(std::string_view page, const std::function<std::string(std::string_view)>& filling) {
  std::string text;
  for (std::size_t at = 0;;) {
    const std::size_t mark = page.find('@', at);
    text += page.substr(at, mark - at);
    if (mark == std::string_view::npos) return text;
    const std::size_t end = page.find('@', mark + 1);
    if (end == std::string_view::npos) throw std::logic_error("the page has a mark that is not closed");
    text += filling(page.substr(mark + 1, end - mark - 1));
    at = end + 1;
  }
}

}  // namespace onegrain::app::render
