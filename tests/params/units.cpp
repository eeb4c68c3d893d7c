#include "params/number/units.hpp"

#include <udunits2.h>

#include <cmath>
#include <memory>
#include <string>

#include "params/number/quantity.hpp"
#include "tests/catch.hpp"

using namespace onegrain::params;

namespace {

/// UDUNITS-2 (Unidata), the outside reference: factor to SI base units, or NaN where it cannot read the unit or the two
/// dimensions differ.
class Udunits {
 public:
  Udunits() {
    ut_set_error_message_handler(ut_ignore);
    system_.reset(ut_read_xml(nullptr));
  }
  bool available() const { return system_ != nullptr; }
  double factor(const std::string& unit, const std::string& si) const {
    const Handle from(ut_parse(system_.get(), unit.c_str(), UT_UTF8)), to(ut_parse(system_.get(), si.c_str(), UT_UTF8));
    if (!from || !to || ut_are_convertible(from.get(), to.get()) == 0) return std::nan("");
    const std::unique_ptr<cv_converter, void (*)(cv_converter*)> converter(ut_get_converter(from.get(), to.get()),
                                                                           cv_free);
    return cv_convert_double(converter.get(), 1) - cv_convert_double(converter.get(), 0);
  }

 private:
  struct FreeUnit {
    void operator()(ut_unit* unit) const { ut_free(unit); }
  };
  struct FreeSystem {
    void operator()(ut_system* system) const { ut_free_system(system); }
  };
  using Handle = std::unique_ptr<ut_unit, FreeUnit>;
  std::unique_ptr<ut_system, FreeSystem> system_;
};

/// The dimension as a product that UDUNITS can read.
std::string si_text(const Dimension& dimension) {
  static const char* names[] = {"m", "kg", "s", "A", "K", "mol", "rad"};
  std::string text = "1";
  for (std::size_t k = 0; k < 7; ++k) {
    const int power = static_cast<int>(std::lround(dimension.power[k]));
    if (power != 0) text += std::string(" ") + names[k] + std::to_string(power);
  }
  return text;
}

std::string message_of(const std::string& text, const Kind& kind, const char* example = nullptr) {
  try {
    parse_quantity(text, kind, example);
  } catch (const QuantityError& wrong) {
    return wrong.what();
  }
  return "(no fault)";
}

}  // namespace

TEST_CASE("every unit that UDUNITS-2 also knows has the same size", "[params][units]") {
  const Udunits reference;
  REQUIRE(reference.available());
  for (const char* unit : {"m",         "mm",        "um",        "nm",
                           "\xC2\xB5m", "\xCE\xBCm", "angstrom",  "\xC3\x85",
                           "micron",    "inch",      "mil",       "cm",
                           "km",        "g",         "kg",        "mg",
                           "ug",        "t",         "lb",        "s",
                           "ms",        "us",        "min",       "h",
                           "hour",      "hours",     "d",         "day",
                           "A",         "mA",        "uA",        "nA",
                           "K",         "mK",        "mol",       "mmol",
                           "kmol",      "rad",       "degree",    "arcsec",
                           "L",         "mL",        "l",         "uL",
                           "ha",        "N",         "mN",        "Pa",
                           "kPa",       "MPa",       "GPa",       "bar",
                           "mbar",      "atm",       "psi",       "J",
                           "kJ",        "MJ",        "W",         "mW",
                           "kW",        "C",         "mC",        "V",
                           "mV",        "uV",        "ohm",       "mohm",
                           "kohm",      "Mohm",      "\xCE\xA9",  "S",
                           "mS",        "F",         "mF",        "uF",
                           "H",         "nH",        "F/m2",      "uF/cm2",
                           "Hz",        "kHz",       "%",         "ppm",
                           "ppb",       "mg/cm2",    "mg cm-2",   "mS/cm",
                           "S/m",       "cm2/s",     "cm^2/s",    "cm\xC2\xB2/s",
                           "m2 s-1",    "mol/L",     "mol/m3",    "kJ/mol",
                           "J/mol/K",   "J/(mol.K)", "J/(mol K)", "mA/cm2",
                           "mA/g",      "mV/K",      "W/(m2 K)",  "W/m2/K",
                           "W m-2 K-1", "mA.h/g",    "mA h",      "ohm.cm2",
                           "ohm cm2",   "g/cm3",     "kg/m3",     "g cm-3",
                           "cm3/mol",   "1/s",       "1/m",       "J/(kg K)",
                           "m.s-1",     "kg.m2/s2",  "mV/degC",   "J/degC",
                           "A m-2"}) {
    CAPTURE(unit);
    const Unit ours = parse_unit(unit);
    const double theirs = reference.factor(unit, si_text(ours.dimension));
    CHECK_THAT(ours.factor, WithinRel(theirs, 4e-13));  // the reference is a difference of two values
  }
}

TEST_CASE("units of the trade that UDUNITS-2 does not know", "[params][units]") {
  struct Row {
    const char* text;
    double factor;
    Dimension dimension;
  };
  const auto row = GENERATE(values<Row>({
      {"mAh", 3.6, {0, 0, 1, 1}},
      {"Ah", 3600, {0, 0, 1, 1}},
      {"mAh/g", 3600, {0, -1, 1, 1}},
      {"mAh/cm2", 3.6e4, {-2, 0, 1, 1}},
      {"mAh cm\xE2\x81\xBB\xC2\xB2", 3.6e4, {-2, 0, 1, 1}},
      {"kWh", 3.6e6, {2, 1, -2}},
      {"wt%", 0.01, {}},
      {"wt %", 0.01, {}},
      {"M", 1000, {-3, 0, 0, 0, 0, 1}},
      {"mM", 1, {-3, 0, 0, 0, 0, 1}},
      {"m\xC2\xB2 s\xE2\x81\xBB\xC2\xB9", 1, {2, 0, -1}},
      // where UDUNITS-2 rounds (torr = 133.322 Pa) or means another one (the calorie of the steam tables)
      {"torr", 101325.0 / 760, {-1, 1, -2}},
      {"kcal", 4184, {2, 1, -2}},
      {"cP", 1e-3, {-1, 1, -1}},
      // half-integer powers, on which UDUNITS-2 is silently wrong (it reads m2.5 as 0.25 m2)
      {"m2.5 mol-0.5 s-1", 1, {2.5, 0, -1, 0, 0, -0.5}},
      {"A/m2 (m3/mol)^1.5", 1, {2.5, 0, 0, 1, 0, -1.5}},
      {"cm^(1/2)", 0.1, {0.5, 0, 0}},
      // CODATA 2018, exact; UDUNITS-2 still has the value of 1986
      {"eV", 1.602176634e-19, {2, 1, -2}},
      {"m2/V/s", 1, {0, -1, 2, 1}},
      {"(S/m)", 1, {-3, -1, 3, 2}},
  }));
  CAPTURE(row.text);
  const Unit unit = parse_unit(row.text);
  CHECK_THAT(unit.factor, WithinRel(row.factor, 1e-14));
  CHECK(unit.dimension == row.dimension);
}

TEST_CASE("a temperature has an offset, a difference of temperatures and a slope have none", "[params][units]") {
  CHECK_THAT(parse<Temperature>("25 degC").si(), WithinAbs(298.15, 1e-12));
  CHECK_THAT(parse<Temperature>("25\xC2\xB0"
                                "C")
                 .si(),
             WithinAbs(298.15, 1e-12));
  CHECK_THAT(parse<Temperature>("-30 degC").si(), WithinAbs(243.15, 1e-12));
  CHECK_THAT(parse<Temperature>("298.15 K").si(), WithinAbs(298.15, 1e-12));
  CHECK_THAT(parse<Temperature>("77 degF").si(), WithinAbs(298.15, 1e-10));
  CHECK_THAT(parse<TemperatureDifference>("2 degC").si(), WithinAbs(2, 1e-15));
  CHECK_THAT(parse<EntropicCoefficient>("-0.1 mV/degC").si(), WithinAbs(-1e-4, 1e-18));
  CHECK(show(298.15, TemperatureKind::kind) == "25 degC");
}

TEST_CASE("a quantity is read with its unit", "[params][units]") {
  CHECK(parse<Length>("4.8 um").si() == 4.8e-6);
  CHECK(parse<Length>("4.8um").si() == 4.8e-6);
  CHECK(parse<Length>(" 4.8  um ").si() == 4.8e-6);
  CHECK(parse<Diffusivity>("1e-14 m2/s").si() == 1e-14);
  CHECK_THAT(parse<Diffusivity>("1E-10cm2/s").si(), WithinRel(1e-14, 1e-15));
  CHECK(parse<Fraction>("62 %").si() == 0.62);
  CHECK(parse<Fraction>("0.62").si() == 0.62);
  CHECK_THAT(parse<Fraction>("94 wt%").si(), WithinRel(0.94, 1e-15));
  CHECK_THAT(parse<Number>("8/3").si(), WithinRel(8.0 / 3, 1e-15));
  CHECK(parse<Voltage>("\xE2\x88\x92"
                       "0.1 V")
            .si() == -0.1);  // a minus sign instead of a hyphen
  CHECK_THAT(parse<ArealResistance>("12 ohm.cm2").si(), WithinRel(12e-4, 1e-14));
  CHECK_THAT(parse<Loading>("11.8 mg/cm2").si(), WithinRel(0.118, 1e-14));
}

TEST_CASE("what is wrong with a quantity is said in words", "[params][units][messages]") {
  CHECK(message_of("4.8", LengthKind::kind) == "no unit given; expected a length, such as '4.8 um'");
  CHECK(message_of("60 mV", LengthKind::kind) == "a voltage where a length is expected, such as '60 um'");
  CHECK(message_of("14 mg", LengthKind::kind, "mm") == "a mass where a length is expected, such as '14 mm'");
  CHECK(message_of("3 mS/gg", ConductivityKind::kind) ==
        "'gg' is not a known unit; expected a conductivity, such as '3 S/m'");
  CHECK(message_of("2.4 mah", ChargeKind::kind) ==
        "'mah' is not a known unit; did you mean 'mAh'?; expected a charge, such as '2.4 mAh'");
  CHECK(message_of("4,8 um", LengthKind::kind) == "a decimal comma; write a point, '4.8 um'");
  CHECK(message_of("thick", LengthKind::kind) == "not a number with a unit; expected a length, such as '1 um'");
  CHECK(message_of("", LengthKind::kind) == "no value given; expected a length, such as '1 um'");
  CHECK(message_of(".nan", LengthKind::kind) == "not a finite number; expected a length, such as '1 um'");
  CHECK(message_of("-.inf", NumberKind::kind) == "not a finite number; expected a number");
  CHECK(message_of("0x10 um", LengthKind::kind) == "not a number with a unit; expected a length, such as '1 um'");
  CHECK(message_of("1e999 um", LengthKind::kind) == "a number beyond what can be computed with");
  CHECK(message_of("1e308 km", LengthKind::kind) == "a number beyond what can be computed with");
  CHECK(message_of("5 cm", NumberKind::kind) == "a length where a number is expected");
  CHECK(message_of("25 %", AngleKind::kind) == "a number without unit where an angle is expected, such as '25 deg'");
  CHECK(message_of("1 kg m s", LengthKind::kind) == "a quantity in m kg s where a length is expected, such as '1 um'");
  CHECK(message_of("4.8 um um", LengthKind::kind) == "an area where a length is expected, such as '4.8 um'");
  CHECK(message_of("49 180 mol/m3", ConcentrationKind::kind) ==
        "not a number with a unit; expected a concentration, such as '1 mol/L'");
  CHECK(message_of("4.8 um/", LengthKind::kind) ==
        "the unit 'um/' ends too early; expected a length, such as '4.8 um'");
  CHECK(message_of("4.8 (um", LengthKind::kind) ==
        "a ')' is missing in the unit '(um'; expected a length, such as '4.8 um'");
}

TEST_CASE("a number is decimal, whole and finite, whatever the locale", "[params][units]") {
  for (const char* good : {"1", "-1", "+1", ".5", "5.", "1e3", "1.5E-3"}) {
    CAPTURE(good);
    CHECK(parse_number(good).has_value());
  }
  for (const char* bad : {"", "e3", "1e", "1e+", "0x1", "nan", "inf", "Infinity", "1,5", "1 ", " 1", "1.2.3", "--1",
                          "1e400", "1_000", "."}) {
    CAPTURE(bad);
    CHECK_FALSE(parse_number(bad).has_value());
  }
}

TEST_CASE("numbers are shown as people write them", "[params][units]") {
  CHECK(show(4.8e-6, LengthKind::kind) == "4.8 um");
  CHECK(show(63104, SiteConcentrationKind::kind, 4) == "63104 mol/m3");
  CHECK(show(1e-14, DiffusivityKind::kind) == "1e-14 m2/s");
  CHECK(show(0.62, FractionKind::kind) == "62 %");
  CHECK(show(4.2, VoltageKind::kind) == "4.2 V");
  CHECK(plain_number(0) == "0");
  CHECK(plain_number(1234567) == "1.2346e+06");
  CHECK(plain_number(0.00012345678) == "0.00012346");
  CHECK_THAT(in_unit(298.15, "degC"), WithinAbs(25, 1e-12));
}
