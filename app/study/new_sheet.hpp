#pragma once

#include <map>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "params/sheet/sheet.hpp"
#include "params/text/revision.hpp"

/// A revised sheet, with all the cards and tables that it needs beside it in another folder.
namespace onegrain::app {

/// Names of files that the program alone makes: letters, digits, '_' and '-', then the ending; each another one, also
/// where a file system takes small and capital letters for the same.
class ResultNames {
 public:
  /// @param taken  whole names that must not be given
  explicit ResultNames(const std::vector<std::string>& taken);
  /// After the last part of `like`, which may be a path or anything else: "cards/my card.v2" -> "my_card_v2.yaml";
  /// with a number behind where that is taken. Where no letter or digit is left of it: `otherwise`.
  std::string make(const std::string& like, const std::string& ending, const std::string& otherwise);

 private:
  std::set<std::string> taken_;  // in small letters
};

class NewSheet {
 public:
  /// @param sheet         with the texts of its files, which are read from nowhere else
  /// @param names_in_use  in the folder where the files are to go: none of them is written over, and none of them is
  ///                      taken for a card of this sheet
  NewSheet(const params::Sheet& sheet, std::vector<std::string> names_in_use);

  /// Puts a new value in, by its path from the sheet: "contact_resistance", or
  /// "positive.material.diffusion_coefficient", which stands in the sheet or in a card, wherever that is.
  /// @param yaml  as params::Revision has it
  void revise(const std::string& path, const std::string& yaml);
  /// The same with a table of its own, `path` being that of a `table`.
  void revise_table(const std::string& path, const std::string& like, std::string rows);
  /// True where a formula or a table stands under the path, which a fit scales rather than replaces.
  bool holds_function(const std::string& path) const;

  /// The new sheet first, `fitted.yaml`, then cards and tables: names with contents. All that the sheet refers to is
  /// among them or shipped, so that it says the same wherever the folder is taken.
  std::vector<std::pair<std::string, std::string>> files();

 private:
  /// A card as one electrode (or the electrolyte) uses it.
  struct Use {
    std::string place;                 ///< in the sheet, "negative.material"
    std::string name_if_revised;       ///< "negative_fitted"
    const params::SourceFile* source;  ///< the sheet itself for a card that stands in it
    std::vector<params::Revision> revisions{};
  };
  const params::SourceFile& original() const { return sheet_.files.front(); }
  bool inside_sheet(const Use& use) const { return use.source == &original(); }
  const Use* use_of(const std::string& path) const;
  /// The text with the tables that it refers to under the names that they get, below the given places ("" for all).
  std::string with_tables(std::string text, const params::SourceFile& source, const std::vector<std::string>& places);
  const params::SourceFile* table_of(const params::SourceFile& source, const std::string& reference) const;
  /// The name that a file of the old sheet gets, which is then among the files.
  std::string carried(const params::SourceFile& source, const std::string& ending);

  const params::Sheet& sheet_;
  std::vector<std::string> names_in_use_;
  ResultNames names_;
  std::vector<Use> uses_;
  std::vector<params::Revision> revisions_;                      // of the sheet
  std::map<std::string, std::string> carried_;                   // by name of the source
  std::vector<std::pair<std::string, std::string>> new_tables_;  // name, rows
  std::vector<std::pair<std::string, std::string>> files_;
};

}  // namespace onegrain::app
