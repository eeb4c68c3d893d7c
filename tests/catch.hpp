#pragma once

// The one place that knows which major version of Catch2 is installed (2 on Debian 12, 3 on Debian 13).
#include <string>
#if __has_include(<catch2/catch_all.hpp>)
#include <catch2/catch_all.hpp>
using Catch::Approx;
using Catch::Matchers::WithinAbs;
using Catch::Matchers::WithinRel;
inline auto HasText(const std::string& text) { return Catch::Matchers::ContainsSubstring(text); }
#else
#include <catch2/catch.hpp>
using Catch::Matchers::WithinAbs;
using Catch::Matchers::WithinRel;
inline auto HasText(const std::string& text) { return Catch::Matchers::Contains(text); }
#endif
