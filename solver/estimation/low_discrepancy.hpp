#pragma once

#include <Eigen/Dense>
#include <cstdint>
#include <vector>

/// Points that fill the unit cube more evenly than random ones, for averages and quantiles over many uncertain values.
namespace onegrain::solver {

/// Thoroughly mixed bits. Source: G. L. Steele, D. Lea, C. H. Flood, OOPSLA (2014), "splitmix64".
std::uint64_t mixed_bits(std::uint64_t x);

/// Point number `index` of Sobol's sequence in Gray-code order, each coordinate as a fraction of 2^32; point 0 is the
/// origin, which belongs to it: without it no first 2^m points are a net (A. B. Owen, arXiv:2008.08051).
/// Directions: S. Joe, F. Y. Kuo, SIAM J. Sci. Comput. 30, 2635 (2008), as Boost.Random holds them.
/// @param dimensions  1 to 3667
/// @throws std::invalid_argument  dimensions outside this range
std::vector<std::uint32_t> sobol_point(std::uint32_t index, Eigen::Index dimensions);

/// The same, every coordinate scrambled: each binary digit is turned or not by a hash of key, coordinate and all digits
/// before it, which is the nested uniform scrambling of A. B. Owen (in Niederreiter, Shiue (eds.), Monte Carlo and
/// Quasi-Monte Carlo Methods in Scientific Computing, Springer 1995). Each point by itself is uniform in the cube, the
/// first 2^m points of one key still are a net, and the points of two keys know nothing of each other. Coordinate d
/// does not depend on how many there are.
/// @return strictly between 0 and 1
Eigen::VectorXd scrambled_sobol_point(std::uint64_t key, std::uint32_t index, Eigen::Index dimensions);

}  // namespace onegrain::solver
