#include "roundel/site/tile.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>

namespace roundel::site {
namespace {

constexpr std::size_t coarse_side = 1201;
constexpr std::size_t fine_side = 3601;

}  // namespace

Result<Tile> Tile::parse(std::span<const unsigned char> bytes, const std::string& file, bool thin) {
  const std::size_t side = bytes.size() == 2 * coarse_side * coarse_side ? coarse_side
                           : bytes.size() == 2 * fine_side * fine_side   ? fine_side
                                                                         : 0;
  if (side == 0)
    return fail(Errc::malformed,
                fmt::format("has {} bytes, but an elevation tile has {} or {}", bytes.size(),
                            2 * coarse_side * coarse_side, 2 * fine_side * fine_side),
                file, "fetch it again, or remove it");
  const std::size_t step = thin && side == fine_side ? 3 : 1;
  const std::size_t kept = (side - 1) / step + 1;
  Tile tile;
  tile.side_ = static_cast<int>(kept);
  tile.samples_.reserve(kept * kept);
  for (std::size_t row = 0; row < side; row += step)
    for (std::size_t column = 0; column < side; column += step) {
      const std::size_t at = 2 * (row * side + column);
      const auto sample = static_cast<std::int16_t>(bytes[at] << 8 | bytes[at + 1]);
      if (sample != no_data && (sample < -500 || sample > 9000))
        return fail(Errc::malformed,
                    fmt::format("height {} m in row {}, column {} is outside -500 to 9000", sample,
                                row + 1, column + 1),
                    file, "fetch it again, or remove it");
      tile.samples_.push_back(sample);
    }
  return tile;
}

std::string Tile::name_of(int south_deg, int west_deg) {
  return fmt::format("{}{:02}{}{:03}", south_deg < 0 ? 'S' : 'N', std::abs(south_deg),
                     west_deg < 0 ? 'W' : 'E', std::abs(west_deg));
}

std::optional<double> Tile::height_m(double north, double east) const noexcept {
  const double last = side_ - 1;
  const double y = std::clamp((1 - north) * last, 0.0, last);  // rows run from the north
  const double x = std::clamp(east * last, 0.0, last);
  const int row = std::min(static_cast<int>(y), side_ - 2);
  const int column = std::min(static_cast<int>(x), side_ - 2);
  const double down = y - row;
  const double right = x - column;
  const std::int16_t* const corner =
      &samples_[static_cast<std::size_t>(row) * static_cast<std::size_t>(side_) +
                static_cast<std::size_t>(column)];
  const struct {
    std::int16_t sample;
    double weight;
  } corners[] = {{corner[0], (1 - down) * (1 - right)},
                 {corner[1], (1 - down) * right},
                 {corner[side_], down * (1 - right)},
                 {corner[side_ + 1], down * right}};
  double sum = 0;
  double weight = 0;
  for (const auto& of : corners) {
    if (of.sample == no_data) continue;
    sum += of.weight * of.sample;
    weight += of.weight;
  }
  if (weight <= 0) return {};
  return sum / weight;
}

}  // namespace roundel::site
