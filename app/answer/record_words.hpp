#pragma once

#include <vector>

#include "app/answer/answer.hpp"
#include "app/study/checking.hpp"

/// What a cycler's file holds, as far as it was understood.
namespace onegrain::app::answer {

/// For the screen: which column was taken for what, so that every unit and sign that was assumed can be seen; the
/// recognised steps; what they add up to; what is doubtful.
void tell_record(Section& section, const study::CheckedRecord& record);

/// The same for the summary, of all files together: `columns`, `recorded_steps`, `doubts`, `doubtful_rows`, each entry
/// with the `name` of its file.
void add_records(Section& section, const std::vector<study::CheckedFile>& files);

}  // namespace onegrain::app::answer
