#include "app/render/terminal.hpp"

#include <fmt/format.h>

#include <ostream>

#include "app/answer/numbers.hpp"
#include "app/render/said_once.hpp"
#include "app/render/table.hpp"

namespace onegrain::app::render {

using namespace answer;

namespace {

/// A number that is missing has a dash.
std::string shown_cell(const TableCell& cell, const TableColumn& column) {
  return std::holds_alternative<std::monostate>(cell) && column.measure ? "-" : cell_text(cell, column);
}

void print_table(std::ostream& out, const answer::Table& table, std::size_t columns) {
  std::vector<std::size_t> shown;
  std::vector<PrintedTable::Heading> headings;
  for (std::size_t k = 0; k < table.columns.size(); ++k) {
    const TableColumn& column = table.columns[k];
    if (!(column.places & terminal)) continue;
    shown.push_back(k);
    headings.push_back({column.label, column.measure ? PrintedTable::Align::right : PrintedTable::Align::left,
                        column.measure ? unit_of(*column.measure) : ""});
  }
  if (table.titled & terminal) out << table.title << "\n";
  PrintedTable text(std::move(headings));
  const std::size_t count = table.rows.size();
  const std::size_t head = count > most_rows ? most_rows - 20 : count, tail = count > most_rows ? count - 20 : count;
  std::size_t k = 0;
  table.rows.each([&](const Row& row) {
    if (k < head || k >= tail) {
      std::vector<std::string> cells;
      cells.reserve(shown.size());
      for (const std::size_t c : shown) cells.push_back(shown_cell(row[c], table.columns[c]));
      text.add(std::move(cells));
    } else if (k == head) {
      text.add({"..."});
    }
    ++k;
    return true;
  });
  out << text.text();
  if (tail > head) out << wrapped(fmt::format("{} rows in between are left out here.", tail - head), columns);
}

void print_figures(std::ostream& out, const Figures& block) {
  PrintedTable text({{"quantity", PrintedTable::Align::left}, {"value", PrintedTable::Align::left}});
  for (const Figure& figure : block.figures)
    if (figure.places & terminal) text.add({figure.label, text_of(figure)});
  out << text.text();
}

void print_list(std::ostream& out, const std::vector<std::string>& items, std::size_t columns) {
  for (const std::string& item : items) out << "- " << wrapped(item, columns, "  ");
}

void print_block(std::ostream& out, const Block& block, std::size_t columns) {
  if (const auto* words = std::get_if<Paragraph>(&block)) {
    if (words->places & terminal) out << "\n" << wrapped(words->text, columns);
  } else if (const auto* lines = std::get_if<Lines>(&block)) {
    for (const std::string& line : lines->lines) out << line << "\n";
  } else if (const auto* list = std::get_if<Bullets>(&block)) {
    if (!(list->places & terminal)) return;
    if (!list->title.empty()) out << list->title << ":\n";
    print_list(out, list->items, columns);
  } else if (const auto* figures = std::get_if<Figures>(&block)) {
    if (!(figures->places & terminal)) return;
    if (!figures->title.empty()) out << "\n" << figures->title << "\n";
    print_figures(out, *figures);
  } else if (const auto* table = std::get_if<answer::Table>(&block)) {
    if (!(table->places & terminal)) return;
    out << "\n";
    print_table(out, *table, columns);
  }
}

}  // namespace

void print(std::ostream& out, const Answer& said, std::size_t columns) {
  if (!said.subject.empty()) out << said.subject << "\n";
  if (!said.headline.empty()) out << wrapped(said.headline, columns);
  const std::vector<std::string> warnings = warnings_beside_headline(said);
  if (said.recommends) {
    out << "\n";
    print_list(out, said.cautions, columns);
    if (!warnings.empty() || !said.doubts.empty()) out << "\n";
  }
  for (const std::string& warning : warnings) out << "warning: " << wrapped(warning, columns - 9, "  ");
  for (const std::string& doubt : said.doubts) out << "(?) " << wrapped(doubt, columns - 4, "    ");
  for (const Section& section : said.sections) {
    if (!(section.places & terminal)) continue;
    for (const Block& block : section.blocks) print_block(out, block, columns);
  }
  if (said.all_assumptions_on_terminal && !said.assumptions.empty()) {
    out << "\nassumed:\n";
    print_list(out, said.assumptions, columns);
  }
  if (!said.cautions.empty() && !said.recommends) {
    out << "\ncautions:\n";
    print_list(out, said.cautions, columns);
  }
}

}  // namespace onegrain::app::render
