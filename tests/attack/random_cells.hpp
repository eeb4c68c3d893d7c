#pragma once

#include <cstdint>
#include <string>
#include <utility>
#include <vector>

/// Random cells that a laboratory could make, and random protocols for them, as the text of the files a user writes.
namespace onegrain::attack {

/// Counter-based random numbers (splitmix64): the same for the same seed and case on every machine and library.
class Random {
 public:
  Random(std::uint64_t seed, std::uint64_t stream);
  double share();                                  ///< even in [0, 1)
  double between(double lower, double upper);      ///< even
  double log_between(double lower, double upper);  ///< even in the logarithm; both > 0
  double within_factor(double factor);             ///< from 1/factor to factor, even in the logarithm
  int whole(int lower, int upper);                 ///< lower..upper, both included
  bool chance(double probability) { return share() < probability; }
  template <class T>
  const T& one_of(const std::vector<T>& list) {
    return list[static_cast<std::size_t>(whole(0, static_cast<int>(list.size()) - 1))];
  }

 private:
  std::uint64_t state_;
};

/// One random case. Everything in it follows from the seed and the number.
struct Case {
  std::uint64_t seed;
  int number;
  /// Names and texts of files that lie in one folder: "sheet.yaml", its cards and their tables, "protocol.yaml".
  std::vector<std::pair<std::string, std::string>> files;
  std::string rates;                ///< for `rates --both`
  std::string electrolyte;          ///< "uniform" or "resolved"
  double from_soc = -1;             ///< where the protocol starts; < 0: where the program would start it
  std::string words;                ///< a line that says what the cell is
  std::string reaction = "uneven";  ///< or "even": as whoever runs the case asks

  const std::string& text(const std::string& name) const;
};

/// A cell of the shipped cards, with thickness 30..110 um, porosity 20..45 %, radius 0.1..12 um (LiFePO4 mostly 0.03..2
/// um), diffusivities within a factor of 5 and exchange currents within a factor of 3 of the card, contact resistance
/// 0..30 ohm cm2, -10..45 degC, N/P 0.9..1.4, formation loss 0..15 %, cut-offs usual for the chemistry or slightly odd.
Case random_case(std::uint64_t seed, int number);

}  // namespace onegrain::attack
