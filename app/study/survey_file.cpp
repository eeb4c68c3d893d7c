#include "app/study/survey_file.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cmath>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <map>
#include <optional>

#include "app/command/commands.hpp"
#include "params/number/quantity.hpp"

namespace onegrain::app::study {

namespace {

namespace fs = std::filesystem;

constexpr const char* first_line = "# onegrain survey 1";  // the number of this form

/// A comma or a line end of a reason would end its cell.
std::string one_cell(std::string text) {
  std::replace_if(
      text.begin(), text.end(), [](unsigned char c) { return c < 32 || c == ','; }, ';');
  return text;
}

std::string row_text(const Surveyed& told) {
  std::string line = std::to_string(told.number) + "," + one_cell(told.left_out);
  if (told.left_out.empty())
    for (const double number : told.numbers())
      line += std::isnan(number) ? "," : fmt::format(",{}", number);  // as many digits as it takes
  return line + ",.\n";                                               // the point says that the row is whole
}

std::string head_text(const SurveyHead& head, const Part& part) {
  std::string text = first_line;
  text += fmt::format("\n# part {}/{} of {} designs\n# made of {}\n# sheet {}\n# options {}\n", part.number, part.of,
                      head.count, head.digest, head.sheet, head.options);
  text +=
      "design,left out,N/P,1C in an hour / C m-2,positive thickness / m,positive porosity,positive loading / kg m-2,"
      "negative thickness / m,negative porosity,negative loading / kg m-2,stack thickness / m,stack mass / kg m-2";
  for (std::size_t r = 1; r <= head.discharges; ++r)
    text += fmt::format(",capacity {0} / C m-2,energy {0} / J m-2,duration {0} / s,hottest {0} / K,trusted {0}", r);
  if (head.charge) text += ",ceiling / A m-2,confident ceiling / A m-2,charge / s";
  return text + ",end\n";
}

struct Read {
  SurveyHead head;
  Part part;
  std::string text;                                // of the head
  std::int64_t rows_end = 0;                       // behind the last whole row
  std::vector<std::pair<int, std::int64_t>> rows;  // design, where its row begins
};

std::vector<std::string> cells_of(const std::string& line) {
  std::vector<std::string> cells(1);
  for (const char c : line) {
    if (c == ',')
      cells.emplace_back();
    else
      cells.back() += c;
  }
  return cells;
}

/// The row, or nothing where it is torn.
std::optional<Surveyed> row_of(const std::string& line, const SurveyHead& head) {
  const std::vector<std::string> cells = cells_of(line);
  if (cells.size() < 3 || cells.back() != ".") return std::nullopt;
  const auto number = params::parse_number(cells[0]);
  if (!number || !(*number >= 0 && *number < head.count) || *number != std::floor(*number)) return std::nullopt;
  if (!cells[1].empty()) {
    Surveyed told;
    told.number = static_cast<int>(*number);
    told.left_out = cells[1];
    return told;
  }
  std::vector<double> numbers;
  for (std::size_t k = 2; k + 1 < cells.size(); ++k) {
    const auto value = params::parse_number(cells[k]);
    if (!value && !cells[k].empty() && cells[k] != "inf") return std::nullopt;
    numbers.push_back(cells[k] == "inf" ? std::numeric_limits<double>::infinity() : value.value_or(unknown));
  }
  try {
    return Surveyed::from_numbers(static_cast<int>(*number), numbers, head.discharges, head.charge);
  } catch (const std::invalid_argument&) {
    return std::nullopt;
  }
}

/// What a part holds; nothing where this is no such file.
std::optional<Read> read_part(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  Read read;
  std::string line;
  const auto next = [&] { return static_cast<bool>(std::getline(in, line)) && !in.eof(); };
  const auto behind = [&](const std::string& words) {
    if (!next() || line.rfind(words, 0) != 0) return std::optional<std::string>();
    read.text += line + "\n";
    return std::optional(line.substr(words.size()));
  };
  if (!behind(first_line)) return std::nullopt;
  const auto part = behind("# part "), digest = behind("# made of "), sheet = behind("# sheet "),
             options = behind("# options "), titles = behind("design,");
  if (!part || !digest || !sheet || !options || !titles) return std::nullopt;
  if (std::sscanf(part->c_str(), "%d/%d of %d", &read.part.number, &read.part.of, &read.head.count) != 3)
    return std::nullopt;
  read.head.digest = *digest;
  read.head.sheet = *sheet;
  read.head.options = *options;
  read.head.charge = titles->find("confident ceiling") != std::string::npos;
  const auto columns = static_cast<std::size_t>(std::count(titles->begin(), titles->end(), ','));
  read.head.discharges = (columns - 11 - (read.head.charge ? 3 : 0)) / 5;
  read.rows_end = static_cast<std::int64_t>(in.tellg());
  while (next()) {
    const auto row = row_of(line, read.head);
    if (!row) break;
    read.rows.emplace_back(row->number, read.rows_end);
    read.rows_end = static_cast<std::int64_t>(in.tellg());
  }
  return read;
}

std::string reason() { return std::strerror(errno); }

}  // namespace

std::string Part::file_name() const { return fmt::format("part-{:03}-of-{:03}.csv", number, of); }

Part Part::parse(const std::string& text) {
  Part part;
  char rest = 0;
  if (std::sscanf(text.c_str(), "%d/%d%c", &part.number, &part.of, &rest) != 2 || part.of < 1 || part.of > 100000 ||
      part.number < 1 || part.number > part.of)
    throw CommandLineError("--part '" + text + "': write which part of how many, such as 3/16");
  return part;
}

SurveyFile::SurveyFile(std::string path, const SurveyHead& head, const Part& part)
    : path_(std::move(path)), present_(static_cast<std::size_t>(head.count)) {
  file_ = ::open(path_.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0666);
  if (file_ < 0) throw NotCompleted(path_ + ": " + reason());
  try {
    if (::flock(file_, LOCK_EX | LOCK_NB) != 0) throw NotCompleted(path_ + ": another process writes this part");
    const std::string text = head_text(head, part);
    const std::optional<Read> read = read_part(path_);
    if (read && read->text != text)
      throw CommandLineError(
          path_ + ": this part belongs to another survey (sheet, options or version differ); give another folder");
    std::int64_t end = 0;
    if (read) {
      end = read->rows_end;
      for (const auto& row : read->rows) present_[static_cast<std::size_t>(row.first)] = true;
    } else if (const auto size = ::lseek(file_, 0, SEEK_END); size > 0) {
      std::string there(static_cast<std::size_t>(std::min<std::int64_t>(size, static_cast<std::int64_t>(text.size()))),
                        '\0');
      const bool ours = ::pread(file_, there.data(), there.size(), 0) == static_cast<ssize_t>(there.size()) &&
                        text.compare(0, there.size(), there) == 0;  // a head of ours that was torn
      if (!ours) throw CommandLineError(path_ + ": this file is there already and is no part of a survey");
    }
    if (::ftruncate(file_, end) != 0 || ::lseek(file_, end, SEEK_SET) < 0) throw NotCompleted(path_ + ": " + reason());
    if (!read && ::write(file_, text.data(), text.size()) != static_cast<ssize_t>(text.size()))
      throw NotCompleted(path_ + ": " + reason());
  } catch (...) {
    ::close(file_);
    throw;
  }
}

SurveyFile::~SurveyFile() { ::close(file_); }

void SurveyFile::append(const std::vector<Surveyed>& rows) {
  std::string text;
  for (const Surveyed& told : rows) text += row_text(told);
  for (std::size_t done = 0; done < text.size();) {
    const ssize_t wrote = ::write(file_, text.data() + done, text.size() - done);
    if (wrote < 0) throw NotCompleted(path_ + ": " + reason());
    done += static_cast<std::size_t>(wrote);
  }
  if (::fdatasync(file_) != 0) throw NotCompleted(path_ + ": " + reason());
  for (const Surveyed& told : rows) present_[static_cast<std::size_t>(told.number)] = true;
}

SurveyParts::SurveyParts(const std::string& folder) {
  std::map<std::string, Read> parts;
  std::error_code none;
  for (const fs::directory_entry& entry : fs::directory_iterator(folder, none)) {
    const std::string name = entry.path().filename().string();
    if (name.rfind("part-", 0) != 0 || entry.path().extension() != ".csv") continue;
    std::optional<Read> read = read_part(entry.path().string());
    if (!read)
      throw NotCompleted(entry.path().string() +
                         ": this is no part of a survey, or its head is torn; run that part again");
    parts.emplace(name, std::move(*read));
  }
  if (parts.empty())
    throw NotCompleted(folder + ": there are no parts of a survey; write them with survey ... --part 1/4 --out " +
                       folder);
  const Read& first = parts.begin()->second;
  head_ = first.head;
  places_.resize(static_cast<std::size_t>(head_.count));
  std::vector<bool> seen(static_cast<std::size_t>(first.part.of));
  for (const auto& [name, read] : parts) {
    if (read.head.digest != head_.digest || read.part.of != first.part.of)
      throw NotCompleted(name + " and " + parts.begin()->first + " in " + folder +
                         " do not belong together: sheet, options, version or the number of parts differ");
    seen[static_cast<std::size_t>(read.part.number - 1)] = true;
    const auto file = static_cast<int>(files_.size());
    files_.push_back((fs::path(folder) / name).string());
    int expected = 0, there = 0;
    for (const auto& [design, offset] : read.rows) {
      there += places_[static_cast<std::size_t>(design)].file < 0 ? 1 : 0;
      places_[static_cast<std::size_t>(design)] = {file, offset};
    }
    for (int k = read.part.number - 1; k < head_.count; k += read.part.of) ++expected;
    if (there < expected) gaps_.push_back(fmt::format("{}: {} of {} designs", name, there, expected));
  }
  for (int n = 1; n <= first.part.of; ++n)
    if (!seen[static_cast<std::size_t>(n - 1)]) gaps_.push_back(Part{n, first.part.of}.file_name() + ": is not there");
  missing_ =
      static_cast<int>(std::count_if(places_.begin(), places_.end(), [](const RowPlace& p) { return p.file < 0; }));
}

void SurveyParts::each(const std::function<void(const Surveyed&)>& see) const {
  std::vector<std::ifstream> open;
  open.reserve(files_.size());
  for (const std::string& file : files_) open.emplace_back(file, std::ios::binary);
  std::string line;
  for (const RowPlace& place : places_) {
    if (place.file < 0) continue;
    std::ifstream& in = open[static_cast<std::size_t>(place.file)];
    if (static_cast<std::int64_t>(in.tellg()) != place.offset) in.seekg(place.offset);
    std::getline(in, line);
    const std::optional<Surveyed> row = row_of(line, head_);
    if (!in || !row)
      throw NotCompleted(files_[static_cast<std::size_t>(place.file)] + ": it has changed while it was read");
    see(*row);
  }
}

}  // namespace onegrain::app::study
