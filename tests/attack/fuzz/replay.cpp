// Runs files through the fuzz targets, without libFuzzer: the corpora, and random changes of them, in any build.
//
//   fuzz_replay [--mutations N] [--seed S] [--only TARGET] FOLDER...     each FOLDER holds a folder per target

#include <sys/wait.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include "tests/attack/fuzz/targets.hpp"
#include "tests/attack/random_cells.hpp"

namespace {

using onegrain::attack::Random;
namespace fuzz = onegrain::attack::fuzz;
namespace fs = std::filesystem;

struct Target {
  const char* name;
  void (*run)(std::string_view);
};
constexpr Target targets[] = {
    {"card", fuzz::card},           {"cif", fuzz::cif},           {"columns", fuzz::columns},
    {"delimited", fuzz::delimited}, {"document", fuzz::document}, {"expression", fuzz::expression},
    {"formula", fuzz::formula},     {"measured", fuzz::measured}, {"protocol", fuzz::protocol},
    {"quantity", fuzz::quantity},   {"rate", fuzz::rate},         {"sheet", fuzz::sheet},
    {"spectrum", fuzz::spectrum},   {"steps", fuzz::steps}};

std::string current_input;  // what to leave behind when a target dies

const char* current_target = "";

void save_and_die(int) {
  // Called on the way to death only; what is not safe in a signal handler cannot make it worse.
  const std::string name = std::string("broken-") + current_target;
  std::ofstream(name, std::ios::binary) << current_input;
  std::fprintf(stderr, "%s: the input lies in ./%s\n", current_target, name.c_str());
  _exit(1);
}

std::string read(const fs::path& path) {
  std::ifstream stream(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), {}};
}

/// One to five changes of a text: bytes, pieces moved, doubled, left out or taken from another, numbers changed.
std::string mutated(std::string text, const std::vector<std::string>& corpus, Random& random) {
  static const std::vector<std::string> pieces = {"nan",      "inf",  "-1",   "0",        "1e999",
                                                  "1e-999",   "\t",   "\r\n", "\n",       ": ",
                                                  "- ",       "{",    "}",    "[",        "]",
                                                  "\"",       "'",    "#",    "&a",       "*a",
                                                  "!!int",    "%",    "\xff", "\xc3\xa9", std::string(1, '\0'),
                                                  "\x1b[31m", ",",    ";",    "|",        ">",
                                                  "~",        "(",    ")",    "^",        "um",
                                                  "mAh/cm2",  "degC", "x",    "C/"};
  for (int k = random.whole(1, 5); k > 0; --k) {
    const auto size = static_cast<int>(text.size());
    const auto at = static_cast<std::size_t>(random.whole(0, size));
    const auto length = static_cast<std::size_t>(random.whole(0, std::min(40, size - static_cast<int>(at))));
    switch (random.whole(0, 6)) {
      case 0:
        if (at < text.size()) text[at] = static_cast<char>(random.whole(0, 255));
        break;
      case 1:
        text.erase(at, length);
        break;
      case 2:
        text.insert(at, text.substr(at, length));
        break;
      case 3:
        text.insert(at, random.one_of(pieces));
        break;
      case 4: {
        const std::string& other = random.one_of(corpus);
        const auto from = static_cast<std::size_t>(random.whole(0, static_cast<int>(other.size())));
        text.replace(at, length, other.substr(from, static_cast<std::size_t>(random.whole(0, 60))));
        break;
      }
      case 5: {
        const auto digit = text.find_first_of("0123456789", at);
        if (digit != std::string::npos) text[digit] = static_cast<char>('0' + random.whole(0, 9));
        break;
      }
      default:
        if (random.chance(0.1)) text.resize(at);
        break;
    }
  }
  return text;
}

int replay(const Target& target, const std::vector<std::string>& folders, int mutations, std::uint64_t seed) {
  std::vector<std::string> corpus;
  for (const std::string& folder : folders) {
    const fs::path path = fs::path(folder) / target.name;
    if (!fs::is_directory(path)) continue;
    std::vector<fs::path> files;
    for (const auto& entry : fs::directory_iterator(path)) files.push_back(entry.path());
    std::sort(files.begin(), files.end());
    for (const fs::path& file : files) corpus.push_back(read(file));
  }
  if (corpus.empty()) {
    std::fprintf(stderr, "no input for '%s' in the folders given\n", target.name);
    return 1;
  }
  for (const std::string& text : corpus) target.run(current_input = text);
  std::fflush(stdout);
  Random random(seed, 7);
  for (int k = 0; k < mutations; ++k) target.run(current_input = mutated(random.one_of(corpus), corpus, random));
  std::printf("%-12s %6zu files, %d changed\n", target.name, corpus.size(), mutations);
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  int mutations = 0;
  std::uint64_t seed = 20260801;
  std::string only;
  std::vector<std::string> folders;
  CLI::App app{"Runs the corpora through the fuzz targets."};
  app.add_option("--mutations", mutations, "random changes of the corpus, for each target")->capture_default_str();
  app.add_option("--seed", seed)->capture_default_str();
  app.add_option("--only", only, "one target");
  app.add_option("FOLDERS", folders)->required();
  CLI11_PARSE(app, argc, argv);
  for (const int signal : {SIGABRT, SIGSEGV, SIGFPE}) std::signal(signal, save_and_die);
  std::printf("seed %llu\n", static_cast<unsigned long long>(seed));
  int bad = 0, run = 0;
  for (const Target& target : targets) {
    if (!only.empty() && only != target.name) continue;
    ++run;
    std::fflush(stdout);
    const pid_t child = fork();  // so that one broken reader does not keep the others from being tried
    if (child == 0) {
      current_target = target.name;
      const int result = replay(target, folders, mutations, seed);
      std::fflush(stdout);
      _exit(result);
    }
    int status = 1;
    if (child < 0 || waitpid(child, &status, 0) != child || status != 0) ++bad;
  }
  if (run == 0) std::fprintf(stderr, "no target '%s'\n", only.c_str());
  return bad == 0 && run > 0 ? 0 : 1;
}
