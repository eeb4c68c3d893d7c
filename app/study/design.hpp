#pragma once

#include <Eigen/Dense>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "model/cell.hpp"
#include "params/sheet/sheet.hpp"

/// Designs of a cell: values of its sheet moved over a grid, or over points that fill their ranges evenly.
namespace onegrain::app::study {

/// A value of the sheet and the places it takes.
struct Varied {
  std::string path;     ///< "positive.coating.thickness"
  std::string written;  ///< "30..120 um"
  const params::Kind* kind;
  std::vector<double> listed;      ///< SI, ascending; empty: a range
  double from = 0, to = 0;         ///< SI, from < to
  bool by_factors = false;         ///< spaced evenly in the logarithm: a range over more than a factor of ten
  std::optional<double> as_sheet;  ///< what the sheet has [SI]

  /// @param share  of the way, 0..1; of a list the place that it falls into
  double at(double share) const;
};

/// A coating is drawn from one ink: of its thickness, porosity and loading two make the third. Where one is varied
/// alone the thickness takes the loading along at the porosity of the sheet, as a wider gap of the blade does; the
/// loading takes the thickness along alike; and the porosity takes the thickness along at the same loading, as a
/// calender does. Of a `layer` the porosity takes the active fraction along, and the thickness where that is not varied
/// itself. Every other path moves that value and nothing else.
class Designs {
 public:
  /// @param vary         PATH=RANGE each: "positive.coating.thickness=30..120 um", "negative.particle_radius=2,5,10 um"
  /// @param places       of each on a grid: one number for all, or one for each
  /// @param sample       > 0: so many points of Sobol's sequence instead of a grid
  /// @param same_n_to_p  the electrode that is not varied is drawn thicker or thinner, so that N/P stays
  /// @throws CommandLineError
  Designs(const params::Sheet& sheet, const std::vector<std::string>& vary, const std::string& places, int sample,
          std::uint64_t seed, bool same_n_to_p);

  const std::vector<Varied>& varied() const { return varied_; }
  bool on_a_grid() const { return sample_ == 0; }
  /// Places of each value on the grid, the last one fastest.
  const std::vector<int>& places() const { return places_; }
  int count() const { return count_; }
  /// SI. Design k depends on k, and of a sample on the seed, alone.
  std::vector<double> values(int k) const;
  /// The sheet with these values. What its rated capacity was measured on is another cell: it is left out.
  /// @throws model::ImpossibleBalance  no such coating can be drawn
  params::Sheet sheet_of(const std::vector<double>& values) const;

 private:
  struct Drawn {
    std::optional<double> thickness, porosity, loading;
    bool any() const { return thickness || porosity || loading; }
  };
  std::optional<std::string> drawn_part(const std::string& path) const;
  double nominal_of(const std::string& path) const;
  void draw(params::ElectrodeSheet& electrode, const params::ElectrodeSheet& as_sheet, const Drawn& drawn) const;
  void scale(params::ElectrodeSheet& electrode, double factor) const;

  const params::Sheet& sheet_;
  double area_;
  std::vector<Varied> varied_;
  std::vector<int> places_;
  int sample_, count_;
  std::uint64_t seed_;
  std::optional<bool> follows_positive_;  // N/P is kept: the negative follows the positive, or the other way
};

}  // namespace onegrain::app::study
