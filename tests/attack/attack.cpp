// Random sound cells through rates, ceilings and protocols, against what must always hold (invariants.hpp). Every case
// runs in a process of its own under a limit of CPU time, so that a crash or a run without end is one violation among
// others.

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <map>
#include <regex>

#include "tests/attack/runs.hpp"

namespace {

using namespace onegrain::attack;
namespace fs = std::filesystem;

struct Options {
  std::uint64_t seed = 20260801;
  int count = 100, from = 0, jobs = 1, seconds = 30, shown = 20;
  std::string what = "rates", reaction = "uneven", program, keep;
  bool show_all_files = false;
};

/// Sums over all cases.
struct Tally {
  std::map<std::string, int> frequencies;
  int cases = 0, violations = 0;
  std::vector<std::pair<double, int>> cpu;           // seconds, case
  std::map<std::string, std::pair<int, int>> kinds;  // violations with their numbers left out: how many, the first case

  void print() const {
    std::vector<std::pair<double, int>> sorted = cpu;
    std::sort(sorted.rbegin(), sorted.rend());
    fmt::print("\n{} cases, {} with violations\n", cases, violations);
    for (const auto& [name, count] : frequencies) fmt::print("{:8}  {}\n", count, name);
    if (!kinds.empty()) fmt::print("kinds of violation:\n");
    for (const auto& [kind, seen] : kinds) fmt::print("{:8}  {}  (first: case {})\n", seen.first, kind, seen.second);
    if (sorted.empty()) return;
    const auto share = [&](double p) {
      return sorted[static_cast<std::size_t>((1 - p) * static_cast<double>(sorted.size() - 1))].first;
    };
    fmt::print("CPU time of a case: median {:.3f} s, 99 % {:.3f} s, longest {:.3f} s (case {})\n", share(0.5),
               share(0.99), sorted.front().first, sorted.front().second);
  }
};

/// The child: runs a case and writes what it found, one finding a line.
[[noreturn]] void run_child(const Options& options, What what, int number, const std::string& folder) {
  const rlimit limit{static_cast<rlim_t>(options.seconds), static_cast<rlim_t>(options.seconds) + 1};
  setrlimit(RLIMIT_CPU, &limit);
  const rlimit no_core{0, 0};
  setrlimit(RLIMIT_CORE, &no_core);
  int status = 0;
  try {
    Case c = random_case(options.seed, number);
    c.reaction = options.reaction;
    write_files(c, folder);
    const Findings found =
        options.program.empty() ? run_in_process(c, what, folder) : run_program(c, what, folder, options.program);
    std::ofstream out(folder + "/findings");
    for (std::string text : found.violations) {
      std::replace(text.begin(), text.end(), '\n', ' ');
      out << "violation " << text << "\n";
    }
    for (const auto& [name, count] : found.frequencies) out << count << " " << name << "\n";
  } catch (const std::exception& error) {
    std::cerr << error.what() << std::endl;
    status = 1;
  }
  _exit(status);
}

std::string how_it_died(int status, int seconds) {
  if (WIFSIGNALED(status) && (WTERMSIG(status) == SIGXCPU || WTERMSIG(status) == SIGKILL))
    return fmt::format("over {} s of CPU time", seconds);
  if (WIFSIGNALED(status)) return fmt::format("crashed by signal {}", WTERMSIG(status));
  return fmt::format("the case ended with status {}", WEXITSTATUS(status));
}

void print_case(const Options& options, int number, const std::string& folder,
                const std::vector<std::string>& violations) {
  const Case c = random_case(options.seed, number);
  fmt::print("\n== seed {} case {} ({}): {}\n", options.seed, number, options.what, c.words);
  for (const std::string& text : violations) fmt::print("   - {}\n", text);
  fmt::print("   again: attack_cells --what {} --seed {} --from {} --count 1 --keep FOLDER{}\n", options.what,
             options.seed, number, options.program.empty() ? "" : " --program PROGRAM");
  for (const auto& [name, text] : c.files) {
    const bool wanted =
        options.show_all_files || name == "sheet.yaml" || (name == "protocol.yaml" && options.what == "protocol");
    if (wanted) fmt::print("# file: {}\n{}", name, text);
  }
  if (options.what == "rates") fmt::print("# rates {}, electrolyte {}\n", c.rates, c.electrolyte);
  if (options.what == "protocol") fmt::print("# electrolyte {}, from-soc {}\n", c.electrolyte, c.from_soc);
  if (!options.keep.empty()) fmt::print("# files in {}\n", folder);
  std::fflush(stdout);
}

/// A violation without the step it befell and without its numbers, to be counted.
std::string kind_of(const std::string& violation) {
  static const std::regex step("^(step [0-9.]+ '[^']*'|[^ ]+ (dis)?charge): "), place("[^ ]*[.]yaml[0-9:]*"),
      number("[-+]?[0-9][0-9.]*(e[-+]?[0-9]+)?");
  const std::string plain = std::regex_replace(std::regex_replace(violation, step, ""), place, "");
  return std::regex_replace(plain, number, "#").substr(0, 150);
}

/// Takes in what a child left behind.
void collect(const Options& options, int number, int status, double cpu, const std::string& folder, Tally& tally) {
  ++tally.cases;
  tally.cpu.emplace_back(cpu, number);
  std::vector<std::string> violations;
  if (!(WIFEXITED(status) && WEXITSTATUS(status) == 0)) {
    violations.push_back(how_it_died(status, options.seconds));
    ++tally.frequencies["died: " + violations.back()];
  }
  std::ifstream in(folder + "/findings");
  for (std::string line; std::getline(in, line);) {
    if (line.rfind("violation ", 0) == 0) {
      violations.push_back(line.substr(10));
    } else if (const auto space = line.find(' '); space != std::string::npos) {
      tally.frequencies[line.substr(space + 1)] += std::stoi(line.substr(0, space));
    }
  }
  for (const std::string& text : violations) {
    std::pair<int, int>& seen = tally.kinds.try_emplace(kind_of(text), 0, number).first->second;
    ++seen.first;
  }
  if (!violations.empty() && ++tally.violations <= options.shown) print_case(options, number, folder, violations);
  if (!violations.empty() && tally.violations == options.shown + 1)
    fmt::print("\n(further cases are listed by number only)\n");
  if (!violations.empty() && tally.violations > options.shown)
    fmt::print("== case {}: {}\n", number, violations.front());
  if (options.keep.empty()) fs::remove_all(folder);
}

Tally attack(const Options& options, const std::string& base) {
  const What what = options.what == "rates" ? What::rates : options.what == "ceiling" ? What::ceiling : What::protocol;
  Tally tally;
  std::map<pid_t, int> running;
  int next = options.from;
  const int end = options.from + options.count;
  while (next < end || !running.empty()) {
    while (next < end && static_cast<int>(running.size()) < options.jobs) {
      const std::string folder = fmt::format("{}/case{}", base, next);
      fs::create_directories(folder);
      std::fflush(stdout);
      const pid_t child = fork();
      if (child < 0) throw std::runtime_error("no process can be started");
      if (child == 0) run_child(options, what, next, folder);
      running[child] = next++;
    }
    int status = 0;
    rusage usage{};
    const pid_t child = wait4(-1, &status, 0, &usage);
    if (child < 0) throw std::runtime_error("waiting for a case failed");
    const auto seconds = [](const timeval& t) {
      return static_cast<double>(t.tv_sec) + 1e-6 * static_cast<double>(t.tv_usec);
    };
    const int number = running.at(child);
    running.erase(child);
    collect(options, number, status, seconds(usage.ru_utime) + seconds(usage.ru_stime),
            fmt::format("{}/case{}", base, number), tally);
  }
  return tally;
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app{"Random sound cells through rates, ceilings and protocols; prints what does not hold."};
  app.add_option("--seed", options.seed)->capture_default_str();
  app.add_option("--count", options.count)->check(CLI::PositiveNumber)->capture_default_str();
  app.add_option("--from", options.from, "number of the first case")->capture_default_str();
  app.add_option("--what", options.what)->check(CLI::IsMember({"rates", "ceiling", "protocol"}))->capture_default_str();
  app.add_option("--reaction", options.reaction)->check(CLI::IsMember({"even", "uneven"}))->capture_default_str();
  app.add_option("--jobs", options.jobs, "processes at a time")->check(CLI::Range(1, 64))->capture_default_str();
  app.add_option("--seconds", options.seconds, "CPU time of a case")->check(CLI::PositiveNumber)->capture_default_str();
  app.add_option("--shown", options.shown, "cases printed whole")->capture_default_str();
  app.add_option("--program", options.program, "run this program instead of its libraries")->check(CLI::ExistingFile);
  app.add_option("--keep", options.keep, "folder in which the files of every case stay");
  app.add_flag("--cards", options.show_all_files, "print cards and tables too");
  CLI11_PARSE(app, argc, argv);

  std::string base = (fs::temp_directory_path() / "onegrain-attack-XXXXXX").string();
  if (options.keep.empty()) {
    if (mkdtemp(base.data()) == nullptr) {
      fmt::print(stderr, "no temporary folder\n");
      return 2;
    }
  } else {
    base = fs::absolute(options.keep).string();
  }
  fmt::print("seed {}, cases {} to {}, {}{}\n", options.seed, options.from, options.from + options.count - 1,
             options.what, options.program.empty() ? "" : ", by the program");
  try {
    const Tally tally = attack(options, base);
    tally.print();
    if (options.keep.empty()) fs::remove_all(base);
    return tally.violations == 0 ? 0 : 1;
  } catch (const std::exception& error) {
    fmt::print(stderr, "attack_cells: {}\n", error.what());
    return 2;
  }
}
