#include "params/text/delimited.hpp"

#include <string>

#include "params/record/measured.hpp"
#include "tests/catch.hpp"

using namespace onegrain::params;

// What separates cells, marks decimals and stands around them is common practice of spreadsheets and cyclers (RFC 4180
// for quotes); the numbers are those written in each row of the test.

namespace {

std::string faults_of(const std::string& text) {
  Faults faults;
  read_delimited(text, "table.csv", faults);
  return faults.text();
}

}  // namespace

TEST_CASE("a table gives the same numbers however it is written", "[params][delimited]") {
  struct Row {
    const char* name;
    std::string text;
    int header_line;
  };
  const auto row = GENERATE(values<Row>({
      {"plain", "stoichiometry,potential / V\n0.25,4.1\n0.5,3.9\n", 1},
      {"semicolons, decimal commas", "stoichiometry;potential / V\n0,25;4,1\n0,5;3,9\n", 1},
      {"tabs", "stoichiometry\tpotential / V\n0.25\t4.1\n0.5\t3.9", 1},
      {"bars", "stoichiometry | potential [V]\n0.25 | 4.1\n0.5 | 3.9\n", 1},
      {"quotes around decimal commas", "stoichiometry,\"potential (V)\"\n\"0,25\",\"4,1\"\n\"0,5\",\"3,9\"\n", 1},
      {"byte order mark, line ends of two kinds of bytes",
       "\xEF\xBB\xBFstoichiometry,potential / V\r\n0.25,4.1\r\n0.5,3.9\r\n", 1},
      {"line ends of one other byte", "stoichiometry,potential / V\r0.25,4.1\r0.5,3.9\r", 1},
      {"comments and empty lines", "# measured\n\nstoichiometry,potential / V\n% at C/50\n0.25,4.1\n\n0.5,3.9\n", 3},
      {"a header behind a comment sign", "# stoichiometry,potential / V\n0.25,4.1\n0.5,3.9\n", 1},
      {"a preamble", "Powder 7\nmeasured: May\nstoichiometry,potential / V\n0.25,4.1\n0.5,3.9\n", 3},
      {"separators at the end", "stoichiometry,potential / V,\n0.25,4.1,\n0.5,3.9,\n", 1},
  }));
  CAPTURE(row.name, row.text);
  Faults faults;
  const auto table = read_delimited(row.text, "table.csv", faults);
  INFO(faults.text());
  REQUIRE(table);
  CHECK(table->header_line == row.header_line);
  REQUIRE(table->titles.size() >= 2);
  CHECK(table->titles[0].name == "stoichiometry");
  CHECK(table->titles[1].name == "potential");
  CHECK(table->titles[1].unit == "V");
  REQUIRE(table->rows.size() == 2);
  CHECK(table->rows[0].numbers[0] == 0.25);
  CHECK(table->rows[0].numbers[1] == 4.1);
  CHECK(table->rows[1].numbers[0] == 0.5);
  CHECK(table->rows[1].numbers[1] == 3.9);
}

TEST_CASE("one damaged row under the header is a row all the same", "[params][delimited]") {
  Faults faults;
  const auto table = read_delimited("stoichiometry,potential / V\nx,4.1\n0.5,3.9\n0.6,3.8\n", "table.csv", faults);
  REQUIRE(table);
  CHECK(table->header_line == 1);
  REQUIRE(table->rows.size() == 3);
  CHECK(table->rows[0].line == 2);
  CHECK_FALSE(table->rows[0].numbers[0]);
  CHECK(table->rows[0].numbers[1] == 4.1);
  // A cycler's file is refused no more for it; the row is counted.
  const auto measured = read_measured("t/s,U/V,I/A\noops,oops,1\n1,4.0,1\n2,4.0,1\n", "run.csv", MeasuredRequest{});
  INFO(measured.faults.text());
  REQUIRE(measured.value);
  CHECK(measured.value->rows_read == 3);
  CHECK(measured.value->record.line == std::vector<std::uint32_t>{3, 4});
  CHECK(measured.value->doubts.count(DoubtKind::not_a_number) == 1);
}

TEST_CASE("1.500 among decimal commas may be a thousand and is no number", "[params][delimited]") {
  Faults faults;
  const auto table = read_delimited("stoichiometry;potential / V\n0,25;4,1\n0,5;3.900\n", "table.csv", faults);
  REQUIRE(table);
  CHECK(table->rows[1].numbers[0] == 0.5);
  CHECK_FALSE(table->rows[1].numbers[1]);
}

TEST_CASE("a text that is no table says why", "[params][delimited][messages]") {
  CHECK(faults_of("") == "table.csv: empty; expected a header and rows of numbers\n");
  CHECK(faults_of("# nothing\n\n") == "table.csv: empty; expected a header and rows of numbers\n");
  CHECK(faults_of("0.1,4.1\n0.2,4.0\n") ==
        "table.csv:1:1: '0.1,4.1': a header with names and units is expected above the numbers\n");
  CHECK(faults_of("x,U / V\n0.1,4.1,7\n0.2,4.0\n0.3\n") ==
        "table.csv:2:1: 3 cells where the header has 2\ntable.csv:4:1: 1 cells where the header has 2\n");
  CHECK(faults_of(std::string("x,U / V\n0.1,\0", 13)) ==
        "table.csv: a binary file; expected delimited text with a header\n");
  CHECK(faults_of("\xFE\xFFx") == "table.csv: the text is UTF-16; save it as UTF-8\n");
}
