#pragma once

#include <functional>
#include <string>
#include <vector>

#include "app/study/ceiling.hpp"
#include "model/balance.hpp"
#include "params/sheet/sheet.hpp"

/// Ceilings of many cells, on several threads.
namespace onegrain::app::study {

/// A cell with what a study of its charges needs. @throws model::ImpossibleBalance
struct Subject {
  model::Cell cell;
  model::Window window;

  explicit Subject(const params::Sheet& sheet);
  explicit Subject(model::Cell its_cell);
};

/// Makes a cell, or throws why there is none.
using CellMaker = std::function<model::Cell()>;

/// What came of the search for the ceiling of one cell. Memory that runs out says nothing of the cell and is thrown.
struct Searched {
  enum class Outcome {
    found,
    no_such_cell,   ///< the values contradict each other: more solid than room, no charge between the cut-offs
    not_calculated  ///< the equations of the cell or of its charge could not be solved
  } outcome = Outcome::not_calculated;
  double current = 0;  ///< 0 as well where none was found: such a cell survives no rate [A/m2]
  solver::Limit limited_by = solver::Limit::unsolved;
  double slope = -2;    ///< solver::Ceiling::slope
  std::string because;  ///< why none was found

  bool found() const { return outcome == Outcome::found; }
};

class CeilingSearch {
 public:
  CeilingSearch(const CeilingAsked& asked, CeilingProgress progress);

  /// @param guess  a current of 0: none is known
  Searched of(const CellMaker& make, int thread, const solver::Guess& guess, double tolerance,
              solver::Description description = solver::Description::uneven);
  /// Whether a cell is seen to keep every limit at this current; false where that cannot be calculated.
  bool keeps(const CellMaker& make, int thread, double current, solver::Description description);
  /// The same for a cell that has to be solved.
  solver::Ceiling of(const Subject& subject, const solver::Guess& guess, double tolerance,
                     solver::Description description);

  /// work(k, thread) for k = 0..count-1. @throws NotCompleted where the user interrupts
  void on_all_threads(int count, const std::function<void(int k, int thread)>& work);
  /// @param done_before, of_all  where this is a part of what progress counts
  void on_all_threads(CeilingWork what, int count, const std::function<void(int k, int thread)>& work,
                      int done_before = 0, int of_all = 0);

  const CeilingAsked& asked() const { return asked_; }
  solver::Workspace& workspace(int thread = 0) { return workspaces_[static_cast<std::size_t>(thread)]; }

 private:
  const CeilingAsked& asked_;
  CeilingProgress progress_;
  std::vector<solver::Workspace> workspaces_;
};

}  // namespace onegrain::app::study
