#pragma once

#include <string>

#include "model/protocol.hpp"
#include "params/sheet/rate.hpp"
#include "params/sheet/sheet.hpp"

namespace onegrain::params {

/// Reads a protocol: `steps`, each with `drive` and `until`, and `repeat`. Steps count from 1 in messages. A voltage
/// outside the window of the sheet is an error that names the line of the sheet.
Loaded<model::Protocol> load_protocol(const std::string& path, const Sheet& sheet, const RateBase& base);
Loaded<model::Protocol> read_protocol(const std::string& text, const std::string& file, const Sheet& sheet,
                                      const RateBase& base);

}  // namespace onegrain::params
