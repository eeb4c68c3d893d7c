#include <algorithm>
#include <regex>

#include "tests/app/helpers.hpp"

// The examples in the documentation are what the program prints.
//
// A fenced block opened by ```console holds commands behind "$ ", each with what it prints below it, both channels as a
// terminal shows them; a line "..." stands for any number of lines. A fenced block opened by ```yaml of which the first
// line is "# file: NAME" is a file that must be sound; it lies in the working folder before the first command runs.
// All blocks of one page share a fresh folder.

using namespace app_test;

namespace {

struct Block {
  std::string language;
  int line = 0;  ///< of its first line in the page
  std::vector<std::string> lines;
};

std::vector<Block> fenced_blocks(const std::string& page) {
  std::vector<Block> blocks;
  bool inside = false;
  std::size_t indent = 0;
  int number = 0;
  for (std::string line : lines_of(page)) {
    ++number;
    const std::size_t first = line.find_first_not_of(' ');
    const bool fence = first != std::string::npos && line.compare(first, 3, "```") == 0;
    if (fence && !inside) {
      indent = first;
      std::string language = line.substr(first + 3);
      language.erase(std::find_if(language.begin(), language.end(), [](char c) { return c == ' ' || c == '\r'; }),
                     language.end());
      blocks.push_back({language, number + 1, {}});
    } else if (inside && !fence) {
      line.erase(0, std::min({indent, first == std::string::npos ? line.size() : first}));
      blocks.back().lines.push_back(line);
    }
    if (fence) inside = !inside;
  }
  REQUIRE_FALSE(inside);
  return blocks;
}

struct Command {
  std::string line;
  int number;
  std::vector<std::string> expected;
};

std::vector<Command> commands_of(const Block& block) {
  std::vector<Command> commands;
  bool goes_on = false;
  for (std::size_t k = 0; k < block.lines.size(); ++k) {
    std::string line = block.lines[k];
    const int number = block.line + static_cast<int>(k);
    const bool command = goes_on || line.rfind("$ ", 0) == 0;
    if (command) {
      if (!goes_on) {
        commands.push_back({"", number, {}});
        line.erase(0, 2);
      }
      goes_on = !line.empty() && line.back() == '\\';
      commands.back().line += line + (goes_on ? "\n" : "");
    } else {
      INFO("line " << number << ": a block of the console begins with a command, '$ onegrain ...'");
      REQUIRE_FALSE(commands.empty());
      commands.back().expected.push_back(line);
    }
  }
  return commands;
}

/// Whether lines follow a pattern in which "..." stands for any number of lines.
bool follows(const std::vector<std::string>& printed, std::size_t p, const std::vector<std::string>& pattern,
             std::size_t k) {
  if (k == pattern.size()) return p == printed.size();
  if (pattern[k] == "...") {
    for (std::size_t skip = p; skip <= printed.size(); ++skip) {
      if (follows(printed, skip, pattern, k + 1)) return true;
    }
    return false;
  }
  return p < printed.size() && printed[p] == pattern[k] && follows(printed, p + 1, pattern, k + 1);
}

std::string joined(const std::vector<std::string>& lines) {
  std::string text;
  for (const std::string& line : lines) text += line + "\n";
  return text;
}

/// Returns how many commands the page shows.
int run_examples(const std::string& name) {
  const std::vector<Block> blocks = fenced_blocks(read_file(fs::path(ONEGRAIN_SOURCE_DIR) / name));
  const Folder folder;
  fs::create_directory(".program");
  fs::create_symlink(ONEGRAIN_PROGRAM, ".program/onegrain");
  const std::string path = "PATH=" + quoted((folder.path() / ".program").string()) + ":$PATH; export PATH; ";

  std::vector<std::string> files;
  for (const Block& block : blocks) {
    static const std::regex heading("# file: ([A-Za-z0-9_][A-Za-z0-9_.-]*)");
    std::smatch match;
    if (block.language != "yaml" || block.lines.empty() || !std::regex_match(block.lines[0], match, heading)) continue;
    folder.write(match[1], joined(block.lines));
    files.push_back(match[1]);
  }
  if (!files.empty()) {
    folder.write(".demo.yaml",
                 shipped("demo"));  // a protocol is checked against a cell; a sheet of the page comes first
    std::string check = path + "onegrain check";
    for (const std::string& file : files) check += " " + quoted(file);
    const Outcome outcome = shell(check + " .demo.yaml");
    INFO(name << ": its files must be sound\n" << outcome.results);
    CHECK(outcome.status == 0);
    fs::remove(".demo.yaml");
  }
  int count = 0;
  for (const Block& block : blocks) {
    if (block.language != "console") continue;
    for (const Command& command : commands_of(block)) {
      ++count;
      static const std::regex allowed("(onegrain|cat|cut|grep|head|ls|mkdir|sed|tail|wc)( |$)[^]*");
      INFO(name << ":" << command.number << ": $ " << command.line);
      if (!std::regex_match(command.line, allowed)) {
        FAIL_CHECK("an example calls onegrain, or one of cat, cut, grep, head, ls, mkdir, sed, tail, wc");
        continue;
      }
      const Outcome outcome = shell(path + command.line);
      INFO("printed:\n" << outcome.results << "the page says:\n" << joined(command.expected));
      CHECK(follows(lines_of(outcome.results), 0, command.expected, 0));
    }
  }
  return count;
}

}  // namespace

TEST_CASE("the pattern of an example takes any lines for '...' and every other line as it is") {
  const std::vector<std::string> printed = {"a", "b", "", "c", "b"};
  CHECK(follows(printed, 0, {"a", "b", "", "c", "b"}, 0));
  CHECK(follows(printed, 0, {"..."}, 0));
  CHECK(follows(printed, 0, {"a", "...", "b"}, 0));
  CHECK(follows(printed, 0, {"...", "c", "b", "..."}, 0));
  CHECK_FALSE(follows(printed, 0, {"a", "b", "c", "b"}, 0));
  CHECK_FALSE(follows(printed, 0, {"a", "...", "c"}, 0));
  CHECK_FALSE(follows(printed, 0, {}, 0));
}

TEST_CASE("the examples of README.md print what it says") {
  const int count = run_examples("README.md");
  if (count == 0) FAIL("README.md shows no example");
}

TEST_CASE("the examples of DEVELOPERS.md print what it says") { run_examples("DEVELOPERS.md"); }

namespace {

/// Keys as the page writes them: in files, and in `code` of its sentences; in comments where they stand behind "or".
std::vector<std::string> keys_written(const std::string& page) {
  static const std::regex in_file(R"((?:^|[{,]|- )\s*([a-z_]+):(?= |$))"), in_comment(R"(\bor ([a-z_]+):)"),
      in_code(R"(`\{?([a-z_]+): [^`]*`)"), quoted(R"("[^"]*")");
  std::vector<std::string> keys;
  const auto take = [&](const std::string& text, const std::regex& pattern) {
    for (std::sregex_iterator found(text.begin(), text.end(), pattern), end; found != end; ++found)
      keys.push_back(found->str(1));
  };
  for (const Block& block : fenced_blocks(page)) {
    if (block.language != "yaml") continue;
    for (const std::string& line : block.lines) {
      const std::string bare = std::regex_replace(line, quoted, "''");
      const std::size_t comment = std::min(bare.find('#'), bare.size());
      take(bare.substr(0, comment), in_file);
      take(bare.substr(comment), in_comment);
    }
  }
  take(page, in_code);
  return keys;
}

}  // namespace

TEST_CASE("every key that README.md writes is a key that is described") {
  std::set<std::string> described;
  for (const std::string& line : lines_of(program({"schema", "keys"}).results)) {
    const std::string path = line.substr(0, line.find(' '));
    described.insert(path.substr(path.rfind('.') + 1));
  }
  for (const char* key : {"value", "spread", "source", "scaled_by", "expression", "table", "unit", "range"}) {
    CAPTURE(key);
    CHECK(described.count(key) == 1);  // of the mapping that may stand for a value, as README has it
  }
  const std::vector<std::string> written = keys_written(read_file(std::string(ONEGRAIN_SOURCE_DIR) + "/README.md"));
  CHECK(written.size() > 60);
  for (const std::string& key : written) {
    CAPTURE(key);
    CHECK(described.count(key) == 1);
  }
  CHECK(keys_written("```yaml\nporosty: 3 %  # or plate_aera: 1 cm2\n```\nor `rated_capcity: 2 mAh`") ==
        std::vector<std::string>{"porosty", "plate_aera", "rated_capcity"});
}

TEST_CASE("one version stands in the build, the change log and the citation") {
  const std::string root = ONEGRAIN_SOURCE_DIR;
  const auto found = [&](const std::string& file, const std::string& pattern) {
    const std::string text = read_file(root + "/" + file);
    std::smatch match;
    CAPTURE(file, pattern);
    REQUIRE(std::regex_search(text, match, std::regex(pattern)));
    return match[1].str();
  };
  const std::string version = found("CMakeLists.txt", R"(project\(onegrain VERSION ([0-9.]+))");
  CHECK(found("CHANGELOG.md", R"(\n## ([0-9]+\.[0-9]+\.[0-9]+) \()") == version);
  CHECK(found("CITATION.cff", R"(\nversion: (\S+))") == version);
  CHECK(program({"--version"}).results.find(version) != std::string::npos);
}
