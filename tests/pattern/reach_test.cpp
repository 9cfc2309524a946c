#include "roundel/pattern/reach.h"

#include <gtest/gtest.h>

#include <GeographicLib/Geodesic.hpp>
#include <algorithm>
#include <cmath>
#include <random>

#include "analysis/pattern/half_rate.h"

namespace roundel::pattern {
namespace {

constexpr double site_latitude_deg = 52.1;
constexpr double site_longitude_deg = 19.4;
constexpr std::int64_t midnight_window = 1'772'323'200 / schema::window_s;  // 2026-03-01T00:00:00Z

/// Traffic placed by the geodesic library, so that range and bearing are known beforehand.
class Traffic {
 public:
  /// A new flight; its cells follow.
  void flight(std::uint64_t address) {
    flights_.push_back({static_cast<schema::Id>(flights_.size()) + 1, 1, address, 0, {}});
  }
  void cell(std::int64_t window, double bearing_deg, double range_km, double altitude_ft, int heard,
            double uncertainty_km = 0) {
    schema::Flight& flight = flights_.back();
    schema::Cell cell;
    cell.window = midnight_window + window;
    cell.flight = flight.id;
    cell.heard = heard;
    cell.expected = schema::chances_per_window;
    cell.altitude_ft = altitude_ft;
    cell.uncertainty_km = uncertainty_km;
    GeographicLib::Geodesic::WGS84().Direct(site_latitude_deg, site_longitude_deg, bearing_deg,
                                            range_km * 1000, cell.latitude_deg, cell.longitude_deg);
    if (!flight.last_window) flight.first_window = cell.window;
    flight.last_window = cell.window;
    cells_.push_back(cell);
  }
  /// Along one bearing, a cell a window, 2.5 km apart (250 m/s, 486 kn).
  void radial(std::uint64_t address, std::int64_t window, double bearing_deg, double from_km,
              double to_km, double altitude_ft, int heard = 5) {
    flight(address);
    const double step_km = from_km < to_km ? 2.5 : -2.5;
    const int n = static_cast<int>(std::lround((to_km - from_km) / step_km));
    for (int i = 0; i <= n; ++i)
      cell(window + i, bearing_deg, from_km + i * step_km, altitude_ft, heard);
  }

  Reach reach(const ReachOptions& options = {}, std::vector<std::int64_t> edges_s = {}) const {
    auto ordered = cells_;
    std::stable_sort(ordered.begin(), ordered.end(), [](const auto& a, const auto& b) {
      return std::pair(a.window, a.flight) < std::pair(b.window, b.flight);
    });
    const auto limit = site::effective_earth_limit(viewpoint());
    ReachBuilder builder(viewpoint(), *limit, options, flights_, std::move(edges_s));
    for (const auto& cell : ordered) builder.add(cell);
    return builder.finish();
  }

  static const site::Viewpoint& viewpoint() {
    static const site::Viewpoint made(
        *site::GeoPoint::make(site_latitude_deg, site_longitude_deg, 12));
    return made;
  }

 private:
  std::vector<schema::Flight> flights_;
  std::vector<schema::Cell> cells_;
};

TEST(Reach, IsTheFarthestSupportedRangeWithItsAircraft) {
  Traffic traffic;
  traffic.radial(0x4b1617, 100, 38, 300, 402.5, 38'000);
  traffic.radial(0x4b1618, 100, 38, 300, 350, 38'000);
  const Reach reach = traffic.reach();
  ASSERT_EQ(reach.sectors.size(), 72u);
  const ReachSector& sector = reach.sectors[7];
  EXPECT_EQ(sector.bearing_deg, 37.5);
  ASSERT_TRUE(sector.farthest);
  EXPECT_NEAR(sector.farthest->range_km, 402.5, 1e-3);
  EXPECT_NEAR(sector.farthest->bearing_deg, 38, 1e-4);
  EXPECT_EQ(sector.farthest->altitude_ft, 38'000);
  EXPECT_EQ(sector.farthest->address, 0x4b1617u);
  EXPECT_EQ(sector.farthest->time_s, (midnight_window + 141) * 10);
  // 4.12 (sqrt 12 + sqrt 11 582.4) = 457.7 km by the handbook rule, good to 0.1 %, and the radius
  // of curvature along the bearing, within 0.35 % of 6371 km, enters by its square root.
  EXPECT_NEAR(sector.farthest->ratio(), 402.5 / 457.7, 0.004);
  EXPECT_EQ(sector.flights, 2);
  EXPECT_EQ(sector.cells, 42 + 21);
  EXPECT_EQ(reach.limit_method, "4/3 Earth");
  ASSERT_TRUE(reach.farthest);
  EXPECT_EQ(reach.farthest->address, 0x4b1617u);
  EXPECT_EQ(reach.flights, 2);
  EXPECT_EQ(reach.reports, 5 * (42 + 21));
}

TEST(Reach, IsAbsentWithoutTraffic) {
  const Reach none = Traffic().reach();
  EXPECT_FALSE(none.farthest);
  EXPECT_FALSE(none.from_s);
  ASSERT_EQ(none.sectors.size(), 72u);
  Traffic traffic;
  traffic.radial(1, 0, 92, 100, 200, 30'000);
  const Reach reach = traffic.reach();
  for (std::size_t i = 0; i < reach.sectors.size(); ++i)
    EXPECT_EQ(reach.sectors[i].farthest.has_value(), i == 18) << i;
}

TEST(Reach, ALoneWildCellSupportsNothing) {
  Traffic traffic;
  traffic.radial(1, 0, 38, 300, 350, 38'000);
  traffic.cell(21, 38, 440, 38'000, 9);  // same flight, 90 km on in ten seconds
  traffic.cell(22, 38, 355, 38'000, 5);
  traffic.flight(2);
  traffic.cell(10, 122, 410, 38'000, 20);  // never seen before or after
  const Reach reach = traffic.reach();
  EXPECT_NEAR(reach.sectors[7].farthest->range_km, 355, 1e-3);
  EXPECT_FALSE(reach.sectors[24].farthest);
  EXPECT_EQ(reach.sectors[24].cells, 1) << "it is counted, but no reach";
}

TEST(Reach, NeedsThreeReportsOfOneFlightWithinAMinute) {
  const struct {
    const char* name;
    std::vector<int> windows;
    std::vector<int> heard;
    bool supported;
  } rows[] = {
      {"two reports", {0, 1}, {1, 1}, false},
      {"three, one a window", {0, 1, 2}, {1, 1, 1}, true},
      {"three in two windows", {0, 1}, {2, 1}, true},
      {"three in one window: no speed to judge", {0}, {3}, false},
      {"three within 60 s", {0, 3, 5}, {1, 1, 1}, true},
      {"three within 70 s", {0, 3, 6}, {1, 1, 1}, false},
  };
  for (const auto& row : rows) {
    Traffic traffic;
    traffic.flight(1);
    for (std::size_t i = 0; i < row.windows.size(); ++i)
      traffic.cell(row.windows[i], 38, 300 + 2.5 * row.windows[i], 38'000, row.heard[i]);
    EXPECT_EQ(traffic.reach().farthest.has_value(), row.supported) << row.name;
  }
  // Three reports of three aircraft support nothing.
  Traffic three;
  for (std::uint64_t address : {1u, 2u, 3u}) {
    three.flight(address);
    three.cell(0, 38, 300, 38'000, 1);
  }
  EXPECT_FALSE(three.reach().farthest);
}

TEST(Reach, TurnsWithTheTraffic) {
  std::mt19937_64 random(7);
  std::uniform_real_distribution<double> unit(0, 1);
  Traffic as_is;
  Traffic turned;
  for (std::uint64_t address = 1; address <= 60; ++address) {
    const double bearing_deg = 360 * unit(random);
    const double to_km = 150 + 250 * unit(random);
    as_is.radial(address, static_cast<int>(address), bearing_deg, 100, to_km, 38'000);
    turned.radial(address, static_cast<int>(address), std::fmod(bearing_deg + 35, 360), 100, to_km,
                  38'000);
  }
  const Reach before = as_is.reach();
  const Reach after = turned.reach();
  for (std::size_t i = 0; i < 72; ++i) {
    const auto& a = before.sectors[i];
    const auto& b = after.sectors[(i + 7) % 72];
    ASSERT_EQ(a.farthest.has_value(), b.farthest.has_value()) << i;
    EXPECT_EQ(a.cells, b.cells) << i;
    if (!a.farthest) continue;
    EXPECT_NEAR(a.farthest->range_km, b.farthest->range_km, 1e-3) << i;
    EXPECT_EQ(a.farthest->address, b.farthest->address) << i;
  }
}

TEST(Reach, IsKeptByAltitudeBand) {
  Traffic traffic;
  traffic.radial(1, 0, 200, 60, 120, 4'000);
  traffic.radial(2, 0, 200, 200, 380, 34'000);
  traffic.radial(3, 0, 200, 150, 280, 20'000);
  const ReachSector sector = traffic.reach().sectors[40];
  ASSERT_EQ(sector.by_altitude.size(), 4u);
  const struct {
    double low_ft;
    std::optional<double> high_ft, range_km;
  } expected[] = {{0, 6'000, 120}, {6'000, 18'000, {}}, {18'000, 29'000, 280}, {29'000, {}, 380}};
  for (std::size_t i = 0; i < 4; ++i) {
    const ReachBand& band = sector.by_altitude[i];
    EXPECT_EQ(band.low_ft, expected[i].low_ft);
    EXPECT_EQ(band.high_ft, expected[i].high_ft);
    ASSERT_EQ(band.farthest.has_value(), expected[i].range_km.has_value()) << i;
    if (band.farthest) {
      EXPECT_NEAR(band.farthest->range_km, *expected[i].range_km, 1e-3) << i;
    }
    EXPECT_EQ(band.flights, expected[i].range_km ? 1 : 0);
  }
  EXPECT_NEAR(sector.farthest->range_km, 380, 1e-3);
  EXPECT_EQ(sector.flights, 3);
}

// Beyond the horizon of 38 000 ft (457 km), by more than 5 %.
TEST(Reach, KeepsDuctingApartAndNamesItsHours) {
  Traffic traffic;
  traffic.radial(1, 0, 92, 300, 400, 38'000);
  for (std::uint64_t address : {2u, 3u, 4u})
    traffic.radial(address, 400, 92, 490, 520, 38'000);  // second hour: windows 360 to 719
  traffic.radial(5, 400, 92, 420, 450, 38'000);          // within the horizon, but the same hour
  const Reach reach = traffic.reach();
  EXPECT_NEAR(reach.sectors[18].farthest->range_km, 400, 1e-3);
  EXPECT_EQ(reach.beyond.cells, 3 * 13);
  ASSERT_TRUE(reach.beyond.farthest);
  EXPECT_NEAR(reach.beyond.farthest->range_km, 520, 1e-3);
  ASSERT_EQ(reach.beyond.hours.size(), 1u);
  EXPECT_EQ(reach.beyond.hours[0].hour_s, midnight_window * 10 + 3600);
  EXPECT_EQ(reach.beyond.hours[0].flights, 3);
  EXPECT_EQ(reach.beyond.hours[0].cells, 39);
  EXPECT_EQ(reach.beyond.hours[0].heard_cells, 39 + 13);
}

TEST(Reach, OneAircraftWithABadPositionSpoilsNoHour) {
  Traffic traffic;
  traffic.radial(1, 0, 92, 300, 400, 38'000);
  traffic.radial(2, 0, 272, 500, 520, 38'000);
  const Reach reach = traffic.reach();
  EXPECT_NEAR(reach.sectors[18].farthest->range_km, 400, 1e-3);
  EXPECT_FALSE(reach.sectors[54].farthest);
  EXPECT_EQ(reach.beyond.cells, 9);
  EXPECT_TRUE(reach.beyond.hours.empty());
}

// Quartiles of 250 300 350 400 420 by hand (definition 7 of Hyndman and Fan 1996): 300 350 400.
TEST(Reach, TellsWhereFlightsAreFirstAndLastHeard) {
  Traffic traffic;
  int window = 100;
  for (double first_km : {350.0, 250.0, 420.0, 300.0, 400.0}) {
    window += 10;
    traffic.radial(static_cast<std::uint64_t>(window), window, 92, first_km, 100, 38'000);
  }
  traffic.radial(1, 100, 93, 30, 80, 3'000);   // took off: low
  traffic.radial(2, 5, 93, 200, 100, 38'000);  // was there when recording began
  const Reach reach = traffic.reach({}, {midnight_window * 10});
  ASSERT_TRUE(reach.sectors[18].first_heard);
  EXPECT_EQ(reach.sectors[18].first_heard->flights, 5);
  EXPECT_NEAR(reach.sectors[18].first_heard->low_km, 300, 1e-3);
  EXPECT_NEAR(reach.sectors[18].first_heard->median_km, 350, 1e-3);
  EXPECT_NEAR(reach.sectors[18].first_heard->high_km, 400, 1e-3);
  ASSERT_TRUE(reach.sectors[18].last_heard);
  EXPECT_EQ(reach.sectors[18].last_heard->flights, 6);
  EXPECT_NEAR(reach.sectors[18].last_heard->median_km, 100, 1e-3);
}

/// Flights along one bearing whose reports get through with a share that falls by range, each
/// flight a little stronger or weaker; by symmetry the pooled share is one half at half_km.
Traffic fading(std::uint64_t seed, int n_flights, double half_km) {
  std::mt19937_64 random(seed);
  std::normal_distribution<double> differs_km(0, 20);
  std::uniform_real_distribution<double> unit(0, 1);
  Traffic traffic;
  for (int i = 0; i < n_flights; ++i) {
    const double own_km = half_km + differs_km(random);
    traffic.flight(static_cast<std::uint64_t>(i + 1));
    for (int window = 0; window < 152; ++window) {
      const double range_km = 20 + 2.5 * window;
      const double share = 1 / (1 + std::exp((range_km - own_km) / 15));
      int heard = 0;
      for (int chance = 0; chance < schema::chances_per_window; ++chance)
        heard += unit(random) < share;
      // First and last cell are heard, whatever the share: a flight begins and ends with a report.
      const bool end = window == 0 || window == 151;
      traffic.cell(window + 17 * i, 92, range_km, 38'000, end ? 1 : heard);
    }
  }
  return traffic;
}

TEST(HalfRate, IsWhereTheShareFallsToOneHalf) {
  const auto half_rate = fading(3, 120, 240).reach().sectors[18].half_rate;
  ASSERT_TRUE(half_rate);
  EXPECT_NEAR(half_rate->range_km, 240, 8);
  ASSERT_TRUE(half_rate->high_km);
  EXPECT_LT(half_rate->low_km, 240);
  EXPECT_GT(*half_rate->high_km, 240);
  // 120 flights that differ by 20 km: the mean is good to 1.8 km, the interval to four times that,
  // and a bin of 10 km blurs it a little.
  EXPECT_LT(*half_rate->high_km - half_rate->low_km, 20);
  EXPECT_EQ(half_rate->flights, 120);
}

/// The first bin in which less than half is heard, of flights with sharp edges.
TEST(HalfRate, IsThatOfSharpEdges) {
  RateByRange rate(1);
  // Of 32 groups of flights eight each are heard up to 100, 150, 200 and 250 km, and none beyond.
  for (int group = 0; group < RateByRange::n_groups; ++group)
    for (int bin = 0; bin < 40; ++bin)
      rate.add(*rate.place(0, 10 * bin + 5, group), bin < 10 + 5 * (group % 4) ? 20 : 0, 20);
  const auto half_rate = rate.half_rate(0);
  ASSERT_TRUE(half_rate);
  // Half is heard from 150 to 200 km, where the share stays at one half: it falls below at 200.
  EXPECT_NEAR(half_rate->range_km, 195, 1e-9);
  // In nineteen of twenty draws of 32 groups, 43 to 57 of a hundred and more hear as far.
  EXPECT_GE(half_rate->low_km, 145);
  ASSERT_TRUE(half_rate->high_km);
  EXPECT_LE(*half_rate->high_km, 250);
  EXPECT_EQ(rate.half_rate(0, false)->range_km, half_rate->range_km);
  EXPECT_FALSE(rate.place(0, 800, 0)) << "beyond the last bin";
}

// 95 % over 200 runs: 179 to 198 (99.9 % of the binomial).
TEST(HalfRate, IntervalHoldsTheTruthAsOftenAsItSays) {
  int held = 0;
  for (std::uint64_t seed = 1; seed <= 200; ++seed) {
    const auto half_rate = fading(seed, 40, 225).reach().sectors[18].half_rate;
    ASSERT_TRUE(half_rate && half_rate->high_km) << seed;
    held += half_rate->low_km <= 225 && 225 <= *half_rate->high_km;
  }
  EXPECT_GE(held, 179);
  EXPECT_LE(held, 198);
}

TEST(HalfRate, IsNoneWhereTheShareStaysHigh) {
  Traffic traffic;
  for (std::uint64_t address = 1; address <= 10; ++address)
    traffic.radial(address, 0, 92, 50, 400, 38'000, 17);
  EXPECT_FALSE(traffic.reach().sectors[18].half_rate);
}

TEST(HalfRate, IsNoneForFewerThanFiveFlights) {
  EXPECT_FALSE(fading(1, 4, 225).reach().sectors[18].half_rate);
  EXPECT_TRUE(fading(1, 5, 225).reach().sectors[18].half_rate);
}

TEST(HalfRate, LeavesInferredCellsOut) {
  Traffic traffic;
  for (std::uint64_t address = 1; address <= 10; ++address) {
    traffic.flight(address);
    for (int window = 0; window < 60; ++window) {
      const bool inferred = window > 20 && window < 50;
      traffic.cell(window, 92, 100 + 2.5 * window, 38'000, inferred ? 0 : 18, inferred ? 2.0 : 0.0);
    }
  }
  EXPECT_FALSE(traffic.reach().sectors[18].half_rate);
}

TEST(ReachOptions, RefusesWhatDoesNotDivideTheCircle) {
  for (double sector_deg : {0.0, -5.0, 7.0, 0.5, 120.0, std::nan("")}) {
    ReachOptions options;
    options.sector_deg = sector_deg;
    EXPECT_FALSE(ReachBuilder::check(options)) << sector_deg;
  }
  ReachOptions options;
  options.sector_deg = 7;
  EXPECT_EQ(ReachBuilder::check(options).error().line(),
            "--sector-deg: sectors of 7 degrees; choose a width from 1 to 90 that divides 360, "
            "like 5 or 10");
  for (double sector_deg : {1.0, 2.5, 5.0, 10.0, 90.0}) {
    options.sector_deg = sector_deg;
    EXPECT_TRUE(ReachBuilder::check(options)) << sector_deg;
  }
}

}  // namespace
}  // namespace roundel::pattern
