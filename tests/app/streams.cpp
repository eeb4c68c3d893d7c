#include <algorithm>

#include "tests/app/helpers.hpp"

// Input that can be read once only, and input that cannot be read at all, by the program as a process of its own.

using namespace app_test;

namespace {

const std::string onegrain_program = quoted(ONEGRAIN_PROGRAM);

struct Files {
  Folder folder;
  Files() {
    folder.write("cell.yaml", shipped("demo"));
    folder.write("p.yaml", "steps: [{drive: rest, until: {time: 1 min}}]\n");
    REQUIRE(program({"curve", "demo", "--rates", "1C", "--points", "60", "--out", "own"}).status == 0);
  }
};

}  // namespace

TEST_CASE("a sheet comes from standard input, a pipe or a process substitution as from a file") {
  const Files files;
  const std::string from_file = shell(onegrain_program + " rates cell.yaml --rates 1C").results;
  REQUIRE(from_file.find("1C    discharge") != std::string::npos);
  for (const std::string line : {" rates - --rates 1C < cell.yaml", " rates /dev/stdin --rates 1C < cell.yaml"}) {
    INFO(line);
    CHECK(shell(onegrain_program + line).results == from_file);
  }
  CHECK(shell("cat cell.yaml | " + onegrain_program + " rates - --rates 1C").results == from_file);
  CHECK(shell("mkfifo pipe; cat cell.yaml > pipe & " + onegrain_program + " rates pipe --rates 1C").results ==
        from_file);
  if (shell("command -v bash >/dev/null").status == 0) {
    CHECK(shell("bash -c " + quoted(onegrain_program + " rates <(cat cell.yaml) --rates 1C")).results == from_file);
  }
}

TEST_CASE("cards of a sheet on standard input are looked for in the working directory") {
  const Files files;
  files.folder.write("mine.yaml", shipped("nmc622"));
  files.folder.write("cell.yaml", with(shipped("demo"), "material: nmc622", "material: mine"));
  CHECK(shell(onegrain_program + " check - < cell.yaml").results ==
        "standard input: sound, a cell sheet: Harbour teaching lab, coin cell 07 (invented data)\n");
}

TEST_CASE("protocols and data come from streams too, and several streams in one call") {
  const Files files;
  CHECK(shell(onegrain_program + " follow cell.yaml --protocol - < p.yaml").status == 0);
  const Outcome data = shell("cat own/curves.csv | " + onegrain_program + " overlay cell.yaml - 2>/dev/null");
  CHECK(data.status == 0);
  CHECK_THAT(data.results, HasText("standard input: "));
  CHECK_THAT(shell("cat own/curves.csv | " + onegrain_program + " check cell.yaml -").results,
             HasText("standard input: sound, a time series of 70 rows in 1 step\n"));
  files.folder.write("head.txt", "Instrument: invented\nOperator: nobody, 2nd floor\n\n");
  CHECK_THAT(shell("cat head.txt own/curves.csv | " + onegrain_program + " check cell.yaml -").results,
             HasText("standard input: sound, a time series of 70 rows in 1 step\n"));
  CHECK(shell("echo 'positive: {particle_radius: 4.8 um, porosity: 0.3' | " + onegrain_program + " check - 2>&1")
            .results == "standard input:2:1: not valid YAML: end of map flow not found\n");
  CHECK(shell("mkfifo a; cat p.yaml > a & " + onegrain_program + " check - a < cell.yaml").results ==
        "standard input: sound, a cell sheet: Harbour teaching lab, coin cell 07 (invented data)\na: sound, a "
        "protocol\n");
}

TEST_CASE("a result names a stream with the SHA-256 of what was read") {
  const Files files;
  const Outcome outcome = shell("cat own/curves.csv | " + onegrain_program + " overlay cell.yaml - --json 2>/dev/null");
  REQUIRE(outcome.status == 0);
  std::string own;
  const json summary = json::parse(outcome.results);
  for (const json& file : summary["files"]) {
    if (file["name"] == "standard input") own = file["sha256"];
  }
  CHECK(shell("sha256sum < own/curves.csv").results == own + "  -\n");  // GNU coreutils
}

TEST_CASE("faults in a stream have their line, and one that cannot be read says why") {
  const Files files;
  files.folder.write("wrong.yaml", with(small_sheet, "25 degC", "warm"));
  const Outcome wrong = shell(onegrain_program + " bench - < wrong.yaml");
  CHECK(wrong.status == 3);
  CHECK(wrong.results.rfind("standard input:4:14: temperature = 'warm': ", 0) == 0);
  const Outcome folder = shell(onegrain_program + " bench - < .");
  CHECK(folder.status == 3);
  CHECK(folder.results == "standard input: cannot be read: Is a directory\n");
  const Outcome closed = shell(onegrain_program + " bench - <&-");
  CHECK(closed.status == 3);
  CHECK(closed.results == "standard input: cannot be read: Bad file descriptor\n");
  const Outcome empty = shell(onegrain_program + " bench - < /dev/null");
  CHECK(empty.status == 3);
  CHECK(empty.results == "standard input: empty; nothing is stated\n");
  const Outcome endless = shell(onegrain_program + " bench - < /dev/zero");
  CHECK(endless.status == 3);
  CHECK(endless.results == "standard input: bigger than 1 MiB; this is not what is expected here\n");
}

TEST_CASE("a card or a table is never a stream, so that a sheet cannot make the program wait") {
  const Files files;
  files.folder.write("cell.yaml", with(shipped("demo"), "material: nmc622", "material: /dev/stdin.yaml"));
  CHECK(shell("ln -s /dev/stdin pipe.yaml; " + onegrain_program + " check cell.yaml < /dev/null").status == 3);
  files.folder.write("cell.yaml", with(shipped("demo"), "material: nmc622", "material: pipe"));
  CHECK_THAT(shell("cat cell.yaml | " + onegrain_program + " check cell.yaml").results,
             HasText("pipe.yaml: not a regular file"));
}

TEST_CASE("names that lead nowhere are told apart, with status 3") {
  const Folder folder;
  fs::create_symlink("loop.yaml", "loop.yaml");
  fs::create_symlink("loop", "loop");
  fs::create_symlink("gone.yaml", "dangling.yaml");
  const std::string name(5000, 'x');
  for (const char* verb : {"check", "bench"}) {
    INFO(verb);
    const auto says = [&](const std::string& file) {
      const Outcome outcome = program({verb, file});
      CHECK(outcome.status == 3);
      CHECK(outcome.results.empty());
      return outcome.narration;
    };
    CHECK(says("loop.yaml") == "loop.yaml: a symbolic link that leads back to itself\n");
    CHECK(says("loop") == "loop: a symbolic link that leads back to itself\n");
    CHECK(says("dangling.yaml") == "dangling.yaml: a symbolic link to a file that is not there\n");
    CHECK(says(name) == std::string(60, 'x') + "...: a file name of 5000 letters, longer than a file system takes\n");
    CHECK(says(name + ".yaml") ==
          std::string(60, 'x') + "...: a file name of 5005 letters, longer than a file system takes\n");
  }
  // a link that leads nowhere beside the sheet is not passed over for a shipped card of that name
  fs::create_symlink("nmc622.yaml", "nmc622.yaml");
  folder.write("cell.yaml", small_sheet);
  CHECK(program({"check", "cell.yaml"}).narration ==
        "cell.yaml:10:13: positive.material = 'nmc622': nmc622.yaml: a symbolic link that leads back to itself\n");
  const Outcome out = program({"bench", "demo", "--out", name});
  CHECK(out.status == 4);
  CHECK_THAT(out.narration, HasText("cannot be made: File name too long\n"));
}

TEST_CASE("data may have lines that end in a carriage return alone, a sheet is told so") {
  const Files files;
  std::string text = small_sheet;
  std::replace(text.begin(), text.end(), '\n', '\r');
  files.folder.write("cr.yaml", text);
  const Outcome outcome = program({"check", "cr.yaml"});
  CHECK(outcome.status == 3);
  CHECK(outcome.narration ==
        "cr.yaml:1:12: this line ends in a carriage return alone, as on very old computers; save the text with line "
        "feeds\n");
  std::string data = files.folder.read("own/curves.csv");
  std::replace(data.begin(), data.end(), '\n', '\r');
  files.folder.write("cr.csv", data);
  CHECK(program({"check", "cell.yaml", "cr.csv"}).status == 0);
}

TEST_CASE("where memory does not suffice that is said, with status 4") {
#if defined(__SANITIZE_ADDRESS__)
  return;  // it needs terabytes of addresses for itself, and dies without a word where it has none
#endif
  const Folder folder;
  // A limit on the address space, raised until the program starts at all and then until it comes to its end: memory
  // runs out in other places each time.
  int told = 0;
  bool enough = false;
  for (int megabytes = 24; megabytes <= 300 && !enough; megabytes += 3) {
    const Outcome outcome = shell("ulimit -v " + std::to_string(1024 * megabytes) + "; " + onegrain_program +
                                  " curve demo --rates 1C --points 20000 --json 2>&1 >/dev/null");
    enough = outcome.status == 0;
    if (enough || outcome.status == 127) continue;  // 127: not even loaded
    INFO(megabytes << " MB: " << outcome.results);
    CHECK(outcome.status == 4);
    CHECK(outcome.results == "onegrain: not completed: the memory that this process may use does not suffice\n");
    ++told;
  }
  CHECK(enough);
  CHECK(told > 0);
}
