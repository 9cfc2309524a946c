// A first look at a feed: some lines from a socket or a file.
#pragma once
#include <cstddef>
#include <filesystem>
#include <string>
#include <vector>

#include "roundel/config/config.h"
#include "roundel/result.h"

namespace roundel::feed {

struct SampleLimits {
  std::size_t max_lines = 1000;
  double max_s = 5;       ///< after the first byte, where lines arrive live
  double silence_s = 10;  ///< how long to wait for the connection, and for the first byte
};

struct Sample {
  std::vector<std::string> lines;  ///< as LineFramer cuts them; at least one
  double took_s = 0;               ///< 0 for a file
  std::size_t n_too_long = 0;
};

/// Connects and reads until a limit is reached or the other side ends. Blocks; name look-up may
/// take as long as the system's does. Errc::io: no connection, or nothing arrived;
/// malformed: binary data, or no line that ended.
Result<Sample> sample_endpoint(const config::Endpoint& endpoint, const SampleLimits& limits);

/// The first lines of a file, plain or gzip; "-" is standard input. Errc: not_found, io, corrupt
/// (damaged gzip), malformed as above, too_little for an empty file.
Result<Sample> sample_file(const std::filesystem::path& file, const SampleLimits& limits);

/// What text of any encoding doesn't have: zero bytes, or many control characters.
bool is_binary(std::string_view bytes);

}  // namespace roundel::feed
