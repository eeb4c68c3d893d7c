#pragma once

#include <string>

namespace onegrain::app::render {

/// The JSON Schema (draft 2020-12) of a sheet, a card or a protocol, from the description by which the program itself
/// reads them (params/keys/tree.hpp). It refuses unknown and missing keys, keys that exclude each other, and units of
/// one word that are of another kind; what several values must fulfil together, only `check` can tell.
/// @param what  "sheet", "card" or "protocol"
std::string key_schema(const std::string& what);

}  // namespace onegrain::app::render
