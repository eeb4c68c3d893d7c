#include "params/text/library.hpp"

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>

#include "params/text/delimited.hpp"
#include "params/text/document.hpp"
#include "params/text/stream.hpp"

namespace onegrain::params {

namespace {

constexpr std::size_t longest_name = 255;  // of a file, on every usual file system

std::string folder_of(const std::string& path) {
  const std::size_t slash = path.rfind('/');
  return slash == std::string::npos ? "" : path.substr(0, std::max<std::size_t>(slash, 1));
}

std::string joined(const std::string& folder, const std::string& name) {
  return folder.empty() || name.starts_with('/') ? name : folder + (folder.ends_with('/') ? "" : "/") + name;
}

/// Whether there is anything of that name, a link to nowhere too: it must not be passed over in silence.
bool exists(const std::string& path) {
  std::error_code error;
  const std::filesystem::file_type type = std::filesystem::symlink_status(path, error).type();
  return type != std::filesystem::file_type::not_found && type != std::filesystem::file_type::none;
}

/// Why there is nothing to be read under this name; empty where there is a regular file.
std::string not_readable(const std::string& path) {
  if (path.empty() || path.find('\0') != std::string::npos) return "not a file name";
  std::error_code error;
  const std::filesystem::file_status status = std::filesystem::status(path, error);
  if (status.type() == std::filesystem::file_type::not_found)
    return exists(path) ? "a symbolic link to a file that is not there" : "no such file";
  if (error == std::errc::too_many_symbolic_link_levels) return "a symbolic link that leads back to itself";
  if (error == std::errc::filename_too_long)
    return "a file name of " + std::to_string(path.size()) + " letters, longer than a file system takes";
  if (error) return error.message();
  if (std::filesystem::is_directory(status)) return "a folder, not a file";
  return std::filesystem::is_regular_file(status) ? "" : "not a regular file";
}

std::string too_big(std::size_t limit) {
  return "bigger than " + std::to_string(limit >> 20) + " MiB; this is not what is expected here";
}

std::optional<FoundFile> shipped(const std::string& folder, const std::string& name) {
  const std::string whole = folder + "/" + name + ".yaml";
  const std::string_view text = embedded_file(whole);
  if (text.data() == nullptr) return std::nullopt;
  return FoundFile{std::string(text), whole, folder, true};
}

std::string suggestion(const std::string& name, const std::string& folder) {
  const std::vector<std::string> names = shipped_names(folder);
  if (const std::string near = nearest(name, names); !near.empty()) return "did you mean '" + near + "'?";
  std::string list;
  for (const std::string& shipped_name : names) list += (list.empty() ? "" : ", ") + shipped_name;
  return "shipped are: " + list;
}

}  // namespace

std::string beside(const std::string& file, const std::string& name) { return joined(folder_of(file), name); }

std::optional<std::string> read_file(const std::string& path, Faults& faults, std::size_t limit) {
  const auto fault = [&](const std::string& message) {
    faults.error({path.empty() ? "(no name)" : path}, "", "", message);
    return std::nullopt;
  };
  if (const std::string why = not_readable(path); !why.empty()) return fault(why);
  std::ifstream stream(path, std::ios::binary);
  if (!stream) return fault(std::string("cannot be opened: ") + std::strerror(errno));
  std::string text;
  char block[65536];
  while (stream.read(block, sizeof block) || stream.gcount() > 0) {
    text.append(block, static_cast<std::size_t>(stream.gcount()));
    if (text.size() > limit) return fault(too_big(limit));
  }
  if (stream.bad()) return fault("cannot be read");
  return text;
}

std::optional<std::string> read_given(const std::string& path, Faults& faults, std::size_t limit) {
  if (!is_stream(path)) return read_file(path, faults, limit);
  std::string error;
  if (const auto text = stream_text(path, limit, error)) return *text;
  faults.error({stream_name(path)}, "", "", error.empty() ? too_big(limit) : "cannot be read: " + error);
  return std::nullopt;
}

std::vector<std::string> shipped_names(const std::string& folder) {
  std::vector<std::string> names;
  for (const std::string_view whole : embedded_file_names()) {
    if (whole.starts_with(folder + "/") && whole.ends_with(".yaml")) {
      names.emplace_back(whole.substr(folder.size() + 1, whole.size() - folder.size() - 6));
    }
  }
  std::sort(names.begin(), names.end());
  return names;
}

std::optional<FoundFile> find_file(const std::string& name_or_path, const std::string& shipped_folder, Faults& faults) {
  const bool looks_like_path =
      name_or_path.find('/') != std::string::npos || name_or_path.find('.') != std::string::npos;
  const bool may_be_shipped = !looks_like_path && !is_stream(name_or_path) && name_or_path.size() <= longest_name;
  std::error_code ignored;
  const bool folder = may_be_shipped && std::filesystem::is_directory(name_or_path, ignored);
  if (may_be_shipped && (folder || !exists(name_or_path))) {  // a folder of that name may hold the results of its cell
    if (std::optional<FoundFile> found = shipped(shipped_folder, name_or_path)) return found;
    if (!name_or_path.empty() && !folder) {
      faults.error({name_or_path}, "", "",
                   "no such file, and none of this name is shipped; " + suggestion(name_or_path, shipped_folder));
      return std::nullopt;
    }
  }
  std::optional<std::string> text = read_given(name_or_path, faults);
  if (!text) return std::nullopt;
  if (is_stream(name_or_path)) return FoundFile{std::move(*text), stream_name(name_or_path), "", false};
  return FoundFile{std::move(*text), name_or_path, folder_of(name_or_path), false};
}

std::optional<FoundFile> find_card(const std::string& name, const std::string& beside, bool beside_is_shipped,
                                   const std::string& shipped_folder, std::string& problem) {
  if (name.empty() || name.size() > 200 || name.find('\0') != std::string::npos) {
    problem = "the name of a card is expected; " + suggestion(name, shipped_folder);
    return std::nullopt;
  }
  if (!beside_is_shipped) {
    const std::string path = joined(beside, name.ends_with(".yaml") || name.ends_with(".yml") ? name : name + ".yaml");
    // a sheet, a protocol or data that happens to bear the name of a card is none
    const FileKind kind = exists(path) && not_readable(path).empty() ? file_kind(path) : FileKind::unknown;
    const bool other = kind == FileKind::sheet || kind == FileKind::protocol || kind == FileKind::data;
    if (other && !shipped(shipped_folder, name)) {
      problem = "'" + path + "' is " +
                (kind == FileKind::sheet      ? "a cell sheet"
                 : kind == FileKind::protocol ? "a protocol"
                                              : "data") +
                ", not a card, and none of this name is shipped; " + suggestion(name, shipped_folder);
      return std::nullopt;
    }
    if (!other && exists(path)) {
      Faults faults;
      std::optional<std::string> text = read_file(path, faults);
      if (text) return FoundFile{std::move(*text), path, folder_of(path), false};
      problem = faults.sorted().front().text();
      return std::nullopt;
    }
  }
  if (std::optional<FoundFile> found = shipped(shipped_folder, name)) return found;
  problem = "no card '" + (name.ends_with(".yaml") ? name : name + ".yaml") +
            "' beside the sheet, and none of this name is shipped; " + suggestion(name, shipped_folder);
  return std::nullopt;
}

FileKind file_kind(const std::string& path) {
  std::string ending = path.substr(std::min(path.rfind('.'), path.size()));
  std::transform(ending.begin(), ending.end(), ending.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  for (const char* data : {".csv", ".txt", ".tsv", ".bdf", ".dat", ".asc"}) {
    if (ending == data) return FileKind::data;
  }
  Faults faults;
  const bool stream = is_stream(path);
  const std::optional<std::string> text = read_given(path, faults, std::size_t{64} << 20);
  if (!text) return FileKind::unknown;
  const std::optional<Node> document = read_document(*text, path, faults);
  if (!document) return stream && looks_delimited(*text) ? FileKind::data : FileKind::unknown;
  if (document->find("onegrain_electrolyte") != nullptr) return FileKind::electrolyte;
  if (document->find("onegrain_material") != nullptr) {
    const Entry* role = document->find("role");
    return role != nullptr && role->value.text == "lithium_metal" ? FileKind::lithium_metal : FileKind::material;
  }
  if (document->find("onegrain") != nullptr) return FileKind::sheet;
  if (document->find("steps") != nullptr) return FileKind::protocol;
  if (document->find("arrangement") != nullptr || document->find("positive") != nullptr ||
      document->find("working") != nullptr)
    return FileKind::sheet;
  return FileKind::unknown;
}

}  // namespace onegrain::params
