#include <fmt/format.h>

#include <cmath>

#include "roundel/present/expect.h"
#include "roundel/site/mask.h"

namespace roundel::present {

std::string survey_mask(const pattern::Verdict& verdict, double dip_deg, const std::string& about) {
  std::vector<site::MaskPoint> points;
  std::vector<bool> unjudged;
  double widest_deg = 0;
  int walls = 0;
  // Just below the horizon itself: no limit of its own.
  const double open_deg = std::floor(dip_deg * 100) / 100;
  for (const auto& sector : verdict.sectors) {
    const bool is_wall = sector.cutoff_deg.has_value();
    walls += is_wall;
    if (is_wall && sector.cutoff_low_deg && sector.cutoff_high_deg)
      widest_deg = std::max(widest_deg, *sector.cutoff_high_deg - *sector.cutoff_low_deg);
    unjudged.push_back(sector.state == pattern::State::unjudged);
    points.push_back({sector.bearing_deg, is_wall ? *sector.cutoff_deg : open_deg, 0});
  }
  std::vector<std::string> comments{
      "What hides the sky, from elevations below which nothing was heard" +
          (about.empty() ? "." : ": " + about + "."),
      fmt::format("{} flights; {} of {} sectors have a cut-off.", verdict.flights, walls,
                  verdict.sectors.size())};
  if (walls > 0)
    comments.push_back(
        fmt::format("The widest of their 95 % intervals is {:.1f} degrees.", widest_deg));
  if (const std::string ranges = bearing_ranges(unjudged); !ranges.empty())
    comments.push_back("Not judged for want of flights, and taken as open: " + ranges + ".");
  return site::mask_csv(points, comments);
}

}  // namespace roundel::present
