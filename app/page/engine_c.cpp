// The door of the WebAssembly module: one engine, one buffer that the caller fills, one message.

#include <emscripten/emscripten.h>

#include <exception>
#include <string>
#include <vector>

#include "app/page/engine.hpp"

namespace {

onegrain::page::Engine engine;
std::vector<double> buffer;
std::string message;

/// How many numbers came of it; -1 where the message says why there are none.
template <class Work>
int attempt(const Work& work) {
  message.clear();
  try {
    return work();
  } catch (const std::exception& error) {
    message = error.what();
  } catch (...) {
    message = "an error without a name";
  }
  return -1;
}

}  // namespace

extern "C" {

/// Room for so many numbers; they go where it points to.
EMSCRIPTEN_KEEPALIVE double* onegrain_room(int count) {
  buffer.resize(static_cast<std::size_t>(count));
  return buffer.data();
}

/// Takes the cell whose numbers lie in the room: see model::numbers_of.
EMSCRIPTEN_KEEPALIVE int onegrain_take() {
  return attempt([] {
    engine.take(buffer);
    return 0;
  });
}

/// Runs what lies in the room: see app/page/engine.hpp.
EMSCRIPTEN_KEEPALIVE int onegrain_run() {
  return attempt([] { return static_cast<int>(engine.run(buffer).size()); });
}

EMSCRIPTEN_KEEPALIVE const double* onegrain_answer() { return engine.answer().data(); }

/// UTF-8, ended by a zero.
EMSCRIPTEN_KEEPALIVE const char* onegrain_message() { return message.c_str(); }

}  // extern "C"
