#include "app/answer/answers.hpp"
#include "params/card/card.hpp"
#include "params/text/faults.hpp"

// `cards`: what is shipped, to read or to copy.

namespace onegrain::app::answer {

Answer cards(const Request& request, const Channels&) {
  const std::vector<params::ShippedCard> all = params::shipped_cards();
  Answer said;
  if (!request.files.empty()) {
    if (request.files.size() > 1) throw CommandLineError("one card at a time");
    std::vector<std::string> names;
    for (const params::ShippedCard& card : all) {
      names.push_back(card.name);
      if (card.name == request.files.front()) {
        said.verbatim = card.text;
        return said;
      }
    }
    const std::string close = params::nearest(request.files.front(), names);
    throw CommandLineError("no shipped card is called '" + request.files.front() + "'" +
                           (close.empty() ? "; onegrain cards lists them" : "; did you mean '" + close + "'?"));
  }
  if (!request.out.empty()) throw CommandLineError("--out takes one card: onegrain cards NAME --out FILE");
  Table table{"cards", "", {{"folder", "kind", {}}, {"name", "name", {}}, {"title", "what it is", {}}}};
  for (const params::ShippedCard& card : all) table.rows.add({card.folder, card.name, card.title});
  said.sections.push_back(
      {"",
       {table,
        Paragraph{"onegrain cards NAME prints one whole, with the source of every value. A card of the same name "
                  "beside a sheet is taken instead of the shipped one: onegrain cards graphite > graphite.yaml"}}});
  return said;
}

}  // namespace onegrain::app::answer
