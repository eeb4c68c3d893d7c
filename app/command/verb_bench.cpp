#include <fmt/format.h>

#include <ostream>

#include "app/answer/document.hpp"
#include "app/answer/words.hpp"
#include "app/job.hpp"
#include "app/render/output.hpp"
#include "app/render/table.hpp"

namespace onegrain::app {

namespace {

void print_electrode(std::ostream& out, const params::ElectrodeBench& e) {
  out << "\n" << e.key << ": " << e.material << "\n";
  Table table({{"quantity", Table::Align::left}, {"value", Table::Align::left}});
  const auto row = [&](const char* name, const params::Figure& f) { table.add({name, f.text()}); };
  if (e.coating_loading) row("coating per area", *e.coating_loading);
  if (e.active_loading) row("active mass per area", *e.active_loading);
  if (e.active_mass) row("active mass", *e.active_mass);
  row("thickness", e.thickness);
  row("active volume fraction", e.active_fraction);
  row("porosity", e.porosity);
  row("carbon and binder, volume fraction", e.inactive_fraction);
  row("tortuosity", e.tortuosity);
  if (e.theoretical_capacity) row("theoretical capacity of the formula", *e.theoretical_capacity);
  if (e.specific_capacity) row("capacity per active mass, full minus empty", *e.specific_capacity);
  if (e.specific_capacity_in_window) row("capacity per active mass, between cut-offs", *e.specific_capacity_in_window);
  row("areal capacity, full minus empty", e.areal_capacity);
  row("areal capacity, between cut-offs", e.areal_capacity_in_window);
  row("lithium sites", e.maximum_concentration);
  if (e.crystal_concentration) row("lithium sites of the crystal", *e.crystal_concentration);
  row("stoichiometry, cell full", e.stoichiometry_full);
  row("stoichiometry, cell empty", e.stoichiometry_empty);
  out << table.text();
}

}  // namespace

void bench(const Request& request, const Channels& channels) {
  const Job job = load_job(request, channels);
  const params::Bench& b = job.bench;
  nlohmann::json summary = provenance_json(request, job.sheet);
  summary["bench"] = bench_json(job);
  summary["cautions"] = cautions();
  const std::string headline = bench_headline(job);
  if (request.json) {
    channels.results << summary.dump(1) << '\n';
  } else {
    std::ostream& out = channels.results;
    out << job.sheet.name << "\n" << wrapped(headline);
    print_electrode(out, b.positive);
    if (b.negative) print_electrode(out, *b.negative);
    out << "\ncell\n";
    Table cell({{"quantity", Table::Align::left}, {"value", Table::Align::left}});
    cell.add({"plate area", b.plate_area.text()});
    if (b.capacity_ratio) cell.add({"N/P", b.capacity_ratio->text()});
    cell.add({"capacity between the cut-offs, at rest", b.equilibrium_capacity.text()});
    cell.add({b.rated_capacity_stated ? "rated capacity, as stated" : "rated capacity: the one at rest",
              b.rated_capacity.text()});
    cell.add({"current for 1C", b.one_c_current.text()});
    out << cell.text() << "\n";
    Table rates({{"C-rate"}, {"mA"}, {"mA/cm2"}, {"mA/g"}, {"hours"}});
    for (const params::RateRow& r : b.rates) {
      rates.add({r.name, digits(r.current * 1e3), digits(r.current_density / 10),
                 r.specific_current ? digits(*r.specific_current) : "-", digits(r.hours, 3)});
    }
    out << rates.text();
    for (const std::string& w : b.warnings) out << "\nwarning: " << wrapped(w, 100, "  ");
    out << "\nassumed:\n";
    for (const std::string& a : b.assumptions) out << "- " << wrapped(a, 100, "  ");
    out << "\ncautions:\n";
    for (const std::string& c : cautions()) out << "- " << wrapped(c, 100, "  ");
  }
  write_results(request, channels, summary, cell_document(request, job, headline), "");
}

}  // namespace onegrain::app
