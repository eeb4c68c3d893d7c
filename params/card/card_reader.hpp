#pragma once

#include <optional>

#include "params/card/card.hpp"
#include "params/text/fields.hpp"
#include "params/text/library.hpp"

/// Cards out of YAML mappings, whether of a file or inside a sheet.
namespace onegrain::params {

/// `with_version`: the mapping is a file and must say `onegrain_material: 1`. Nothing after any fault.
std::optional<Material> read_material(Fields fields, bool with_version);
std::optional<LithiumMetalCard> read_lithium_metal(Fields fields, bool with_version);
std::optional<ElectrolyteCard> read_electrolyte(Fields fields, bool with_version);

/// The potential under a key, with what hangs on it; faults a missing one.
void read_potential(Fields& parent, const std::string& key, PotentialCard& card);

/// A version key such as `onegrain: 1`.
void read_version(Fields& fields, const std::string& key);

/// The card that a key of a sheet names, or holds as a mapping.
std::optional<Material> material_of(Fields& sheet, const std::string& key);
std::optional<LithiumMetalCard> lithium_metal_of(Fields& sheet, const std::string& key,
                                                 const std::string& name_if_absent);
std::optional<ElectrolyteCard> electrolyte_of(Fields& sheet, const std::string& key);

}  // namespace onegrain::params
