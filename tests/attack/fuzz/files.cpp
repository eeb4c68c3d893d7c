// Fuzzed: the readers of whole files - YAML documents, sheets, cards, protocols, tables of cards.

#include <cmath>
#include <string>

#include "params/card/card_reader.hpp"
#include "params/card/cif_crystal.hpp"
#include "params/sheet/bench.hpp"
#include "params/sheet/protocol.hpp"
#include "params/text/delimited.hpp"
#include "params/text/document.hpp"
#include "params/text/revision.hpp"
#include "tests/attack/fuzz/targets.hpp"

namespace onegrain::attack::fuzz {

namespace {

const std::string nowhere = "/nonexistent";  // cards beside a fuzzed sheet: none

void check_places(const params::Node& node, int lines) {
  require(node.line >= 1 && node.column >= 1 && node.line <= lines, "every value has a place in the file");
  for (const params::Node& item : node.items) check_places(item, lines);
  for (const params::Entry& entry : node.entries) {
    require(entry.line >= 1 && entry.line <= lines, "every key has a place in the file");
    check_places(entry.value, lines);
  }
}

template <class Read>
void read_mapping(std::string_view bytes, Read read) {
  params::Faults faults;
  std::vector<params::SourceFile> files;
  std::vector<std::string> assumptions;
  const params::DocumentReading reading{"card.yaml", nowhere, false, &faults, &files, &assumptions};
  const auto tree = params::read_document(bytes, "card.yaml", faults);
  const bool sound = tree && read(params::Fields(*tree, "", reading));
  check_messages(faults, sound);
}

}  // namespace

void document(std::string_view bytes) {
  params::Faults faults;
  const auto tree = params::read_document(bytes, "file.yaml", faults);
  check_messages(faults, tree.has_value());
  if (!tree) return;
  int lines = 1;
  for (const char c : bytes) lines += c == '\n' || c == '\r';
  check_places(*tree, lines + 1);  // what is missing at the end stands behind the last line
}

void card(std::string_view bytes) {
  read_mapping(bytes, [](params::Fields fields) {
    const auto material = params::read_material(std::move(fields), true);
    if (!material) return false;
    require(material->maximum_concentration() > 0, "a material has lithium sites");
    try {
      const model::Host host = material->to_host({298.15, false});
      require(host.maximum_concentration > 0, "a host has lithium sites");
    } catch (const std::domain_error&) {  // a formula that is not finite at 25 degC: the sheet says so
    }
    return true;
  });
  read_mapping(bytes,
               [](params::Fields fields) { return params::read_lithium_metal(std::move(fields), true).has_value(); });
  read_mapping(bytes,
               [](params::Fields fields) { return params::read_electrolyte(std::move(fields), true).has_value(); });
}

void cif(std::string_view bytes) {
  params::Faults faults;
  const std::optional<params::Cif> cif = params::read_cif(bytes, "file.cif", faults);
  check_messages(faults, cif.has_value());
  if (!cif) return;
  int lines = 1;
  for (const char c : bytes) lines += c == '\n' || c == '\r';
  for (const params::CifBlock& block : cif->blocks) {
    for (const auto& [tag, values] : block.items) {
      require(!values.empty(), "a tag has a value");
      for (const params::CifValue& value : values) {
        require(value.line >= block.line && value.line <= lines, "every value has a place in its block");
        const std::optional<params::CifNumber> number = params::cif_number(value.text);
        require(!number || (std::isfinite(number->value) && number->standard_uncertainty >= 0),
                "a number is finite, its uncertainty not below 0");
      }
    }
    params::Faults of_cell;
    std::vector<params::SourceFile> files;
    std::vector<std::string> assumptions;
    const params::DocumentReading reading{"card.yaml", nowhere, false, &of_cell, &files, &assumptions};
    const params::Node nothing{params::Node::Type::mapping, "", 1, 1, {}, {}};
    params::Fields fields(nothing, "", reading);
    const auto found = params::crystal_of_cif(*cif, "file.cif", block.name, fields, "cif");
    check_messages(of_cell, found.has_value());
    require(!found || (found->crystal.cell_volume() > 0 && found->block == block.name), "a cell holds something");
  }
}

void sheet(std::string_view bytes) {
  const auto loaded = params::read_sheet(std::string(bytes), "sheet.yaml", nowhere);
  check_messages(loaded.faults, loaded.value.has_value());
  if (!loaded.value) return;
  params::for_each_value(*loaded.value, [](const std::string&, const params::Value& value) {
    require(std::isfinite(value.si), "every number of a sound sheet is finite");
  });
  try {
    const model::Cell cell = params::to_cell(*loaded.value);
    const model::Window window = model::equilibrium_window(cell);
    require(window.capacity > 0 && std::isfinite(window.capacity), "a sound sheet makes a cell that holds charge");
  } catch (const model::ImpossibleBalance&) {  // a porosity that no pores can have
  }
}

void protocol(std::string_view bytes) {
  static const params::Sheet sheet = *params::load_sheet("demo").value;
  static const params::RateBase base = params::rate_base(sheet, 20);
  const auto loaded = params::read_protocol(std::string(bytes), "protocol.yaml", sheet, base);
  check_messages(loaded.faults, loaded.value.has_value());
  if (!loaded.value) return;
  require(!loaded.value->steps.empty() && loaded.value->repeat >= 1, "a protocol has steps");
  for (const model::Step& step : loaded.value->steps) {
    const model::Ends& e = step.until;
    require(e.voltage || e.time || e.current || e.capacity || e.temperature, "a step has an end");
    for (const auto& end : {e.voltage, e.time, e.current, e.capacity, e.temperature})
      require(!end || std::isfinite(*end), "an end is finite");
    if (const auto* drive = std::get_if<model::CurrentDrive>(&step.drive))
      require(std::isfinite(drive->current), "a current is finite");
  }
}

void delimited(std::string_view bytes) {
  params::Faults faults;
  const auto table = params::read_delimited(bytes, "table.csv", faults);
  check_messages(faults, table.has_value());
  if (!table) return;
  for (const params::DelimitedRow& row : table->rows) {
    require(row.cells.size() == table->titles.size(), "every row has as many cells as the header has titles");
    for (const std::optional<double>& number : row.numbers)
      require(!number || std::isfinite(*number), "a number of a table is finite");
  }
}

}  // namespace onegrain::attack::fuzz
