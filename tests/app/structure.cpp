// The arrows of the map in DEVELOPERS.md, read off our #include lines: link lines alone do not hold them.

#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <regex>
#include <set>
#include <string>

#include "tests/catch.hpp"

TEST_CASE("includes point along the arrows of the map", "[structure]") {
  const std::map<std::string, std::set<std::string>> allowed = {{"model", {"model"}},
                                                                {"params", {"params", "model"}},
                                                                {"solver", {"solver", "model"}},
                                                                {"app", {"app", "params", "solver", "model"}}};
  const std::set<std::string> ours = {"model", "params", "solver", "app", "tests", "benchmarks"};
  // What the physics and the numerics must never know, so that they compile anywhere.
  const std::set<std::string> barred = {"iostream",        "fstream",      "cstdio", "filesystem",
                                        "yaml-cpp/yaml.h", "fmt/format.h", "thread"};
  int lines = 0;
  for (const auto& [folder, targets] : allowed) {
    for (const auto& entry :
         std::filesystem::recursive_directory_iterator(std::string(ONEGRAIN_SOURCE_DIR) + "/" + folder)) {
      if (entry.path().extension() != ".cpp" && entry.path().extension() != ".hpp") continue;
      std::ifstream in(entry.path());
      for (std::string line; std::getline(in, line);) {
        if (line.rfind("#include ", 0) != 0) continue;
        const std::string name = line.substr(10, line.find_first_of(">\"", 10) - 10);
        const std::string first = name.substr(0, name.find('/'));
        CAPTURE(entry.path().string(), line);
        ++lines;
        if (line[9] == '"' && ours.count(first)) CHECK(targets.count(first) == 1);
        if (folder == "model" || folder == "solver") CHECK(barred.count(name) == 0);
        if (folder == "model" && line[9] == '<' && name.find('/') != std::string::npos) CHECK(first == "Eigen");
        if (name.find("sundials") != std::string::npos || first == "cvodes")
          CHECK(entry.path().filename() == "cvode.cpp");
        if (first == "ceres") CHECK(entry.path().filename() == "least_squares.cpp");
      }
    }
  }
  CHECK(lines > 200);
}

TEST_CASE("no title of a test holds a semicolon, at which CTest cuts it in two and then runs nothing", "[structure]") {
  // A list of CMake is one text whose items end at ';' (manual, cmake-language(7), "Lists"); the test would be named by
  // its first half, match no case, and pass.
  const std::regex title("TEST_CASE\\(\\s*((?:\"(?:[^\"\\\\]|\\\\.)*\"\\s*)+)");
  int titles = 0;
  for (const auto& entry : std::filesystem::recursive_directory_iterator(std::string(ONEGRAIN_SOURCE_DIR) + "/tests")) {
    if (entry.path().extension() != ".cpp") continue;
    std::ifstream in(entry.path());
    const std::string text{std::istreambuf_iterator<char>(in), {}};
    for (std::sregex_iterator found(text.begin(), text.end(), title), end; found != end; ++found) {
      CAPTURE(entry.path().string(), found->str(1));
      CHECK(found->str(1).find(';') == std::string::npos);
      ++titles;
    }
  }
  CHECK(titles > 400);
}
