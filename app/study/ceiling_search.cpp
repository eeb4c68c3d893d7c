#include "app/study/ceiling_search.hpp"

#include <algorithm>
#include <new>
#include <utility>

#include "app/study/ensemble.hpp"

namespace onegrain::app::study {

namespace {

solver::Ceiling ceiling_of(const Subject& subject, const CeilingAsked& asked, solver::Workspace& workspace,
                           double guess, double tolerance, solver::Description description,
                           solver::Guess how_good = solver::Guess::any) {
  solver::ChargeStudy study(subject.cell, subject.window, asked.soc, asked.limits, workspace, description);
  return guess > 0 ? study.ceiling(guess, tolerance, how_good) : study.ceiling(study.whole() / 3600, tolerance);
}

}  // namespace

Subject::Subject(const params::Sheet& sheet) : cell(params::to_cell(sheet)), window(model::equilibrium_window(cell)) {}

CeilingSearch::CeilingSearch(const CeilingAsked& asked, CeilingProgress progress)
    : asked_(asked),
      progress_(std::move(progress)),
      workspaces_(static_cast<std::size_t>(asked.threads > 0 ? asked.threads : core_count())) {}

Searched CeilingSearch::of(const params::Sheet& sheet, int thread, double guess, double tolerance,
                           solver::Guess how_good, solver::Description description) {
  using Outcome = Searched::Outcome;
  Searched searched;
  try {
    const solver::Ceiling ceiling =
        ceiling_of(Subject(sheet), asked_, workspace(thread), guess, tolerance, description, how_good);
    searched.outcome = Outcome::found;
    searched.current = ceiling.current;
    searched.limited_by = ceiling.charge.tightest;
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

bool CeilingSearch::keeps(const params::Sheet& sheet, int thread, double current, solver::Description description) {
  try {
    const Subject subject(sheet);
    solver::ChargeStudy study(subject.cell, subject.window, asked_.soc, asked_.limits, workspace(thread), description);
    return study.judge(current).slack >= 0;
  } catch (const std::bad_alloc&) {
    throw;
  } catch (const std::exception&) {  // as of()
    return false;
  }
}

solver::Ceiling CeilingSearch::of(const Subject& subject, double guess, double tolerance,
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
