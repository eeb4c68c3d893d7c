#pragma once

#include <functional>
#include <nlohmann/json_fwd.hpp>
#include <string>
#include <string_view>
#include <vector>

/// The parts of which an HTML page is put together.
namespace onegrain::app::render {

/// Text as it may stand in HTML; bytes that are not UTF-8 become U+FFFD.
std::string html_text(const std::string& text);

/// JSON that may stand inside a script element, floating-point numbers kept to eight significant digits.
std::string json_for_script(const nlohmann::json& document);

/// `<section class="cautions">` with a list, for browsers that run no script; "" for no items.
std::string html_list(const std::string& title, const std::string& style, const std::vector<std::string>& items);

/// The page template with `@NAME@` replaced by what `filling("NAME")` gives. One pass, so that an `@` in what is put in
/// is never taken for a mark. @throws std::logic_error  a mark that is not closed
std::string filled(std::string_view page, const std::function<std::string(std::string_view)>& filling);

}  // namespace onegrain::app::render
