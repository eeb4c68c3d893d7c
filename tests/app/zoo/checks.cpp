#include "tests/app/zoo/cycle.hpp"

// What `check` and `schema` are given: files with one thing wrong, and their sound neighbours.

using namespace zoo;
using namespace app_test;

namespace {

struct Checked {
  const char* name;
  std::function<Words(const Folder&)> words;
  int status;
  const char* says;  ///< in a fault, a doubt or the narration
};

std::function<Words(const Folder&)> file(const std::string& name, const std::string& text) {
  return [=](const Folder& folder) {
    folder.write(name, text);
    return Words{"check", name};
  };
}

std::function<Words(const Folder&)> protocol(const std::string& text) {
  return [=](const Folder& folder) {
    folder.write("p.yaml", text);
    return Words{"check", "demo", "p.yaml"};
  };
}

std::function<Words(const Folder&)> record(const Make& make) {
  return [=](const Folder& folder) {
    folder.write("run.csv", records::text(make()));
    return Words{"check", "demo", "run.csv"};
  };
}

std::string demo_with(const std::string& what, const std::string& instead) {
  return with(shipped("demo"), what, instead);
}

const std::string steps = "steps:\n  - {drive: {rate: C/5, sense: charge}, until: {voltage: 4.2 V}}\n";

/// Each of these is said, by status and words; nothing of it is called sound with status 0 and no doubt.
void must_be_told(const Checked& c) {
  INFO("situation: " << c.name);
  const Folder folder;
  const Outcome outcome = program(c.words(folder));
  INFO(outcome.results << outcome.narration);
  CHECK(outcome.status == c.status);
  std::string all = outcome.results + outcome.narration;
  std::replace(all.begin(), all.end(), '\n', ' ');
  std::string single;  // wrapped lines are indented
  for (const char letter : all)
    if (letter != ' ' || single.empty() || single.back() != ' ') single += letter;
  CHECK(single.find(c.says) != std::string::npos);
}

/// Sound, without fault or doubt.
void must_be_sound(const char* name, const std::function<Words(const Folder&)>& make) {
  INFO("sound neighbour: " << name);
  const Folder folder;
  Words words = make(folder);
  words.emplace_back("--json");
  const Outcome outcome = program(words);
  INFO(outcome.results << outcome.narration);
  REQUIRE(outcome.status == 0);
  const json summary = json::parse(outcome.results);
  CHECK(summary["sound"] == true);
  CHECK(summary["faults"] == json::array());
  if (!summary.contains("doubts")) return;
  for (const json& doubt : summary["doubts"])  // the program writes the end of a step and the start of the next
    CHECK(doubt["doubt"].get<std::string>().find("repeated") != std::string::npos);
}

}  // namespace

TEST_CASE("zoo: files that check must find something in", "[zoo]") {
  const std::vector<Checked> bad = {
      {"a radius without a unit", file("a.yaml", demo_with("{value: 4.8 um", "{value: 4.8")), 3, "no unit given"},
      {"a decimal comma in a sheet", file("a.yaml", demo_with("upper: 4.2 V", "upper: '4,2 V'")), 3, "4.2 V"},
      {"a key that is misspelt", file("a.yaml", demo_with("formation_loss", "formation_los")), 3, "did you mean"},
      {"cut-offs that changed places",
       file("a.yaml", demo_with("lower: 2.8 V, upper: 4.2 V", "lower: 4.2 V, upper: 2.8 V")), 3, "voltage_window"},
      {"a card that is not there", file("a.yaml", demo_with("material: nmc622", "material: nmc623")), 3, "nmc623"},
      {"a drive that is none", protocol(with(steps, "rate: C/5", "rat: C/5")), 3, "rat"},
      {"a protocol without its cell", file("p.yaml", steps), 3, "is checked against a cell"},
      {"a step without an end", protocol(with(steps, ", until: {voltage: 4.2 V}", "")), 3, "until"},
      {"a record without rows", file("r.csv", "Test Time / s,Voltage / V,Current / A\n"), 3, "no rows of numbers"},
      {"a record without a current", file("r.csv", "Test Time / s,Voltage / V\n0,4.1\n10,4.1\n"), 3, "--columns"},
      {"a file that is not there",
       [](const Folder&) {
         return Words{"check", "nowhere.csv"};
       },
       3, "no such file"},
      {"positive means discharge", record([] { return records::turned(whole()); }), 0, "current positive on discharge"},
      {"no sign at all", record([] { return records::without_sign(whole()); }), 0, "current without sign"},
      {"an offset that no rest shows", record([] {
         Record r = cycle().part(6, 7);
         for (const Record& part : {cycle().part(9, 9), cycle().part(6, 7)}) r = records::joined(r, part, 0.5);
         return records::offset(r, -6e-5);
       }),
       0, "charge that does not balance"},
      {"a voltage far off", record([] {
         Record r = whole();
         r.voltage[cycle().steps[1].first + 60] = 0;
         return r;
       }),
       0, "glitch of the voltage (mended)"},
      {"a spike of the current", record([] {
         Record r = whole();
         r.current[cycle().steps[1].first + 60] *= 12;
         return r;
       }),
       0, "spike of the current (mended)"},
      {"a schema that there is not",
       [](const Folder&) {
         return Words{"schema", "sheets"};
       },
       2, "summary,sheet,card"},
      {"a schema of nothing", [](const Folder&) { return Words{"schema"}; }, 2, "WHAT is required"},
      {"a schema with the option of another verb",
       [](const Folder&) {
         return Words{"schema", "sheet", "--json"};
       },
       2, "no option of 'schema'"},
  };
  for (const Checked& c : bad) must_be_told(c);
}

TEST_CASE("zoo: files that check must find sound", "[zoo]") {
  must_be_sound("the demo", [](const Folder&) { return Words{"check", "demo"}; });
  must_be_sound("a voltage in another unit", file("a.yaml", demo_with("upper: 4.2 V", "upper: 4200 mV")));
  must_be_sound("a protocol", protocol(steps));
  must_be_sound("a protocol that is repeated", protocol(steps + "repeat: 3\n"));
  must_be_sound("a whole cycle", record(whole));
  must_be_sound("a cycle with noise", record([] { return records::noisy(whole(), 0.05, 4); }));
  must_be_sound("a record that begins under current", record(loaded_discharge));
  must_be_sound(
      "a record with a decimal comma",
      file("r.csv", "Test Time / s;Voltage / V;Current / A\n0;4,10;0\n10;4,10;0\n20;4,05;-0,002\n30;4,04;-0,002\n"));
  must_be_sound("two cycles without any rest", record([] {
                  Record r = cycle().part(6, 7);
                  for (const Record& part : {cycle().part(9, 9), cycle().part(6, 7)}) r = records::joined(r, part, 0.5);
                  return r;
                }));
  for (const char* what : {"summary", "sheet", "card", "protocol"}) {
    const Outcome outcome = program({"schema", what});
    CHECK(outcome.status == 0);
    CHECK(json::parse(outcome.results).contains("$schema"));
  }
}

TEST_CASE("a curve that is missed at its steep end alone is not called another cell", "[zoo]") {
  // The demo with a third more of its lithium bound: the same curve over less charge, so that the end of a slow
  // discharge lies hundreds of millivolts off while its middle is met.
  const Folder folder;
  folder.write("less.yaml",
               demo_with("formation_loss: {value: 8 %, spread: 1 %", "formation_loss: {value: 38 %, spread: 1 %"));
  REQUIRE(program({"curve", "less.yaml", "--rates", "C/10", "--points", "200", "--out", "own"}).status == 0);
  const json summary = json_of({"overlay", "demo", "own/curves.csv", "--from-soc", "1"});
  CHECK(summary["overlay"]["runs"][0]["steps"][0]["rms_mV"] > 100);
  for (const json& finding : summary["findings"]) CHECK(finding["rule"] != "not_described");
}

TEST_CASE("a repeated protocol has one numbering", "[zoo]") {
  const Folder folder;
  folder.write("p.yaml",
               "steps:\n  - {drive: {rate: 1C, sense: discharge}, until: {time: 5 min}}\n"
               "  - {drive: rest, until: {time: 5 min}}\nrepeat: 3\n");
  REQUIRE(program({"follow", "demo", "--protocol", "p.yaml", "--from-soc", "0.8", "--out", "own"}).status == 0);
  const json table = json::parse(folder.read("own/summary.json"))["steps"];
  auto loaded = onegrain::params::load_measured("own/curves.csv");
  REQUIRE(loaded.value);
  const Record& r = loaded.value->record;
  REQUIRE(r.cycle.size() == r.size());
  std::size_t at = 0;
  for (std::size_t k = 0; k < r.size(); ++k) {
    if (k > 0 && (r.step[k] != r.step[k - 1] || r.cycle[k] != r.cycle[k - 1])) ++at;
    REQUIRE(at < table.size());
    CHECK(r.step[k] == table[at]["step"]);
    CHECK(r.cycle[k] == table[at]["repetition"]);
  }
  CHECK(at + 1 == table.size());
  CHECK(onegrain::params::recorded_steps(r).size() == 6);
}
