#pragma once

#include <functional>
#include <memory>
#include <string>

#include "app/job.hpp"
#include "app/study/survey_file.hpp"

/// A survey as it was asked for, run whole or in parts.
namespace onegrain::app::study {

/// All that a survey is made of, read off a request once. The job outlives it.
class Survey {
 public:
  /// @param charge  that every design is asked for
  /// @throws CommandLineError  an option that means nothing
  Survey(const Request& request, const Job& job, std::optional<ChargeAsked> charge);

  const Designs& designs() const { return designs_; }
  const SurveyAsked& asked() const { return asked_; }
  const std::vector<params::Rate>& rates() const { return rates_; }  ///< of the sheet as it is
  std::size_t slowest() const;
  double charge_within() const { return charge_within_; }  ///< [s]; infinite where no charge is asked for
  const SurveyHead& head() const { return head_; }

  /// Runs the designs of a part that its file does not hold yet, some at a time.
  /// @param progress  designs done and of how many
  /// @throws NotCompleted  where the user interrupts: what is done is kept
  void run(const Part& part, SurveyFile& file, int threads, const std::function<void(int, int)>& progress) const;

  /// What one design takes, by a few spread over all.
  struct Cost {
    double seconds;  ///< of one thread
    double memory;   ///< of the process [bytes]
  };
  Cost measured_cost() const;

 private:
  Designs designs_;
  SurveyAsked asked_;
  std::vector<params::Rate> rates_;
  double charge_within_;
  SurveyHead head_;
};

/// Puts what a part says of its survey into a request, as if it had been asked for again.
/// @throws NotCompleted  the head of the part says nothing that can be asked for
void ask_again(const SurveyHead& head, Request& request);

}  // namespace onegrain::app::study
