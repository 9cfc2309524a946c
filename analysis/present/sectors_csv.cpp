#include <fmt/format.h>

#include <cassert>

#include "analysis/present/csv.h"
#include "roundel/present/export.h"
#include "roundel/present/units.h"
#include "roundel/time.h"

namespace roundel::present {
namespace {

std::string band_column(const pattern::ReachBand& band) {
  if (!band.high_ft) return fmt::format("reach_above_{:.0f}_ft_km", band.low_ft);
  if (band.low_ft == 0) return fmt::format("reach_below_{:.0f}_ft_km", *band.high_ft);
  return fmt::format("reach_{:.0f}_to_{:.0f}_ft_km", band.low_ft, *band.high_ft);
}

}  // namespace

std::string sectors_csv(const Conclusion& of) {
  const auto& sectors = of.reach.sectors;
  assert(!of.verdict || of.verdict->sectors.size() == sectors.size());
  std::string out;
  CsvWriter csv(out);
  for (const char* heading : {"bearing_from_deg",
                              "bearing_to_deg",
                              "gain_db",
                              "gain_low_db",
                              "gain_high_db",
                              "state",
                              "cutoff_deg",
                              "cutoff_low_deg",
                              "cutoff_high_deg",
                              "reach_km",
                              "altitude_ft",
                              "horizon_km",
                              "ratio",
                              "address",
                              "time",
                              "half_rate_km",
                              "half_rate_low_km",
                              "half_rate_high_km",
                              "first_heard_median_km",
                              "last_heard_median_km",
                              "flights",
                              "cells"})
    csv.text(heading);
  if (!sectors.empty())
    for (const auto& band : sectors[0].by_altitude) csv.text(band_column(band));
  csv.end();
  const double half_deg = of.reach.sector_deg / 2;
  for (std::size_t i = 0; i < sectors.size(); ++i) {
    const auto& sector = sectors[i];
    const pattern::SectorVerdict* gain = of.verdict ? &of.verdict->sectors[i] : nullptr;
    const pattern::SectorVerdict none;
    const pattern::SectorVerdict& judged = gain ? *gain : none;
    csv.number(sector.bearing_deg - half_deg, 1).number(sector.bearing_deg + half_deg, 1);
    csv.number(judged.gain_db, 3).number(judged.low_db, 3).number(judged.high_db, 3);
    csv.text(gain ? name_of(judged.state) : "");
    csv.number(judged.cutoff_deg, 2).number(judged.cutoff_low_deg, 2);
    csv.number(judged.cutoff_high_deg, 2);
    if (const auto& far = sector.farthest) {
      csv.number(far->range_km, 3).number(far->altitude_ft, 0).number(far->horizon_km, 3);
      csv.number(far->ratio(), 4).text(address_text(far->address));
      csv.text(format_time(static_cast<double>(far->time_s)));
    } else {
      for (int k = 0; k < 6; ++k) csv.text("");
    }
    const auto half = sector.half_rate.value_or(pattern::HalfRate{});
    const auto known = [&](double value) {
      return sector.half_rate ? std::optional(value) : std::nullopt;
    };
    csv.number(known(half.range_km), 1).number(known(half.low_km), 1).number(half.high_km, 1);
    const auto median = [](const std::optional<pattern::Quartiles>& quartiles) {
      return quartiles ? std::optional(quartiles->median_km) : std::nullopt;
    };
    csv.number(median(sector.first_heard), 1).number(median(sector.last_heard), 1);
    csv.whole(sector.flights).whole(sector.cells);
    for (const auto& band : sector.by_altitude)
      csv.number(band.farthest ? std::optional(band.farthest->range_km) : std::nullopt, 3);
    csv.end();
  }
  return out;
}

}  // namespace roundel::present
