// How a function that can fail says so: a value, or one error that a person can act on.
#pragma once
#include <string>
#include <tl/expected.hpp>
#include <utility>

namespace roundel {

enum class Errc {
  bad_usage,     ///< a command line or query that makes no sense
  bad_config,    ///< roundel.toml or a scenario file
  out_of_range,  ///< a quantity outside what its type accepts
  not_found,     ///< a file, trial, antenna ... that does not exist
  not_a_store,   ///< a file that is not one of our databases
  newer_schema,  ///< a database written by a newer version
  busy,          ///< another process holds what is needed
  corrupt,       ///< damaged file
  disk_full,
  io,          ///< anything else the system refused
  malformed,   ///< input that cannot be read
  too_little,  ///< not enough data to do what was asked at all
};

/// One failure. Printed as one line: "where: what; remedy" (empty parts are left out, control
/// characters shown as blanks).
struct Error {
  Errc code;
  std::string what;    ///< what is wrong, with the offending value
  std::string where;   ///< file:line, option, or table; may be empty
  std::string remedy;  ///< what to do about it; may be empty

  std::string line() const {
    std::string out = where.empty() ? what : where + ": " + what;
    if (!remedy.empty()) out += "; " + remedy;
    // What it quotes may hold anything: it must neither break the line nor steer a terminal.
    for (char& c : out)
      if (static_cast<unsigned char>(c) < ' ' || c == '\x7f') c = ' ';
    return out;
  }
};

template <class T>
using Result = tl::expected<T, Error>;

/// For `return fail(Errc::io, "cannot read", path, "check that it exists");`
inline tl::unexpected<Error> fail(Errc code, std::string what, std::string where = {},
                                  std::string remedy = {}) {
  return tl::unexpected<Error>(Error{code, std::move(what), std::move(where), std::move(remedy)});
}

/// Exit code of a program that ends with this error: 2 usage or configuration, 1 anything else.
constexpr int exit_code(Errc code) {
  return code == Errc::bad_usage || code == Errc::bad_config || code == Errc::out_of_range ? 2 : 1;
}

}  // namespace roundel
