#include "app/staging.hpp"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <streambuf>
#include <string_view>
#include <system_error>

#include "params/text/sha256.hpp"

namespace onegrain::app {

namespace fs = std::filesystem;

namespace {

[[noreturn]] void fail(int error) { throw std::system_error(error, std::generic_category()); }

/// Puts bytes into an open file, counts them and takes their hash.
class HashedFile : public std::streambuf {
 public:
  explicit HashedFile(int descriptor) : descriptor_(descriptor) { setp(block_.data(), block_.data() + block_.size()); }

  int error() const { return error_; }
  std::uintmax_t bytes() const { return bytes_; }
  std::string sha256() const { return hash_.digits(); }

 protected:
  int_type overflow(int_type c) override {
    if (sync() != 0) return traits_type::eof();
    if (!traits_type::eq_int_type(c, traits_type::eof())) sputc(traits_type::to_char_type(c));
    return traits_type::not_eof(c);
  }
  int sync() override {
    const auto size = static_cast<std::size_t>(pptr() - pbase());
    hash_.add({pbase(), size});
    for (std::size_t at = 0; at < size && error_ == 0;) {
      const ssize_t some = ::write(descriptor_, pbase() + at, size - at);
      if (some < 0 && errno != EINTR) error_ = errno;
      if (some > 0) at += static_cast<std::size_t>(some);
    }
    bytes_ += size;
    setp(block_.data(), block_.data() + block_.size());
    return error_ == 0 ? 0 : -1;
  }

 private:
  int descriptor_;
  int error_ = 0;
  std::uintmax_t bytes_ = 0;
  params::Sha256 hash_;
  std::array<char, 65536> block_{};
};

/// ".onegrain.4711.part", ".onegrain.4711.2.part": no other name is ours to take away.
bool is_ours(std::string_view name) {
  constexpr std::string_view front = ".onegrain.", back = ".part";
  if (name.size() < front.size() + back.size() || !name.starts_with(front) || !name.ends_with(back)) return false;
  name = name.substr(front.size(), name.size() - front.size() - back.size());
  const auto number = [&] {
    const std::size_t digits = std::min(name.find_first_not_of("0123456789"), name.size());
    name.remove_prefix(digits);
    return digits > 0;
  };
  if (!number()) return false;
  if (name.empty()) return true;
  if (!name.starts_with('.')) return false;
  name.remove_prefix(1);
  return number() && name.empty();
}

/// Takes a hidden folder away unless its process lives. The lock is kept meanwhile: who has just made a folder and
/// waits for its lock sees afterwards that it is gone.
void remove_unless_held(const fs::path& staging) {
  struct stat status {};
  if (lstat(staging.c_str(), &status) != 0 || !S_ISDIR(status.st_mode) || status.st_uid != geteuid()) return;
  const int descriptor = open(staging.c_str(), O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
  if (descriptor < 0) return;
  std::error_code ignored;
  if (flock(descriptor, LOCK_EX | LOCK_NB) == 0)
    fs::remove_all(staging, ignored);  // without locks: better left than lost
  close(descriptor);
}

}  // namespace

Staging::Staging(const fs::path& beside) {
  for (int trial = 0; trial < 1000; ++trial) {
    const std::string more = trial == 0 ? "" : "." + std::to_string(trial);
    fs::path path = beside / (".onegrain." + std::to_string(getpid()) + more + ".part");
    if (mkdir(path.c_str(), 0777) != 0) {
      if (errno == EEXIST) continue;
      fail(errno);
    }
    path_ = std::move(path);
    lock_ = open(path_.c_str(), O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
    if (lock_ >= 0) flock(lock_, LOCK_EX);
    struct stat status {};
    if (stat(path_.c_str(), &status) == 0) return;  // else another run swept it before it was locked
    if (lock_ >= 0) close(lock_);
    lock_ = -1;
    path_.clear();
  }
  fail(EEXIST);
}

Staging::~Staging() {
  std::error_code ignored;
  if (!path_.empty()) fs::remove_all(path_, ignored);
  if (lock_ >= 0) close(lock_);
}

ListedFile Staging::write(const std::string& name, const FileWriter& content) const {
  const int descriptor = open((path_ / name).c_str(), O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0666);
  if (descriptor < 0) fail(errno);
  HashedFile file(descriptor);
  std::ostream out(&file);
  int error = 0;
  try {
    content(out);
    out.flush();
    error = file.error();
    if (error == 0 && !out) error = EIO;
  } catch (...) {
    close(descriptor);
    throw;
  }
  if (error == 0 && fsync(descriptor) != 0 && errno != EINVAL && errno != ENOTSUP) error = errno;
  if (close(descriptor) != 0 && error == 0) error = errno;
  if (error != 0) fail(error);
  return {name, file.bytes(), file.sha256()};
}

void sweep(const fs::path& folder) {
  std::error_code error;
  std::vector<fs::path> left;
  for (fs::directory_iterator entry(folder, error), end; !error && entry != end; entry.increment(error)) {
    if (is_ours(entry->path().filename().string())) left.push_back(entry->path());
  }
  for (const fs::path& path : left) remove_unless_held(path);
}

void sync_folder(const fs::path& folder) {
  const int descriptor = open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (descriptor < 0) return;
  fsync(descriptor);
  close(descriptor);
}

FolderLock::FolderLock(const fs::path& folder) : descriptor_(open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC)) {
  while (descriptor_ >= 0 && flock(descriptor_, LOCK_EX) != 0 && errno == EINTR) {
  }
}

FolderLock::~FolderLock() {
  if (descriptor_ >= 0) close(descriptor_);
}

}  // namespace onegrain::app
