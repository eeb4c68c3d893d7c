#pragma once

#include <concepts>
#include <functional>
#include <memory>
#include <string>
#include <variant>
#include <vector>

#include "app/answer/measure.hpp"

namespace onegrain::app::answer {

/// A number in SI that brings its own measure, for columns whose rows measure different things. In the summary a number
/// alone where nothing is known of its uncertainty, else an object as of a figure.
struct Amount {
  double value = 0;
  Measure measure;
  ErrorBar uncertainty{};
  bool operator==(const Amount&) const = default;
};

/// What stands in a cell of a table: nothing, a number in SI, yes or no, text, a whole array (summary only), or a
/// number with its own measure. Made, copied and destroyed in rows.cpp, once for all files that fill tables.
struct TableCell : std::variant<std::monostate, double, bool, std::string, std::vector<double>, Amount> {
  using Alternatives = std::variant<std::monostate, double, bool, std::string, std::vector<double>, Amount>;
  // NOLINTBEGIN(google-explicit-constructor)
  TableCell(std::monostate nothing = {});
  TableCell(double number);
  template <std::same_as<bool> B>  // bool alone: a pointer is none
  TableCell(B yes) : TableCell(Answered{yes}) {}
  TableCell(std::string text);
  TableCell(const char* text);
  TableCell(std::vector<double> array);
  TableCell(const Amount& amount);
  // NOLINTEND(google-explicit-constructor)
  TableCell(const TableCell& other);
  TableCell(TableCell&&) noexcept;
  TableCell& operator=(const TableCell&);
  TableCell& operator=(TableCell&&) noexcept;
  ~TableCell();

 private:
  struct Answered {
    bool yes;
  };
  explicit TableCell(Answered answered);
};
using Row = std::vector<TableCell>;

/// Rows of a table or of a long series, written once from first to last and then read as often as renderings ask.
///
/// They stay in memory while they are few; beyond `kept_in_memory` bytes all of them move to a file without a name in
/// the folder for temporary files, so that a protocol of any length takes flat memory. Copies share the rows.
class Rows {
 public:
  static constexpr std::size_t kept_in_memory = std::size_t{8} << 20;

  Rows();
  /// @throws NotCompleted  the file for temporary rows cannot be written
  void add(const Row& row);
  std::size_t size() const;
  /// Calls `see` with every row in order until it returns false.
  /// @throws NotCompleted  the file for temporary rows cannot be read
  void each(const std::function<bool(const Row&)>& see) const;
  bool in_memory() const;

 private:
  struct Store;
  std::shared_ptr<Store> store_;
};

}  // namespace onegrain::app::answer
