#include "tests/app/helpers.hpp"

// Result files appear whole or not at all, are the same in every run, and name what they were made from.

using namespace app_test;

namespace {

const std::vector<std::string> all_files = {"curves.csv", "manifest.json", "report.html", "summary.json"};

/// A call that cannot write its files: status 4, the reason named in full, nothing left in the folder `out`.
void not_written(const Folder& folder, const std::string& out, const std::string& reason) {
  const Outcome outcome = program({"rates", "demo", "--rates", "1C", "--out", out});
  CHECK(outcome.status == 4);
  CHECK(outcome.narration == "onegrain: not completed: " + reason + "\n");
  (void)folder;
}

}  // namespace

TEST_CASE("a folder is made with its parents, and holds four whole files and nothing else") {
  const Folder folder;
  REQUIRE(program({"rates", "demo", "--rates", "1C", "--out", "a/b c/d"}).status == 0);
  CHECK(folder.names("a/b c/d") == all_files);
  CHECK(json::accept(folder.read("a/b c/d/summary.json")));
  CHECK((folder.read("a/b c/d/report.html").find("</html>") != std::string::npos));
  REQUIRE(program({"bench", "demo", "--out", "bench"}).status == 0);
  CHECK(folder.names("bench") == std::vector<std::string>{"manifest.json", "report.html", "summary.json"});
}

TEST_CASE("without --out no file is written") {
  const Folder folder;
  REQUIRE(program({"rates", "demo", "--rates", "1C"}).status == 0);
  CHECK(folder.names().empty());
}

TEST_CASE("an empty name of a folder is refused rather than taken for none") {
  const Folder folder;
  CHECK(program({"rates", "demo", "--rates", "1C", "--out", ""}).status == 2);
}

TEST_CASE("files that are there already are replaced, others stay") {
  const Folder folder;
  fs::create_directory("out");
  folder.write("out/summary.json", "old");
  folder.write("out/notes.txt", "mine");
  REQUIRE(program({"rates", "demo", "--rates", "1C", "--out", "out"}).status == 0);
  CHECK(json::accept(folder.read("out/summary.json")));
  CHECK(folder.read("out/notes.txt") == "mine");
  CHECK(folder.names("out").size() == 5);
}

TEST_CASE("a file in the way of the folder is named") {
  const Folder folder;
  folder.write("taken", "mine");
  not_written(folder, "taken", "the folder 'taken' cannot be made: a file of that name is in the way");
  not_written(folder, "taken/below", "the folder 'taken/below' cannot be made: Not a directory");
  CHECK(folder.read("taken") == "mine");
  CHECK(folder.names() == std::vector<std::string>{"taken"});
}

TEST_CASE("a folder without permission is named") {
  if (geteuid() == 0) return;  // root may write anywhere
  const Folder folder;
  fs::create_directory("closed");
  fs::permissions("closed", fs::perms::owner_read | fs::perms::owner_exec);
  not_written(folder, "closed", "the folder 'closed' cannot be written to: Permission denied");
  not_written(folder, "closed/below", "the folder 'closed/below' cannot be made: Permission denied");
  fs::permissions("closed", fs::perms::owner_all);
  CHECK(folder.names("closed").empty());
}

TEST_CASE("where one file cannot take its name, none of the others is left behind") {
  const Folder folder;
  for (const std::string& name : all_files) {
    INFO(name);
    const std::string out = "out-" + name;
    fs::create_directories(out + "/" + name + "/full");  // a folder of that name
    const Outcome outcome = program({"rates", "demo", "--rates", "1C", "--out", out});
    CHECK(outcome.status == 4);
    CHECK_THAT(outcome.narration, HasText("onegrain: not completed: '" + out + "/" + name + "' cannot be written: "));
    CHECK(folder.names(out) == std::vector<std::string>{name});
  }
}

TEST_CASE("where one file cannot take its name, an earlier result stays as it was") {
  const Folder folder;
  REQUIRE(program({"rates", "demo", "--rates", "1C", "--out", "out"}).status == 0);
  const std::string summary = folder.read("out/summary.json"), curves = folder.read("out/curves.csv");
  fs::remove("out/report.html");
  fs::create_directories("out/report.html/full");
  REQUIRE(program({"rates", "demo", "--rates", "2C", "--out", "out"}).status == 4);
  CHECK(folder.read("out/summary.json") == summary);
  CHECK(folder.read("out/curves.csv") == curves);
}

TEST_CASE("a full disk leaves nothing behind") {
  // A limit on the size of a file stands for the full disk: the write fails in the same place.
  const Folder folder;
  const Outcome outcome = shell("trap '' XFSZ; ulimit -f 8; " + quoted(ONEGRAIN_PROGRAM) +
                                " rates demo --rates 1C,2C,3C --out out >/dev/null");
  CHECK(outcome.status == 4);
  CHECK_THAT(outcome.results, HasText("onegrain: not completed: 'out/"));
  CHECK_THAT(outcome.results, HasText("' cannot be written: File too large\n"));
  CHECK(folder.names("out").empty());
}

TEST_CASE("a full device for standard output is not completed") {
  if (!fs::exists("/dev/full")) return;
  const Folder folder;
  for (const char* words : {"bench demo", "rates demo --rates 1C", "curve demo --rates 1C --json", "cards",
                            "cards graphite", "check demo", "--version", "--help"}) {
    INFO(words);
    const Outcome outcome = shell(quoted(ONEGRAIN_PROGRAM) + " " + words + " >/dev/full");
    CHECK(outcome.status == 4);
    CHECK(outcome.results == "onegrain: not completed: the results could not be written to standard output\n");
  }
}

TEST_CASE("a failure before the results leaves no folder behind") {
  const Folder folder;
  CHECK(program({"rates", "nowhere.yaml", "--out", "out"}).status == 3);
  CHECK(program({"rates", "demo", "--rates", "2 x", "--out", "out"}).status == 2);
  CHECK(folder.names().empty());
}

TEST_CASE("two runs give the same bytes") {
  const Folder folder;
  folder.write("protocol.yaml",
               "steps:\n- {drive: {rate: 1C, sense: charge}, until: {voltage: 4.2 V}}\n- {drive: {voltage: 4.2 V}, "
               "until: {rate: C/20}}\n");
  const std::vector<std::vector<std::string>> calls = {{"bench", "demo"},
                                                       {"rates", "demo", "--both"},
                                                       {"curve", "demo_half_cell", "--rates", "C/5,1C"},
                                                       {"follow", "demo", "--protocol", "protocol.yaml"}};
  for (std::vector<std::string> words : calls) {
    INFO(words[0]);
    words.insert(words.end(), {"--json", "--out", "out"});
    const std::string results = program(words).results;
    std::vector<std::string> contents;
    for (const std::string& name : folder.names("out")) contents.push_back(folder.read("out/" + name));
    CHECK(program(words).results == results);
    std::vector<std::string> again;
    for (const std::string& name : folder.names("out")) again.push_back(folder.read("out/" + name));
    CHECK(again == contents);
    CHECK(contents.size() >= 2);
    fs::remove_all("out");
  }
}

TEST_CASE("summary.json is what --json prints") {
  const Folder folder;
  for (const char* verb : {"bench", "rates", "curve"}) {
    const Outcome outcome = program({verb, "demo", "--json", "--out", "out"});
    REQUIRE(outcome.status == 0);
    CHECK(folder.read("out/summary.json") == outcome.results);
  }
}

TEST_CASE("a result names the version, the call, and every file with its SHA-256") {
  const Folder folder;
  folder.write("cell.yaml", shipped("demo"));
  folder.write("nmc622.yaml", "# my own copy\n" + shipped("nmc622"));
  folder.write("protocol.yaml", "steps:\n- {drive: {rate: 1C, sense: charge}, until: {voltage: 4.2 V}}\n");
  const json summary = json_of({"follow", "cell.yaml", "--protocol", "protocol.yaml", "--out", "out folder"});
  CHECK(summary["program"] == "onegrain");
  CHECK(program({"--version"}).results == "onegrain " + summary["version"].get<std::string>() + "\n");
  CHECK(summary["command"] == "onegrain follow cell.yaml --protocol protocol.yaml --out 'out folder' --json");

  std::map<std::string, std::string> own;  // against sha256sum of GNU coreutils
  std::map<std::string, bool> is_shipped;
  for (const json& file : summary["files"]) {
    own[file["name"]] = file["sha256"];
    is_shipped[file["name"]] = file["shipped"];
    CHECK(file["sha256"].get<std::string>().size() == 64);
  }
  for (const char* name : {"cell.yaml", "nmc622.yaml", "protocol.yaml"}) {
    INFO(name);
    CHECK(shell("sha256sum " + std::string(name)).results == own[name] + "  " + name + "\n");
    CHECK_FALSE(is_shipped[name]);
  }
  for (const char* name : {"materials/graphite.yaml", "electrolytes/carbonate_1M.yaml"}) {
    INFO(name);
    const std::string source = quoted(std::string(ONEGRAIN_SOURCE_DIR) + "/params/" + name);
    CHECK(shell("sha256sum < " + source).results == own[name] + "  -\n");
    CHECK(is_shipped[name]);
  }
  // The page of the report names the same.
  const std::string report = folder.read("out folder/report.html");
  for (const auto& [name, sum] : own) {
    INFO(name);
    CHECK((report.find(sum) != std::string::npos));
  }
}
