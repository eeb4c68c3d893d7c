// The arrows of the map in DEVELOPERS.md, read off our #include lines: link lines alone do not hold them.

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <regex>
#include <set>
#include <sstream>
#include <string>
#include <vector>

#include "app/command/verbs.hpp"
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
        // Study, answer, rendering: each knows those before it. The published schemas are printed as they are.
        const std::string place = std::filesystem::relative(entry.path(), ONEGRAIN_SOURCE_DIR).string();
        if (place.rfind("app/study/", 0) == 0) {
          CHECK(name.rfind("app/answer/", 0) != 0);
          CHECK(name.rfind("app/render/", 0) != 0);
        }
        if (place.rfind("app/answer/", 0) == 0 && place != "app/answer/answer_schema.cpp")
          CHECK(name.rfind("app/render/", 0) != 0);
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

namespace {

/// Why a file or a function may be longer than the others.
const std::map<std::string, std::string> long_ones = {
    {"tests/estimation/nist_sets.hpp", "tables of data: the certified sets of a standard"},
    {"tests/model/impedance.cpp", "the finite volumes of a whole cell, equation by equation"},
    {"tests/model/salt.cpp", "one closed form a test, all of one equation"},
    {"tests/solver/replay.cpp", "one property of replayed records a test"},
    {"tests/estimation/uncertainty.cpp", "ten lines over"},
    {"benchmarks/discharge.cpp", "a table whose rows share one set-up"},
    {"benchmarks/porous_equations.cpp", "the full equations, residual by residual, as they stand in the book"},
    {"benchmarks/porous_electrode_table.cpp", "a table whose rows share one set-up"},
};

constexpr int most_lines_of_a_file = 400, most_lines_of_a_function = 80;

std::vector<std::string> lines_of_file(const std::filesystem::path& path) {
  std::ifstream in(path);
  std::vector<std::string> lines;
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

/// Lines of the longest function: from a line without indent that is no comment, up to the brace that closes its body.
int longest_function(const std::vector<std::string>& lines) {
  static const std::regex other(
      "^(namespace|class|struct|enum|union|using|typedef|template|const|constexpr|inline constexpr|static "
      "const|#|//|\\}|"
      "\\)|\").*");
  int longest = 0, start = -1;
  for (int k = 0; k < static_cast<int>(lines.size()); ++k) {
    const std::string& line = lines[static_cast<std::size_t>(k)];
    if (line.empty() || line[0] == ' ') continue;
    if (line[0] == '}') {
      if (start >= 0) longest = std::max(longest, k - start + 1);
      start = -1;
    } else if (start < 0 && line.find('(') != std::string::npos && line.back() != ';' && line.back() != '}' &&
               !std::regex_match(line, other)) {
      start = k;
    } else if (start >= 0 && line.back() == ';') {
      start = -1;  // a declaration
    }
  }
  return longest;
}

}  // namespace

TEST_CASE("no file is longer than 400 lines and no function than 80, or the reason stands beside it", "[structure]") {
  const std::string root = ONEGRAIN_SOURCE_DIR;
  std::set<std::string> needed;
  int files = 0;
  for (const std::string folder : {"model", "solver", "params", "app", "tests", "benchmarks"}) {
    for (const auto& entry : std::filesystem::recursive_directory_iterator(root + "/" + folder)) {
      const std::string extension = entry.path().extension().string();
      const bool code = extension == ".cpp" || extension == ".hpp";
      if (!code && extension != ".js" && extension != ".mjs" && extension != ".sh") continue;
      const std::string name = std::filesystem::relative(entry.path(), root).string();
      if (name.find(".min.js") != std::string::npos) continue;
      const std::vector<std::string> lines = lines_of_file(entry.path());
      ++files;
      const bool too_long = static_cast<int>(lines.size()) > most_lines_of_a_file ||
                            (code && longest_function(lines) > most_lines_of_a_function);
      if (too_long) needed.insert(name);
      CAPTURE(name, lines.size(), code ? longest_function(lines) : 0);
      CHECK((!too_long || long_ones.count(name) == 1));
    }
  }
  CHECK(files > 200);
  for (const auto& [name, why] : long_ones) {
    CAPTURE(name, why);
    CHECK(needed.count(name) == 1);  // an excuse that is needed no more goes
  }
}

TEST_CASE("a verb stands in every place that the guide of DEVELOPERS.md names", "[structure]") {
  const std::filesystem::path root = ONEGRAIN_SOURCE_DIR;
  const auto text_of = [&](const std::filesystem::path& name) {
    std::ifstream in(root / name);
    return std::string(std::istreambuf_iterator<char>(in), {});
  };
  const std::string answers = text_of("app/answer/answers.hpp"), schema = text_of("app/render/summary.schema.json"),
                    calls = text_of("tests/app/check_summaries.py"), readme = text_of("README.md");
  std::string tests, said;
  for (const auto& entry : std::filesystem::directory_iterator(root / "app/answer"))
    if (entry.path().filename().string().rfind("answer_", 0) == 0)
      said += text_of(std::filesystem::relative(entry.path(), root));
  for (const auto& entry : std::filesystem::recursive_directory_iterator(root / "tests/app"))
    if (entry.path().extension() == ".cpp") tests += text_of(std::filesystem::relative(entry.path(), root));
  CHECK(onegrain::app::verbs().size() > 10);
  for (const onegrain::app::Verb& verb : onegrain::app::verbs()) {
    const std::string name = verb.name;
    CAPTURE(name);
    const std::string function = name == "page" ? "teaching_page" : name;  // a place of app/answer/answer.hpp
    CHECK(said.find("\nAnswer " + function + "(") != std::string::npos);
    CHECK(answers.find("Answer " + function + "(") != std::string::npos);
    CHECK(readme.find("\n| `" + name + " ") != std::string::npos);
    CHECK(tests.find("{\"" + name + "\"") != std::string::npos);
    if (name == "schema") continue;  // prints a file as it is; no summary
    CHECK(schema.find("\"verb_" + name + "\": {") != std::string::npos);
    CHECK(schema.find("{\"const\": \"" + name + "\"}") != std::string::npos);
    CHECK(calls.find("[\"" + name + "\"") != std::string::npos);
  }
}

TEST_CASE("every file that the guide names is there, and every line that the table of mutants would change",
          "[structure]") {
  const std::string root = std::string(ONEGRAIN_SOURCE_DIR) + "/";
  const auto text_of = [&](const std::string& name) {
    std::ifstream in(root + name);
    return std::string(std::istreambuf_iterator<char>(in), {});
  };
  const std::string guide = text_of("DEVELOPERS.md");
  const std::regex named("`((model|solver|params|app|tests|benchmarks)/[a-z0-9_/]+[.](cpp|hpp|py|txt|sh|js))`");
  int files = 0;
  for (std::sregex_iterator at(guide.begin(), guide.end(), named), end; at != end; ++at, ++files) {
    CAPTURE((*at)[1].str());
    CHECK(std::filesystem::exists(root + (*at)[1].str()));
  }
  CHECK(files > 100);
  std::istringstream table(text_of("tests/long/mutants.txt"));
  std::string source, name;
  int mutants = 0;
  for (std::string line; std::getline(table, line);) {
    if (line.rfind("@ ", 0) == 0) {
      name = line.substr(2, line.find(' ', 2) - 2);
      source = text_of(name);
    } else if (line.rfind("- ", 0) == 0) {
      CAPTURE(name, line);
      CHECK(source.find(line.substr(2)) != std::string::npos);
      ++mutants;
    }
  }
  CHECK(mutants > 40);
}
