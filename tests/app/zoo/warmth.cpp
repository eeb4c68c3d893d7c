#include "tests/app/zoo/zoo.hpp"
#include "tests/records.hpp"

// Records with a temperature, against sheets with a heat balance and without. Calculated by the sheets themselves, so
// that what is right is known; the numbers are invented.

using namespace zoo;
using namespace app_test;

namespace {

using Words = std::vector<std::string>;

/// The demo in a can of a tenth of a gram that hardly sheds its heat: 2C warms it by 2 K.
std::string warm_sheet(const std::string& sheds) {
  return shipped("demo") + "\nthermal: {mass: 0.1 g, heat_capacity: 900 J/(kg K), heat_transfer_coefficient: " + sheds +
         " W/(m2 K), cooled_area: 3 cm2}\n";
}

/// A rest, 2C down and a rest by that sheet, in run.csv; `change` gets each temperature in degC and the moment in s.
void warm_record(const Folder& folder, const std::function<double(double, double)>& change,
                 const std::string& title = "Surface Temperature / degC", const std::string& surroundings = "25 degC") {
  folder.write("warm.yaml", warm_sheet("2"));
  folder.write("steps.yaml",
               "steps:\n  - {drive: rest, until: {time: 10 min}}\n"
               "  - {drive: {rate: 2C, sense: discharge}, until: {voltage: 2.8 V}}\n"
               "  - {drive: rest, until: {time: 30 min}}\n");
  REQUIRE(program({"follow", "warm.yaml", "--protocol", "steps.yaml", "--from-soc", "1", "--temperature", surroundings,
                   "--out", "own"})
              .status == 0);
  onegrain::params::MeasuredRequest request;
  request.columns = onegrain::params::parse_column_map({"temperature=Temperature"});
  auto loaded = onegrain::params::load_measured("own/curves.csv", request);
  REQUIRE(loaded.value);
  const onegrain::params::Record& r = loaded.value->record;
  std::vector<double> temperature;
  for (std::size_t k = 0; k < r.size(); ++k) temperature.push_back(change(r.temperature[k] - 273.15, r.time[k]));
  folder.write(
      "run.csv",
      onegrain::params::delimited_text(
          {{"Test Time / s", r.time}, {"Voltage / V", r.voltage}, {"Current / A", r.current}, {title, temperature}},
          12));
}

double as_it_is(double celsius, double) { return celsius; }
constexpr double rest_ends = 600;  // s

}  // namespace

TEST_CASE("zoo: temperatures that the heat balance of a sheet does not give", "[zoo][warmth]") {
  const std::vector<Situation> bad = {
      {"a cell that sheds a tenth of the heat that the sheet has",
       [](const Folder& folder) {
         warm_record(folder, [](double c, double) { return 25 + 8 * (c - 25); });
         return Words{"overlay", "warm.yaml", "run.csv"};
       },
       0, "misses the temperature of step"},
      {"a record in a chamber at 35 degC against surroundings of 25 degC",
       [](const Folder& folder) {
         warm_record(folder, as_it_is, "Surface Temperature / degC", "35 degC");
         return Words{"overlay", "warm.yaml", "run.csv"};
       },
       0, "--temperature '35.0 degC' sets them"},
      {"degrees Fahrenheit taken for degrees Celsius",
       [](const Folder& folder) {
         warm_record(folder, [](double c, double) { return 32 + 1.8 * c; });
         return Words{"overlay", "warm.yaml", "run.csv"};
       },
       0, "where the sheet has surroundings of 25.0 degC"},
  };
  for (const Situation& situation : bad) must_be_said(situation);
}

TEST_CASE("zoo: sound temperatures raise nothing", "[zoo][warmth]") {
  must_raise_nothing("the cell's own temperature", [](const Folder& folder) {
    warm_record(folder, as_it_is);
    return Words{"overlay", "warm.yaml", "run.csv"};
  });
  must_raise_nothing("a sensor one degree off, read to a fifth of a degree", [](const Folder& folder) {
    warm_record(folder, [](double c, double) { return std::round(5 * (c + 1)) / 5; });
    return Words{"overlay", "warm.yaml", "run.csv"};
  });
  must_raise_nothing("a chamber at 35 degC, and told so", [](const Folder& folder) {
    warm_record(folder, as_it_is, "Surface Temperature / degC", "35 degC");
    return Words{"overlay", "warm.yaml", "run.csv", "--temperature", "35 degC"};
  });
  must_raise_nothing("no heat balance: the measured temperature is taken", [](const Folder& folder) {
    warm_record(folder, as_it_is);
    return Words{"overlay", "demo", "run.csv"};
  });
  must_raise_nothing("the temperature of the surroundings alone", [](const Folder& folder) {
    warm_record(
        folder, [](double, double) { return 21.0; }, "Ambient Temperature / degC");
    return Words{"overlay", "warm.yaml", "run.csv"};
  });
}

TEST_CASE("a predicted temperature stands beside the measured one", "[measured][warmth]") {
  // A sensor that reads 1.5 K too much once the rest is over: the differences are known without any model.
  const Folder folder;
  warm_record(folder, [](double c, double t) { return c + (t > rest_ends ? 1.5 : 0); });
  const Outcome outcome = program({"overlay", "warm.yaml", "run.csv", "--out", "seen"});
  REQUIRE(outcome.status == 0);
  CHECK(outcome.results.find("Its temperature is met within 1.5 K rms, 1.5 K at worst") != std::string::npos);
  const json summary = json::parse(folder.read("seen/summary.json"));
  for (const json& step : summary["overlay"]["runs"][0]["steps"]) {
    CHECK_THAT(step["temperature_rms_K"].get<double>(), WithinAbs(1.5, 0.01));
    CHECK_THAT(step["temperature_mean_K"].get<double>(), WithinAbs(-1.5, 0.01));
    CHECK_THAT(step["temperature_largest_K"].get<double>(), WithinAbs(-1.5, 0.01));
    CHECK(step["rms_mV"] < 0.3);  // the resolved reaction is known to tenths of a millivolt  // at the predicted
                                  // temperature, not the wrong one
  }
  const std::vector<std::string> lines = lines_of(folder.read("seen/curves.csv"));
  CHECK(lines.front().find("Surface Temperature / degC,Calculated Temperature / degC") != std::string::npos);
  auto read = onegrain::params::load_measured("seen/curves.csv");
  REQUIRE(read.value);
  const auto& others = read.value->record.others;
  const auto calculated = std::find_if(others.begin(), others.end(), [](const onegrain::params::Column& c) {
    return c.title == "Calculated Temperature / degC";
  });
  REQUIRE(calculated != others.end());
  for (std::size_t k = 0; k < read.value->record.size(); ++k)
    CHECK_THAT(read.value->record.temperature[k] - 273.15 - calculated->values[k], WithinAbs(1.5, 0.01));
  CHECK(folder.read("seen/report.html").find("The temperature of the cell") != std::string::npos);

  // Without a heat balance the same temperatures are taken for the cell's, and that is said.
  const Outcome taken = program({"overlay", "demo", "run.csv"});
  std::string words = taken.results;
  std::replace(words.begin(), words.end(), '\n', ' ');
  CHECK(words.find("at the measured temperature, which is taken for the cell's") != std::string::npos);
  CHECK(taken.results.find("Its temperature is met") == std::string::npos);
}
