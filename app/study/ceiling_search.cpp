#include "app/study/ceiling_search.hpp"

#include <algorithm>
#include <new>
#include <utility>

#include "app/study/ensemble.hpp"

namespace onegrain::app::study {

namespace {

solver::Ceiling ceiling_of(const Subject& subject, const CeilingAsked& asked, solver::Workspace& workspace,
                           const solver::Guess& guess, double tolerance, solver::Description description) {
  solver::ChargeStudy study(subject.cell, subject.window, asked.soc, asked.limits, workspace, description);
  return study.ceiling(guess.current > 0 ? guess : solver::Guess(study.whole() / 3600), tolerance);
}

}  // namespace

Subject::Subject(const params::Sheet& sheet) : Subject(params::to_cell(sheet)) {}

Subject::Subject(model::Cell its_cell) : cell(std::move(its_cell)), window(model::equilibrium_window(cell)) {}

CeilingSearch::CeilingSearch(const CeilingAsked& asked, CeilingProgress progress)
    : asked_(asked),
      progress_(std::move(progress)),
      workspaces_(static_cast<std::size_t>(asked.threads > 0 ? asked.threads : core_count())) {}

Searched CeilingSearch::of(const CellMaker& make, int thread, const solver::Guess& guess, double tolerance,
                           solver::Description description) {
  using Outcome = Searched::Outcome;
  Searched searched;
  try {
    const solver::Ceiling ceiling =
        ceiling_of(Subject(make()), asked_, workspace(thread), guess, tolerance, description);
    searched.outcome = Outcome::found;
    searched.current = ceiling.current;
    searched.limited_by = ceiling.charge.tightest;
    searched.slope = ceiling.slope;
  } catch (const std::bad_alloc&) {
    throw;
  } catch (const model::ImpossibleBalance& impossible) {
    searched.outcome = Outcome::no_such_cell;
    searched.because = impossible.what();
  } catch (const std::exception& failure) {  // IntegrationFailure, NoRoot, a formula beyond its range
    searched.outcome = Outcome::not_calculated;
    searched.because = failure.what();
  }
  return searched;
}

bool CeilingSearch::keeps(const CellMaker& make, int thread, double current, solver::Description description) {
  try {
    const Subject subject(make());
    solver::ChargeStudy study(subject.cell, subject.window, asked_.soc, asked_.limits, workspace(thread), description);
    return study.judge(current).slack >= 0;
  } catch (const std::bad_alloc&) {
    throw;
  } catch (const std::exception&) {  // as of()
    return false;
  }
}

solver::Ceiling CeilingSearch::of(const Subject& subject, const solver::Guess& guess, double tolerance,
                                  solver::Description description) {
  return ceiling_of(subject, asked_, workspace(), guess, tolerance, description);
}

void CeilingSearch::on_all_threads(int count, const std::function<void(int, int)>& work) {
  in_parallel(count, static_cast<int>(workspaces_.size()), work);
  if (interrupted()) throw NotCompleted("interrupted; nothing was written");
}

void CeilingSearch::on_all_threads(CeilingWork what, int count, const std::function<void(int, int)>& work,
                                   int done_before, int of_all) {
  in_parallel(count, static_cast<int>(workspaces_.size()), work, [&](int done) {
    if (progress_) progress_(what, done_before + done, std::max(of_all, count));
  });
  if (interrupted()) throw NotCompleted("interrupted; nothing was written");
}

}  // namespace onegrain::app::study
