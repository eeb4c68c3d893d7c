#pragma once

#include <cstddef>

#include "params/record/measured.hpp"
#include "params/text/layout.hpp"
#include "params/text/lines.hpp"

namespace onegrain::params {

/// Reads the rows of a text, in the order of the file, into `data`, of which `columns` say what to take. Rows that
/// cannot be used are counted among the doubts.
/// @param expected_rows  room is made for so many
void read_rows(LineReader& lines, const Layout& layout, const MeasuredRequest& request, Measured& data,
               std::size_t expected_rows);

/// Time that does not fall: single rows out of order go, a time that starts anew is continued.
void mend_time(Measured& data);

/// A current without sign takes that of the state.
void sign_from_state(Measured& data);

}  // namespace onegrain::params
