#include "app/render/page.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <stdexcept>

#include "app/answer/numbers.hpp"
#include "app/render/assets.hpp"
#include "app/render/charts.hpp"
#include "app/render/html.hpp"
#include "app/render/said_once.hpp"
#include "app/render/table.hpp"

namespace onegrain::app::render {

using namespace answer;
using nlohmann::json;

namespace {

constexpr const char* invented_words = "Invented example: the numbers of this cell were made up to show the program.";
constexpr const char* cautions_title = "Before you charge a cell";

std::string capital(std::string text) {
  if (!text.empty()) text[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(text[0])));
  return text;
}

json table_json(const answer::Table& table) {
  json columns = json::array(), rows = json::array();
  std::vector<std::size_t> shown;
  for (std::size_t k = 0; k < table.columns.size(); ++k) {
    const TableColumn& c = table.columns[k];
    if (!(c.places & page)) continue;
    shown.push_back(k);
    columns.push_back({{"head", c.measure ? titled(capital(c.label), *c.measure) : capital(c.label)},
                       {"numeric", c.measure.has_value()}});
  }
  table.rows.each([&](const Row& row) {
    json cells = json::array();
    for (const std::size_t k : shown) cells.push_back(cell_text(row[k], table.columns[k]));
    rows.push_back(std::move(cells));
    return rows.size() < most_page_rows;
  });
  json j{{"type", "table"}, {"title", capital(table.title)}, {"columns", columns}, {"rows", rows}};
  if (table.rows.size() > rows.size())
    j["more"] = fmt::format("{} further rows stand in summary.json.", table.rows.size() - rows.size());
  return j;
}

json figures_json(const Figures& block) {
  json rows = json::array();
  for (const Figure& f : block.figures)
    if ((f.places & page)) rows.push_back({capital(f.label), text_of(f), f.note});
  if (rows.empty()) return nullptr;
  const json columns = {{{"head", "Quantity"}, {"numeric", false}},
                        {{"head", "Value"}, {"numeric", false}},
                        {{"head", "Remark"}, {"numeric", false}}};
  return {{"type", "table"}, {"title", capital(block.title)}, {"columns", columns}, {"rows", rows}};
}

/// null for what the page does not show.
json block_json(const Block& block, Looks& looks) {
  if (const auto* p = std::get_if<Paragraph>(&block))
    return p->places & page ? json{{"type", "text"}, {"text", p->text}} : json();
  if (const auto* l = std::get_if<Bullets>(&block))
    return l->places & page ? json{{"type", "list"}, {"title", l->title}, {"items", l->items}} : json();
  if (const auto* f = std::get_if<Figures>(&block)) return f->places & page ? figures_json(*f) : json();
  if (const auto* t = std::get_if<answer::Table>(&block))
    return (t->places & page) && t->rows.size() > 0 ? table_json(*t) : json();
  if (const auto* p = std::get_if<Plot>(&block)) return plot_json(*p);
  if (const auto* b = std::get_if<Bars>(&block)) return bars_json(*b, looks);
  if (const auto* s = std::get_if<Stack>(&block)) return stack_json(*s, looks);
  if (const auto* l = std::get_if<Layers>(&block)) return layers_json(*l);
  if (const auto* i = std::get_if<Intervals>(&block)) return intervals_json(*i);
  return nullptr;
}

json section_json(const Section& section, Looks& looks) {
  static constexpr const char* layouts[] = {"one", "two", "three"};
  json blocks = json::array();
  for (const Block& block : section.blocks) {
    json j = block_json(block, looks);
    if (!j.is_null()) blocks.push_back(std::move(j));
  }
  if (blocks.empty()) return nullptr;
  return {{"title", section.title}, {"layout", layouts[static_cast<int>(section.beside)]}, {"blocks", blocks}};
}

json listed(const std::string& title, const std::vector<std::string>& items) {
  return {{"title", title}, {"items", items}};
}

std::string warnings_title(std::size_t count) {
  return count > 1 ? fmt::format("{} things to check first", count) : "One thing to check first";
}

/// What a reader may do with the charts, under the first one of them.
void tell_the_handles(json& document) {
  for (const char* place : {"sections", "about"})
    for (json& section : document[place])
      for (json& block : section["blocks"])
        if (block["type"] == "plot") {
          block["handles"] =
              "Point at a line for its numbers, or go along it with the arrow keys. Drag over a part to enlarge it, "
              "double "
              "click to go back. Click a name to hide its line, and again to show it. So it is with every plot here.";
          return;
        }
}

json footer(const Answer& said) {
  json rows = json::array({{"program", "onegrain " + said.version}, {"command", said.command}});
  for (const UsedFile& file : said.files)
    rows.push_back({file.shipped ? "shipped file" : "file", file.name + ", SHA-256 " + file.sha256});
  rows.push_back(
      {"licences",
       "onegrain is under the MIT licence, and the script of this page holds parts of d3 (ISC licence, in full "
       "before its code); `onegrain --licences` prints these and those of all libraries"});
  return {{"title", "Where this page comes from"}, {"rows", rows}};
}

}  // namespace

json page_document(const Answer& said) {
  json j{{"kicker", {"onegrain", said.verb, said.arrangement}},
         {"subject", said.subject},
         {"invented", said.invented ? invented_words : ""},
         {"headline", said.headline},
         {"recommends", said.recommends}};
  j["key"] = json::array();
  for (const Figure& f : said.important) {
    Figure alone = f;
    // between the ends of an interval a value rounded more than they are may lie outside
    if (f.uncertainty.form != ErrorBar::Form::interval) alone.measure.digits = std::min(alone.measure.digits, 3);
    const std::string value = f.uncertainty.form == ErrorBar::Form::plus_minus && f.uncertainty.size > 0
                                  ? value_of(f)  // to the digits of its uncertainty
                                  : text_of(alone.value, alone.measure);
    j["key"].push_back(
        {{"label", f.at_the_top}, {"value", value}, {"plus_minus", uncertainty_of(f)}, {"note", f.note}});
  }
  const std::vector<std::string> warnings = warnings_beside_headline(said);
  j["warnings"] = listed(warnings_title(warnings.size()), warnings);
  j["doubts"] = listed("Not to be relied on (?)", said.doubts);
  j["cautions"] = listed(cautions_title, said.cautions);
  j["sections"] = json::array();
  Looks looks;
  j["about"] = json::array();
  for (const auto& [place, sections] :
       {std::pair{"sections", &said.sections}, std::pair{"about", &said.about_the_cell}})
    for (const Section& section : *sections) {
      json s = section.places & page ? section_json(section, looks) : json();
      if (!s.is_null()) j[place].push_back(std::move(s));
    }
  if (!said.assumptions.empty())
    j["about"].push_back({{"title", "What was assumed"},
                          {"layout", "one"},
                          {"blocks", {{{"type", "list"}, {"title", ""}, {"items", said.assumptions}}}}});
  tell_the_handles(j);
  j["footer"] = footer(said);
  return j;
}

std::string page_text(const Answer& said) {
  return filled(web_asset("render/web/report.html"), [&](std::string_view name) -> std::string {
    if (name == "TITLE") return html_text((said.subject.empty() ? "onegrain" : said.subject) + ": " + said.verb);
    if (name == "HEADLINES") {
      const std::vector<std::string> warnings = warnings_beside_headline(said);
      return "<p class=\"headline\">" + html_text(said.headline) + "</p>\n" +
             html_list(warnings_title(warnings.size()), "warnings", warnings) +
             html_list("Not to be relied on (?)", "warnings", said.doubts);
    }
    if (name == "CAUTIONS") return html_list(cautions_title, "cautions", said.cautions);
    if (name == "STYLE") return std::string(web_asset("render/web/report.css"));
    if (name == "DRAWING")  // its licence asks to go with it
      return "/*\n" + std::string(web_asset("render/web/d3_LICENSE.txt")) + "*/\n" +
             std::string(web_asset("render/web/d3_subset.min.js"));
    if (name == "SCRIPTS") {
      std::string scripts;
      for (const std::string_view file : app::web_asset_names())
        if (file.rfind("render/web/blocks/", 0) == 0) scripts += web_asset(file);
      return scripts + std::string(web_asset("render/web/page.js"));
    }
    if (name == "DATA") return json_for_script(page_document(said));
    throw std::logic_error("report.html: unknown part '" + std::string(name) + "'");
  });
}

}  // namespace onegrain::app::render
