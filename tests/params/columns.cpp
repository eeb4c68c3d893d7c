#include "params/record/columns.hpp"

#include <string>

#include "tests/catch.hpp"

using namespace onegrain::params;

namespace {

std::string map_fault(const std::vector<std::string>& words) {
  try {
    parse_column_map(words);
  } catch (const ColumnMapError& error) {
    return error.what();
  }
  return "";
}

std::vector<TakenColumn> taken(const std::vector<std::string>& map, const std::vector<std::string>& titles,
                               Faults& faults) {
  return take_columns(parse_column_map(map), titles, std::vector<bool>(titles.size(), false), {"run.csv", 3, 1},
                      faults);
}

std::string faults_of(const std::vector<std::string>& map, const std::vector<std::string>& titles) {
  Faults faults;
  taken(map, titles, faults);
  return faults.text();
}

}  // namespace

TEST_CASE("a title gives its unit away however it is written", "[params][columns]") {
  struct Row {
    const char* title;
    const Kind& kind;
    const char* name;
    const char* unit;
    double factor;
  };
  // Quantity and unit as a quotient: ISO 80000-1; brackets, commas, underscores and "in" are common practice.
  const std::vector<Row> rows = {
      {"Voltage / V", VoltageKind::kind, "Voltage", "V", 1},
      {"U/mV", VoltageKind::kind, "U", "mV", 1e-3},
      {"t/h", TimeKind::kind, "t", "h", 3600},
      {"I [mA]", CurrentKind::kind, "I", "mA", 1e-3},
      {"I (uA)", CurrentKind::kind, "I", "uA", 1e-6},
      {"Current, A", CurrentKind::kind, "Current", "A", 1},
      {"Zeit in min", TimeKind::kind, "Zeit", "min", 60},
      {"test_time_second", TimeKind::kind, "test_time", "second", 1},
      {"current_ampere", CurrentKind::kind, "current", "ampere", 1},
      {"voltage_V", VoltageKind::kind, "voltage", "V", 1},
      {"Q / mAh", ChargeKind::kind, "Q", "mAh", 3.6},
      {"temperature_1_degC", TemperatureKind::kind, "temperature_1", "degC", 1},
  };
  for (const Row& row : rows) {
    CAPTURE(row.title);
    const TitleUnit title = title_unit(row.title, row.kind);
    REQUIRE(title.unit);
    CHECK(title.name == row.name);
    CHECK(title.unit_text == row.unit);
    CHECK_THAT(title.unit->factor, WithinRel(row.factor, 1e-12));
  }
  CHECK_FALSE(title_unit("Time", TimeKind::kind).unit);
  CHECK_FALSE(title_unit("Voltage / A", VoltageKind::kind).unit);
  CHECK(title_unit("Voltage / A", VoltageKind::kind).unit_text == "A");
}

TEST_CASE("columns are found by the open standard, by plain words, and by the user's word before all",
          "[params][columns]") {
  Faults faults;
  auto columns = taken({}, {"Cycle Count / 1", "Current / A", "Voltage / V", "Test Time / s", "Unix Time / s"}, faults);
  REQUIRE(columns.size() == 4);
  CHECK(columns[0].index == 3);
  CHECK(columns[1].index == 2);
  CHECK(columns[2].index == 1);
  CHECK(columns[3].role == ColumnRole::cycle);

  columns = taken({}, {"test_time_s", "voltage_V", "current_A", "note"}, faults);
  REQUIRE(columns.size() == 3);
  CHECK(columns[2].title == "current_A");

  columns = taken({"time=Zeit:h", "voltage=U/mV", "current=-I [mA]", "temperature=#4"},
                  {"Zeit", "U/mV", "I [mA]", "Kammer (degC)", "Time / s"}, faults);
  INFO(faults.text());
  REQUIRE(columns.size() == 4);
  CHECK(columns[0].factor == 3600);
  CHECK_THAT(columns[1].factor, WithinRel(1e-3, 1e-12));
  CHECK_THAT(columns[2].factor, WithinRel(-1e-3, 1e-12));  // a discharge that is positive in the file
  CHECK_THAT(columns[3].offset, WithinRel(273.15, 1e-12));
  CHECK(faults.empty());
}

TEST_CASE("a column that is not found names the titles there are and what to pass", "[params][columns][messages]") {
  CHECK(faults_of({}, {"Zeit", "U/V", "I/mA"}) ==
        "run.csv:3:1: 'Zeit': no unit is given; write it behind a colon: --columns time='Zeit:s'\n");
  CHECK(faults_of({}, {"clock", "U/V", "I/mA"}) ==
        "run.csv:3:1: no column 'Test Time / s' (or 'test_time_second'), and none that is surely the time\n"
        "run.csv:3:1: name the columns: --columns time='TITLE' voltage='TITLE' current='TITLE'; a unit that the title "
        "lacks stands behind a "
        "colon, time='TITLE:s'; the titles are 'clock', 'U/V', 'I/mA'\n");
  CHECK(faults_of({"time=t"}, {"t/s", "U/A", "I/mA"}) ==
        "run.csv:3:1: 'U/A': a current where a voltage is expected; another column is named by --columns "
        "voltage=TITLE, another unit by "
        "--columns voltage='U/A:V'\n");
  CHECK(faults_of({"time=Zeit"}, {"t/s", "U/V", "I/mA"}) ==
        "run.csv:3:1: --columns time='Zeit': no such column; the titles are 't/s', 'U/V', 'I/mA'\n");
  CHECK(faults_of({"time=t/s:furlong"}, {"t/s", "U/V", "I/mA"}) ==
        "run.csv:3:1: --columns time: 'furlong' is not a known unit\n");
  CHECK(faults_of({"time=t/s", "voltage=t/s"}, {"t/s", "U/V", "I/mA"}) ==
        "run.csv:3:1: 't/s': taken for two things by --columns\n");
  CHECK(map_fault({"t/h"}) == "--columns: 't/h' names no column; write time=TITLE voltage=TITLE current=TITLE");
  CHECK(map_fault({"time=t/h", "time=t/s"}) == "--columns: 'time' is given twice");
  CHECK(map_fault({"voltge=U"}) ==
        "--columns: 'voltge' is not known, did you mean 'voltage'?; known are 'time', 'voltage', 'current', "
        "'temperature', 'capacity', 'state', "
        "'cycle', 'step', 'rest', 'charge', 'discharge'");
  CHECK(map_fault({"time="}) == "--columns: no title behind 'time='");
}

TEST_CASE("words for charge, discharge and rest are understood, and can be given", "[params][columns]") {
  const ColumnMap none;
  for (const char* word : {"charge", "Charging", "CHG", "cc charge", "Laden", "C"})
    CHECK(state_of(word, none) == RowState::charge);
  for (const char* word : {"discharge", "Dchg", "CC_Discharge", "Entladen", "D", "DIS"})
    CHECK(state_of(word, none) == RowState::discharge);
  for (const char* word : {"rest", "Pause", "OCV", "relaxation", "R"}) CHECK(state_of(word, none) == RowState::rest);
  for (const char* word : {"", "7", "impedance"}) CHECK(state_of(word, none) == RowState::unknown);
  const ColumnMap given = parse_column_map({"state=S", "charge=1,11", "discharge=2", "rest=0"});
  CHECK(state_of("11", given) == RowState::charge);
  CHECK(state_of("2", given) == RowState::discharge);
  CHECK(state_of("0", given) == RowState::rest);
  CHECK(state_of("3", given) == RowState::unknown);
}
