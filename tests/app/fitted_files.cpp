#include "tests/app/helpers.hpp"

// The files of a new sheet: safe names, everything that the sheet needs, and no input touched.

using namespace app_test;

namespace {

/// A demo cell whose cards lie around it, named in every way, and data that it made itself.
struct Bench {
  Folder folder;
  std::string oxide = shipped("nmc622"), graphite = shipped("graphite");

  Bench() {
    for (const char* below : {"sheets", "cards", "cards/tables"}) fs::create_directory(below);
    folder.write("oxide.yaml", oxide);
    folder.write("cards/my graphite.v2.yaml", with(graphite, "table: graphite_ocp.csv", "table: tables/g.csv"));
    fs::copy_file(std::string(ONEGRAIN_SOURCE_DIR) + "/params/materials/graphite_ocp.csv", "cards/tables/g.csv");
    REQUIRE(program({"curve", "demo", "--rates", "1C", "--points", "60", "--out", "own"}).status == 0);
  }
  std::string sheet(const std::string& positive, const std::string& negative) const {
    return with(with(shipped("demo"), "material: nmc622", "material: " + positive), "material: graphite",
                "material: " + negative);
  }
  Outcome fit(const std::string& text, const std::string& free, const std::string& out) const {
    folder.write("sheets/cell.yaml", text);
    return program({"fit", "sheets/cell.yaml", "own/curves.csv", "--from-soc", "1", "--free", free, "--starts", "1",
                    "--linear", "--points", "40", "--out", out});
  }
  std::map<std::string, std::string> everything() const {
    std::map<std::string, std::string> all;
    for (const auto& entry : fs::recursive_directory_iterator(".")) {
      if (entry.is_regular_file()) all[entry.path().string()] = app_test::read_file(entry.path());
    }
    return all;
  }
};

/// The folder alone, elsewhere, is a sound sheet.
void stands_alone(const std::string& out) {
  fs::create_directories("elsewhere");
  fs::rename(out, "elsewhere/" + out);
  fs::rename("cards", "hidden");
  fs::rename("oxide.yaml", "hidden.yaml");
  const Outcome checked = program({"check", "elsewhere/" + out + "/fitted.yaml"});
  INFO(checked.narration);
  CHECK(checked.status == 0);
  fs::rename("hidden", "cards");
  fs::rename("hidden.yaml", "oxide.yaml");
  fs::rename("elsewhere/" + out, out);
}

}  // namespace

TEST_CASE("a fit writes into its folder alone, wherever the cards of the sheet lie and whatever they are called") {
  const Bench bench;
  struct Row {
    const char* name;
    std::string positive, negative, free;
  };
  for (const Row& row : std::vector<Row>{
           {"from above, fitted", "./../oxide", "../cards/my graphite.v2",
            "positive.diffusion_time,negative.diffusion_time"},
           {"from above, not fitted", "./../oxide", "../cards/my graphite.v2", "contact_resistance"},
           {"with the ending", "../oxide.yaml", "../cards/my graphite.v2.yaml", "positive.diffusion_time"},
           {"absolute", (bench.folder.path() / "oxide").string(),
            (bench.folder.path() / "cards/my graphite.v2.yaml").string(), "negative.diffusion_time"},
       }) {
    INFO(row.name);
    const std::string sheet = bench.sheet(row.positive, row.negative);
    bench.folder.write("sheets/cell.yaml", sheet);
    const auto before = bench.everything();
    const Outcome outcome = bench.fit(sheet, row.free, "out");
    INFO(outcome.narration);
    REQUIRE(outcome.status == 0);
    for (const auto& [name, content] : bench.everything()) {
      INFO(name);
      if (name.rfind("./out/", 0) == 0) continue;
      REQUIRE(before.count(name) == 1);
      CHECK(before.at(name) == content);
    }
    stands_alone("out");
    fs::remove_all("out");
  }
}

TEST_CASE("cards that nothing was fitted in come along byte by byte under safe names") {
  const Bench bench;
  REQUIRE(bench.fit(bench.sheet("../oxide", "'../cards/my graphite.v2'"), "contact_resistance", "out").status == 0);
  CHECK(bench.folder.read("out/oxide.yaml") == bench.oxide);
  CHECK(bench.folder.read("out/my_graphite_v2.yaml") ==
        with(bench.graphite, "table: graphite_ocp.csv", "table: g.csv"));
  CHECK(bench.folder.read("out/g.csv") == bench.folder.read("cards/tables/g.csv"));
  CHECK_THAT(bench.folder.read("out/fitted.yaml"), HasText("material: my_graphite_v2\n"));
}

TEST_CASE("a card that is called as a result is keeps apart from it") {
  const Bench bench;
  bench.folder.write("sheets/fitted.yaml", bench.oxide);
  bench.folder.write("sheets/positive_fitted.yaml", bench.graphite);
  fs::copy_file("cards/tables/g.csv", "sheets/graphite_ocp.csv");
  REQUIRE(bench.fit(bench.sheet("fitted", "positive_fitted"), "positive.diffusion_time", "out").status == 0);
  CHECK(program({"check", "out/fitted.yaml"}).status == 0);
  CHECK_THAT(bench.folder.read("out/fitted.yaml"), HasText("onegrain: 1"));
  const std::vector<std::string> names = bench.folder.names("out");
  CHECK(names == std::vector<std::string>{"fitted.yaml", "graphite_ocp.csv", "manifest.json", "positive_fitted.yaml",
                                          "positive_fitted_2.yaml", "report.html", "summary.json"});
}

TEST_CASE("a card that stands in the sheet is fitted there, and its table comes along") {
  const Bench bench;
  std::string inside;
  for (const std::string& line :
       lines_of(with(bench.graphite, "table: graphite_ocp.csv", "table: ../cards/tables/g.csv"))) {
    if (line.rfind("onegrain_material", 0) != 0 && !line.empty() && line[0] != '#') inside += "    " + line + "\n";
  }
  const Outcome outcome =
      bench.fit(with(bench.sheet("../oxide", "graphite"), "material: graphite\n", "material:\n" + inside),
                "negative.diffusion_time", "out");
  INFO(outcome.narration);
  REQUIRE(outcome.status == 0);
  CHECK_THAT(bench.folder.read("out/fitted.yaml"), HasText("table: g.csv"));
  CHECK_THAT(bench.folder.read("out/fitted.yaml"), HasText("fitted on "));
  stands_alone("out");
}

TEST_CASE("files that are in the folder already are neither written over nor taken for cards of the sheet") {
  const Bench bench;
  fs::create_directory("out");
  bench.folder.write("out/oxide.yaml", "mine");
  bench.folder.write("out/graphite.yaml", "mine too");  // would hide the shipped card
  REQUIRE(bench.fit(bench.sheet("../oxide", "graphite"), "contact_resistance", "out").status == 0);
  CHECK(bench.folder.read("out/oxide.yaml") == "mine");
  CHECK(bench.folder.read("out/graphite.yaml") == "mine too");
  CHECK(bench.folder.read("out/oxide_2.yaml") == bench.oxide);
  CHECK(program({"check", "out/fitted.yaml"}).status == 0);
  // and again into the same folder: the same names
  const std::vector<std::string> names = bench.folder.names("out");
  REQUIRE(bench.fit(bench.sheet("../oxide", "graphite"), "contact_resistance", "out").status == 0);
  CHECK(bench.folder.names("out") == names);
}

TEST_CASE("balance keeps to its folder too") {
  const Bench bench;
  bench.folder.write("sheets/cell.yaml", bench.sheet("./../oxide", "../cards/my graphite.v2"));
  REQUIRE(program({"curve", "demo", "--rates", "C/20", "--points", "150", "--out", "slow"}).status == 0);
  const Outcome outcome = program({"balance", "sheets/cell.yaml", "slow/curves.csv", "--from-soc", "1", "--starts", "1",
                                   "--points", "100", "--out", "out"});
  INFO(outcome.narration);
  REQUIRE(outcome.status == 0);
  CHECK(bench.folder.read("oxide.yaml") == bench.oxide);
  stands_alone("out");
}
