#include "params/record/measured.hpp"

#include <fmt/format.h>

#include <cmath>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <memory>
#include <random>
#include <string>

#include "tests/catch.hpp"

using namespace onegrain::params;

namespace {

Loaded<Measured> read(const std::string& text, const std::vector<std::string>& map = {}) {
  return read_measured(text, "run.csv", {parse_column_map(map), true});
}
std::string faults_of(const std::string& text, const std::vector<std::string>& map = {}) {
  return read(text, map).faults.text();
}

const std::string header = "Test Time / s,Voltage / V,Current / A\n";

}  // namespace

TEST_CASE("a time series reads back what was written", "[params][measured]") {
  std::mt19937_64 random(20);
  std::uniform_real_distribution<double> step(0, 30), voltage(2.5, 4.3), current(-2, 2);
  Record record;
  double time = 0;
  for (int k = 0; k < 500; ++k) {
    record.time.push_back(time += step(random));
    record.voltage.push_back(voltage(random));
    record.current.push_back(current(random) * std::pow(10, -k % 7));
  }
  record.others = {{"Quoted, \"so\" / 1", record.voltage}};
  const auto loaded = read(battery_data_text(record));
  INFO(loaded.faults.text());
  REQUIRE(loaded.value);
  CHECK(loaded.value->record.time == record.time);
  CHECK(loaded.value->record.voltage == record.voltage);
  CHECK(loaded.value->record.current == record.current);
  REQUIRE(loaded.value->record.others.size() == 1);
  CHECK(loaded.value->record.others[0].title == record.others[0].title);
  CHECK(loaded.value->record.others[0].values == record.voltage);
  CHECK(delimited_text({{"a", {1, NAN}}, {"b, c", {-0.0, 2.5}}}) == "a,\"b, c\"\n1,0\n,2.5\n");
}

TEST_CASE("the same numbers are read whatever separates them, marks decimals and surrounds them",
          "[params][measured]") {
  std::mt19937_64 random(4);
  const auto pick = [&](std::initializer_list<const char*> options) {
    return std::string(options.begin()[random() % options.size()]);
  };
  for (int trial = 0; trial < 300; ++trial) {
    const std::string separator = pick({",", ";", "\t", "|", " ", "; ", "   "});
    const bool blanks = separator.find_first_not_of(' ') == std::string::npos, comma = separator == ",";
    const bool decimal_comma = random() % 2 == 0, quotes = random() % 3 == 0 || (comma && decimal_comma),
               in_hours = random() % 2 == 0;
    const std::string end = pick({"\n", "\r\n", "\r"}), time_title = in_hours ? "t/h" : "t/s";
    const auto cell = [&](std::string text) {
      if (decimal_comma && text.find('.') != std::string::npos) text.replace(text.find('.'), 1, ",");
      return quotes ? "\"" + text + "\"" : text;
    };
    std::string text = random() % 2 == 0 ? "\xEF\xBB\xBF" : "";
    for (std::size_t k = random() % 4; k > 0; --k)
      text +=
          pick({"# a comment, with; everything", "Cycler no. 7", "Operator: nobody", "", "cell mass / g: 1.234"}) + end;
    const std::string tail = !blanks && random() % 4 == 0 ? separator : "";
    if (blanks && random() % 2 == 0) text += "# ";  // a header behind a comment sign
    text += time_title + separator + "\"U [mV]\"" + separator + "I_mA" + tail + end;
    Record record;
    const std::size_t rows = 3 + random() % 40;
    for (std::size_t k = 0; k < rows; ++k) {
      const double t = static_cast<double>(k) * 12.5, V = 2.5 + static_cast<double>(random() % 20000) / 1e4,
                   I = (static_cast<double>(random() % 4000) - 2000) / 1e3;
      record.time.push_back(t);
      record.voltage.push_back(V);
      record.current.push_back(I);
      text += cell(fmt::format("{:.12f}", in_hours ? t / 3600 : t)) + separator + cell(fmt::format("{:.3f}", 1e3 * V)) +
              separator + cell(fmt::format("{:.6e}", 1e3 * I)) + tail + end;
    }
    const auto loaded = read(text);
    CAPTURE(trial, text.substr(0, 400), loaded.faults.text());
    REQUIRE(loaded.value);
    const Record& found = loaded.value->record;
    REQUIRE(found.size() == rows);
    CHECK(loaded.value->doubts.list().empty());
    for (std::size_t k = 0; k < rows; ++k) {
      // Round-off of the printed hours: 1e-12 h are 3.6e-9 s.
      CHECK_THAT(found.time[k], WithinAbs(record.time[k], 4e-9));
      CHECK_THAT(found.voltage[k], WithinRel(record.voltage[k], 1e-12));
      CHECK_THAT(found.current[k], WithinAbs(record.current[k], 1e-12));
    }
  }
}

TEST_CASE("units in a line of their own, clock times and dates are understood", "[params][measured]") {
  const auto units = read("Zeit;Spannung;Strom;Kammer\nmin;V;mA;degC\n0;4,1;-2;25\n1;4,0;-2;26\n");
  INFO(units.faults.text());
  REQUIRE(units.value);
  CHECK(units.value->record.time[1] == 60);
  CHECK_THAT(units.value->record.current[0], WithinRel(-2e-3, 1e-12));
  CHECK(units.value->record.others.at(0).title == "Kammer / degC");
  const auto clock =
      read("Time,Voltage / V,Current / A\n0:00:00.5,4,1\n23:59:59,4,1\n1d 00:00:01,4,1\n2 01:00:00,4,1\n");
  INFO(clock.faults.text());
  REQUIRE(clock.value);
  CHECK(clock.value->record.time == std::vector<double>{0.5, 86399, 86401, 176400});
  // 2024 is a leap year: from 28 February to 1 March are two days (Gregorian calendar).
  const auto date = read("Time,Voltage / V,Current / A\n2024-02-28 12:00:00,4,1\n2024-03-01T12:00:00.25,4,1\n");
  REQUIRE(date.value);
  CHECK(date.value->record.time == std::vector<double>{0, 172800.25});
}

TEST_CASE("every row of a damaged file is either used or counted with its reason", "[params][measured]") {
  const auto loaded = read(header +
                           "0,4.0,1\n"  // line 2
                           "1,4.0,1\n"
                           "2,nan,1\n"  // 4: no value
                           "3,,1\n"     // 5
                           "4,4.0,1\n"
                           "5,4.0\n"       // 7: a cell short
                           "6,4.0,oops\n"  // 8: a word
                           "7,4.0,1\n"
                           "3,4.0,1\n"  // 10: alone out of order
                           "8,4.0,1\n"
                           "900,4.0,1\n"  // 12: ahead of what follows
                           "9,4.0,1\n"
                           "10,4.0,1\n"
                           "\n# a remark\n"
                           "11,4.0,1\n");
  INFO(loaded.faults.text());
  REQUIRE(loaded.value);
  const Measured& data = *loaded.value;
  CHECK(data.rows_read == 14);
  CHECK(data.record.time == std::vector<double>{0, 1, 4, 7, 8, 9, 10, 11});
  CHECK(data.record.line == std::vector<std::uint32_t>{2, 3, 6, 9, 11, 13, 14, 17});
  CHECK(data.doubts.count(DoubtKind::missing) == 2);
  CHECK(data.doubts.count(DoubtKind::cell_count) == 1);
  CHECK(data.doubts.count(DoubtKind::not_a_number) == 1);
  CHECK(data.doubts.count(DoubtKind::backward_time) == 2);
  CHECK(data.rows_read == data.record.size() + data.doubts.left_out());
  std::string lines;
  for (const Doubt& doubt : data.doubts.list()) lines += std::to_string(doubt.line) + ": " + doubt.text + "\n";
  CHECK(lines ==
        "4: no value in the column 'Voltage / V'\n"
        "5: no value in the column 'Voltage / V'\n"
        "7: 2 cells where the header has 3\n"
        "8: 'oops' in the column 'Current / A'\n"
        "10: the time 3 s does not fit: the row before or after has 7 s\n"
        "12: the time 900 s does not fit: the row before or after has 9 s\n");
}

TEST_CASE("a time that starts anew with each step is continued", "[params][measured]") {
  const auto loaded = read(header + "0,4.0,1\n10,4.1,1\n20,4.2,1\n0,4.1,0\n10,4.1,0\n0,4.0,-1\n5,3.9,-1\n");
  REQUIRE(loaded.value);
  CHECK(loaded.value->record.time == std::vector<double>{0, 10, 20, 20, 30, 30, 35});
  CHECK(loaded.value->doubts.count(DoubtKind::time_restart) == 2);
  CHECK(loaded.value->doubts.left_out() == 0);
}

TEST_CASE("a current without sign takes that of the state column", "[params][measured]") {
  const std::string rows =
      "t/s,U/V,I/A,Status\n0,3.5,1,CHA\n10,3.6,1,CHA\n20,3.6,0,PAU\n30,3.5,0.5,DIS\n40,3.4,0.5,DIS\n50,3.4,0.5,???\n";
  const auto loaded = read(rows, {"charge=CHA", "rest=PAU", "discharge=DIS"});
  INFO(loaded.faults.text());
  REQUIRE(loaded.value);
  CHECK(loaded.value->sign_from_state);
  CHECK(loaded.value->record.current == std::vector<double>{1, 1, 0, -0.5, -0.5, 0.5});
  CHECK(loaded.value->doubts.count(DoubtKind::unknown_state) == 1);
}

TEST_CASE("a decimal comma and a thousands separator are not confused", "[params][measured]") {
  const auto loaded = read("t/s;U/V;I/A\n0;3,5;1,5\n10;3,6;1.500\n20;3,7;1,5\n30;3,8;1,5\n");
  REQUIRE(loaded.value);
  CHECK(loaded.value->record.size() == 3);
  CHECK(loaded.value->doubts.count(DoubtKind::not_a_number) == 1);
}

TEST_CASE("a file larger than a piece is read like a small one", "[params][measured]") {
  const std::filesystem::path path =
      std::filesystem::temp_directory_path() / fmt::format("onegrain_large_{}.csv", std::random_device{}());
  constexpr int rows = 2'600'000;  // above 64 MiB, from where on files are read in pieces
  {
    std::ofstream out(path, std::ios::binary);
    std::string text = header;
    for (int k = 0; k < rows; ++k) {
      fmt::format_to(std::back_inserter(text), "{}.25,3.{:05d},-0.0012345\n", k, k % 100000);
      if (text.size() > 1 << 20) {
        out << text;
        text.clear();
      }
    }
    out << text;
  }
  const auto loaded = load_measured(path.string());
  // sha256sum of GNU coreutils is another implementation of FIPS 180-4
  const std::unique_ptr<std::FILE, int (*)(std::FILE*)> other(popen(("sha256sum " + path.string()).c_str(), "r"),
                                                              pclose);
  REQUIRE(other);
  char digits[65] = {};
  REQUIRE(std::fread(digits, 1, 64, other.get()) == 64);
  std::filesystem::remove(path);
  INFO(loaded.faults.text());
  REQUIRE(loaded.value);
  REQUIRE(loaded.files.size() == 1);
  CHECK(loaded.files[0].sha256 == digits);
  const Record& record = loaded.value->record;
  REQUIRE(record.size() == rows);
  bool same = true;
  for (int k = 0; k < rows; ++k) {
    const auto n = static_cast<std::size_t>(k);
    same = same && record.time[n] == k + 0.25 && std::abs(record.voltage[n] - (3 + (k % 100000) / 1e5)) < 1e-12 &&
           record.line[n] == n + 2;
  }
  CHECK(same);
}

TEST_CASE("a data file that cannot be used says why", "[params][measured][messages]") {
  CHECK(faults_of("") == "run.csv: empty; expected a header and rows of numbers\n");
  CHECK(faults_of(header) == "run.csv: no rows of numbers\n");
  CHECK(faults_of("Test Time / s,Voltage / A,Current / A\n0,1,2\n") ==
        "run.csv:1:1: 'Voltage / A': a current where a voltage is expected; another column is named by --columns "
        "voltage=TITLE, another unit by "
        "--columns voltage='Voltage / A:V'\n");
  CHECK(faults_of("0,1,2\n1,1,2\n") ==
        "run.csv:1:1: a header with names and units is expected above the numbers; without one, name the columns by "
        "number: --columns time=#1:s "
        "voltage=#2:V current=#3:A\n");
  CHECK(faults_of("0,1,2\n1,1,2\n", {"time=#1:s", "voltage=#2:V", "current=#3:A"}).empty());
  CHECK(faults_of(header + "0,1,2\n1,nan,2\n2,nan,2\n") ==
        "run.csv: 2 of 3 rows cannot be used\nrun.csv:3:1: no value in the column 'Voltage / V'\nrun.csv:4:1: no value "
        "in the column 'Voltage / V'\n");
  CHECK(faults_of(std::string("a\0b", 3)) == "run.csv: a binary file; expected delimited text with a header\n");
  CHECK(faults_of("\xFF\xFE"
                  "t") == "run.csv: the text is UTF-16; save it as UTF-8\n");
  CHECK(load_measured("/nonexistent.csv").faults.text() == "/nonexistent.csv: no such file\n");
}
