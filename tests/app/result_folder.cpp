#include "app/result_folder.hpp"

#include <sys/wait.h>

#include <map>

#include "app/staging.hpp"
#include "app/study/ensemble.hpp"
#include "app/study/new_sheet.hpp"
#include "tests/app/helpers.hpp"

// A folder of results is one run, whatever happens. The process is ended at each step that changes the disk, as kill -9
// would end it; hashes are compared with sha256sum of GNU coreutils.

using namespace app_test;
using onegrain::app::Manifest;
using onegrain::app::ResultFolder;

namespace {

using Run = std::map<std::string, std::string>;

ResultFolder folder_of(const Run& run, const std::string& command) {
  ResultFolder folder("out", command);
  for (const auto& [name, content] : run) folder.add(name, content);
  return folder;
}

/// Writes a run in a process of its own that ends at once before step `last`. @return whether it came to its end
bool written_up_to(const Run& run, const std::string& command, int last) {
  const pid_t child = fork();
  if (child == 0) {
    int steps = 0;
    try {
      folder_of(run, command).write([&] {
        if (++steps == last) _exit(9);  // no destructor runs, no buffer is flushed
      });
    } catch (...) {
      _exit(1);
    }
    _exit(0);
  }
  int status = 0;
  REQUIRE(waitpid(child, &status, 0) == child);
  REQUIRE((WEXITSTATUS(status) == 0 || WEXITSTATUS(status) == 9));
  return WEXITSTATUS(status) == 0;
}

/// What lies in the folder under final names, the manifest apart.
Run visible(const Folder& folder) {
  Run run;
  for (const std::string& name : folder.names("out")) {
    if (name[0] != '.' && name != "manifest.json") run[name] = folder.read("out/" + name);
  }
  return run;
}

bool listed(const json& list, const std::string& name, const std::string& content, const Folder& folder) {
  folder.write("content", content);
  const std::string digest = shell("sha256sum < content").results.substr(0, 64);
  for (const json& file : list) {
    if (file["name"] == name && file["sha256"] == digest && file["bytes"] == content.size()) return true;
  }
  return false;
}

const Run first = {{"curves.csv", "a,b\n1,2\n"},
                   {"summary.json", "{\"run\": 1}\n"},
                   {"report.html", "<p>1</p>"},
                   {"staircase.yaml", "steps: []\n"}};
const Run second = {
    {"summary.json", "{\"run\": 2}\n"}, {"report.html", std::string(300000, 'r')}, {"fitted.yaml", "name: x\n"}};

}  // namespace

TEST_CASE("killed at any step, a new folder is there whole or not at all") {
  bool whole = false;
  for (int last = 1; !whole; ++last) {
    INFO("ended before step " << last);
    REQUIRE(last < 100);
    const Folder folder;
    whole = written_up_to(first, "one", last);
    CHECK(fs::exists("out") == whole);
    if (whole) CHECK(visible(folder) == first);
    folder_of(second, "two").write();  // the next run
    CHECK(visible(folder) == second);
    for (const std::string& name : folder.names())
      CHECK((name == "out" || name == "content"));  // nothing hidden is left
  }
}

TEST_CASE("killed at any step, a folder that was there holds the old run, the new one, or what its manifest names") {
  bool whole = false;
  int old_runs = 0, between = 0;
  for (int last = 1; !whole; ++last) {
    INFO("ended before step " << last);
    REQUIRE(last < 100);
    const Folder folder;
    folder_of(first, "one").write();
    folder.write("out/notes.txt", "mine");
    whole = written_up_to(second, "two", last);
    Run now = visible(folder);
    CHECK(now["notes.txt"] == "mine");
    now.erase("notes.txt");
    const json manifest = json::parse(folder.read("out/manifest.json"));
    if (manifest["complete"] == true) {
      CHECK(now == (manifest["command"] == "one" ? first : second));
      old_runs += manifest["command"] == "one";
    } else {
      ++between;
      for (const auto& [name, content] : now) {
        CHECK(
            (listed(manifest["files"], name, content, folder) || listed(manifest["previous"], name, content, folder)));
      }
    }
    folder_of(first, "three").write();  // the next run cleans up
    CHECK(visible(folder) == [&] {
      Run run = first;
      run["notes.txt"] = "mine";
      return run;
    }());
    CHECK(json::parse(folder.read("out/manifest.json"))["complete"] == true);
    CHECK(folder.names("out").size() == first.size() + 2);
  }
  CHECK(old_runs > 0);
  CHECK(between > 0);
}

TEST_CASE("killed twice on the way, files of both runs are still known and cleared by the third") {
  const Folder folder;
  folder_of(first, "one").write();
  CHECK_FALSE(written_up_to(second, "two", 9));
  CHECK_FALSE(written_up_to({{"curves.csv", "x\n"}}, "three", 6));
  folder_of({{"summary.json", "{}"}}, "four").write();
  CHECK(visible(folder) == Run{{"summary.json", "{}"}});
  CHECK(folder.names("out") == std::vector<std::string>{"manifest.json", "summary.json"});
}

TEST_CASE("the manifest lists the files of the run, and no others, with the sums of sha256sum") {
  const Folder folder;
  REQUIRE(program({"rates", "demo", "--rates", "1C", "--out", "out"}).status == 0);
  folder.write("out/notes.txt", "mine");
  const json manifest = json::parse(folder.read("out/manifest.json"));
  CHECK(manifest["onegrain_manifest"] == 1);
  CHECK(manifest["complete"] == true);
  CHECK(manifest["command"] == "onegrain rates demo --rates 1C --out out");
  REQUIRE(manifest["files"].size() == 3);
  for (const json& file : manifest["files"]) {
    const std::string name = file["name"];
    CHECK(shell("cd out && sha256sum " + name).results == file["sha256"].get<std::string>() + "  " + name + "\n");
    CHECK(file["bytes"] == fs::file_size("out/" + name));
  }
}

TEST_CASE("no curves of an earlier run stand beside a new summary") {
  const Folder folder;
  REQUIRE(program({"rates", "demo", "--rates", "1C", "--out", "out"}).status == 0);
  const Outcome bench = program({"bench", "demo", "--out", "out"});
  CHECK(bench.narration ==
        "wrote out/summary.json\nwrote out/report.html\nwrote out/manifest.json\nnote: 'out/curves.csv', of an earlier "
        "run, has been removed\n");
  CHECK(folder.names("out") == std::vector<std::string>{"manifest.json", "report.html", "summary.json"});
}

TEST_CASE("what the user changed or put there is never removed") {
  const Folder folder;
  REQUIRE(program({"rates", "demo", "--rates", "1C", "--out", "out"}).status == 0);
  folder.write("out/curves.csv", "my own numbers\n");
  folder.write("precious.txt", "precious");
  // a manifest from a stranger that names files outside, links, and a file with a wrong sum
  const std::string sum = shell("sha256sum < precious.txt").results.substr(0, 64);
  json manifest = json::parse(folder.read("out/manifest.json"));
  for (const char* name : {"../precious.txt", "link.txt", "notes.txt", ".hidden"})
    manifest["files"].push_back({{"name", name}, {"bytes", 8}, {"sha256", sum}});
  folder.write("out/manifest.json", manifest.dump());
  folder.write("out/notes.txt", "mine");
  folder.write("out/.hidden", "precious");
  fs::create_symlink("../precious.txt", "out/link.txt");
  const Outcome bench = program({"bench", "demo", "--out", "out"});
  REQUIRE(bench.status == 0);
  CHECK_THAT(bench.narration,
             HasText("note: 'out/curves.csv' does not belong to this run; it was there before and has been left\n"));
  CHECK(folder.read("out/curves.csv") == "my own numbers\n");
  CHECK(folder.read("precious.txt") == "precious");
  CHECK(folder.read("out/notes.txt") == "mine");
  CHECK(folder.read("out/.hidden") == "precious");
  CHECK(fs::is_symlink("out/link.txt"));
}

TEST_CASE("a manifest that is not ours is not written over") {
  const Folder folder;
  fs::create_directory("out");
  folder.write("out/manifest.json", "{\"name\": \"somebody's web page\"}");
  const Outcome outcome = program({"bench", "demo", "--out", "out"});
  CHECK(outcome.status == 4);
  CHECK(outcome.narration ==
        "onegrain: not completed: 'out/manifest.json' cannot be written: a file of that name, which no run of this "
        "program wrote, is in the way\n");
  CHECK(folder.names("out") == std::vector<std::string>{"manifest.json"});
}

TEST_CASE("a link under the name of a result is replaced, not written through") {
  const Folder folder;
  folder.write("precious.txt", "precious");
  fs::create_directory("out");
  fs::create_symlink("../precious.txt", "out/summary.json");
  REQUIRE(program({"bench", "demo", "--out", "out"}).status == 0);
  CHECK(folder.read("precious.txt") == "precious");
  CHECK_FALSE(fs::is_symlink("out/summary.json"));
}

TEST_CASE("an input that the results would replace is named before anything is calculated") {
  const Folder folder;
  fs::create_directory("a");
  folder.write("a/fitted.yaml", shipped("demo"));
  folder.write("cell.yaml", shipped("demo"));
  REQUIRE(program({"curve", "demo", "--rates", "1C", "--points", "60", "--out", "own"}).status == 0);
  folder.write("own/p.yaml", "steps: [{drive: rest, until: {time: 1 min}}]\n");
  fs::create_symlink("own/curves.csv", "link.csv");
  fs::create_symlink("own", "folder");
  const auto refused = [&](std::vector<std::string> words, const std::string& out, const std::string& input) {
    words.insert(words.end(), {"--out", out});
    const Outcome outcome = program(words);
    CHECK(outcome.status == 2);
    CHECK(outcome.results.empty());
    CHECK(outcome.narration == "onegrain: --out '" + out + "': the results would take the place of '" + input +
                                   "', which they are to be made from; give another folder\n");
  };
  refused({"rates", "a/fitted.yaml"}, "a", "a/fitted.yaml");
  refused({"overlay", "cell.yaml", "own/curves.csv"}, "own", "own/curves.csv");
  refused({"overlay", "cell.yaml", "link.csv"}, "own/", "link.csv");
  refused({"fit", "cell.yaml", "own/curves.csv"}, "./folder", "own/curves.csv");
  CHECK(program({"follow", "cell.yaml", "--protocol", "own/p.yaml", "--out", "own"}).status ==
        0);  // a name that no result has
  CHECK(program({"rates", "cell.yaml", "--rates", "1C", "--out", "."}).status == 0);
}

TEST_CASE("results have names that the program makes, whatever they are made from") {
  onegrain::app::ResultNames names({"taken.yaml"});
  CHECK(names.make("cards/my card.v2.yaml", ".yaml", "card") == "my_card_v2.yaml");
  CHECK(names.make("../my card.v2", ".yaml", "card") == "my_card_v2_2.yaml");  // another file
  CHECK(names.make("/etc/passwd", ".csv", "table") == "passwd.csv");
  CHECK(names.make("..", ".yaml", "card") == "card.yaml");
  CHECK(names.make("粉末", ".yaml", "card") == "card_2.yaml");
  CHECK(names.make("Taken", ".yaml", "card") == "Taken_2.yaml");  // the same for some file systems
  CHECK(names.make("--out", ".csv", "table") == "out.csv");
  CHECK(names.make(std::string(5000, 'n'), ".yaml", "card") == std::string(60, 'n') + ".yaml");
  for (const char* name : {"", ".", "..", "a/b", ".hidden", "-x", "a b", "a\nb", "\xC3\xA9"}) {
    INFO(name);
    CHECK_FALSE(onegrain::app::is_result_name(name));
    CHECK_THROWS_AS(ResultFolder("out", "").add(name, "x"), std::logic_error);
  }
}

TEST_CASE("work goes on with the threads that can be started, and without any") {
  for (const int available : {0, 1, 2}) {
    INFO(available);
    int left = available;
    const auto start = [&](std::function<void()> body) {
      if (left-- <= 0) throw std::system_error(std::make_error_code(std::errc::resource_unavailable_try_again));
      return std::thread(std::move(body));
    };
    std::vector<int> seen(100, 0);
    std::atomic<int> highest{0};
    int told = 0;
    onegrain::app::in_parallel(
        100, 4,
        [&](int k, int thread) {
          ++seen[static_cast<std::size_t>(k)];
          for (int h = highest; thread > h && !highest.compare_exchange_weak(h, thread);) {
          }
        },
        [&](int done) { told = done; }, start);
    CHECK(seen == std::vector<int>(100, 1));
    CHECK(told == 100);
    CHECK(highest < std::max(1, available));
  }
}

TEST_CASE("what fails in the work or in telling of it reaches the caller, and every thread has ended") {
  CHECK_THROWS_AS(onegrain::app::in_parallel(50, 3, [](int, int) { throw std::runtime_error("x"); }),
                  std::runtime_error);
  CHECK_THROWS_AS(onegrain::app::in_parallel(
                      50, 3, [](int, int) {}, [](int) { throw std::runtime_error("x"); }),
                  std::runtime_error);
}

TEST_CASE("what killed runs left is taken away, and nothing of another name") {
  const Folder folder;
  const std::vector<std::string> left = {".onegrain.4711.part", ".onegrain.4711.2.part", ".onegrain.0.10.part"},
                                 others = {".onegrain.part",          ".onegrain..part",       ".onegrain.4711..part",
                                           ".onegrain.4711.2.3.part", ".onegrain.47x1.part",   "x.onegrain.4711.part",
                                           ".onegrain.4711.part2",    ".onegrain.4711.-2.part"};
  for (const auto* names : {&left, &others})
    for (const std::string& name : *names) std::filesystem::create_directory(name);
  onegrain::app::sweep(".");
  for (const std::string& name : left) {
    INFO(name);
    CHECK_FALSE(std::filesystem::exists(name));
  }
  for (const std::string& name : others) {
    INFO(name);
    CHECK(std::filesystem::exists(name));
  }
}
