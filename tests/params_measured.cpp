#include <cmath>
#include <string>

#include "params/measured.hpp"
#include "tests/catch.hpp"

using namespace onegrain::params;

namespace {
std::string faults_of(const std::string& text) { return read_measured(text, "run.csv").faults.text(); }
}  // namespace

TEST_CASE("a time series reads back what was written", "[params][measured]") {
  const std::vector<Column> columns = {{"Test Time / s", {0, 0.1, 1.0 / 3}},
                                       {"Voltage / V", {4.2, 4.1, 3.987654321012345}},
                                       {"Current / A", {-1e-3, -1e-3, 0}},
                                       {"Capacity / mAh", {0, 1, 2}}};
  const auto loaded = read_measured(delimited_text(columns, 17), "run.csv");
  INFO(loaded.faults.text());
  REQUIRE(loaded.value);
  CHECK(loaded.value->time == columns[0].values);
  CHECK(loaded.value->voltage == columns[1].values);
  CHECK(loaded.value->current == columns[2].values);
  REQUIRE(loaded.value->others.size() == 1);
  CHECK(loaded.value->others[0].title == "Capacity / mAh");
  CHECK(delimited_text({{"a", {1, NAN}}, {"b, c", {-0.0, 2.5}}}) == "a,\"b, c\"\n1,0\n,2.5\n");
}

TEST_CASE("machine names, other units, decimal commas, quotes and comments are understood", "[params][measured]") {
  const auto machine = read_measured("test_time_second,voltage_volt,current_ampere\n0,4.2,1e-3\n", "run.csv");
  REQUIRE(machine.value);
  CHECK(machine.value->current[0] == 1e-3);
  const auto other = read_measured(
      "\xEF\xBB\xBF# made by a cycler\r\n\"Test Time / h\";\"Voltage / mV\";\"Current / "
      "mA\";Note\r\n0;4200,5;-1,5;a\r\n0,5;4100;-1,5;b\r\n",
      "run.csv");
  INFO(other.faults.text());
  REQUIRE(other.value);
  CHECK_THAT(other.value->time[1], WithinRel(1800.0, 1e-12));
  CHECK_THAT(other.value->voltage[0], WithinRel(4.2005, 1e-12));
  CHECK_THAT(other.value->current[0], WithinRel(-1.5e-3, 1e-12));
  CHECK(other.value->others.empty());  // words are no series
}

TEST_CASE("a data file that cannot be used names line and column", "[params][measured][messages]") {
  CHECK(faults_of("") == "run.csv: empty; expected a header and rows of numbers\n");
  CHECK(faults_of("Test Time / s,Voltage / V,Current / A\n") == "run.csv: no rows of numbers\n");
  CHECK(faults_of("Test Time / s,Volts / V,Current / A\n0,1,2\n") ==
        "run.csv:1:1: no column 'Voltage / V' (or 'voltage_volt'); is it 'Volts / V'?\n");
  CHECK(faults_of("Test Time / s,Voltage / A,Current / A\n0,1,2\n") ==
        "run.csv:1:1: 'Voltage / A': a current where a voltage is expected; expected 'Voltage / V'\n");
  CHECK(faults_of("Test Time / s,Voltage / V,Current / A\n0,1,2\n1,nan,2\n2,1\n") ==
        "run.csv:4:1: 2 cells where the header has 3\n");
  CHECK(faults_of("Test Time / s,Voltage / V,Current / A\n0,1,2\n1,nan,2\n") ==
        "run.csv:3:1: 'nan': not a finite number in the column 'Voltage / V'\n");
  CHECK(faults_of("Test Time / s,Voltage / V,Current / A\n5,1,2\n1,1,2\n") ==
        "run.csv:3:1: '1': the time runs backwards\n");
  CHECK(faults_of("0,1,2\n1,1,2\n") ==
        "run.csv:1:1: '0,1,2': a header with names and units is expected above the numbers\n");
  CHECK(faults_of(std::string("a\0b", 3)) == "run.csv: a binary file; expected delimited text with a header\n");
  CHECK(load_measured("/nonexistent.csv").faults.text() == "/nonexistent.csv: no such file\n");
}
