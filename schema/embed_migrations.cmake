# Turns numbered SQL files into one C++ source: cmake -DOUTPUT=f.cpp "-DINPUTS=a.sql;b.sql" -P this
set(rows "")
set(expected 1)
foreach(input IN LISTS INPUTS)
  get_filename_component(name "${input}" NAME)
  if(NOT name MATCHES "^([0-9][0-9][0-9][0-9])-.+\\.sql$")
    message(FATAL_ERROR "${name}: a migration is called NNNN-what.sql")
  endif()
  math(EXPR number "1${CMAKE_MATCH_1} - 10000")
  if(NOT number EQUAL expected)
    message(FATAL_ERROR "${name}: step ${expected} is missing")
  endif()
  math(EXPR expected "${expected} + 1")
  file(READ "${input}" text)
  string(APPEND rows "    {${number}, \"${name}\", R\"sql(${text})sql\"},\n")
endforeach()
file(WRITE "${OUTPUT}" "// Made from schema/migrations by embed_migrations.cmake.
#include \"schema/migrate.h\"

namespace roundel::schema {
namespace {
constexpr Migration steps[] = {
${rows}};
}  // namespace
std::span<const Migration> migrations() { return steps; }
}  // namespace roundel::schema
")
