#include "params/text/expression.hpp"

#include <cmath>
#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include "params/card/card.hpp"
#include "tests/catch.hpp"

using namespace onegrain::params;

namespace {

double evaluated(const std::string& text, double x = 0.3, double T = 300) { return Expression(text, {"x", "T"})(x, T); }

std::string fault_of(const std::string& text) {
  try {
    Expression(text, {"x", "T"});
  } catch (const ExpressionError& wrong) {
    return wrong.what();
  }
  return "(no fault)";
}

/// A folder with files, gone at the end.
struct Folder {
  std::filesystem::path path =
      std::filesystem::temp_directory_path() /
      ("onegrain_expression_" +
       std::to_string(std::hash<std::string>{}(Catch::getResultCapture().getCurrentTestName())));
  Folder() { std::filesystem::create_directories(path); }
  ~Folder() { std::filesystem::remove_all(path); }
  std::string write(const std::string& name, const std::string& text) const {
    std::ofstream(path / name, std::ios::binary) << text;
    return (path / name).string();
  }
};

std::string material(const std::string& potential, const std::string& diffusion = "1e-14 m2/s") {
  return "onegrain_material: 1\nname: a host\nrole: positive\nmaximum_concentration: 50000 "
         "mol/m3\nopen_circuit_potential: " +
         potential + "\ndiffusion_coefficient: " + diffusion + "\nexchange_current_density: 2 A/m2\n";
}

Loaded<Material> card(const Folder& folder, const std::string& text) {
  return load_material(folder.write("card.yaml", text));
}

std::string faults_of(const Folder& folder, const std::string& text) {
  std::string result = card(folder, text).faults.text();
  const std::string prefix = folder.path.string() + "/";
  for (std::size_t at = result.find(prefix); at != std::string::npos; at = result.find(prefix))
    result.erase(at, prefix.size());
  return result;
}

}  // namespace

TEST_CASE("an expression means what it means on paper", "[params][expression]") {
  CHECK(evaluated("2 + 3*4") == 14);
  CHECK(evaluated("2^3^2") == 512);  // powers bind from the right
  CHECK(evaluated("-2^2") == -4);    // and closer than a sign
  CHECK(evaluated("2^-1") == 0.5);
  CHECK(evaluated("1e-3*x") == 1e-3 * 0.3);
  CHECK(evaluated("6/3/2") == 1);
  CHECK(evaluated("pi") == 3.14159265358979323846);
  CHECK_THAT(evaluated("e"), WithinRel(std::exp(1.0), 1e-15));
  CHECK_THAT(evaluated("ln(e^2) + log10(1000) + log2(8)"), WithinRel(8.0, 1e-14));
  CHECK_THAT(
      evaluated("4.3 - 1.05*x + 0.09*tanh((0.62-x)/0.09) - 0.9*exp(60*(x-0.995))"),
      WithinRel(4.3 - 1.05 * 0.3 + 0.09 * std::tanh((0.62 - 0.3) / 0.09) - 0.9 * std::exp(60 * (0.3 - 0.995)), 1e-14));
  CHECK(evaluated("x < 0.5 ? 1 : 2") == 1);
  CHECK(evaluated("max(x, 0.5)") == 0.5);
  CHECK(evaluated("abs(x - T)") == 299.7);
  CHECK(Expression("x*T", {"x", "T"}).uses("T"));
  CHECK_FALSE(Expression("tanh(x)", {"x", "T"}).uses("T"));
  CHECK_FALSE(std::isfinite(evaluated("1/(x-x)")));
  CHECK_FALSE(std::isfinite(evaluated("ln(0-1)")));
}

TEST_CASE("an expression that is no formula says where and why", "[params][expression][messages]") {
  CHECK(fault_of("4.3 - y") == "'y' at position 7 is not known; did you mean 'x'?");
  CHECK(fault_of("4.3 - foobar") == "'foobar' at position 7 is not known; variables here: x, T");
  CHECK(fault_of("tanhh(x)") == "'tanhh' at position 1 is not known; did you mean 'tanh'?");
  CHECK(fault_of("x = 3") == "'=' at position 3; a formula of the variables is expected, not an equation");
  CHECK(fault_of("4,5") == "a comma at position 2; decimals are written with a point");
  CHECK(fault_of("(1,2)*x") == "a comma at position 3; decimals are written with a point");
  CHECK(fault_of("log(x)") == "'log' at position 1 is ambiguous; write ln or log10");
  CHECK(fault_of("2x") == "'x' at position 2 follows a number; write '*' to multiply");
  CHECK(fault_of("x(1)") == "'x(...)' at position 1 is not a function; write '*' to multiply");
  CHECK(fault_of("tanh x") == "'tanh' at position 1 needs its argument in parentheses");
  CHECK(fault_of("x**2") == "'**' at position 2; a power is written '^'");
  CHECK(fault_of("(x") == "a ')' is missing at the end");
  CHECK(fault_of("x)") == "a ')' at position 2 without its '('");
  CHECK(fault_of("\"x\"") == "'\"' at position 1 has no place in an expression");
  CHECK(fault_of("x;x") == "';' at position 2 has no place in an expression");
  CHECK(fault_of("") == "an empty expression");
  CHECK_THAT(fault_of("x +"), HasText("cannot be read"));
  CHECK_THAT(fault_of("x x"), HasText("cannot be read at position 3"));
  CHECK_THAT(fault_of("tanh(x, x)"), HasText("cannot be read"));
  CHECK_THAT(fault_of(std::string(200, '(') + "x" + std::string(200, ')')), HasText("more than 60 parentheses"));
  CHECK_THAT(fault_of("1." + std::string(5000, '0')), HasText("more than 4000 letters"));
}

TEST_CASE("a potential as an expression becomes a curve within a nanovolt", "[params][function]") {
  const Folder folder;
  // U_p of C.-H. Chen et al., J. Electrochem. Soc. 167, 080534 (2020), from memory: two nearly cancelling steps of 17.6
  // V.
  const auto loaded = card(folder, material("{expression: \"-0.8090*x + 4.4875 - 0.0428*tanh(18.5138*(x - 0.5542)) - "
                                            "17.7326*tanh(15.7890*(x - 0.3117)) + "
                                            "17.5842*tanh(15.9308*(x - 0.3120))\", range: [0.2, 0.99]}"));
  INFO(loaded.faults.text());
  REQUIRE(loaded.value);
  const auto host = loaded.value->to_host({});
  for (double x = 0.2; x <= 0.99; x += 0.00123) {
    const double expected = -0.8090 * x + 4.4875 - 0.0428 * std::tanh(18.5138 * (x - 0.5542)) -
                            17.7326 * std::tanh(15.7890 * (x - 0.3117)) + 17.5842 * std::tanh(15.9308 * (x - 0.3120));
    REQUIRE_THAT(host.potential(x, 298.15), WithinAbs(expected, 2e-9));
  }
  // Values computed by hand for that paper: 4.27296 V at 0.27, 3.56140 V at 0.9084.
  CHECK_THAT(host.potential(0.27, 298.15), WithinAbs(4.27296, 5e-6));
  CHECK_THAT(host.potential(0.9084, 298.15), WithinAbs(3.56140, 5e-6));
}

TEST_CASE(
    "a formula with the temperature is right at the temperature of the sheet, and over -30..70 degC where the cell "
    "warms up",
    "[params][function]") {
  const Folder folder;
  const auto loaded = card(
      folder, material("{expression: \"4.2 - x\"}",
                       "{expression: \"1e-14*exp(-2*x)*exp(3000*(1/298.15 - 1/T))\", unit: m2/s, spread: factor 3}"));
  INFO(loaded.faults.text());
  REQUIRE(loaded.value);
  const auto exact = [](double x, double T) {
    return 1e-14 * std::exp(-2 * x) * std::exp(3000 * (1 / 298.15 - 1 / T));
  };
  const auto at_rest = loaded.value->to_host({.at = 280, .vary = false}).diffusivity;
  CHECK_THAT(at_rest(0.4, 280), WithinRel(exact(0.4, 280), 1e-9));
  const auto warming = loaded.value->to_host({.at = 298.15, .vary = true}).diffusivity;
  for (const double T : {248.0, 265.0, 298.15, 320.0, 340.0}) {
    CAPTURE(T);
    CHECK_THAT(warming(0.4, T), WithinRel(exact(0.4, T), 3e-4));
  }
  // A spread as a factor scales the whole function.
  Material scaled = *loaded.value;
  CHECK(scaled.diffusion_coefficient.si == 1);
  scaled.diffusion_coefficient.si = 2;
  CHECK_THAT(scaled.to_host({.at = 280, .vary = false}).diffusivity(0.4, 280), WithinRel(2 * exact(0.4, 280), 1e-9));
}

TEST_CASE("a table passes through its points and keeps falling where they fall", "[params][function]") {
  const Folder folder;
  folder.write("steep.csv",
               "# invented, with a steep step\nstoichiometry, potential / "
               "mV\n0.0,4300\n0.1,4200\n0.2,4190\n0.3,4185\n0.31,3500\n0.5,3490\n0.9,3480\n1.0,2500\n");
  const auto loaded = card(folder, material("{table: steep.csv}"));
  INFO(loaded.faults.text());
  REQUIRE(loaded.value);
  const auto potential = loaded.value->to_host({}).potential;
  CHECK_THAT(potential(0.2, 298.15), WithinAbs(4.190, 1e-12));
  CHECK_THAT(potential(0.31, 298.15), WithinAbs(3.500, 1e-12));
  CHECK_THAT(potential(1.0, 298.15), WithinAbs(2.5, 1e-12));
  double before = potential(0, 298.15);
  for (double x = 0.0005; x < 1; x += 0.0005) {
    const double here = potential(x, 298.15);
    REQUIRE(here <= before + 1e-13);
    before = here;
  }
}

TEST_CASE("a table may run downwards, have two points, and be clipped by a range", "[params][function]") {
  const Folder folder;
  folder.write("two.csv", "stoichiometry;potential / V\r\n0,9;3,5\r\n0,1;4,3\r\n");  // decimal commas of a spreadsheet
  const auto two = card(folder, material("{table: two.csv}"));
  INFO(two.faults.text());
  REQUIRE(two.value);
  CHECK_THAT(two.value->to_host({}).potential(0.5, 298.15), WithinAbs(3.9, 1e-12));

  folder.write("many.csv", "stoichiometry,potential / V\n0,4.3\n0.2,4.1\n0.4,4.05\n0.6,3.9\n0.8,3.7\n1,3.4\n");
  const auto whole = card(folder, material("{table: many.csv}"));
  const auto clipped = card(folder, material("{table: many.csv, range: [0.3, 0.85]}"));
  INFO(clipped.faults.text());
  REQUIRE(clipped.value);
  CHECK(clipped.value->open_circuit_potential.lower == 0.3);
  CHECK(clipped.value->open_circuit_potential.upper == 0.85);
  for (const double x : {0.3, 0.35, 0.5, 0.85}) {
    CHECK_THAT(clipped.value->to_host({}).potential(x, 298.15),
               WithinAbs(whole.value->to_host({}).potential(x, 298.15), 1e-13));
  }
}

TEST_CASE("a table that cannot be used names the line", "[params][function][messages]") {
  const Folder folder;
  const std::string head = "stoichiometry, potential / V\n";
  struct Row {
    const char* table;
    const char* fault;
  };
  const auto row = GENERATE(values<Row>({
      {"stoichiometry, potential / V\n0.1,4.2\n0.3,4.0\n0.2,3.9\n0.4,3.8\n",
       "t.csv:4:1: '0.2': out of order: the stoichiometry must rise or fall throughout\n"},
      {"stoichiometry, potential / V\n0.1,4.2\n0.3,4.0\n0.3,3.9\n0.4,3.8\n",
       "t.csv:4:1: '0.3': the same stoichiometry as in line 3\n"},
      {"stoichiometry, potential / V\n0.1,4.2\n0.3,nan\n0.4,3.8\n", "t.csv:3:1: 'nan': not a finite number\n"},
      {"stoichiometry, potential / V\n0.1,4.2\n0.3\n0.4,3.8\n", "t.csv:3:1: 1 cells where the header has 2\n"},
      {"stoichiometry, potential / V\n0.1,4.2\n", "t.csv: at least two rows are needed\n"},
      {"stoichiometry, potential / V\n0.1,4.2\n1.3,3.8\n", "t.csv:3:1: '1.3': a stoichiometry outside 0 to 1\n"},
      {"stoichiometry, potential\n0.1,4.2\n0.3,3.8\n",
       "t.csv:1:1: 'potential': no unit given; expected a header such as 'stoichiometry, potential / V'\n"},
      {"stoichiometry, potential / A\n0.1,4.2\n0.3,3.8\n",
       "t.csv:1:1: 'potential / A': a current where a voltage is expected; expected a header such as 'stoichiometry, "
       "potential / V'\n"},
      {"x, potential / V\n0.1,4.2\n0.3,3.8\n",
       "t.csv:1:1: 'x': the first column must be the stoichiometry; expected a header such as 'stoichiometry, "
       "potential / V'\n"},
      {"0.1,4.2\n0.3,3.8\n", "t.csv:1:1: '0.1,4.2': a header with names and units is expected above the numbers\n"},
      {"stoichiometry, potential / V, more\n0.1,4.2,1\n",
       "t.csv:1:1: 3 columns where two are expected, such as 'stoichiometry, potential / V'\n"},
      {"", "t.csv: empty; expected a header and rows of numbers\n"},
  }));
  CAPTURE(row.table);
  folder.write("t.csv", row.table);
  CHECK(faults_of(folder, material("{table: t.csv}")) == row.fault);
}

TEST_CASE("a card with unusable formulas says how to mend them", "[params][card][messages]") {
  const Folder folder;
  CHECK(faults_of(folder, material("{expression: \"4 - ln(x)\"}")) ==
        "card.yaml:5:38: open_circuit_potential.expression = '4 - ln(x)': not finite at x = 0; state where it holds, "
        "such as 'range: [0.01, 0.99]'\n");
  CHECK(faults_of(folder, material("{expression: \"4 - c\"}")) ==
        "card.yaml:5:38: open_circuit_potential.expression = '4 - c': 'c' at position 5 is not known; did you mean "
        "'x'?\n");
  CHECK(faults_of(folder, material("{expression: \"4 - x\", table: t.csv}")) ==
        "card.yaml:5:54: open_circuit_potential.table = 't.csv': either 'expression' or 'table', not both\n");
  CHECK(faults_of(folder, material("{range: [0, 1]}")) ==
        "card.yaml:5:25: open_circuit_potential.expression: missing; expected a formula ('expression') or the name of "
        "a table ('table')\n");
  CHECK(faults_of(folder, material("{table: nowhere.csv}")) ==
        "card.yaml:5:33: open_circuit_potential.table = 'nowhere.csv': nowhere.csv: no such file\n");
  CHECK(faults_of(folder, material("3.4 V")) ==
        "card.yaml:5:25: open_circuit_potential = '3.4 V': expected an 'expression' of x, or a 'table', against "
        "lithium metal\n");
  CHECK(faults_of(folder, material("{expression: \"4 - x\"}", "{expression: \"1e-14*x\"}")) ==
        "card.yaml:6:24: diffusion_coefficient.unit: missing; expected the unit of the expression, such as 'm2/s'\n");
  CHECK(faults_of(folder, material("{expression: \"4 - x\"}", "{expression: \"1e-14*(x-0.5)\", unit: m2/s}")) ==
        "card.yaml:6:37: diffusion_coefficient.expression = '1e-14*(x-0.5)': gives -5e-15 m2/s at x = 0, out of reason "
        "for a diffusion coefficient; "
        "narrow the 'range' or mend the formula\n");
  CHECK(faults_of(folder, material("{expression: \"4 - x\"}", "{expression: \"1e-14\", unit: mV}")) ==
        "card.yaml:6:52: diffusion_coefficient.unit = 'mV': a voltage where a diffusion coefficient is expected, such "
        "as 'm2/s'\n");
  CHECK(faults_of(folder, material("{expression: \"3 + x\"}")) ==
        "card.yaml:5:38: warning: open_circuit_potential.expression = '3 + x': the potential rises by 1e+03 mV "
        "somewhere with filling; a host at rest does not do that\n");
  CHECK(faults_of(folder, material("{expression: \"4 - x\", range: [0.9, 0.1]}")) ==
        "card.yaml:5:54: open_circuit_potential.range: must ascend and lie between 0 and 1\n");
}
