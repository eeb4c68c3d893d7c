#pragma once

#include <Eigen/Dense>
#include <vector>

/// Lines of one height over a grid, for maps.
namespace onegrain::app::study {

/// A line through x and y of the same length.
struct Contour {
  std::vector<double> x, y;
};

/// Where the values over the grid, taken as linear along the edges of its cells, are `level`. Each line runs on until
/// it leaves the grid or is closed. A cell with a corner that is not finite has none; where a cell could be crossed two
/// ways its middle decides.
/// @param x, y    ascending
/// @param values  y in rows, x in columns
std::vector<Contour> contours(const std::vector<double>& x, const std::vector<double>& y, const Eigen::MatrixXd& values,
                              double level);

/// Round levels between the smallest and the largest finite value, some five of them: 1, 2, 2.5 or 5 times a power of
/// ten apart.
std::vector<double> round_levels(const Eigen::MatrixXd& values);

}  // namespace onegrain::app::study
