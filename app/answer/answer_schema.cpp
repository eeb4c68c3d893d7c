#include <string>
#include <vector>

#include "app/answer/answers.hpp"
#include "app/render/key_schema.hpp"
#include "app/render/summary.hpp"
#include "params/keys/tree.hpp"

// `schema`: the form of what is read and written, for editors and other programs, and as a table for people.

namespace onegrain::app::answer {

namespace {

using params::KeyNode;
using Form = KeyNode::Form;

std::string what_it_takes(const KeyNode& node) {
  if (!node.takes.empty()) return node.takes;
  switch (node.form) {
    case Form::version:
      return "1";
    case Form::text:
      return "words";
    case Form::rate:
      return "a rate or a current";
    case Form::choice: {
      std::string list;
      for (const std::string& word : node.choices) list += (list.empty() ? "" : " | ") + word;
      return list;
    }
    case Form::value:
    case Form::property: {
      std::string text = node.kind->noun;
      const std::string unit = node.unit.empty() ? node.kind->unit : node.unit;
      if (!unit.empty()) text += " (" + unit + ")";
      if (node.form == Form::property) text += ", formula or table";
      if (const std::string range = node.range(); !range.empty()) text += ", " + range;
      return text;
    }
    case Form::potential:
      return "formula or table";
    case Form::card:
      return "a card";
    case Form::group:
      return "keys";
    case Form::phases:
      return "mass shares by name";
    case Form::row:
    case Form::table:
    case Form::list:
      return "a list";
    case Form::either:
      return "rest | keys";
  }
  return "";
}

void add_keys(Table& table, const KeyNode& node, const std::string& path) {
  for (const KeyNode& key : node.keys) {
    const std::string below = path.empty() ? key.key : key.key.empty() ? path : path + "." + key.key;
    if (!key.key.empty()) {
      std::string help = key.help;
      if (!key.otherwise.empty()) help += (help.empty() ? "" : "; ") + std::string("otherwise ") + key.otherwise;
      bool alternative = false;
      for (const params::Alternatives& list : node.alternatives)
        for (const params::Alternative& set : list.sets)
          for (const std::string& name : set.needed) alternative = alternative || name == key.key;
      table.rows.add({below, what_it_takes(key),
                      std::string(key.needed    ? "yes"
                                  : alternative ? "or another"
                                                : ""),
                      help});
    }
    if (key.form != Form::card) add_keys(table, key, below);
  }
}

Section keys_of(const char* what, const KeyNode& tree) {
  Table table{"", what, {{"", what, {}}, {"", "takes", {}}, {"", "needed", {}}, {"", "meaning", {}}}, {}, terminal};
  add_keys(table, tree, "");
  return {"", {table}};
}

}  // namespace

Answer schema(const Request& request, const Channels&) {
  Answer said;
  const std::string& what = request.files.front();
  if (what == "summary") {
    said.verbatim = std::string(render::summary_schema());
  } else if (what != "keys") {
    said.verbatim = render::key_schema(what);
  } else {
    said.headline =
        "Every key of the files that people write. A unit in brackets is an example; any of the same kind is taken.";
    said.sections = {keys_of("sheet of a full cell", params::sheet_keys(true)),
                     keys_of("sheet of a half cell", params::sheet_keys(false)),
                     keys_of("material card", params::material_keys()),
                     keys_of("lithium metal card", params::lithium_metal_keys()),
                     keys_of("electrolyte card", params::electrolyte_keys()),
                     keys_of("protocol", params::protocol_keys()),
                     keys_of("in place of any value", params::value_mapping(false)),
                     keys_of("in place of a card's property", params::value_mapping(true)),
                     keys_of("a property as formula or table", params::function_mapping(false)),
                     keys_of("a potential as formula or table", params::function_mapping(true))};
  }
  return said;
}

}  // namespace onegrain::app::answer
