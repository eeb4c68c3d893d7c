#include "params/record/rows.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <utility>

#include "params/text/cells.hpp"
#include "params/text/clock.hpp"

namespace onegrain::params {

namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

class RowReader {
 public:
  RowReader(LineReader& lines, const Layout& layout, const MeasuredRequest& request, Measured& data,
            std::size_t expected_rows)
      : lines_(lines), layout_(layout), request_(request), data_(data) {
    Record& record = data.record;
    std::vector<bool> taken(layout.titles.size(), false);
    for (const TakenColumn& column : data.columns) {
      taken[column.index] = true;
      of_[static_cast<std::size_t>(column.role)] = &column;
    }
    record.time.reserve(expected_rows);
    record.voltage.reserve(expected_rows);
    record.current.reserve(expected_rows);
    record.line.reserve(expected_rows);
    if (of_[3] != nullptr) record.temperature.reserve(expected_rows);
    if (of_[4] != nullptr) record.capacity.reserve(expected_rows);
    if (of_[5] != nullptr) record.state.reserve(expected_rows);
    if (of_[6] != nullptr) record.cycle.reserve(expected_rows);
    if (of_[7] != nullptr) record.step.reserve(expected_rows);
    for (std::size_t c = 0; c < layout.titles.size(); ++c) {
      if (taken[c]) continue;
      data.other_titles.push_back(layout.titles[c]);
      if (!request.others) continue;
      record.others.push_back({layout.titles[c], {}});
      record.others.back().values.reserve(expected_rows);
      other_.push_back({c, false});
    }
  }

  void read() {
    std::string_view line;
    std::uint32_t number = 0;
    while (lines_.next(line)) {
      ++number;
      if (number < layout_.first_row_line) continue;
      const std::string_view content = trimmed_cell(line);
      if (content.empty() || is_comment_line(content)) continue;
      ++data_.rows_read;
      row(line, number);
    }
    data_.decimal_comma = numbers_.decimal_comma();
    Record& record = data_.record;
    std::size_t kept = 0;  // a column of words is no series
    for (std::size_t c = 0; c < other_.size(); ++c) {
      if (!other_[c].numbers) continue;
      if (kept != c) record.others[kept] = std::move(record.others[c]);
      ++kept;
    }
    record.others.resize(kept);
  }

 private:
  struct Other {
    std::size_t index;
    bool numbers;  ///< one cell at least is a number
  };

  void row(std::string_view line, std::uint32_t number) {
    cells_.split(line, layout_.separator);
    cells_.drop_empty_beyond(layout_.titles.size());
    if (cells_.size() != layout_.titles.size()) {
      data_.doubts.add(DoubtKind::cell_count, number, [&] {
        return fmt::format("{} cells where the header has {}", cells_.size(), layout_.titles.size());
      });
      return;
    }
    double value[3] = {};
    for (std::size_t r = 0; r < 3; ++r) {
      const TakenColumn& column = *of_[r];
      const std::string_view cell = cells_[column.index];
      CellContent kind = numbers_.read(cell, value[r]);
      if (r == 0 && kind == CellContent::other && read_clock(cell, value[r])) kind = CellContent::number;
      if (kind == CellContent::number) {
        value[r] = column.factor * value[r];
        continue;
      }
      const DoubtKind doubt = kind == CellContent::missing ? DoubtKind::missing : DoubtKind::not_a_number;
      data_.doubts.add(doubt, number, [&] {
        return kind == CellContent::missing
                   ? fmt::format("no value in the column '{}'", column.title)
                   : fmt::format("'{}' in the column '{}'", as_utf8(cell.substr(0, 40)), column.title);
      });
      return;
    }
    Record& record = data_.record;
    record.time.push_back(value[0]);
    record.voltage.push_back(value[1]);
    record.current.push_back(value[2]);
    record.line.push_back(number);
    if (of_[3] != nullptr) record.temperature.push_back(further(*of_[3]));
    if (of_[4] != nullptr) record.capacity.push_back(further(*of_[4]));
    if (of_[5] != nullptr) record.state.push_back(state(cells_[of_[5]->index], number));
    if (of_[6] != nullptr) record.cycle.push_back(whole(cells_[of_[6]->index]));
    if (of_[7] != nullptr) record.step.push_back(whole(cells_[of_[7]->index]));
    for (std::size_t c = 0; c < other_.size(); ++c) {
      double other = nan;
      if (numbers_.read(cells_[other_[c].index], other) != CellContent::number) other = nan;
      other_[c].numbers = other_[c].numbers || !std::isnan(other);
      record.others[c].values.push_back(other);
    }
  }

  double further(const TakenColumn& column) {
    double value = nan;
    if (numbers_.read(cells_[column.index], value) != CellContent::number) return nan;
    return column.factor * (value + column.offset);
  }

  std::int32_t whole(std::string_view cell) {
    double value = nan;
    if (numbers_.read(cell, value) != CellContent::number || !(std::abs(value) < 2e9) || value != std::round(value))
      return -1;
    return static_cast<std::int32_t>(value);
  }

  RowState state(std::string_view cell, std::uint32_t number) {
    if (cell == last_word_ && number_of_words_ > 0) return known_.back().second;  // as in most rows
    ++number_of_words_;
    auto found = std::find_if(known_.begin(), known_.end(), [&](const auto& k) { return k.first == cell; });
    if (found == known_.end()) {
      const RowState state = state_of(cell, request_.columns);
      if (state == RowState::unknown && !cell.empty()) {
        data_.doubts.add(DoubtKind::unknown_state, number, [&] {
          return fmt::format("'{}' is not understood; say what it is: --columns charge='{}' (or discharge=, rest=)",
                             as_utf8(cell.substr(0, 40)), as_utf8(cell.substr(0, 40)));
        });
      }
      if (known_.size() > 1000) return state;  // not a column of states
      known_.emplace_back(cell, state);
      found = known_.end() - 1;
    }
    std::iter_swap(found, known_.end() - 1);
    last_word_ = known_.back().first;
    return known_.back().second;
  }

  LineReader& lines_;
  const Layout& layout_;
  const MeasuredRequest& request_;
  Measured& data_;
  std::array<const TakenColumn*, role_count> of_{};
  std::vector<Other> other_;
  CellSplitter cells_;
  CellNumbers numbers_;
  std::vector<std::pair<std::string, RowState>> known_;
  std::string last_word_;
  std::size_t number_of_words_ = 0;
};

template <class Keep>
void keep_rows(Record& record, const Keep& keep) {
  const std::size_t rows = record.size();
  const auto compact = [&](auto& series) {
    if (series.empty()) return;
    std::size_t to = 0;
    for (std::size_t k = 0; k < rows; ++k) {
      if (keep[k]) series[to++] = series[k];
    }
    series.resize(to);
  };
  compact(record.voltage);
  compact(record.current);
  compact(record.temperature);
  compact(record.capacity);
  compact(record.state);
  compact(record.cycle);
  compact(record.step);
  compact(record.line);
  for (Column& column : record.others) compact(column.values);
  compact(record.time);
}

}  // namespace

void read_rows(LineReader& lines, const Layout& layout, const MeasuredRequest& request, Measured& data,
               std::size_t expected_rows) {
  RowReader(lines, layout, request, data, expected_rows).read();
}

void mend_time(Measured& data) {
  Record& record = data.record;
  const std::size_t rows = record.size();
  std::vector<bool> keep(rows, true);
  std::vector<double>& time = record.time;
  bool all = true;
  double shift = 0;
  double last = -std::numeric_limits<double>::infinity(), before_last = last;  // of the rows kept, shifted
  std::size_t last_row = 0;
  const auto leave_out = [&](std::size_t k, double shown, double after) {
    keep[k] = false;
    all = false;
    data.doubts.add(DoubtKind::backward_time, record.line[k], [&] {
      return fmt::format("the time {} s does not fit: the row before or after has {} s", plain_number(shown, 10),
                         plain_number(after, 10));
    });
  };
  for (std::size_t k = 0; k < rows; ++k) {
    double t = time[k] + shift;
    if (t < last) {
      const double next = k + 1 < rows ? time[k + 1] + shift : last;
      if (next >= last) {  // this row alone is out of order
        leave_out(k, time[k], last - shift);
        continue;
      }
      const bool ran_ahead =
          t > before_last && next >= t && last - before_last > 3 * (t - before_last) && keep[last_row];
      if (ran_ahead) {  // the row before it is the one out of order
        leave_out(last_row, time[last_row] - shift, t - shift);
        last = before_last;
      } else {
        data.doubts.add(DoubtKind::time_restart, record.line[k], [&] {
          return fmt::format(
              "the time falls from {} s to {} s and goes on from there; it is continued, the time between taken as "
              "none",
              plain_number(last - shift, 10), plain_number(time[k], 10));
        });
        shift += last - t;
        t = last;
      }
    }
    time[k] = t;
    before_last = last;
    last = t;
    last_row = k;
  }
  if (!all) keep_rows(record, keep);
}

void sign_from_state(Measured& data) {
  Record& record = data.record;
  if (record.state.empty()) return;
  double largest = 0, lowest = 0;
  bool discharges = false;
  for (std::size_t k = 0; k < record.size(); ++k) {
    largest = std::max(largest, std::abs(record.current[k]));
    lowest = std::min(lowest, record.current[k]);
    discharges = discharges || (record.state[k] == RowState::discharge && record.current[k] > 0);
  }
  if (!discharges || lowest < -1e-3 * largest) return;
  data.sign_from_state = true;
  for (std::size_t k = 0; k < record.size(); ++k) {
    if (record.state[k] == RowState::discharge) record.current[k] = -record.current[k];
  }
}

}  // namespace onegrain::params
