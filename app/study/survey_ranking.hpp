#pragma once

#include <functional>
#include <string>
#include <vector>

#include "app/study/survey.hpp"

/// Which of many designs is the best for what, and how little is lost beside it.
namespace onegrain::app::study {

/// What an amount is counted by.
enum class Per { volume, mass, area };

/// The most energy at one of the rates.
struct Question {
  std::size_t discharge;
  Per per;

  /// J/m3, J/kg or J/m2; not finite where that design has no answer.
  double value(const Surveyed& told) const;
};

/// How much worse a design may be to count as as good.
constexpr double as_good = 0.02;

struct Best {
  Question question;
  int number = -1;   ///< of the design; -1: no design qualifies
  double value = 0;  ///< of the question
  Surveyed told;     ///< the design itself
  std::vector<std::pair<double, double>>
      as_good;  ///< of each varied value: where designs within `as_good` of it lie [SI]
};

/// Of one design, for a plot against others.
struct Against {
  int number;
  double x, y;
};

/// A map over the two first values that take three or more places on the grid: over all others the best. Where no
/// design is to be relied on there is no value.
struct Map {
  std::size_t across, up;  ///< index of the varied value
  std::vector<double> x, y;
  std::vector<Eigen::MatrixXd> values;  ///< for each question of Ranking::questions(): y in rows, x in columns
};

struct Ranking {
  int count = 0, left_out = 0, doubtful = 0,
      too_slow = 0;              ///< designs; doubtful: a discharge that is not to be relied on
  std::string left_out_because;  ///< of the first of them
  std::vector<Best> best;        ///< for each question
  std::vector<Against>
      energy_and_power;  ///< no design has more of both: mean power, energy; per volume (half cell: area)
  std::vector<Against>
      energy_and_charge;        ///< no design charges faster and holds more: duration [s], energy at the slowest rate
  std::vector<Against> cloud;   ///< of 2,000 designs at most, what energy_and_power is the edge of
  std::vector<Surveyed> shown;  ///< those designs
  std::optional<Map> map;       ///< of a grid over two or more values
};

/// @param each        calls its argument with every design in order; twice
/// @param within      of a charge that is asked for: slower designs do not qualify [s]
/// @param slowest     index of the slowest rate
/// @param full_cell   volume and mass are known
Ranking rank(const Designs& designs, const std::function<void(const std::function<void(const Surveyed&)>&)>& each,
             std::size_t discharges, std::size_t slowest, bool full_cell, double within);

}  // namespace onegrain::app::study
