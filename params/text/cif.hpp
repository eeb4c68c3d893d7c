#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "params/text/faults.hpp"

/// Crystallographic Information Files, version 1.1 (S. R. Hall, F. H. Allen, I. D. Brown, Acta Cryst. A47, 655 (1991);
/// International Tables for Crystallography, volume G, chapter 2.2, from memory).
namespace onegrain::params {

/// A value where it stands. A '.' or '?' without quotes says that there is none.
struct CifValue {
  std::string_view text;
  int line = 0;
  bool quoted = false;

  bool absent() const { return !quoted && (text == "." || text == "?"); }
};

/// What a data block says: tags in small letters, "_cell_length_a", with one value each, or as many as their loop has
/// rows.
struct CifBlock {
  std::string name;  ///< without "data_"
  int line = 0;
  std::map<std::string, std::vector<CifValue>, std::less<>> items;

  /// The values under a tag; empty where it is not there.
  const std::vector<CifValue>& all(std::string_view tag) const;
  /// The value under the first of these tags that has exactly one, and states it.
  const CifValue* one(std::initializer_list<std::string_view> tags) const;
};

/// The blocks; values look into the text that was read.
struct Cif {
  std::vector<CifBlock> blocks;

  /// The block of this name, in whatever letters; nullptr where there is none.
  const CifBlock* block(std::string_view name) const;
};

/// A number with its standard uncertainty, 2.8701(4): the digits in brackets are in units of the last one.
struct CifNumber {
  double value = 0;
  double standard_uncertainty = 0;  ///< 0 where none is stated
};
std::optional<CifNumber> cif_number(std::string_view text);

/// Reads the whole file. The first fault ends it, named by its line: bytes that no text has, a tag without a value, a
/// loop that is cut short, a quotation or a text that is not ended, the same tag or block twice, what stands outside
/// any block, save frames (of dictionaries), files that say they are CIF 2.0. Linear time; values are not copied, so
/// `text` must outlive the result.
std::optional<Cif> read_cif(std::string_view text, const std::string& file, Faults& faults);

}  // namespace onegrain::params
