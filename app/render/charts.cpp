#include "app/render/charts.hpp"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "app/answer/numbers.hpp"
#include "app/answer/thinned.hpp"
#include "app/render/page.hpp"

namespace onegrain::app::render {

using namespace answer;
using nlohmann::json;

std::string titled(const std::string& label, const Measure& measure) {
  const std::string unit = unit_of(measure);
  return unit.empty() ? label : label + " / " + unit;
}

namespace {

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
  if (!a.zero.empty()) j["zero"] = a.zero;
  if (!ticks.empty()) j["ticks"] = ticks;
  return j;
}

const char* name_of(LineRole role) {
  switch (role) {
    case LineRole::predicted:
      return "predicted";
    case LineRole::other:
      return "other";
    case LineRole::in_order:
      return "in_order";
    case LineRole::in_time:
      return "in_time";
    case LineRole::measured:
      return "measured";
    case LineRole::calculated:
      return "calculated";
  }
  return "";
}

json series(const Series& s, const Plot& plot) {
  const std::vector<std::size_t> kept = thinned(s.y, most_points);
  json j{{"label", s.label + (s.doubtful && !s.label.empty() ? " (?)" : "")},
         {"role", name_of(s.role)},
         {"order", s.order},
         {"doubtful", s.doubtful},
         {"marked", s.marked},
         {"joined", s.joined},
         {"x", numbers(s.x, plot.x.measure, kept)},
         {"y", numbers(s.y, plot.y.measure, kept)}};
  if (!s.low.empty()) {
    j["low"] = numbers(s.low, plot.y.measure, kept);
    j["high"] = numbers(s.high, plot.y.measure, kept);
  }
  if (s.stepped) j["stepped"] = true;
  if (s.filled) j["filled"] = true;
  if (!s.at_points.empty()) j["at_points"] = s.at_points;
  if (!s.told.empty()) {
    j["told"] = json::array();
    for (const std::size_t k : kept) j["told"].push_back(s.told[k]);
  }
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

}  // namespace

json plot_json(const Plot& p) {
  const Scale x(p.x.measure), y(p.y.measure);
  const auto end = [&](double value) { return std::isfinite(value) ? json(y(value)) : json(nullptr); };
  json j{{"type", "plot"}, {"title", p.title}, {"says", p.description}, {"x", axis(p.x)}, {"y", axis(p.y)}};
  static constexpr const char* names[] = {"below", "above", "right", "none"};
  j["names"] = names[static_cast<int>(p.names)];
  j["low"] = p.low;
  if (p.equal) j["equal"] = true;
  for (const char* list : {"series", "zones", "levels", "stages"}) j[list] = json::array();
  for (const Series& s : p.series) j["series"].push_back(series(s, p));
  for (const Zone& z : p.zones)
    j["zones"].push_back({{"from", end(z.from)}, {"to", end(z.to)}, {"never", z.never}, {"words", z.words}});
  for (const Level& l : p.levels) j["levels"].push_back({{"at", y(l.value)}, {"words", l.words}});
  for (const Stage& s : p.stages) j["stages"].push_back({{"from", x(s.from)}, {"to", x(s.to)}, {"name", s.name}});
  for (const char* list : {"bands", "marks", "uprights"}) j[list] = json::array();
  for (const Band& b : p.bands)
    j["bands"].push_back({{"from", x(b.from)}, {"to", x(b.to)}, {"never", b.never}, {"words", b.words}});
  for (const Mark& m : p.marks) j["marks"].push_back({{"x", x(m.x)}, {"y", y(m.y)}, {"words", m.words}});
  for (const Upright& u : p.uprights) j["uprights"].push_back({{"x", x(u.x)}, {"words", u.words}});
  if (p.whole) j["whole"] = {{"at", y(p.whole->first)}, {"words", p.whole->second}};
  for (const auto& [role, words] : p.key) j["key"].push_back({{"role", name_of(role)}, {"words", words}});
  if (!p.note.empty()) j["note"] = p.note;
  return j;
}

namespace {

std::size_t look_of(const std::string& name, Looks& looks) {
  auto at = std::find(looks.begin(), looks.end(), name);
  if (at == looks.end()) at = looks.insert(looks.end(), name);
  return static_cast<std::size_t>(at - looks.begin());
}

}  // namespace

json bars_json(const Bars& block, Looks& looks) {
  json bars = json::array();
  for (const Bars::Bar& b : block.bars) {
    bars.push_back({{"name", b.name}, {"remark", b.remark}, {"from", b.from}, {"size", b.size}, {"words", b.words}});
    if (b.part) bars.back()["look"] = look_of(b.name, looks);
  }
  return {{"type", "bars"},
          {"title", block.title},
          {"says", block.description},
          {"bars", bars},
          {"numbered", block.numbered}};
}

json stack_json(const Stack& s, Looks& looks) {
  std::vector<std::size_t> all(s.positions.size());
  for (std::size_t k = 0; k < all.size(); ++k) all[k] = k;
  json parts = json::array();
  for (const Stack::Part& part : s.parts) {
    parts.push_back(
        {{"name", part.name}, {"look", look_of(part.name, looks)}, {"values", numbers(part.values, s.y.measure, all)}});
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

json intervals_json(const Intervals& drawing) {
  const Scale scale(drawing.axis.measure);
  const auto place = [&](double value) { return std::isfinite(value) ? json(scale(value)) : json(nullptr); };
  json levels = json::array(), rows = json::array();
  for (const Level& l : drawing.levels) levels.push_back({{"at", scale(l.value)}, {"words", l.words}});
  for (const Intervals::Row& r : drawing.rows) {
    json row{{"name", r.name},      {"words", r.words},      {"value", r.value ? place(*r.value) : json()},
             {"low", place(r.low)}, {"high", place(r.high)}, {"doubtful", r.doubtful}};
    if (r.part) row["part"] = {place(r.part->first), place(r.part->second)};
    rows.push_back(std::move(row));
  }
  return {{"type", "intervals"},
          {"title", drawing.title},
          {"says", drawing.description},
          {"axis", axis(drawing.axis)},
          {"levels", levels},
          {"look", drawing.look == Intervals::Look::stretch ? "stretch" : "interval"},
          {"rows", rows}};
}

}  // namespace onegrain::app::render
