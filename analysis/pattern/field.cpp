#include "roundel/pattern/field.h"

#include <algorithm>
#include <cmath>

#include "roundel/pattern/verdict.h"
#include "roundel/site/sightline.h"

namespace roundel::pattern {

Result<Field> heard_field(const schema::Store& store, const schema::Selection& which,
                          double sector_deg) {
  if (auto ok = check_sector_deg(sector_deg); !ok) return tl::unexpected(ok.error());
  const auto viewpoint = site::Viewpoint::of(store);
  if (!viewpoint) return tl::unexpected(viewpoint.error());
  const auto n_sectors = static_cast<std::size_t>(std::lround(360 / sector_deg));
  constexpr auto n_steps = static_cast<std::size_t>(field_end_km / field_step_km);
  std::vector<FieldBin> grid(n_sectors * n_steps);
  const auto read = store.each_cell(which, [&](const schema::Cell& cell) {
    if (cell.uncertainty_km > field_step_km / 2) return true;
    const auto place = viewpoint->over(cell.latitude_deg, cell.longitude_deg);
    if (place.range_km >= field_end_km) return true;
    const auto sector =
        std::min(n_sectors - 1, static_cast<std::size_t>(place.bearing_deg / sector_deg));
    FieldBin& bin =
        grid[sector * n_steps + static_cast<std::size_t>(place.range_km / field_step_km)];
    bin.heard += cell.heard;
    bin.expected += cell.expected;
    return true;
  });
  if (!read) return tl::unexpected(read.error());
  Field out{.sector_deg = sector_deg, .bins = {}};
  for (std::size_t i = 0; i < grid.size(); ++i) {
    if (grid[i].expected == 0) continue;
    const std::size_t sector = i / n_steps, step = i % n_steps;
    grid[i].bearing_deg = (static_cast<double>(sector) + 0.5) * sector_deg;
    grid[i].range_km = (static_cast<double>(step) + 0.5) * field_step_km;
    out.bins.push_back(grid[i]);
  }
  return out;
}

}  // namespace roundel::pattern
