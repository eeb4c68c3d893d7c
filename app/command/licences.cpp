#include "app/command/licences.hpp"

#include <vector>

#include "app/render/assets.hpp"

namespace onegrain::app {

std::string licences() {
  std::string text = "onegrain " ONEGRAIN_VERSION "\n\n" + std::string(web_asset("../LICENSE"));
  text += "\nLibraries whose code is in the program, or is loaded by it:\n\n";
  std::string whole;
  for (const std::string_view name : web_asset_names()) {
    if (name.rfind("licences/", 0) != 0) continue;
    const std::string_view licence = web_asset(name);
    text += "- " + std::string(licence.substr(0, licence.find('\n'))) + "\n";
    whole += "\n\n" + std::string(licence);
  }
  const std::string drawing = "d3 7.9.0 (parts of it, in every page): ISC";
  return text + "- " + drawing + "\n" + whole + "\n\n" + drawing + "\n" + std::string(drawing.size(), '-') + "\n\n" +
         std::string(web_asset("render/web/d3_LICENSE.txt"));
}

}  // namespace onegrain::app
