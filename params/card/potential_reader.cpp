#include "params/card/keys.hpp"
#include "params/keys/reader.hpp"

namespace onegrain::params {

void read_potential(Fields& parent, const std::string& key, PotentialCard& card) {
  std::optional<Fields> fields =
      parent.required_mapping(key, "an 'expression' of x, or a 'table', against lithium metal");
  if (!fields) return;
  const PropertyRules rules = host_rules(VoltageKind::kind, limits::between(-5, 10));
  PropertyValue& potential = card.potential;
  potential.function = read_function(*fields, rules, true);
  potential.result = potential.kind = &VoltageKind::kind;
  potential.shifts = true;
  potential.si = 0;
  potential.path = fields->path();
  potential.place = fields->reading().at(fields->here().line, fields->here().column);
  potential.source = fields->text("source").value_or("");
  fields->text("note");
  if (const Entry* entry = fields->here().find("expression")) potential.written = entry->value.text;
  if (const Entry* entry = fields->here().find("table")) potential.written = entry->value.text;
  if (const Node* spread = fields->node("spread")) {
    potential.spread =
        read_spread(*spread, fields->path_of("spread"), VoltageKind::kind, std::nullopt, fields->reading());
    if (potential.spread.form == Spread::Form::factor)
      fields->error("spread", "a potential has no factor; expected a voltage, such as '5 mV'");
  }
  if (fields->node("scaled_by") != nullptr) {
    fields->error("scaled_by",
                  "a potential is not scaled: a voltage curve that is off by a "
                  "factor has another expression or table");
  }
  if (potential.function) {
    card.lower = potential.function->shape().lower;
    card.upper = potential.function->shape().upper;
  }
  KeyReader reader(*fields);
  keys_of_potential(reader, card);
  if (card.entropic && potential.function && potential.function->shape().depends_on_temperature) {
    fields->error("entropic_coefficient", "the expression of the potential holds the temperature already");
  }
  fields->finish();
}

}  // namespace onegrain::params
