// One elevation tile of the open 1 and 3 arc-second height format.
#pragma once
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "roundel/result.h"

namespace roundel::site {

/// One degree by one degree of heights above mean sea level: 1201 x 1201 (3 arc-seconds) or 3601 x
/// 3601 (1 arc-second) signed 16-bit numbers, big-endian, metres, row by row from the north-west;
/// -32768 is a void. The outer rows and columns lie on the degree lines, so neighbours share them.
/// The file is named by its south-west corner: N52E019.hgt.
class Tile {
 public:
  static constexpr std::int16_t no_data = -32768;

  /// @param thin  keep every third sample of a 1 arc-second tile: a ninth of the memory
  /// Errc::malformed, one line: a size that is neither grid's (with what it would have to be), a
  /// height outside -500 to 9000 m.
  static Result<Tile> parse(std::span<const unsigned char> bytes, const std::string& file,
                            bool thin = false);
  /// "N52E019" for the tile whose south-west corner that is.
  static std::string name_of(int south_deg, int west_deg);

  int side() const noexcept { return side_; }
  /// @param north, east  of the south-west corner, degrees, [0, 1]
  /// Bilinear; next to voids from the samples there are, none where all four are void.
  std::optional<double> height_m(double north, double east) const noexcept;

 private:
  int side_ = 0;
  std::vector<std::int16_t> samples_;
};

}  // namespace roundel::site
