#include "app/render/teaching.hpp"

#include <bit>
#include <nlohmann/json.hpp>
#include <stdexcept>

#include "app/answer/words.hpp"
#include "app/render/assets.hpp"
#include "app/render/html.hpp"

namespace onegrain::app::render {

namespace {

using nlohmann::json;

/// RFC 4648, section 4.
std::string base64(std::string_view bytes) {
  static constexpr const char* digits = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string text;
  text.reserve((bytes.size() + 2) / 3 * 4);
  for (std::size_t k = 0; k < bytes.size(); k += 3) {
    const std::size_t here = std::min<std::size_t>(3, bytes.size() - k);
    unsigned group = 0;
    for (std::size_t m = 0; m < 3; ++m) group = group << 8 | (m < here ? static_cast<unsigned char>(bytes[k + m]) : 0U);
    for (std::size_t m = 0; m < 4; ++m) text += m <= here ? digits[group >> (18 - 6 * m) & 63U] : '=';
  }
  return text;
}

/// Doubles as their eight bytes, the lowest first, whatever machine writes them.
std::string base64(const std::vector<double>& numbers) {
  std::string bytes;
  bytes.reserve(numbers.size() * 8);
  for (const double number : numbers) {
    const auto bits = std::bit_cast<std::uint64_t>(number);
    for (unsigned k = 0; k < 8; ++k) bytes += static_cast<char>(bits >> (8 * k) & 255U);
  }
  return base64(bytes);
}

json cell_json(const answer::Answer& said) {
  const answer::Teaching& page = *said.teaching;
  json files = json::array();
  for (const answer::UsedFile& file : said.files) files.push_back(file.name + ", SHA-256 " + file.sha256);
  return {{"name", said.subject},
          {"version", said.version},
          {"command", said.command},
          {"files", files},
          {"invented", said.invented},
          {"warnings", said.warnings},
          {"doubts", said.doubts},
          {"cautions", said.cautions},
          {"full_cell", page.full_cell},
          {"tells_of_temperature", page.tells_of_temperature},
          {"unknown_over_temperature", page.unknown_over_temperature},
          {"can_plate", page.can_plate},
          {"materials", {page.positive_material, page.negative_material}},
          {"cell", base64(page.cell)},
          {"cell_of_any_temperature", base64(page.cell_of_any_temperature)},
          {"half_cell", base64(page.half_cell)}};
}

/// Everything in a folder of the assets, one behind the other.
std::string all_of(std::string_view folder) {
  std::string text;
  for (const std::string_view file : app::web_asset_names())
    if (file.substr(0, folder.size()) == folder) text += web_asset(file);
  return text;
}

/// {"en": {...}, ...}: every language that there is a file for.
json languages() {
  constexpr std::string_view folder = "page/texts/", ending = ".json";
  json all = json::object();
  for (const std::string_view file : app::web_asset_names())
    if (file.substr(0, folder.size()) == folder)
      all[std::string(file.substr(folder.size(), file.size() - folder.size() - ending.size()))] =
          json::parse(web_asset(file));
  return all;
}

}  // namespace

std::string teaching_page(const answer::Answer& said) {
  if (!said.teaching) throw std::logic_error("an answer without a page to teach with");
  return filled(web_asset("page/web/page.html"), [&](std::string_view name) -> std::string {
    if (name == "TITLE") return html_text(said.subject);
    if (name == "STYLE") return std::string(web_asset("page/web/page.css"));
    if (name == "CAUTIONS") return html_list("Before you charge a cell", "cautions", said.cautions);
    if (name == "CELL") return json_for_script(cell_json(said));
    if (name == "TEXTS") return json_for_script(languages());
    if (name == "WASM") return base64(web_asset("page/engine.wasm.gz"));
    if (name == "GLUE") return base64(web_asset("page/engine.js.gz"));
    if (name == "WORKER") return std::string(web_asset("page/web/worker.js"));
    if (name == "SCRIPTS") return all_of("page/web/parts/") + std::string(web_asset("page/web/main.js"));
    throw std::logic_error("page.html: unknown part '" + std::string(name) + "'");
  });
}

}  // namespace onegrain::app::render
