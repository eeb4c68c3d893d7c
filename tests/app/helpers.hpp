#pragma once

#include <unistd.h>

#include <array>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>
#include <set>
#include <sstream>
#include <string>
#include <vector>

#include "app/command/commands.hpp"
#include "tests/catch.hpp"

/// The program called from a test: inside this process, or as a process of its own where only that will do.
namespace app_test {

using nlohmann::json;
namespace fs = std::filesystem;

struct Outcome {
  int status;
  std::string results, narration;
};

/// What `onegrain WORDS...` does.
inline Outcome program(const std::vector<std::string>& words) {
  std::ostringstream results, narration;
  const int status = onegrain::app::run(words, results, narration);
  return {status, results.str(), narration.str()};
}

inline std::string read_file(const fs::path& path) {
  std::ifstream stream(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), {}};
}

/// A fresh folder that is the working directory as long as it lives, so that messages name files shortly.
class Folder {
 public:
  Folder() : before_(fs::current_path()) {
    std::string name = (fs::temp_directory_path() / "onegrain-test-XXXXXX").string();
    if (mkdtemp(name.data()) == nullptr) throw std::runtime_error("no temporary folder");
    path_ = name;
    fs::current_path(path_);
  }
  ~Folder() {
    std::error_code ignored;
    fs::current_path(before_, ignored);
    fs::remove_all(path_, ignored);
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;

  const fs::path& path() const { return path_; }
  void write(const std::string& name, const std::string& text) const {
    std::ofstream stream(path_ / name, std::ios::binary);
    stream << text;
    REQUIRE(stream.good());
  }
  std::string read(const std::string& name) const { return read_file(path_ / name); }
  /// Everything in a folder of this one, hidden files too, sorted; empty where the folder is not there.
  std::vector<std::string> names(const std::string& below = ".") const {
    std::set<std::string> found;
    if (fs::exists(path_ / below)) {
      for (const auto& entry : fs::directory_iterator(path_ / below)) found.insert(entry.path().filename().string());
    }
    return {found.begin(), found.end()};
  }

 private:
  fs::path before_, path_;
};

/// A word for /bin/sh.
inline std::string quoted(const std::string& word) {
  std::string text = "'";
  for (const char c : word) text += c == '\'' ? std::string("'\\''") : std::string(1, c);
  return text + "'";
}

/// Runs a line of /bin/sh in the working directory; what it prints, both channels as the line directs them, stands in
/// `results`.
inline Outcome shell(const std::string& line) {
  FILE* pipe = popen(("exec 2>&1; " + line).c_str(), "r");
  REQUIRE(pipe != nullptr);
  std::string text;
  std::array<char, 4096> block{};
  for (std::size_t n = 0; (n = fread(block.data(), 1, block.size(), pipe)) > 0;) text.append(block.data(), n);
  const int status = pclose(pipe);
  return {WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status), text, ""};
}

/// `text` with its only `from` replaced.
inline std::string with(std::string text, const std::string& from, const std::string& to) {
  const auto at = text.find(from);
  INFO("looking for '" << from << "'");
  REQUIRE(at != std::string::npos);
  REQUIRE(text.find(from, at + 1) == std::string::npos);
  return text.replace(at, from.size(), to);
}

/// A shipped sheet or card.
inline std::string shipped(const std::string& name) {
  const Outcome all = program({"cards", name});
  REQUIRE(all.status == 0);
  return all.results;
}

/// A small sound sheet of which line and column are known; the numbers are invented.
inline const std::string small_sheet =
    "onegrain: 1\n"                                                         // 1
    "name: coin cell\n"                                                     // 2
    "arrangement: full_cell\n"                                              // 3
    "temperature: 25 degC\n"                                                // 4
    "disc_diameter: 14 mm\n"                                                // 5
    "voltage_window:\n"                                                     // 6
    "  lower: 2.8 V\n"                                                      // 7
    "  upper: 4.2 V\n"                                                      // 8
    "positive:\n"                                                           // 9
    "  material: nmc622\n"                                                  // 10
    "  layer: {thickness: 60 um, active_fraction: 62 %, porosity: 30 %}\n"  // 11
    "  particle_radius: 4.8 um\n"                                           // 12
    "negative:\n"                                                           // 13
    "  material: graphite\n"                                                // 14
    "  layer: {thickness: 75 um, active_fraction: 62 %, porosity: 33 %}\n"  // 15
    "  particle_radius: 8 um\n"                                             // 16
    "formation_loss: 8 %\n"                                                 // 17
    "separator: {thickness: 25 um, porosity: 45 %}\n"                       // 18
    "electrolyte: carbonate_1M\n";                                          // 19

/// Results of `--json`; fails the test where the call fails or prints anything that is not JSON.
inline json json_of(std::vector<std::string> words) {
  words.push_back("--json");
  const Outcome outcome = program(words);
  INFO(outcome.narration);
  REQUIRE(outcome.status == 0);
  return json::parse(outcome.results);
}

inline std::set<std::string> keys_of(const json& object) {
  std::set<std::string> keys;
  for (const auto& [key, value] : object.items()) keys.insert(key);
  return keys;
}

inline std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream stream(text);
  for (std::string line; std::getline(stream, line);) lines.push_back(line);
  return lines;
}

}  // namespace app_test
