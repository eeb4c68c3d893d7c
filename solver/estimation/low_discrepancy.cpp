#include "solver/estimation/low_discrepancy.hpp"

#include <boost/random/sobol.hpp>
#include <stdexcept>

namespace onegrain::solver {

namespace {

constexpr std::uint64_t golden = 0x9e3779b97f4a7c15ULL;
constexpr int digits = 32;

/// The binary digits of x, each turned where the hash of its place in the tree of all digits before it says so.
std::uint32_t turned(std::uint32_t x, std::uint64_t stream) {
  std::uint32_t result = x;
  for (int d = 0; d < digits; ++d) {
    const std::uint64_t before = (std::uint64_t{1} << d) | (std::uint64_t{x} >> (digits - d));  // d digits behind a 1
    result ^= static_cast<std::uint32_t>(mixed_bits(stream ^ before) >> 63) << (digits - 1 - d);
  }
  return result;
}

}  // namespace

std::uint64_t mixed_bits(std::uint64_t x) {
  x += golden;
  x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9ULL;
  x = (x ^ (x >> 27)) * 0x94d049bb133111ebULL;
  return x ^ (x >> 31);
}

std::vector<std::uint32_t> sobol_point(std::uint32_t index, Eigen::Index dimensions) {
  constexpr Eigen::Index most = 3667;  // of Boost's table
  if (!(dimensions >= 1 && dimensions <= most))
    throw std::invalid_argument("Sobol's sequence: 1 to 3667 dimensions are known");
  std::vector<std::uint32_t> point(static_cast<std::size_t>(dimensions), 0);
  if (index == 0) return point;  // the engine leaves it out
  boost::random::sobol_engine<std::uint32_t, digits> engine(static_cast<std::size_t>(dimensions));
  engine.seed(index - 1);
  engine.generate(point.begin(), point.end());
  return point;
}

Eigen::VectorXd scrambled_sobol_point(std::uint64_t key, std::uint32_t index, Eigen::Index dimensions) {
  const std::vector<std::uint32_t> point = sobol_point(index, dimensions);
  Eigen::VectorXd scrambled(dimensions);
  for (Eigen::Index d = 0; d < dimensions; ++d) {
    const std::uint64_t stream = mixed_bits(mixed_bits(key) + golden * static_cast<std::uint64_t>(d + 1));
    const std::uint32_t x = point[static_cast<std::size_t>(d)];
    // the digits behind the 32nd are random
    const double rest = (static_cast<double>(mixed_bits(stream + x) >> 44) + 0.5) * 0x1p-20;
    scrambled[d] = (turned(x, stream) + rest) * 0x1p-32;
  }
  return scrambled;
}

}  // namespace onegrain::solver
