#pragma once

#include "app/answer/answer.hpp"
#include "app/job.hpp"

/// The frame around every answer.
namespace onegrain::app {

/// Puts in what belongs to every answer about a cell: its name, the warnings and assumptions of the bench, the
/// cautions, what the cell is, what went in, program, command and files. A verb can neither forget nor remove them.
void complete(answer::Answer& said, const Request& request, const Job& job);

/// The same for an answer that is about no cell: program and command.
void complete(answer::Answer& said, const Request& request);

/// Prints the answer (--json: its summary) and writes curves.csv, summary.json, report.html and what else it holds into
/// the folder asked for, or that of the first three which the file asked for names by its ending.
void present(const Request& request, const Channels& channels, const answer::Answer& said);

}  // namespace onegrain::app
