#include "app/manifest.hpp"

#include <algorithm>
#include <nlohmann/json.hpp>

#include "params/text/printable.hpp"

namespace onegrain::app {

namespace {

using nlohmann::ordered_json;

bool is_letter_or_digit(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9'); }

ordered_json list(std::vector<ListedFile> files) {
  std::sort(files.begin(), files.end(), [](const ListedFile& a, const ListedFile& b) {
    return a.name != b.name ? a.name < b.name : a.sha256 < b.sha256;
  });
  ordered_json rows = ordered_json::array();
  for (const ListedFile& file : files) {
    rows.push_back({{"name", file.name}, {"bytes", file.bytes}, {"sha256", file.sha256}});
  }
  return rows;
}

std::vector<ListedFile> files_of(const ordered_json& manifest, const char* key) {
  std::vector<ListedFile> files;
  const auto rows = manifest.find(key);
  if (rows == manifest.end() || !rows->is_array()) return files;
  for (const ordered_json& row : *rows) {
    if (!row.is_object() || !row.contains("name") || !row["name"].is_string() || !row.contains("sha256") ||
        !row["sha256"].is_string()) {
      continue;
    }
    ListedFile file{row["name"], 0, row["sha256"]};
    if (row.contains("bytes") && row["bytes"].is_number_unsigned()) file.bytes = row["bytes"];
    if (is_result_name(file.name)) files.push_back(std::move(file));
  }
  return files;
}

}  // namespace

std::string Manifest::text() const {
  ordered_json j = {{"onegrain_manifest", 1},
                    {"complete", complete},
                    {"version", ONEGRAIN_VERSION},
                    {"command", params::valid_utf8(command)},
                    {"files", list(files)}};
  if (!complete) j["previous"] = list(previous);
  return j.dump(1) + "\n";
}

std::optional<Manifest> read_manifest(const std::string& text) {
  const ordered_json j = ordered_json::parse(text, nullptr, false);
  if (!j.is_object() || !j.contains("onegrain_manifest") || j["onegrain_manifest"] != 1) return std::nullopt;
  Manifest manifest;
  manifest.complete = !j.contains("complete") || j["complete"] != false;
  if (j.contains("command") && j["command"].is_string()) manifest.command = j["command"];
  manifest.files = files_of(j, "files");
  manifest.previous = files_of(j, "previous");
  return manifest;
}

bool is_result_name(const std::string& name) {
  return !name.empty() && name.size() <= 100 && is_letter_or_digit(name.front()) &&
         std::all_of(name.begin(), name.end(),
                     [](char c) { return is_letter_or_digit(c) || c == '_' || c == '-' || c == '.'; });
}

const std::vector<std::string>& fixed_result_names() {
  static const std::vector<std::string> names = {"curves.csv",  "fitted.yaml",    manifest_name, "pulses.csv",
                                                 "report.html", "staircase.yaml", "summary.json"};
  return names;
}

}  // namespace onegrain::app
