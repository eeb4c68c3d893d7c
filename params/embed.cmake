# Writes one C++ source that holds files as bytes, so that the program needs no files beside itself:
#
#   cmake -D OUTPUT=embedded.cpp -D NAMESPACE=onegrain::params -D BASE=/path/to/params
#         -D "FILES=materials/graphite.yaml|cells/lco.yaml" [-D FUNCTION=embedded_file] [-D LIST=embedded_file_names] -P embed.cmake
#
# FILES are relative to BASE, divided by '|'; their names are these relative paths. The source defines
#   std::string_view FUNCTION(std::string_view name)   data() == nullptr if there is no such file
#   std::vector<std::string_view> LIST()               all names, sorted
cmake_minimum_required(VERSION 3.25)
if(NOT DEFINED FUNCTION)
  set(FUNCTION embedded_file)
endif()
if(NOT DEFINED LIST)
  set(LIST embedded_file_names)
endif()
string(REPLACE "|" ";" names "${FILES}")
list(SORT names)

set(text "// Written by embed.cmake.\n#include <string_view>\n#include <vector>\n\nnamespace ${NAMESPACE} {\n")
string(APPEND text "std::string_view ${FUNCTION}(std::string_view name);\nstd::vector<std::string_view> ${LIST}();\n\nnamespace {\n")
set(entries "")
set(count 0)
foreach(name IN LISTS names)
  file(READ "${BASE}/${name}" hex HEX)
  string(LENGTH "${hex}" length)
  math(EXPR bytes "${length} / 2")
  string(REGEX REPLACE "(................................)" "\\1\n" hex "${hex}")  # lines of 16 bytes
  string(REGEX REPLACE "([0-9a-f][0-9a-f])" "0x\\1," hex "${hex}")
  string(APPEND text "constexpr unsigned char file_${count}[] = {\n${hex}0};\n")
  string(APPEND entries "    {\"${name}\", file_${count}, ${bytes}},\n")
  math(EXPR count "${count} + 1")
endforeach()
string(APPEND text "struct File { std::string_view name; const unsigned char* bytes; unsigned long size; };\n")
string(APPEND text "constexpr File files[] = {\n${entries}    {\"\", nullptr, 0},\n};\n}  // namespace\n\n")
string(APPEND text "std::string_view ${FUNCTION}(std::string_view name) {
  if (name.empty()) return {};
  for (const File& file : files) {
    if (file.name == name) return {reinterpret_cast<const char*>(file.bytes), file.size};
  }
  return {};
}

std::vector<std::string_view> ${LIST}() {
  std::vector<std::string_view> names;
  for (const File& file : files) {
    if (!file.name.empty()) names.push_back(file.name);
  }
  return names;
}

}  // namespace ${NAMESPACE}
")
file(WRITE "${OUTPUT}.new" "${text}")
file(COPY_FILE "${OUTPUT}.new" "${OUTPUT}" ONLY_IF_DIFFERENT)
file(REMOVE "${OUTPUT}.new")
