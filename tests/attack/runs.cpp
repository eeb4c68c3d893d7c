#include "tests/attack/runs.hpp"

#include <fmt/format.h>
#include <sys/wait.h>

#include <cmath>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>
#include <set>
#include <sstream>

#include "app/command/commands.hpp"
#include "params/sheet/bench.hpp"
#include "params/sheet/protocol.hpp"
#include "solver/step/curves.hpp"
#include "tests/attack/failures.hpp"

namespace onegrain::attack {

namespace {

using nlohmann::json;

std::string read(const std::string& path) {
  std::ifstream stream(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), {}};
}

void failed(Findings& findings, const std::string& where, const std::string& message) {
  const std::optional<std::string> reason = reason_of(message);
  ++findings.frequencies["failed: " + reason.value_or("not on the list")];
  if (!reason) findings.violation(where + " failed for a reason that is not on the list: " + message);
}

/// What a verb knows before it calculates.
struct Made {
  params::Sheet sheet;
  model::Cell cell;
  model::Window window;
  params::RateBase base;
};

std::optional<Made> make(const Case& c, const std::string& folder, Findings& findings) {
  params::Loaded<params::Sheet> loaded = params::read_sheet(c.text("sheet.yaml"), "sheet.yaml", folder);
  if (!loaded.value) {
    std::string errors;  // of all faults; warnings are no reason
    for (const params::Fault& fault : loaded.faults.sorted()) {
      if (fault.severity == params::Severity::error) errors += fault.text() + " ";
    }
    failed(findings, "the sheet", errors);
    return std::nullopt;
  }
  params::Sheet& sheet = *loaded.value;
  const model::Window window = params::bench(sheet).window;
  model::Cell cell = params::to_cell(sheet);
  const params::RateBase base = params::rate_base(sheet, model::one_hour_charge(cell, window));
  return Made{std::move(sheet), std::move(cell), window, base};
}

model::ElectrolyteModel electrolyte_of(const Case& c) {
  return c.electrolyte == "resolved" ? model::ElectrolyteModel::resolved : model::ElectrolyteModel::uniform;
}

solver::Simulator simulator_of(const Case& c, const Made& made, solver::Workspace& workspace) {
  return {made.cell, workspace, electrolyte_of(c),
          c.reaction == "even" ? model::Reaction::even : model::Reaction::uneven};
}

void rates(const Case& c, const Made& made, Findings& findings) {
  solver::Workspace workspace;
  solver::Simulator simulator = simulator_of(c, made, workspace);
  for (const bool charge : {false, true}) {
    const solver::State start = solver::start_of(simulator, made.window, charge);
    for (const params::Rate& rate : params::parse_rates(c.rates, made.base)) {
      const double i = charge ? rate.current_density : -rate.current_density;
      const std::string name = rate.written + (charge ? " charge" : " discharge");
      try {
        const solver::ConstantCurrentCurve curve = solver::constant_current(simulator, start, i);
        model::Step step{model::CurrentDrive{i}, {}, name};
        step.until.voltage = charge ? made.cell.upper_voltage : made.cell.lower_voltage;
        check_step({&step, &curve.step, name}, nullptr, findings);
        if (!std::isfinite(curve.energy + curve.mean_voltage))
          findings.violation(name + ": energy or mean voltage is not finite");
      } catch (const std::exception& error) {
        failed(findings, name, error.what());
      }
    }
  }
}

void protocol(const Case& c, const Made& made, Findings& findings) {
  const auto loaded = params::read_protocol(c.text("protocol.yaml"), "protocol.yaml", made.sheet, made.base);
  if (!loaded.value) return failed(findings, "the protocol", loaded.faults.text());
  const model::Protocol& asked = *loaded.value;
  solver::Workspace workspace;
  solver::Simulator simulator = simulator_of(c, made, workspace);
  const solver::State start =
      c.from_soc >= 0 ? simulator.at_rest(model::at_state_of_charge(made.window, c.from_soc))
                      : solver::start_of(simulator, made.window, solver::starts_with_charge(asked, made.cell));
  // As much of it as can be run: one repetition is asked for by itself where the whole fails.
  std::vector<solver::ProtocolStep> done;
  try {
    done = solver::run_protocol(simulator, start, asked);
  } catch (const std::exception& error) {
    failed(findings, "the protocol", error.what());
    return;
  }
  RunStep before{};
  double time = 0;
  for (const solver::ProtocolStep& s : done) {
    const model::Step& step = asked.steps[static_cast<std::size_t>(s.step)];
    const RunStep run{&step, &s.solution, fmt::format("step {}.{} '{}'", s.repetition + 1, s.step + 1, step.label)};
    if (!(std::abs(s.start_time - time) <= 1e-9 * time))
      findings.violation(fmt::format("{} begins at {} s, the one before ended at {} s", run.name, s.start_time, time));
    check_step(run, before.step ? &before : nullptr, findings);
    if (s.passed_over()) continue;
    time = s.start_time + s.solution.duration();
    before = run;
  }
  const std::size_t expected = asked.steps.size() * static_cast<std::size_t>(asked.repeat);
  if (done.size() != expected) ++findings.frequencies["protocol cut short"];
}

std::string sheet_of(const std::string& folder) { return folder + "/sheet.yaml"; }

std::vector<std::string> words_of(const Case& c, What what, const std::string& folder) {
  switch (what) {
    case What::rates:
      return {"rates",         sheet_of(folder), "--both",     "--rates", c.rates,
              "--electrolyte", c.electrolyte,    "--reaction", c.reaction};
    case What::ceiling:
      return {"ceiling", sheet_of(folder), "--samples", "0", "--threads", "1"};
    case What::protocol: {
      std::vector<std::string> words{"follow",        sheet_of(folder), "--protocol", folder + "/protocol.yaml",
                                     "--electrolyte", c.electrolyte,    "--reaction", c.reaction};
      if (c.from_soc >= 0) words.insert(words.end(), {"--from-soc", fmt::format("{}", c.from_soc)});
      return words;
    }
  }
  return {};
}

/// null stands for what is no number, or where there is nothing to say: without samples, at a rate of 0.
void no_nulls(const json& value, const std::string& path, Findings& findings) {
  static const std::set<std::string> absent_where_none = {"confidence",  "minutes",           "temperature_remark",
                                                          "half_width",  "median_half_width", "estimated_c_rate",
                                                          "upper_c_rate"};
  if (value.is_null() && absent_where_none.count(path.substr(path.find_last_of('.') + 1)) == 0)
    findings.violation("summary: " + path + " is no number");
  if (!value.is_structured()) return;
  for (const auto& [key, inner] : value.items()) no_nulls(inner, path + "." + key, findings);
}

void judge_summary(const std::string& text, What what, Findings& findings) {
  const json summary = json::parse(text, nullptr, false);
  if (summary.is_discarded()) return findings.violation("the summary is no JSON");
  no_nulls(summary, "", findings);
  if (what == What::ceiling) {
    const json& ceiling = summary["ceiling"];
    ++findings.frequencies["limited by " + ceiling["limited_by"].get<std::string>()];
    if (ceiling["unsolved"].get<int>() != 0) findings.violation("the cell of the sheet counts as unsolved");
    const bool moves = ceiling["c_rate"].is_number() && ceiling["c_rate"].get<double>() > 0;
    for (const json& margin : summary["margins"]) {
      if (moves && !margin["kept"].get<bool>())
        findings.violation("at the rate recommended, a limit is not kept: " + margin.dump());
    }
    return;
  }
  for (const json& one : summary[what == What::rates ? "points" : "steps"])
    ++findings.frequencies["ended by " + one["ended_by"].get<std::string>()];
}

void judge_curves(const std::string& text, Findings& findings) {
  std::istringstream lines(text);
  std::string line;
  std::getline(lines, line);
  double before = -1;
  while (std::getline(lines, line)) {
    if (line.find("nan") != std::string::npos || line.find("inf") != std::string::npos)
      return findings.violation("curves.csv: " + line);
    const double time = std::atof(line.c_str());
    if (!(time >= before))
      return findings.violation(fmt::format("curves.csv: time goes back from {} to {} s", before, time));
    before = time;
  }
  if (before < 0) findings.violation("curves.csv holds no row");
}

}  // namespace

void write_files(const Case& c, const std::string& folder) {
  for (const auto& [name, text] : c.files) std::ofstream(folder + "/" + name, std::ios::binary) << text;
}

Findings run_in_process(const Case& c, What what, const std::string& folder) {
  Findings findings;
  if (what == What::ceiling) {
    std::vector<std::string> words = words_of(c, what, folder);
    words.push_back("--json");
    std::ostringstream results, narration;
    const int status = app::run(words, results, narration);
    if (status != 0)
      failed(findings, "ceiling", fmt::format("status {}: {}", status, narration.str()));
    else
      judge_summary(results.str(), what, findings);
    return findings;
  }
  try {
    if (const std::optional<Made> made = make(c, folder, findings))
      what == What::rates ? rates(c, *made, findings) : protocol(c, *made, findings);
  } catch (const std::exception& error) {
    failed(findings, "the cell", error.what());
  }
  return findings;
}

Findings run_program(const Case& c, What what, const std::string& folder, const std::string& program) {
  Findings findings;
  std::string line = "'" + program + "'";
  for (const std::string& word : words_of(c, what, folder)) line += " '" + word + "'";
  line += " --out '" + folder + "/out' >'" + folder + "/results' 2>'" + folder + "/narration'";
  const int status = std::system(line.c_str());
  const int code = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  if (code > 128) {
    findings.violation(fmt::format("the program ended by signal {}", code - 128));
  } else if (code != 0) {
    failed(findings, "the program", fmt::format("status {}: {}", code, read(folder + "/narration")));
  } else {
    judge_summary(read(folder + "/out/summary.json"), what, findings);
    if (what != What::ceiling) judge_curves(read(folder + "/out/curves.csv"), findings);
  }
  return findings;
}

}  // namespace onegrain::attack
