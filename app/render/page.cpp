#include "app/render/page.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <stdexcept>

#include "app/answer/thinned.hpp"
#include "app/render/html.hpp"
#include "app/render/numbers.hpp"
#include "app/render/report.hpp"
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

std::string titled(const std::string& label, const Measure& measure) {
  const std::string unit = unit_of(measure);
  return unit.empty() ? label : label + " / " + unit;
}

json numbers(const std::vector<double>& si, const Measure& measure, const std::vector<std::size_t>& kept) {
  const Scale scale(measure);
  json list = json::array();
  for (const std::size_t k : kept) {
    const double value = scale(si[k]);
    list.push_back(std::isfinite(value) ? json(value) : json(nullptr));
  }
  return list;
}

json axis(const Axis& a) {
  const Scale scale(a.measure);
  json j{{"title", titled(a.label, a.measure)}, {"unit", unit_of(a.measure)}, {"digits", a.measure.digits}};
  json include = json::array(), ticks = json::array();
  for (const double value : a.include) include.push_back(scale(value));
  for (const auto& [value, words] : a.ticks) ticks.push_back({{"at", scale(value)}, {"words", words}});
  j["include"] = include;
  if (a.most) j["most"] = scale(*a.most);
  if (a.least) j["least"] = scale(*a.least);
  if (a.logarithmic) j["logarithmic"] = true;
  if (!ticks.empty()) j["ticks"] = ticks;
  return j;
}

const char* name_of(Role role) {
  switch (role) {
    case Role::predicted:
      return "predicted";
    case Role::other:
      return "other";
    case Role::in_order:
      return "in_order";
    case Role::in_time:
      return "in_time";
    case Role::measured:
      return "measured";
    case Role::calculated:
      return "calculated";
  }
  return "";
}

json series(const Series& s, const Plot& plot) {
  const std::vector<std::size_t> kept = thinned(s.y, most_points);
  json j{{"label", s.label + (s.doubtful ? " (?)" : "")},
         {"role", name_of(s.role)},
         {"order", s.order},
         {"doubtful", s.doubtful},
         {"marked", s.marked},
         {"x", numbers(s.x, plot.x.measure, kept)},
         {"y", numbers(s.y, plot.y.measure, kept)}};
  if (!s.low.empty()) {
    j["low"] = numbers(s.low, plot.y.measure, kept);
    j["high"] = numbers(s.high, plot.y.measure, kept);
  }
  if (!s.at_points.empty()) j["at_points"] = s.at_points;
  json also = json::array();
  for (const Series::Also& more : s.also) {
    json words = json::array();
    for (const std::size_t k : kept)
      words.push_back(std::isfinite(more.values[k]) ? more.label + " " + text_of(more.values[k], more.measure) : "");
    also.push_back(std::move(words));
  }
  j["also"] = std::move(also);
  return j;
}

json plot_json(const Plot& p) {
  const Scale x(p.x.measure), y(p.y.measure);
  const auto end = [&](double value) { return std::isfinite(value) ? json(y(value)) : json(nullptr); };
  json j{{"type", "plot"}, {"title", p.title}, {"says", p.description}, {"x", axis(p.x)}, {"y", axis(p.y)}};
  static constexpr const char* names[] = {"below", "above", "right", "none"};
  j["names"] = names[static_cast<int>(p.names)];
  j["low"] = p.low;
  for (const char* list : {"series", "zones", "levels", "stages"}) j[list] = json::array();
  for (const Series& s : p.series) j["series"].push_back(series(s, p));
  for (const Zone& z : p.zones)
    j["zones"].push_back({{"from", end(z.from)}, {"to", end(z.to)}, {"never", z.never}, {"words", z.words}});
  for (const Level& l : p.levels) j["levels"].push_back({{"at", y(l.value)}, {"words", l.words}});
  for (const Stage& s : p.stages) j["stages"].push_back({{"from", x(s.from)}, {"to", x(s.to)}, {"name", s.name}});
  if (p.whole) j["whole"] = {{"at", y(p.whole->first)}, {"words", p.whole->second}};
  for (const auto& [role, words] : p.key) j["key"].push_back({{"role", name_of(role)}, {"words", words}});
  if (!p.note.empty()) j["note"] = p.note;
  return j;
}

/// Names of parts get one look each over the whole page, in the order in which they first come.
using Looks = std::vector<std::string>;

json stack_json(const Stack& s, Looks& looks) {
  std::vector<std::size_t> all(s.positions.size());
  for (std::size_t k = 0; k < all.size(); ++k) all[k] = k;
  json parts = json::array();
  for (const Stack::Part& part : s.parts) {
    auto at = std::find(looks.begin(), looks.end(), part.name);
    if (at == looks.end()) at = looks.insert(looks.end(), part.name);
    parts.push_back(
        {{"name", part.name}, {"look", at - looks.begin()}, {"values", numbers(part.values, s.y.measure, all)}});
  }
  return {{"type", "stack"}, {"title", s.title}, {"says", s.description},
          {"x", axis(s.x)},  {"y", axis(s.y)},   {"positions", numbers(s.positions, s.x.measure, all)},
          {"parts", parts},  {"total", s.total}, {"note", s.note}};
}

json layers_json(const Layers& drawing) {
  static constexpr const char* looks[] = {"positive", "negative", "separator", "lithium"};
  static constexpr const char* fills[] = {"empty", "binder", "own"};
  const Measure thickness = measure<params::Length>(nullptr, 3), share = measure<params::Fraction>(nullptr, 2);
  json list = json::array();
  for (const Layers::Layer& l : drawing.layers) {
    json shares = json::array();
    for (const Layers::Share& s : l.shares)
      shares.push_back({{"words", s.name + " " + text_of(s.share, share)},
                        {"share", s.share},
                        {"fill", fills[static_cast<int>(s.fill)]}});
    list.push_back({{"name", l.name},
                    {"look", looks[static_cast<int>(l.look)]},
                    {"size", Scale(thickness)(l.thickness)},
                    {"words", params::show(l.thickness, params::Length::kind(), 3)},
                    {"shares", shares}});
  }
  return {{"type", "layers"}, {"title", drawing.title}, {"says", drawing.description}, {"layers", list}};
}

std::string cell_text(const Cell& cell, const Column& column) {
  if (const auto* value = std::get_if<double>(&cell)) {
    if (!column.measure) return digits(*value);
    return column.measure->at_ease ? text_of(*value, *column.measure) : digits_of(*value, *column.measure);
  }
  if (const auto* yes = std::get_if<bool>(&cell)) return *yes ? "yes" : "no";
  if (const auto* words = std::get_if<std::string>(&cell)) return *words;
  return "";
}

json table_json(const answer::Table& table) {
  json columns = json::array(), rows = json::array();
  std::vector<std::size_t> shown;
  for (std::size_t k = 0; k < table.columns.size(); ++k) {
    const Column& c = table.columns[k];
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
  json j{{"type", "table"}, {"title", table.title}, {"columns", columns}, {"rows", rows}};
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
  if (const auto* s = std::get_if<Stack>(&block)) return stack_json(*s, looks);
  if (const auto* l = std::get_if<Layers>(&block)) return layers_json(*l);
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

std::string warnings_title(const Answer& said) {
  return said.warnings.size() > 1 ? fmt::format("{} things to check first", said.warnings.size())
                                  : "One thing to check first";
}

json footer(const Answer& said) {
  json rows = json::array({{"program", "onegrain " + said.version}, {"command", said.command}});
  for (const SourceFile& file : said.files)
    rows.push_back({file.shipped ? "shipped file" : "file", file.name + ", SHA-256 " + file.sha256});
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
    alone.measure.digits = std::min(alone.measure.digits, 3);
    alone.uncertainty = {};
    j["key"].push_back(
        {{"label", f.at_the_top}, {"value", text_of(alone)}, {"plus_minus", uncertainty_of(f)}, {"note", f.note}});
  }
  j["warnings"] = listed(warnings_title(said), said.warnings);
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
  j["footer"] = footer(said);
  return j;
}

std::string page_text(const Answer& said) {
  return filled(web_asset("render/web/report.html"), [&](std::string_view name) -> std::string {
    if (name == "TITLE") return html_text((said.subject.empty() ? "onegrain" : said.subject) + ": " + said.verb);
    if (name == "HEADLINES") {
      return "<p class=\"headline\">" + html_text(said.headline) + "</p>\n" +
             html_list(warnings_title(said), "warnings", said.warnings) +
             html_list("Not to be relied on (?)", "warnings", said.doubts);
    }
    if (name == "CAUTIONS") return html_list(cautions_title, "cautions", said.cautions);
    if (name == "STYLE") return std::string(web_asset("render/web/report.css"));
    if (name == "DRAWING") return std::string(web_asset("render/web/d3_subset.min.js"));
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
