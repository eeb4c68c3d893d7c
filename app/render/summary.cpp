#include "app/render/summary.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <memory>
#include <nlohmann/json.hpp>
#include <ostream>
#include <stdexcept>

#include "app/answer/numbers.hpp"
#include "app/render/assets.hpp"

namespace onegrain::app::render {

using namespace answer;
using nlohmann::ordered_json;

namespace {

/// Ten significant digits; null if not finite.
ordered_json number(double value) {
  if (!std::isfinite(value)) return nullptr;
  return std::strtod(fmt::format("{:.10g}", value).c_str(), nullptr);
}

/// The tree of keys, in the order in which the answer names them. A leaf is a value, or the rows of a table.
struct Node {
  std::vector<std::pair<std::string, std::unique_ptr<Node>>> members;
  ordered_json value;
  const answer::Table* table = nullptr;
  const Listed* listed = nullptr;
  bool object = false;

  bool taken() const { return object || table || listed || !value.is_null(); }

  Node& at(const std::string& key) {
    object = true;
    for (auto& [name, node] : members)
      if (name == key) return *node;
    members.emplace_back(key, std::make_unique<Node>());
    return *members.back().second;
  }
  Node& path(const std::string& keys) {
    if (keys.empty()) {
      object = true;
      return *this;
    }
    const auto dot = keys.find('.');
    Node& node = at(keys.substr(0, dot));
    return dot == std::string::npos ? node : node.path(keys.substr(dot + 1));
  }
  void put(const std::string& key, ordered_json content) {
    Node& node = path(key);
    if (node.taken()) throw std::logic_error("two things are called " + key);
    node.value = std::move(content);
  }
  Node& free_place(const std::string& key) {
    Node& node = path(key);
    if (node.taken()) throw std::logic_error("two things are called " + key);
    return node;
  }
};

ordered_json as_json(double si, const Measure& measure) {
  if (measure.whole) return static_cast<long long>(si);
  return number(machine_number(si, measure));
}

ordered_json as_json(double si, const Measure& m, const ErrorBar& known) {
  ordered_json json{{"value", as_json(si, m)}};
  const auto width = [&](double size) { return number(m.kind->dimension.none() ? size : Scale(m).difference(size)); };
  if (known.form == ErrorBar::Form::interval) {
    json["lower"] = as_json(known.low, m);
    json["upper"] = as_json(known.high, m);
  } else if (known.form == ErrorBar::Form::factor) {
    json["within_factor"] = number(known.size);
  } else {
    json["plus_minus"] = width(known.size);
  }
  return json;
}

ordered_json as_json(const Figure& figure) {
  return figure.alone ? as_json(figure.value, figure.measure)
                      : as_json(figure.value, figure.measure, figure.uncertainty);
}

ordered_json as_json(const Amount& amount) {
  return amount.uncertainty.form == ErrorBar::Form::none ? as_json(amount.value, amount.measure)
                                                         : as_json(amount.value, amount.measure, amount.uncertainty);
}

ordered_json list_of(const std::vector<double>& array, const Measure& measure) {
  ordered_json list = ordered_json::array();
  const Scale scale(measure);
  const bool plain = measure.kind->dimension.none();
  for (const double si : array) list.push_back(ordered_json(number(plain ? si : scale(si))));
  return list;
}

/// Where a path of keys leads in an object.
ordered_json& place_of(ordered_json& object, const std::string& keys) {
  const auto dot = keys.find('.');
  if (dot == std::string::npos) return object[keys];
  return place_of(object[keys.substr(0, dot)], keys.substr(dot + 1));
}

ordered_json row_of(const answer::Table& table, const std::vector<std::string>& keys, const Row& row) {
  ordered_json json = ordered_json::object();
  for (std::size_t k = 0; k < row.size(); ++k) {
    const Measure measure = table.columns[k].measure.value_or(Measure{});
    if (keys[k].empty() || std::holds_alternative<std::monostate>(row[k])) continue;
    ordered_json& place = place_of(json, keys[k]);
    if (const auto* value = std::get_if<double>(&row[k])) place = as_json(*value, measure);
    if (const auto* yes = std::get_if<bool>(&row[k])) place = *yes;
    if (const auto* words = std::get_if<std::string>(&row[k])) place = *words;
    if (const auto* amount = std::get_if<Amount>(&row[k])) place = as_json(*amount);
    if (const auto* array = std::get_if<std::vector<double>>(&row[k])) {
      place = list_of(*array, measure);
    }
  }
  return json;
}

void add(Node& root, const Block& block) {
  if (const auto* figures = std::get_if<Figures>(&block)) {
    if (!(figures->places & summary)) return;
    Node& place = root.path(figures->key);
    for (const Figure& figure : figures->figures)
      if ((figure.places & summary) && !figure.key.empty())
        place.put(key_of(figure.key, figure.measure), as_json(figure));
  } else if (const auto* facts = std::get_if<Facts>(&block)) {
    Node& place = root.path(facts->key);
    for (const auto& [key, fact] : facts->facts)
      std::visit([&, name = key](const auto& content) { place.put(name, content); }, fact);
  } else if (const auto* table = std::get_if<answer::Table>(&block)) {
    if ((table->places & summary) && !table->key.empty()) root.free_place(table->key).table = table;
  } else if (const auto* arrays = std::get_if<Arrays>(&block)) {
    Node& place = root.path(arrays->key);
    for (const Arrays::Array& one : arrays->arrays)
      place.put(key_of(one.key, one.measure), list_of(one.values, one.measure));
  } else if (const auto* listed = std::get_if<Listed>(&block)) {
    root.free_place(listed->key).listed = listed;
  }
}

/// `json` behind a key at this depth, one blank of indentation a level, as everywhere in our JSON.
std::string indented(const ordered_json& json, std::size_t depth) {
  const std::string text = json.dump(1, ' ', false, ordered_json::error_handler_t::replace);
  std::string moved;
  for (const char c : text) {
    moved += c;
    if (c == '\n') moved.append(depth, ' ');
  }
  return moved;
}

void write_rows(std::ostream& out, const answer::Table& table, std::size_t depth) {
  if (table.rows.size() == 0) {
    out << "[]";
    return;
  }
  std::vector<std::string> keys;
  for (const TableColumn& column : table.columns)
    keys.push_back(
        column.places & summary && !column.key.empty() ? key_of(column.key, column.measure.value_or(Measure{})) : "");
  const char* before = "[\n";
  table.rows.each([&](const Row& row) {
    out << before << std::string(depth + 1, ' ') << indented(row_of(table, keys, row), depth + 1);
    before = ",\n";
    return static_cast<bool>(out);
  });
  out << "\n" << std::string(depth, ' ') << "]";
}

void write(std::ostream& out, const Node& node, std::size_t depth);

void write_members(std::ostream& out, const Listed& listed, std::size_t depth) {
  if (listed.members.empty()) {
    out << "[]";
    return;
  }
  const char* before = "[\n";
  for (const std::vector<Block>& member : listed.members) {
    Node object;
    object.object = true;
    for (const Block& block : member) add(object, block);
    out << before << std::string(depth + 1, ' ');
    write(out, object, depth + 1);
    before = ",\n";
  }
  out << "\n" << std::string(depth, ' ') << "]";
}

void write(std::ostream& out, const Node& node, std::size_t depth) {
  if (node.table) return write_rows(out, *node.table, depth);
  if (node.listed) return write_members(out, *node.listed, depth);
  if (!node.object) {
    out << indented(node.value, depth);
    return;
  }
  if (node.members.empty()) {
    out << "{}";
    return;
  }
  const char* before = "{\n";
  for (const auto& [key, member] : node.members) {
    out << before << std::string(depth + 1, ' ') << ordered_json(key).dump() << ": ";
    write(out, *member, depth + 1);
    before = ",\n";
  }
  out << "\n" << std::string(depth, ' ') << "}";
}

}  // namespace

void write_summary(std::ostream& out, const Answer& said) {
  Node root;
  root.put("onegrain_summary", summary_format);
  root.put("program", "onegrain");
  root.put("version", said.version);
  root.put("command", said.command);
  root.put("verb", said.verb);
  if (!said.subject.empty()) root.put("sheet", said.subject);
  if (!said.subject.empty() || !said.files.empty()) {
    ordered_json files = ordered_json::array();
    for (const UsedFile& file : said.files)
      files.push_back({{"name", file.name}, {"shipped", file.shipped}, {"sha256", file.sha256}});
    root.put("files", std::move(files));
  }
  if (!said.subject.empty()) {
    root.put("headline", said.headline);
    ordered_json findings = ordered_json::array();
    for (const Finding& finding : said.findings)
      findings.push_back({{"rule", finding.rule}, {"sentence", finding.sentence}});
    root.put("findings", std::move(findings));
    root.put("warnings", said.warnings);
  }
  for (const Section& section : said.sections)
    if (section.places & summary)
      for (const Block& block : section.blocks) add(root, block);
  if (!said.subject.empty()) {
    root.put("assumptions", said.assumptions);
    root.put("cautions", said.cautions);
  }
  write(out, root, 0);
  out << "\n";
}

std::string_view summary_schema() { return web_asset("render/summary.schema.json"); }

}  // namespace onegrain::app::render
