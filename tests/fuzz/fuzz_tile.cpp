// Any bytes are an elevation tile or refused by one line; heights of one stay where heights can be.
#include <vector>

#include "roundel/site/tile.h"
#include "tests/fuzz/check.h"

int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
  using namespace roundel;
  // A tile has millions of bytes: the input is repeated until it is as long as one, or, by its
  // first byte, taken as it is.
  constexpr std::size_t tile_bytes = 1201 * 1201 * 2;
  std::vector<unsigned char> bytes(data, data + size);
  if (size > 1 && data[0] != 0) {
    bytes.resize(tile_bytes);
    for (std::size_t i = 0; i < tile_bytes; ++i) bytes[i] = data[1 + i % (size - 1)];
  }
  const auto tile = site::Tile::parse(bytes, "N52E019.hgt");
  if (!tile) {
    const std::string line = tile.error().line();
    FUZZ_CHECK(tile.error().code == Errc::malformed);
    FUZZ_CHECK(line.find("N52E019.hgt") != std::string::npos && line.size() < 2000);
    FUZZ_CHECK(line.find_first_of("\r\n") == std::string::npos);
    return 0;
  }
  for (const double at : {0.0, 0.1234, 0.5, 0.9999, 1.0}) {
    const auto height_m = tile->height_m(at, 1 - at);
    FUZZ_CHECK(!height_m || (*height_m >= -500 && *height_m <= 9000));
  }
  return 0;
}
