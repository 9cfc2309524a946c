// The horizon mask: below which elevation, bearing by bearing, walls, trees or hills hide the sky.
#pragma once
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "roundel/result.h"
#include "roundel/site/refraction.h"

namespace roundel::site {

/// What stands in the way on one bearing.
struct MaskPoint {
  double bearing_deg{};    ///< clockwise from true north, [0, 360)
  double elevation_deg{};  ///< of its top, apparent, seen from the antenna, [-10, 90)
  double range_km{};  ///< how far away it stands; 0 where the file does not say: beside the antenna
};

/// A mask as it stands in a file. CSV (RFC 4180 without quotes), # begins a comment, a first line
/// may name the columns:
///     bearing_deg,elevation_deg           one line a bearing
///     bearing_deg,range_km,height_m       obstacles by range and height of their top above mean
///                                         sea level, several a bearing if need be: that which
///                                         stands highest to the eye counts
/// Without names, two columns are the former, three the latter. Between bearings elevation and
/// range are interpolated, across north too; a gap wider than widest_gap_deg is refused, as it
/// would make up a horizon.
class Mask {
 public:
  static constexpr double widest_gap_deg = 45;

  /// @param file       used in messages
  /// @param antenna_m  antenna above mean sea level, for heights
  /// @param surface_m  of the surrounding country above mean sea level
  /// Errc::malformed, one line that names file and line: not a number, a bearing beyond 360 or
  /// given twice, an elevation of 90 or more, a gap, nothing at all.
  static Result<Mask> parse(std::string_view csv, const std::string& file, double antenna_m,
                            double surface_m, const Refraction& refraction, double radius_km);
  /// The same from a file; Errc::not_found, io, and malformed when it is larger than 4 MB.
  static Result<Mask> read(const std::filesystem::path& file, double antenna_m, double surface_m,
                           const Refraction& refraction, double radius_km);

  /// Interpolated. Any bearing.
  MaskPoint at(double bearing_deg) const noexcept;
  /// By bearing, at least one.
  const std::vector<MaskPoint>& points() const noexcept { return points_; }

 private:
  std::vector<MaskPoint> points_;
};

/// A mask file from elevations by bearing, with comment lines before it.
std::string mask_csv(const std::vector<MaskPoint>& points,
                     const std::vector<std::string>& comments);

}  // namespace roundel::site
