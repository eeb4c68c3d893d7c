#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "params/text/faults.hpp"

/// Where files come from: beside the sheet, or shipped inside the program.
namespace onegrain::params {

/// A shipped file by its name, "materials/graphite.yaml"; data() == nullptr if there is none. Defined in a generated
/// source (embed.cmake).
std::string_view embedded_file(std::string_view name);
std::vector<std::string_view> embedded_file_names();

/// The whole of a file, up to `limit` bytes; faults a missing file, a folder, one that is too big or cannot be read.
std::optional<std::string> read_file(const std::string& path, Faults& faults, std::size_t limit = std::size_t{1} << 20);

/// The same for a name that was given on the command line, which may be that of a stream too (see stream.hpp): `-`,
/// /dev/stdin, a FIFO. Files that a sheet or a card names are no streams.
std::optional<std::string> read_given(const std::string& path, Faults& faults,
                                      std::size_t limit = std::size_t{1} << 20);

/// The path of what the file `file` names `name`: beside it, unless `name` is an absolute path.
std::string beside(const std::string& file, const std::string& name);

/// A file that was found, beside the sheet or shipped.
struct FoundFile {
  std::string text;
  std::string name;    ///< for messages: "cards/nmc622.yaml", "materials/nmc622.yaml"
  std::string folder;  ///< where files that it names are looked for
  bool shipped = false;
};

/// A path to a file or a stream, or the name of a shipped file of a folder ("materials", "electrolytes", "cells")
/// without its
/// `.yaml`. Faults what is not found, with the nearest shipped name.
std::optional<FoundFile> find_file(const std::string& name_or_path, const std::string& shipped_folder, Faults& faults);

/// NAME.yaml (or NAME, if it ends so) in `beside`, else shipped. On failure `problem` says why, for a fault at the key
/// that names it.
std::optional<FoundFile> find_card(const std::string& name, const std::string& beside, bool beside_is_shipped,
                                   const std::string& shipped_folder, std::string& problem);

/// Names of the shipped files of a folder, without `.yaml`.
std::vector<std::string> shipped_names(const std::string& folder);

/// What kind of file this is: data by its ending, whatever its size; else by its first keys; a stream, which has no
/// ending, also by its first lines. For `check`.
enum class FileKind { sheet, material, lithium_metal, electrolyte, protocol, data, unknown };
FileKind file_kind(const std::string& path);

}  // namespace onegrain::params
