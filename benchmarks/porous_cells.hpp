#pragma once

#include <stdexcept>
#include <string>
#include <vector>

#include "model/balance.hpp"
#include "params/sheet/sheet.hpp"
#include "tests/published_cells.hpp"

/// The cells of the porous-electrode calculation, with the words for their tables.
namespace onegrain::benchmarks {

struct NamedCell {
  std::string name;  ///< in file names: porous_NAME_*.csv
  int set;           ///< in the column of that name: 1 and 2 for the cells from papers, 0 for a sheet
  model::Cell cell;
  std::vector<std::string> source;

  double one_c() const { return model::one_hour_charge(cell, model::equilibrium_window(cell)) / 3600; }  ///< [A/m2]
  /// Where a discharge, or a charge, starts.
  model::Stoichiometries start(bool charge) const {
    const model::Window window = model::equilibrium_window(cell);
    return charge ? window.empty : cell.charged_state.value_or(window.full);
  }
};

inline std::vector<NamedCell> cells_from_papers() {
  return {
      {"nmc811",
       1,
       tests::nmc811_graphite_siox(),
       {"set: NMC811 | graphite-SiOx, Chen et al., J. Electrochem. Soc. 167, 080534 (2020); electrolyte: Nyman et al.,",
        "  Electrochim. Acta 53, 6356 (2008), t+ 0.2594, thermodynamic factor 1. VALUES FROM MEMORY",
        "negative | positive: electronic conductivity 215 | 0.18 S/m, tortuosity porosity^-0.5; 1C = 48.685 A/m2"}},
      {"lco",
       2,
       tests::lco_graphite(),
       {"set: LiCoO2 | graphite, Marquis et al., J. Electrochem. Soc. 166, A3693 (2019); electrolyte: Capiglia et al.,",
        "  J. Power Sources 81-82, 859 (1999), t+ 0.4, thermodynamic factor 1. VALUES FROM MEMORY",
        "negative | positive: electronic conductivity 100 | 10 S/m; 1C = 24 A/m2; the voltage limits 3.1 and 4.1 V are "
        "INVENTED"}}};
}

/// A cell from its sheet: a file, or a shipped one by name.
inline NamedCell cell_of_sheet(const std::string& name, const std::string& file) {
  const auto sheet = params::load_sheet(file);
  if (!sheet.value) throw std::runtime_error("the sheet " + file + " is not sound");
  NamedCell n{name, 0, params::to_cell(*sheet.value), {"set 0: the sheet " + file + ", " + sheet.value->name}};
  if (file == "demo")
    n.source.push_back("ITS NUMBERS ARE INVENTED; its materials and its electrolyte name their sources");
  const auto conducts = [](const model::Electrode& e) { return e.electronic_conductivity > 0; };
  if (!conducts(n.cell.positive) || (n.cell.negative && !conducts(*n.cell.negative))) {
    n.source.push_back("a layer without an electronic conductivity is given 1e4 S/m, which costs no voltage");
  }
  return n;
}

}  // namespace onegrain::benchmarks
