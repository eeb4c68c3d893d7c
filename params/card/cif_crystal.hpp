#pragma once

#include <optional>
#include <string>

#include "params/card/crystal.hpp"
#include "params/text/cif.hpp"
#include "params/text/faults.hpp"
#include "params/text/fields.hpp"
#include "params/text/formula.hpp"

/// Crystals as a CIF tells them.
namespace onegrain::params {

/// A block with a unit cell. Uncertainties in brackets are standard deviations: the spread of the value is 1.96 of
/// them.
struct CifCrystal {
  std::string file;
  std::string block;
  int line = 0;     ///< of the block
  Crystal crystal;  ///< `formula_units` is NaN where the file does not state Z
  std::optional<Formula> formula;
  int formula_line = 0, units_line = 0;  ///< 0 where there is none

  /// Z M / (V N_A), of formula and Z of the file; absent where one of them is   [kg/m3].
  std::optional<double> density() const;
};

/// The block `name`, or, where that is empty, the only one that holds a unit cell. Faults (by their lines, or at the
/// key `at` of `fields` where the file as a whole does not fit): no such block, none or several with a cell; edges,
/// angles, Z and formula that are missing or no numbers; angles of which there is no cell; a crystal system, or a space
/// group, that the cell does not have. Warns where the volume or the density that the file states is not that of its
/// cell, and where so few or so many atoms would fill the cell that Z cannot be right.
std::optional<CifCrystal> crystal_of_cif(const Cif& cif, const std::string& file, const std::string& name,
                                         Fields& fields, const std::string& at);

/// The text of the CIF that a key names, beside the card or the sheet; noted among the files of the reading. Faults
/// what cannot be read at the key.
std::optional<std::string> text_of_cif(Fields& fields, const std::string& key, const std::string& name,
                                       std::string& shown_name);

/// The file and its crystal in one.
std::optional<CifCrystal> read_cif_crystal(Fields& fields, const std::string& key, const std::string& name,
                                           const std::string& block);

}  // namespace onegrain::params
