#include "params/record/spectrum.hpp"

#include <cmath>

#include "tests/catch.hpp"

// Measured impedance as instruments write it. Labels of the standard: Battery Data Format, "Frequency / Hz", "Real
// Impedance / ohm", "Imaginary Impedance / ohm", "Absolute Impedance / ohm", "Phase / deg"; other titles: common
// practice.

using namespace onegrain::params;
using Catch::Matchers::WithinAbs;
using Catch::Matchers::WithinRel;

namespace {

/// A resistor of 2 ohm and one of 3 ohm with 0.1 F beside it, in closed form, from 100 Hz down to 10 mHz.
std::string table(const std::string& head, const std::function<std::string(double f, double re, double im)>& row) {
  std::string text = head + "\n";
  for (int k = 0; k <= 16; ++k) {
    const double f = std::pow(10, 2 - k / 4.0), w = 2 * M_PI * f, d = 1 + 0.09 * w * w;
    text += row(f, 2 + 3 / d, -0.9 * w / d) + "\n";
  }
  return text;
}

std::string listed(std::initializer_list<double> numbers, char between = ',') {
  std::string text;
  char digits[40];
  for (const double number : numbers) {
    std::snprintf(digits, sizeof digits, "%.12g", number);
    text += (text.empty() ? "" : std::string(1, between)) + digits;
  }
  return text;
}

MeasuredSpectrum read(const std::string& text, const std::vector<std::string>& columns = {}) {
  const auto loaded = read_spectrum(text, "cell.csv", columns);
  INFO(loaded.faults.text());
  REQUIRE(loaded.value);
  return *loaded.value;
}

void check_circuit(const MeasuredSpectrum& spectrum) {
  REQUIRE(spectrum.size() == 17);
  CHECK(spectrum.frequency.front() == 100);
  for (std::size_t k = 0; k < spectrum.size(); ++k) {
    const double w = 2 * M_PI * spectrum.frequency[k], d = 1 + 0.09 * w * w;
    CHECK_THAT(spectrum.real[k], WithinRel(2 + 3 / d, 1e-9));
    CHECK_THAT(spectrum.imaginary[k], WithinAbs(-0.9 * w / d, 1e-9));
  }
}

}  // namespace

TEST_CASE("a spectrum is read whatever its columns are called and however they stand", "[params][spectrum]") {
  check_circuit(
      read(table("Frequency / Hz,Real Impedance / ohm,Imaginary Impedance / ohm", [](double f, double re, double im) {
        return listed({f, re, im});
      })));
  check_circuit(
      read(table("frequency_hertz,real_impedance_ohm,imaginary_impedance_ohm", [](double f, double re, double im) {
        return listed({f, re, im});
      })));
  check_circuit(read(table("freq/Hz\tRe(Z)/Ohm\t-Im(Z)/Ohm", [](double f, double re, double im) {
    return listed({f, re, -im}, '\t');
  })));
  check_circuit(read(table("nr;f (kHz);Z' (mohm);-Z'' (mohm)", [](double f, double re, double im) {
    return listed({1, f / 1e3, re * 1e3, -im * 1e3}, ';');
  })));
  check_circuit(read(table("Frequency / Hz,Absolute Impedance / ohm,Phase / deg", [](double f, double re, double im) {
    return listed({f, std::hypot(re, im), std::atan2(im, re) * 180 / M_PI});
  })));
  check_circuit(read(table("a,b,c",
                           [](double f, double re, double im) {
                             return listed({-im, f, re});
                           }),
                     {"frequency=b:Hz", "real=c:ohm", "imaginary=-a:ohm"}));
}

TEST_CASE("an imaginary part that no cell at rest can have is turned, and that is kept in mind", "[params][spectrum]") {
  const MeasuredSpectrum turned =
      read(table("Frequency / Hz,Real Impedance / ohm,Imaginary Impedance / ohm", [](double f, double re, double im) {
        return listed({f, re, -im});
      }));
  check_circuit(turned);
  CHECK(turned.turned);
  // Leads make it positive at high frequency alone: nothing is turned.
  const MeasuredSpectrum leads =
      read(table("Frequency / Hz,Real Impedance / ohm,Imaginary Impedance / ohm", [](double f, double re, double im) {
        return listed({f, re, im + 0.02 * f});
      }));
  CHECK_FALSE(leads.turned);
  CHECK(leads.imaginary.front() > 0);
}

TEST_CASE("rising frequencies are put in order, rows without numbers left out, further sweeps named",
          "[params][spectrum]") {
  std::string text =
      table("Frequency / Hz,Real Impedance / ohm,Imaginary Impedance / ohm", [](double f, double re, double im) {
        return listed({1 / f, re, im});
      });
  const MeasuredSpectrum rising = read(text);
  CHECK(std::is_sorted(rising.frequency.rbegin(), rising.frequency.rend()));
  text = table("Frequency / Hz,Real Impedance / ohm,Imaginary Impedance / ohm", [](double f, double re, double im) {
    return listed({f, re, im});
  });
  const std::string rows = text.substr(text.find('\n') + 1);
  const MeasuredSpectrum twice = read(text + rows + "0,1,1\n5,,2\n");
  check_circuit(twice);
  CHECK(twice.further_sweeps == 1);
  CHECK(twice.left_out == 2);
}

TEST_CASE("what is no spectrum is refused with what was found and what to write", "[params][spectrum]") {
  for (const auto& [text, columns, said] :
       {std::tuple<std::string, std::vector<std::string>, std::string>{
            "Test Time / s,Voltage / V,Current / A\n0,3,1\n1,3,1\n", {}, "no spectrum"},
        {"Frequency / Hz,Real Impedance / ohm,Imaginary Impedance / ohm\n1,2,3\n", {}, "1 points only"},
        {"Frequency / Hz,Real Impedance / ohm,Imaginary Impedance / ohm\n1,2,3\n",
         {"time=a"},
         "write what a column is"},
        {"Frequency / Hz,Real Impedance / ohm,Imaginary Impedance / ohm\n1,2,3\n", {"real=Z"}, "no column 'Z'"},
        {"", {}, "empty"}}) {
    const auto loaded = read_spectrum(text, "cell.csv", columns);
    CAPTURE(text, loaded.faults.text());
    CHECK_FALSE(loaded.value);
    CHECK(loaded.faults.text().find(said) != std::string::npos);
  }
}
