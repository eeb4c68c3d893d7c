#include "params/text/stream.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <map>
#include <mutex>

namespace onegrain::params {

namespace {

/// One stream of this run, with what has been read of it.
struct Stream {
  int descriptor = -1;
  bool ended = false;
  std::shared_ptr<std::string> text = std::make_shared<std::string>();
  std::string error;
};

std::mutex guard;
std::map<std::string, Stream>& streams() {
  static std::map<std::string, Stream> all;
  return all;
}

void forget() {
  const std::lock_guard<std::mutex> lock(guard);
  for (const auto& [key, stream] : streams()) {
    if (stream.descriptor > STDERR_FILENO) close(stream.descriptor);
  }
  streams().clear();
}

bool is_standard_input(const std::string& path) {
  for (const char* name : {"-", "/dev/stdin", "/dev/fd/0", "/proc/self/fd/0"}) {
    if (path == name) return true;
  }
  return false;
}

void read_on(Stream& stream, std::size_t limit) {
  char block[65536];
  while (!stream.ended && stream.text->size() <= limit) {
    const ssize_t got = read(stream.descriptor, block, sizeof block);
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) stream.error = std::strerror(errno);
    if (got <= 0) {
      stream.ended = true;
    } else {
      stream.text->append(block, static_cast<std::size_t>(got));
    }
  }
}

}  // namespace

bool is_stream(const std::string& path) {
  if (is_standard_input(path)) return true;
  struct stat status {};
  return stat(path.c_str(), &status) == 0 && S_ISFIFO(status.st_mode);
}

std::string stream_name(const std::string& path) { return path == "-" ? "standard input" : path; }

std::shared_ptr<const std::string> stream_text(const std::string& path, std::size_t limit, std::string& error) {
  const std::lock_guard<std::mutex> lock(guard);
  const bool standard = is_standard_input(path);
  Stream& stream = streams()[standard ? "-" : path];
  if (stream.descriptor < 0 && !stream.ended) {
    stream.descriptor = standard ? STDIN_FILENO : open(path.c_str(), O_RDONLY | O_CLOEXEC);
    if (stream.descriptor < 0) {
      stream.error = std::strerror(errno);
      stream.ended = true;
    }
  }
  read_on(stream, limit);
  error = stream.error;
  if (!error.empty() || stream.text->size() > limit) return nullptr;
  return stream.text;
}

StreamsOfRun::StreamsOfRun() { forget(); }
StreamsOfRun::~StreamsOfRun() { forget(); }

}  // namespace onegrain::params
