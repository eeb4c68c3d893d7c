#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "app/study/survey.hpp"

/// Results of a survey in a file of their own: one row for each design, appended as it is done. A process that is
/// killed, or a disk that is full, leaves at most one torn row at the end, which the next run drops; rows that are
/// there are not calculated again.
namespace onegrain::app::study {

/// What every part of one survey shares.
struct SurveyHead {
  std::string digest;   ///< SHA-256 of the program's version, of sheet and cards, and of `options`
  std::string options;  ///< one line, from which the survey can be asked for again
  std::string sheet;    ///< its name as given
  int count = 0;        ///< designs of the whole
  std::size_t discharges = 0;
  bool charge = false;
};

struct Part {
  int number = 1, of = 1;  ///< from 1
  /// Designs number - 1, number - 1 + of, ...
  bool holds(int design) const { return design % of == number - 1; }
  std::string file_name() const;  ///< "part-003-of-016.csv"
  /// "3/16". @throws CommandLineError
  static Part parse(const std::string& text);
};

/// A part that is written.
class SurveyFile {
 public:
  /// Opens the file, or makes it; drops a torn row at its end. Another process that writes the same part is not let in.
  /// @throws CommandLineError  the file belongs to another survey
  /// @throws NotCompleted      it cannot be written, or is being written
  SurveyFile(std::string path, const SurveyHead& head, const Part& part);
  ~SurveyFile();
  SurveyFile(const SurveyFile&) = delete;
  SurveyFile& operator=(const SurveyFile&) = delete;

  bool has(int design) const { return present_[static_cast<std::size_t>(design)]; }
  /// Rows, and then waits until the disk has them. @throws NotCompleted  naming the file and why
  void append(const std::vector<Surveyed>& rows);

 private:
  std::string path_;
  int file_;
  std::vector<bool> present_;
};

/// All parts of a survey that lie in a folder, read back in the order of the designs.
class SurveyParts {
 public:
  /// @throws NotCompleted  there are none, they do not belong together, or they cannot be read
  explicit SurveyParts(const std::string& folder);
  const SurveyHead& head() const { return head_; }
  /// Designs that no part holds.
  int missing() const { return missing_; }
  /// "part-002-of-003.csv: 17 of 40 designs", one for each part that is not whole.
  const std::vector<std::string>& gaps() const { return gaps_; }
  void each(const std::function<void(const Surveyed&)>& see) const;

 private:
  struct RowPlace {
    int file = -1;
    std::int64_t offset = 0;
  };
  SurveyHead head_;
  std::vector<std::string> files_;
  std::vector<RowPlace> places_;  // by design
  int missing_ = 0;
  std::vector<std::string> gaps_;
};

}  // namespace onegrain::app::study
