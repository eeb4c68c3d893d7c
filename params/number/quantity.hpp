#pragma once

#include <optional>
#include <stdexcept>
#include <string>
#include <string_view>

#include "params/number/units.hpp"

/// Numbers that know what they measure. Units are settled here, once: beyond `params/` and `app/` all is SI.
namespace onegrain::params {

/// What a number measures: for checks, for messages, and for showing it.
struct Kind {
  Dimension dimension;
  const char* noun;  ///< "a length"
  const char* unit;  ///< in which it is shown and suggested: "um"; "" for a plain number
  bool absolute_temperature = false;
};

/// A number of one kind in SI units. Different kinds do not mix; handed to `model/` by `.si()`.
template <class K>
class Quantity {
 public:
  static constexpr Quantity from_si(double value) { return Quantity(value); }
  constexpr double si() const { return si_; }
  static constexpr const Kind& kind() { return K::kind; }
  auto operator<=>(const Quantity&) const = default;

 private:
  explicit constexpr Quantity(double si) : si_(si) {}
  double si_;
};

// clang-format off
//                                                       m  kg   s   A  K mol
struct NumberKind         { static constexpr Kind kind{{ 0,  0,  0},           "a number", ""}; };
struct FractionKind       { static constexpr Kind kind{{ 0,  0,  0},           "a fraction", "%"}; };
struct AngleKind          { static constexpr Kind kind{{ 0,  0,  0,  0, 0, 0, 1}, "an angle", "deg"}; };
struct LengthKind         { static constexpr Kind kind{{ 1,  0,  0},           "a length", "um"}; };
struct AreaKind           { static constexpr Kind kind{{ 2,  0,  0},           "an area", "cm2"}; };
struct MassKind           { static constexpr Kind kind{{ 0,  1,  0},           "a mass", "mg"}; };
struct TimeKind           { static constexpr Kind kind{{ 0,  0,  1},           "a time", "min"}; };
struct TemperatureKind    { static constexpr Kind kind{{ 0,  0,  0,  0, 1},    "a temperature", "degC", true}; };
struct TemperatureDifferenceKind { static constexpr Kind kind{{0, 0, 0, 0, 1}, "a temperature difference", "K"}; };
struct VoltageKind        { static constexpr Kind kind{{ 2,  1, -3, -1},       "a voltage", "V"}; };
struct CurrentKind        { static constexpr Kind kind{{ 0,  0,  0,  1},       "a current", "mA"}; };
struct CurrentDensityKind { static constexpr Kind kind{{-2,  0,  0,  1},       "a current density", "A/m2"}; };
struct SpecificCurrentKind{ static constexpr Kind kind{{ 0, -1,  0,  1},       "a current per mass", "mA/g"}; };
struct ChargeKind         { static constexpr Kind kind{{ 0,  0,  1,  1},       "a charge", "mAh"}; };
struct ArealCapacityKind  { static constexpr Kind kind{{-2,  0,  1,  1},       "a charge per area", "mAh/cm2"}; };
struct SpecificCapacityKind{static constexpr Kind kind{{ 0, -1,  1,  1},       "a charge per mass", "mAh/g"}; };
struct LoadingKind        { static constexpr Kind kind{{-2,  1,  0},           "a mass per area", "mg/cm2"}; };
struct SpecificSurfaceKind{ static constexpr Kind kind{{ 2, -1,  0},           "a surface per mass", "m2/g"}; };
struct DensityKind        { static constexpr Kind kind{{-3,  1,  0},           "a density", "g/cm3"}; };
struct ConcentrationKind  { static constexpr Kind kind{{-3,  0,  0,  0, 0, 1}, "a concentration", "mol/L"}; };
struct SiteConcentrationKind{static constexpr Kind kind{{-3,  0,  0,  0, 0, 1}, "a concentration", "mol/m3"}; };
struct DiffusivityKind    { static constexpr Kind kind{{ 2,  0, -1},           "a diffusion coefficient", "m2/s"}; };
struct MolarEnergyKind    { static constexpr Kind kind{{ 2,  1, -2,  0, 0, -1}, "an energy per mole", "kJ/mol"}; };
struct MolarVolumeKind    { static constexpr Kind kind{{ 3,  0,  0,  0, 0, -1}, "a volume per mole", "cm3/mol"}; };
struct MolarMassKind      { static constexpr Kind kind{{ 0,  1,  0,  0, 0, -1}, "a mass per mole", "g/mol"}; };
struct PressureKind       { static constexpr Kind kind{{-1,  1, -2},           "a pressure", "MPa"}; };
struct ConductivityKind   { static constexpr Kind kind{{-3, -1,  3,  2},       "a conductivity", "S/m"}; };
struct ArealResistanceKind{ static constexpr Kind kind{{ 4,  1, -3, -2},       "a resistance times an area", "ohm.cm2"}; };
struct SurfaceCapacitanceKind{static constexpr Kind kind{{-4, -1, 4, 2},       "a capacitance per area", "F/m2"}; };
struct InductanceKind     { static constexpr Kind kind{{ 2,  1, -2, -2},       "an inductance", "nH"}; };
struct EntropicCoefficientKind { static constexpr Kind kind{{2, 1, -3, -1, -1}, "a voltage per kelvin", "mV/K"}; };
struct SpecificHeatKind   { static constexpr Kind kind{{ 2,  0, -2,  0, -1},   "a specific heat capacity", "J/(kg K)"}; };
struct HeatTransferKind   { static constexpr Kind kind{{ 0,  1, -3,  0, -1},   "a heat transfer coefficient", "W/(m2 K)"}; };
// clang-format on

using Number = Quantity<NumberKind>;
using Fraction = Quantity<FractionKind>;
using Angle = Quantity<AngleKind>;
using Length = Quantity<LengthKind>;
using Area = Quantity<AreaKind>;
using Mass = Quantity<MassKind>;
using Time = Quantity<TimeKind>;
using Temperature = Quantity<TemperatureKind>;
using TemperatureDifference = Quantity<TemperatureDifferenceKind>;
using Voltage = Quantity<VoltageKind>;
using Current = Quantity<CurrentKind>;
using CurrentDensity = Quantity<CurrentDensityKind>;
using SpecificCurrent = Quantity<SpecificCurrentKind>;
using Charge = Quantity<ChargeKind>;
using ArealCapacity = Quantity<ArealCapacityKind>;
using SpecificCapacity = Quantity<SpecificCapacityKind>;
using Loading = Quantity<LoadingKind>;
using Density = Quantity<DensityKind>;
using Concentration = Quantity<ConcentrationKind>;
using SiteConcentration = Quantity<SiteConcentrationKind>;  // of lithium sites in a host
using Diffusivity = Quantity<DiffusivityKind>;
using MolarEnergy = Quantity<MolarEnergyKind>;
using MolarVolume = Quantity<MolarVolumeKind>;
using MolarMass = Quantity<MolarMassKind>;
using Pressure = Quantity<PressureKind>;
using Conductivity = Quantity<ConductivityKind>;
using ArealResistance = Quantity<ArealResistanceKind>;
using SurfaceCapacitance = Quantity<SurfaceCapacitanceKind>;
using Inductance = Quantity<InductanceKind>;
using EntropicCoefficient = Quantity<EntropicCoefficientKind>;
using SpecificHeat = Quantity<SpecificHeatKind>;
using HeatTransfer = Quantity<HeatTransferKind>;

/// What is wrong with a quantity, as a sentence part without file or key:
/// "a voltage where a length is expected, such as '60 um'".
struct QuantityError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

/// A decimal number, whole text, independent of locale: `-4.8`, `.5`, `1e-14`. Not a number: hexadecimal, `nan`,
/// `inf`, thousands separators, decimal commas, anything behind, anything that overflows.
std::optional<double> parse_number(std::string_view text);

/// A number with its unit, `4.8 um`, as SI. A bare number is taken only where the kind is a plain number or fraction
/// (there also `8/3`). `example_unit` replaces the unit of the kind in the message.
/// @throws QuantityError
double parse_quantity(std::string_view text, const Kind& kind, const char* example_unit = nullptr);

/// parse_quantity() into its type: `parse<Length>("4.8 um").si()` is 4.8e-6.
template <class Q>
Q parse(std::string_view text) {
  return Q::from_si(parse_quantity(text, Q::kind()));
}

/// "a voltage" for a dimension that has a name here, else "a quantity in kg m-2 s-1".
std::string describe(const Dimension& dimension);

/// The number in the unit, `in_unit(4.8e-6, "um")` = 4.8. @throws UnitError
double in_unit(double si, std::string_view unit);

/// At most `digits` significant digits, without exponent from 1e-4 to 1e6: 63104, 0.0012, 1e-14.
std::string plain_number(double value, int digits = 5);

/// As people would write it: `4.8 um`, with at most `digits` significant digits. `unit` replaces that of the kind.
std::string show(double si, const Kind& kind, int digits = 5, const char* unit = nullptr);

}  // namespace onegrain::params
