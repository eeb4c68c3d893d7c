#pragma once

#include <optional>
#include <string>
#include <vector>

#include "params/number/value.hpp"
#include "params/text/fields.hpp"

/// How large the grains of a powder are: what laser diffraction and the micrograph say, as classes to calculate with.
///
/// One radius cannot stand for a powder: charge transfer sees the surface, whose radius is R32 = 1 / <1/R>, and slow
/// diffusion sees sqrt <R^2>, means by volume.
namespace onegrain::params {

/// Grains of one diameter [m], and the share of the volume that they have.
struct SizeClass {
  double diameter, volume;
};

/// The most classes that are calculated with.
constexpr std::size_t most_classes = 8;

/// Means by volume that the classes keep.
struct SizeMeans {
  double r32;        ///< 1 / <1/R>, Sauter's mean radius: 3 V / S [m]
  double diffusion;  ///< sqrt <R^2> [m]
};
SizeMeans size_means(const std::vector<SizeClass>& classes);

/// Volume between three diameters, of which a tenth, a half and nine tenths of the volume are finer (ISO 13320; the
/// logarithmic normal distribution: ISO 9276-5, from memory). Where d50^2 / (d10 d90) lies within 0.9 to 1.1 it is
/// log-normal with s = ln(d90/d10) / 2.5631; otherwise two halves of log-normal distributions that meet at d50.
bool is_log_normal(double d10, double d50, double d90);
/// So many classes, finely spaced, that integrals over the distribution are known to 1e-10.
std::vector<SizeClass> distribution(double d10, double d50, double d90);

/// At most `most` classes that stand for many: Gauss points for polynomials in ln D, moved so that both means are those
/// of the many to 1e-9. As many as make the means of 1/D, D and D^2 right to 1e-4 before they are moved. Few classes
/// stay as they are.
std::vector<SizeClass> fewer(const std::vector<SizeClass>& many, std::size_t most = most_classes);

/// Numbers of grains to volumes: a grain counts with its diameter to the third power.
std::vector<SizeClass> volumes_of(const std::vector<double>& counted);
/// Standard deviation of ln R32 that is left by counting so few grains: that of the ratio of the sums of D^3 and D^2
/// (W. G. Cochran, Sampling Techniques, 3rd ed. (1977), ch. 6, from memory).
double uncertainty_of_counting(const std::vector<double>& counted);

struct WrittenClass {
  Given<Length> diameter;
  Given<Fraction> volume;
};

/// The key `grain_sizes` of an electrode, and what came of it.
struct GrainSizes {
  std::optional<Given<Length>> d10, d50, d90;
  std::vector<WrittenClass> written;
  std::string table, counted;

  std::vector<SizeClass> classes;  ///< to calculate with; shares add up to 1
  double largest = 0;              ///< of the diameters: that of d90, or of the largest class [m]
  std::string made_of;             ///< "log-normal through d10, d50 and d90"
  std::string note;                ///< what was assumed, a sentence; may be empty
};

/// Makes classes, and the radius R32 with its spread, of what was written. Faults diameters that do not rise, shares
/// that are not a whole, tables that cannot be read (by their lines), fewer than ten counted grains.
std::optional<Given<Length>> radius_of_sizes(Fields& fields, GrainSizes& sizes);

}  // namespace onegrain::params
