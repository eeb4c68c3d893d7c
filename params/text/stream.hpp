#pragma once

#include <cstddef>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

/// Input that can be read once only: standard input, pipes, process substitutions such as <(zcat cell.yaml.gz).
namespace onegrain::params {

/// True for `-` and every other name of standard input, whatever that is, and for a FIFO or a pipe by whatever name.
bool is_stream(const std::string& path);

/// What messages and results call it: "standard input" for `-`, else as given.
std::string stream_name(const std::string& path);

/// The whole text of a stream; what has been read of it is kept, so that asking again gives the same bytes. Waits for
/// its end.
///
/// @param limit  reading stops, and nothing is returned, once there are more bytes than this; a later call with a
///               higher limit goes on from there
/// @param error  what the operating system says, where it cannot be read; empty otherwise
std::shared_ptr<const std::string> stream_text(const std::string& path, std::size_t limit, std::string& error);

/// Forgets, at its beginning and at its end, what was read of streams: one run of the program.
class StreamsOfRun {
 public:
  StreamsOfRun();
  ~StreamsOfRun();
  StreamsOfRun(const StreamsOfRun&) = delete;
  StreamsOfRun& operator=(const StreamsOfRun&) = delete;
};

}  // namespace onegrain::params
