#include "app/render/key_schema.hpp"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "params/keys/tree.hpp"

namespace onegrain::app::render {

namespace {

using nlohmann::ordered_json;
using params::Alternative;
using params::Alternatives;
using params::KeyNode;
using Form = KeyNode::Form;

const ordered_json any_text = {{"type", ordered_json::array({"string", "number", "boolean"})}};

/// Writes trees of keys; what stands in many places goes to `$defs`.
class Writer {
 public:
  ordered_json group(const KeyNode& node) {
    ordered_json properties = ordered_json::object(), needed = ordered_json::array();
    for (const KeyNode& key : node.keys) {
      properties[key.key] = described(key);
      if (key.needed) needed.push_back(key.key);
    }
    ordered_json schema = {{"type", "object"}, {"properties", std::move(properties)}, {"additionalProperties", false}};
    if (!needed.empty()) schema["required"] = std::move(needed);
    if (node.not_empty) schema["minProperties"] = 1;
    ordered_json all = ordered_json::array();
    for (const Alternatives& alternatives : node.alternatives) all.push_back(one_of(alternatives));
    if (!all.empty()) schema["allOf"] = std::move(all);
    return schema;
  }
  const ordered_json& defs() const { return defs_; }

 private:
  static ordered_json with_key(const std::string& key) { return {{"required", ordered_json::array({key})}}; }

  static ordered_json one_of(const Alternatives& alternatives) {
    ordered_json choices = ordered_json::array();
    for (const Alternative& chosen : alternatives.sets) {
      ordered_json others = ordered_json::array();
      for (const Alternative& other : alternatives.sets) {
        if (&other == &chosen) continue;
        for (const auto* keys : {&other.needed, &other.optional})
          for (const std::string& key : *keys) others.push_back(with_key(key));
      }
      choices.push_back({{"required", chosen.needed}, {"not", {{"anyOf", std::move(others)}}}});
    }
    return {{"oneOf", std::move(choices)}};
  }

  std::string words(const KeyNode& node) const {
    std::string text = node.help;
    if (node.kind != nullptr && node.form != Form::potential)
      text += (text.empty() ? "" : "; ") + std::string(node.kind->noun);
    if (const std::string range = node.range(); !range.empty()) text += ", " + range;
    if (!node.otherwise.empty()) text += "; otherwise " + node.otherwise;
    return text;
  }

  ordered_json described(const KeyNode& node) {
    ordered_json schema = {{"description", words(node)}};
    schema.update(form(node));
    return schema;
  }

  ordered_json form(const KeyNode& node) {
    switch (node.form) {
      case Form::version:
        return {{"const", 1}};
      case Form::text:
        return any_text;
      case Form::rate:
        return {{"type", "string"}};
      case Form::choice:
        return {{"enum", node.choices}};
      case Form::value:
        return value(node, false);
      case Form::property:
        return {{"anyOf", {value(node, true), function(node)}}};
      case Form::potential:
        return function(node);
      case Form::card:
        return {{"anyOf", {{{"type", "string"}}, shared(node.key, group(node))}}};
      case Form::group:
        return group(node);
      case Form::list:
        return {{"type", "array"}, {"minItems", 1}, {"items", group(node.keys.front())}};
      case Form::phases: {
        KeyNode share;
        share.kind = &params::FractionKind::kind;
        share.limits = params::limits::share;
        return {{"anyOf",
                 {group(node.keys.front()),
                  {{"type", "object"},
                   {"required", {"host"}},
                   {"not", {{"required", {"cif"}}}},
                   {"additionalProperties", value(share, false)}}}}};
      }
      case Form::row:
        return {{"type", "array"}, {"minItems", 1}, {"items", any_text}};
      case Form::table:
        return {{"type", "array"},
                {"minItems", 1},
                {"items", {{"type", "array"}, {"minItems", 1}, {"items", {{"type", "number"}}}}}};
      case Form::either: {
        ordered_json choices = ordered_json::array({{{"enum", node.choices}}});
        for (const KeyNode& mapping : node.keys) choices.push_back(group(mapping));
        return {{"anyOf", std::move(choices)}};
      }
    }
    return ordered_json::object();
  }

  /// A reference to a definition of this name, or of a name like it where that is taken by another.
  ordered_json shared(const std::string& name, const ordered_json& schema) {
    for (int k = 1;; ++k) {
      const std::string full = k == 1 ? name : name + "_" + std::to_string(k);
      if (!defs_.contains(full)) defs_[full] = schema;
      if (defs_[full] == schema) return {{"$ref", "#/$defs/" + full}};
    }
  }

  /// "4.8 um"; a bare number where nothing has a unit.
  ordered_json scalar(const KeyNode& node) {
    std::string name = node.kind->noun;
    name = name.substr(name.find(' ') + 1);
    std::replace(name.begin(), name.end(), ' ', '_');
    ordered_json text = shared(name, {{"type", "string"}, {"pattern", params::quantity_pattern(*node.kind)}});
    if (!node.kind->dimension.none()) return text;
    ordered_json number = {{"type", "number"}};
    if (std::isfinite(node.limits.lower))
      number[node.limits.lower_open ? "exclusiveMinimum" : "minimum"] = node.limits.lower;
    if (std::isfinite(node.limits.upper))
      number[node.limits.upper_open ? "exclusiveMaximum" : "maximum"] = node.limits.upper;
    return {{"anyOf", {number, text}}};
  }

  ordered_json value(const KeyNode& node, bool scaled) {
    const ordered_json plain = scalar(node);
    ordered_json properties = ordered_json::object();
    for (const KeyNode& key : params::value_mapping(scaled).keys)
      properties[key.key] = key.key == "value" ? plain : of_a_mapping(key);
    return {{"anyOf",
             {plain,
              {{"type", "object"},
               {"properties", properties},
               {"required", ordered_json::array({"value"})},
               {"additionalProperties", false}}}}};
  }

  /// A key of the mappings that may stand for a value or give a function.
  ordered_json of_a_mapping(const KeyNode& key) {
    const ordered_json text_or_number = ordered_json::array({"string", "number"});
    ordered_json schema = {{"description", key.help}};
    if (key.key == "source" || key.key == "note") {
      schema.update(any_text);
    } else if (key.key == "scaled_by") {
      schema.update({{"type", "number"}, {"exclusiveMinimum", 0}});
    } else if (key.key == "range") {
      schema.update({{"type", "array"}, {"minItems", 2}, {"maxItems", 2}, {"items", {{"type", text_or_number}}}});
    } else if (key.key == "spread" || key.key == "expression") {
      schema["type"] = text_or_number;
    } else {
      schema["type"] = "string";
    }
    return key.key == "spread" ? shared("spread", schema) : schema;
  }

  /// A formula or a table; that of a potential holds more keys.
  ordered_json function(const KeyNode& node) {
    const bool potential = node.form == Form::potential;
    const std::string variables = node.variable == "c"   ? "c (salt, mol/L) and T (kelvin)"
                                  : node.variable == "x" ? "x (filled share of the sites) and T (kelvin)"
                                                         : "T (kelvin)";
    ordered_json properties = ordered_json::object();
    for (const KeyNode& key : params::function_mapping(potential).keys) properties[key.key] = of_a_mapping(key);
    properties["expression"]["description"] = "formula of " + variables;
    for (const KeyNode& key : node.keys) properties[key.key] = described(key);
    ordered_json by_formula = with_key("expression"), by_table = with_key("table");
    if (!potential && !node.kind->dimension.none()) by_formula["required"].push_back("unit");
    return {{"type", "object"},
            {"properties", properties},
            {"additionalProperties", false},
            {"oneOf", {by_formula, by_table}}};
  }

  ordered_json defs_ = ordered_json::object();
};

ordered_json where(const std::string& key, const ordered_json& is, ordered_json then, ordered_json otherwise) {
  return {{"if", {{"required", ordered_json::array({key})}, {"properties", {{key, is}}}}},
          {"then", std::move(then)},
          {"else", std::move(otherwise)}};
}

}  // namespace

std::string key_schema(const std::string& what) {
  Writer writer;
  ordered_json schema = {{"$schema", "https://json-schema.org/draft/2020-12/schema"},
                         {"title", "onegrain: " + what},
                         {"description",
                          "Made from the description by which the program reads. Values carry their unit, '4.8 um'; "
                          "a mapping {value, spread, source} may stand for any of them."}};
  if (what == "protocol") {
    schema.update(writer.group(params::protocol_keys()));
  } else if (what == "sheet") {
    schema.update(where("arrangement", {{"const", "half_cell"}}, writer.group(params::sheet_keys(false)),
                        writer.group(params::sheet_keys(true))));
  } else {
    schema.update(where("onegrain_electrolyte", ordered_json::object(), writer.group(params::electrolyte_keys()),
                        where("role", {{"const", "lithium_metal"}}, writer.group(params::lithium_metal_keys()),
                              writer.group(params::material_keys()))));
  }
  schema["$defs"] = writer.defs();
  return schema.dump(1) + "\n";
}

}  // namespace onegrain::app::render
