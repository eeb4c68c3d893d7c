#pragma once

#include <functional>
#include <string>
#include <vector>

#include "tests/app/helpers.hpp"

/// Bad situations from the habits of laboratories, and sound ones beside them.
///
/// A situation makes its files in a fresh folder and gives the words of a call. A bad one must be answered with the
/// sentence that names it, before the headline (or among the warnings where it is of the bench), or refused with it; a
/// sound one must raise nothing. A program that always warns has said nothing.
namespace zoo {

using app_test::Folder;

struct Situation {
  std::string name;
  std::function<std::vector<std::string>(const Folder&)> words;  ///< of the call, after its files are written
  int status = 0;    ///< 0: answered; 2 command line, 3 unsound input, 4 no answer
  std::string says;  ///< status 0: in a finding or warning of the summary; otherwise in the narration
};

/// Fails the test, naming the situation, unless the call ends with its status and says its words. With status 0 what
/// is said must also begin the headline, where it is a finding.
void must_be_said(const Situation& situation);

/// Fails the test unless the call is answered without a finding, a warning, a doubt or an impossible number.
void must_raise_nothing(const std::string& name, const std::function<std::vector<std::string>(const Folder&)>& words);

}  // namespace zoo
