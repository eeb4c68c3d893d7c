#include "app/answer/rows.hpp"

#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <type_traits>

#include "app/command/commands.hpp"

namespace onegrain::app::answer {

TableCell::TableCell(std::monostate) {}
TableCell::TableCell(double number) : Alternatives(number) {}
TableCell::TableCell(Answered answered) : Alternatives(answered.yes) {}
TableCell::TableCell(std::string text) : Alternatives(std::move(text)) {}
TableCell::TableCell(const char* text) : Alternatives(std::string(text)) {}
TableCell::TableCell(std::vector<double> array) : Alternatives(std::move(array)) {}
TableCell::TableCell(const Amount& amount) : Alternatives(amount) {}
// Where memory runs out within the copy of a variant of these types, libstdc++ 12 destroys what was never made and
// jumps anywhere; an assignment makes the copy first.
// NOLINTNEXTLINE(bugprone-copy-constructor-init,readability-redundant-member-init)
TableCell::TableCell(const TableCell& other) : Alternatives() { Alternatives::operator=(other); }
TableCell::TableCell(TableCell&&) noexcept = default;
TableCell& TableCell::operator=(const TableCell&) = default;
TableCell& TableCell::operator=(TableCell&&) noexcept = default;
TableCell::~TableCell() = default;

/// Not in the nameless namespace, as Rows::Store has one and shares its linkage.
struct CloseRowsFile {
  void operator()(std::FILE* file) const { std::fclose(file); }
};

namespace {

using File = std::unique_ptr<std::FILE, CloseRowsFile>;

/// A file that has no name any more, so that nothing is left behind whatever ends the program.
File unnamed_file() {
  const char* asked = std::getenv("TMPDIR");
  std::error_code none;
  // /tmp often lives in memory, which is what this file is there to spare.
  const std::string folder = asked && *asked                                   ? asked
                             : std::filesystem::is_directory("/var/tmp", none) ? "/var/tmp"
                                                                               : "/tmp";
  std::string name = folder + "/onegrain-rows-XXXXXX";
  const int handle = mkstemp(name.data());
  if (handle < 0)
    throw NotCompleted("no file for temporary rows can be made in '" + folder + "': " + std::strerror(errno));
  std::remove(name.c_str());
  return File(fdopen(handle, "w+b"));
}

template <class T>
void put(std::string& bytes, const T& value) {
  static_assert(std::is_trivially_copyable_v<T>);
  bytes.append(reinterpret_cast<const char*>(&value), sizeof value);
}

void put_cell(std::string& bytes, const TableCell& cell) {
  bytes += static_cast<char>(cell.index());
  if (const auto* number = std::get_if<double>(&cell)) put(bytes, *number);
  if (const auto* yes = std::get_if<bool>(&cell)) put(bytes, *yes);
  if (const auto* text = std::get_if<std::string>(&cell)) {
    put(bytes, text->size());
    bytes += *text;
  }
  if (const auto* array = std::get_if<std::vector<double>>(&cell)) {
    put(bytes, array->size());
    bytes.append(reinterpret_cast<const char*>(array->data()), array->size() * sizeof(double));
  }
  if (const auto* amount = std::get_if<Amount>(&cell)) put(bytes, *amount);  // its pointers hold within this process
}

void read_bytes(std::FILE* file, void* into, std::size_t bytes) {
  if (bytes > 0 && std::fread(into, 1, bytes, file) != bytes)
    throw NotCompleted("the file of temporary rows cannot be read back");
}

template <class T>
T get(std::FILE* file) {
  static_assert(std::is_trivially_copyable_v<T>);
  T value{};
  read_bytes(file, &value, sizeof value);
  return value;
}

TableCell get_cell(std::FILE* file) {
  switch (get<char>(file)) {
    case 1:
      return get<double>(file);
    case 2:
      return get<bool>(file);
    case 3: {
      std::string text(get<std::size_t>(file), '\0');
      read_bytes(file, text.data(), text.size());
      return text;
    }
    case 4: {
      std::vector<double> array(get<std::size_t>(file));
      read_bytes(file, array.data(), array.size() * sizeof(double));
      return array;
    }
    case 5:
      return get<Amount>(file);
    default:
      return std::monostate{};
  }
}

std::size_t size_of(const Row& row) {
  std::size_t bytes = sizeof(Row) + row.size() * sizeof(TableCell);
  for (const TableCell& cell : row) {
    if (const auto* text = std::get_if<std::string>(&cell)) bytes += text->size();
    if (const auto* array = std::get_if<std::vector<double>>(&cell)) bytes += array->size() * sizeof(double);
  }
  return bytes;
}

}  // namespace

struct Rows::Store {
  std::size_t count = 0, bytes = 0;
  std::vector<Row> rows;  // while few
  File file;              // once many

  void write(const Row& row) {
    std::string text;
    put(text, row.size());
    for (const TableCell& cell : row) put_cell(text, cell);
    if (std::fwrite(text.data(), 1, text.size(), file.get()) != text.size())
      throw NotCompleted(std::string("the file of temporary rows cannot be written: ") + std::strerror(errno));
  }
};

Rows::Rows() : store_(std::make_shared<Store>()) {}

std::size_t Rows::size() const { return store_->count; }
bool Rows::in_memory() const { return store_->file == nullptr; }

void Rows::add(const Row& row) {
  Store& s = *store_;
  ++s.count;
  if (s.file) return s.write(row);
  s.bytes += size_of(row);
  s.rows.push_back(row);
  if (s.bytes <= kept_in_memory) return;
  s.file = unnamed_file();
  for (const Row& kept : s.rows) s.write(kept);
  std::vector<Row>().swap(s.rows);
}

void Rows::each(const std::function<bool(const Row&)>& see) const {
  Store& s = *store_;
  if (!s.file) {
    for (const Row& row : s.rows)
      if (!see(row)) return;
    return;
  }
  if (std::fflush(s.file.get()) != 0)
    throw NotCompleted(std::string("the file of temporary rows cannot be written: ") + std::strerror(errno));
  std::rewind(s.file.get());
  for (std::size_t k = 0; k < s.count; ++k) {
    Row row(get<std::size_t>(s.file.get()));
    for (TableCell& cell : row) cell = get_cell(s.file.get());
    if (!see(row)) break;
  }
  std::fseek(s.file.get(), 0, SEEK_END);  // a row may still be added
}

}  // namespace onegrain::app::answer
