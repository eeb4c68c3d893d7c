#include <nlohmann/json.hpp>
#include <ostream>

#include "app/command/commands.hpp"
#include "app/render/table.hpp"
#include "params/card/card.hpp"
#include "params/text/faults.hpp"

namespace onegrain::app {

void cards(const Request& request, const Channels& channels) {
  const std::vector<params::ShippedCard> all = params::shipped_cards();
  if (!request.files.empty()) {
    if (request.files.size() > 1) throw CommandLineError("one card at a time");
    std::vector<std::string> names;
    for (const params::ShippedCard& card : all) {
      names.push_back(card.name);
      if (card.name == request.files.front()) {
        channels.results << card.text;
        return;
      }
    }
    const std::string close = params::nearest(request.files.front(), names);
    throw CommandLineError("no shipped card is called '" + request.files.front() + "'" +
                           (close.empty() ? "; onegrain cards lists them" : "; did you mean '" + close + "'?"));
  }
  if (request.json) {
    nlohmann::json list = nlohmann::json::array();
    for (const params::ShippedCard& card : all) {
      list.push_back({{"folder", card.folder}, {"name", card.name}, {"title", card.title}});
    }
    channels.results << nlohmann::json{{"cards", list}}.dump(1) << '\n';
    return;
  }
  Table table({{"kind", Table::Align::left}, {"name", Table::Align::left}, {"what it is", Table::Align::left}});
  for (const params::ShippedCard& card : all) table.add({card.folder, card.name, card.title});
  channels.results
      << table.text()
      << "\nonegrain cards NAME prints one whole, with the source of every value. A card of the same name beside a\n"
         "sheet is taken instead of the shipped one: onegrain cards graphite > graphite.yaml\n";
}

}  // namespace onegrain::app
