#include "roundel/pattern/cut.h"

#include <gtest/gtest.h>

#include <cmath>
#include <optional>
#include <random>

namespace roundel::pattern {
namespace {

class CutTest : public testing::Test {
 protected:
  // 22 m above the surrounding country, which is 100 m above the sea.
  site::Viewpoint viewpoint_ = *site::Viewpoint::from({"Hill house", 52.1, 19.4, 110, 12, 100});
  std::unique_ptr<site::Limit> limit_ = site::horizon_limit(viewpoint_, site::Refraction());
  std::vector<schema::Flight> flights_{{1, 1, 0x4b1617, 100, 400}, {2, 1, 0x4b1618, 100, 400}};

  // A cell due north, some degrees of latitude away.
  static schema::Cell north(std::int64_t window, schema::Id flight, double degrees,
                            double altitude_ft, int heard, double uncertainty_km = 0) {
    return {window, flight, heard, 20, 52.1 + degrees, 19.43, altitude_ft, {}, uncertainty_km};
  }
};

// 22 m + 100 km tan 4 deg + (100 km)^2 / (2 * 4/3 * 6371 km) = 22 + 6993 + 589 m, plus 100 m of
// country, within the 60 m that the triangle adds (worked by hand).
TEST_F(CutTest, ElevationLineRisesAsTheTriangleDoes) {
  const auto altitude_ft = altitude_ft_at(viewpoint_, {100, 40}, 4);
  ASSERT_TRUE(altitude_ft);
  EXPECT_NEAR(*altitude_ft * 0.3048, 7704, 80);
  EXPECT_NEAR(*altitude_ft_at(viewpoint_, {0, 40}, 4) * 0.3048, 122, 1e-6);  // the antenna's own
}

TEST_F(CutTest, ElevationLineIsWhereTheSightlineSaysSo) {
  for (double elevation_deg : {-0.3, 0.0, 1.0, 5.0, 20.0})
    for (double range_km : {1.0, 50.0, 300.0}) {
      const site::Overground place{range_km, 187};
      const auto altitude_ft = altitude_ft_at(viewpoint_, place, elevation_deg);
      ASSERT_TRUE(altitude_ft);
      if (*altitude_ft < 400) continue;  // below the country: the viewpoint knows no such height
      EXPECT_NEAR(viewpoint_.along(place, *altitude_ft).elevation_deg, elevation_deg, 1e-6)
          << elevation_deg << " degrees at " << range_km << " km";
    }
  EXPECT_FALSE(altitude_ft_at(viewpoint_, {100, 40}, 90));
}

TEST_F(CutTest, CountsWholeCellsOfTheSectorByRangeAndAltitude) {
  CutOptions options;
  options.bearing_deg = 2;
  CutBuilder builder(viewpoint_, *limit_, options, flights_);
  builder.add(north(100, 1, 1, 35'000, 5));       // first of its flight: partial
  builder.add(north(101, 1, 1, 35'000, 12));      // 111.3 km
  builder.add(north(102, 1, 1, 35'000, 0));       // silent
  builder.add(north(102, 2, 1, 9'000, 20));       // another band
  builder.add(north(103, 2, -1, 9'000, 20));      // due south: another sector
  builder.add(north(104, 2, 1.5, 9'000, 0, 40));  // inferred, place unknown to a bin
  builder.add(north(500, 2, 2.5, 9'000, 3));      // 278 km: beyond 105 % of 231 km
  builder.add(north(501, 9, 1, 9'000, 3));        // of no known flight
  const Cut cut = builder.finish();
  EXPECT_DOUBLE_EQ(cut.bearing_deg, 2.5);
  ASSERT_EQ(cut.bins.size(), 2U);
  EXPECT_DOUBLE_EQ(cut.bins[0].middle.range_km, 115);
  EXPECT_DOUBLE_EQ(cut.bins[0].middle.altitude_ft, 9'000);
  EXPECT_EQ(cut.bins[0].heard, 20);
  EXPECT_DOUBLE_EQ(cut.bins[1].middle.altitude_ft, 35'000);
  EXPECT_EQ(cut.bins[1].heard, 12);
  EXPECT_EQ(cut.bins[1].expected, 40);
  EXPECT_EQ(cut.n_cells, 3);
  EXPECT_EQ(cut.n_beyond, 1);
  EXPECT_EQ(cut.n_flights, 2);
  ASSERT_EQ(cut.hours.size(), 1U);
  EXPECT_EQ(cut.hours[0].hour_s, 0);
  EXPECT_EQ(cut.hours[0].expected, 60);
  ASSERT_EQ(cut.flights.size(), 2U);
  EXPECT_EQ(cut.flights[0].from_s, 1000);
  EXPECT_NEAR(cut.flights[0].farthest_km, 111.3, 0.2);  // a degree of latitude at 52.6
}

TEST_F(CutTest, OfSectorsBesideEachOtherIsAsOfEachAlone) {
  CutOptions options;
  const CutBuilder first(viewpoint_, *limit_, options, flights_);
  for (const double bearing_deg : {2.0, 178.0}) {
    options.bearing_deg = bearing_deg;
    CutBuilder alone(viewpoint_, *limit_, options, flights_);
    CutBuilder beside = first.beside(bearing_deg);
    for (const double up : {1.0, -1.0}) {
      alone.add(north(101, 1, up, 35'000, 12));
      beside.add(north(101, 1, up, 35'000, 12));
    }
    const Cut a = alone.finish(), b = beside.finish();
    EXPECT_EQ(a.bearing_deg, b.bearing_deg);
    ASSERT_EQ(a.n_cells, 1);
    ASSERT_EQ(b.n_cells, 1);
    EXPECT_EQ(a.bins[0].middle.range_km, b.bins[0].middle.range_km);
  }
}

TEST_F(CutTest, OfTwoHalvesIsAsOfTheWhole) {
  CutOptions options;
  std::mt19937 random(7);
  const auto draw = [&](int most) {
    return static_cast<int>(random() % static_cast<unsigned>(most));
  };
  CutBuilder whole(viewpoint_, *limit_, options, flights_);
  CutBuilder first(viewpoint_, *limit_, options, flights_),
      second(viewpoint_, *limit_, options, flights_);
  for (std::int64_t window = 100; window < 1500; ++window) {
    const auto cell = north(window, 1 + draw(2), 0.2 + draw(30) / 10.0, 1000.0 * draw(40), draw(4));
    whole.add(cell);
    (window < 720 ? first : second).add(cell);  // at an hour's beginning
  }
  first.join(std::move(second));
  const Cut a = first.finish(), b = whole.finish();
  EXPECT_GT(b.n_beyond, 0);
  EXPECT_EQ(a.n_beyond, b.n_beyond);
  EXPECT_EQ(a.n_cells, b.n_cells);
  ASSERT_EQ(a.bins.size(), b.bins.size());
  for (std::size_t i = 0; i < a.bins.size(); ++i) {
    EXPECT_EQ(a.bins[i].middle.range_km, b.bins[i].middle.range_km);
    EXPECT_EQ(a.bins[i].heard, b.bins[i].heard);
    EXPECT_EQ(a.bins[i].expected, b.bins[i].expected);
  }
  ASSERT_EQ(a.flights.size(), b.flights.size());
  for (std::size_t i = 0; i < a.flights.size(); ++i) {
    EXPECT_EQ(a.flights[i].address, b.flights[i].address);
    EXPECT_EQ(a.flights[i].from_s, b.flights[i].from_s);
    EXPECT_EQ(a.flights[i].to_s, b.flights[i].to_s);
    EXPECT_EQ(a.flights[i].nearest_km, b.flights[i].nearest_km);
    EXPECT_EQ(a.flights[i].farthest_km, b.flights[i].farthest_km);
    EXPECT_EQ(a.flights[i].heard, b.flights[i].heard);
  }
  ASSERT_EQ(a.hours.size(), b.hours.size());
  for (std::size_t i = 0; i < a.hours.size(); ++i) {
    EXPECT_EQ(a.hours[i].hour_s, b.hours[i].hour_s);
    EXPECT_EQ(a.hours[i].expected, b.hours[i].expected);
  }
}

// Cells are left out by the square they are in; beside the antenna, too, and where squares end.
TEST_F(CutTest, LeavesNoCellOutThatIsInTheSector) {
  std::mt19937 random(5);
  const auto between = [&](double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(random);
  };
  std::vector<schema::Cell> cells;
  const site::GeoPoint& antenna = viewpoint_.antenna();
  for (const double spread_deg : {0.05, 0.5, 3.0, 8.0})
    for (int i = 0; i < 5000; ++i) {
      schema::Cell cell = north(101, 1, 0, 40'000, 0);
      cell.latitude_deg = antenna.latitude_deg() + between(-spread_deg, spread_deg);
      cell.longitude_deg = antenna.longitude_deg() + 1.6 * between(-spread_deg, spread_deg);
      if (i % 4 == 0) cell.latitude_deg = std::round(2 * cell.latitude_deg) / 2;
      cells.push_back(cell);
    }
  for (const double sector_deg : {1.0, 5.0, 45.0}) {
    std::int64_t n_in_all = 0;
    for (int sector = 0; sector < 360 / sector_deg; sector += sector_deg == 1 ? 7 : 1) {
      CutOptions options;
      options.sector_deg = sector_deg;
      options.bearing_deg = sector * sector_deg;
      CutBuilder by_square(viewpoint_, *limit_, options, flights_);
      CutBuilder placed(viewpoint_, *limit_, options, flights_);
      for (const schema::Cell& cell : cells) {
        by_square.add(cell);
        placed.add(cell, viewpoint_.over(cell.latitude_deg, cell.longitude_deg));
      }
      const auto n = placed.finish().n_cells;
      EXPECT_EQ(by_square.finish().n_cells, n) << options.bearing_deg;
      n_in_all += n;
    }
    if (sector_deg > 1) {
      EXPECT_EQ(n_in_all, std::ssize(cells));
    }
  }
}

TEST_F(CutTest, DrawsTheCutOffAmongTheElevations) {
  CutBuilder builder(viewpoint_, *limit_, {}, flights_);
  SectorVerdict judged;
  judged.state = State::obstructed;
  judged.cutoff_deg = 3.4;
  const Cut cut = builder.finish(judged);
  ASSERT_EQ(cut.elevations.size(), 8U);
  EXPECT_EQ(cut.elevations[4].elevation_deg, 3.4);
  EXPECT_TRUE(cut.bins.empty());
  ASSERT_FALSE(cut.horizon.empty());
  // Ray, ITU-R P.453: 451.1 km of 15 and 11 582 m (p528_max_line_of_sight.csv), 16.2 km of it by
  // the antenna (p528_terminal_geometry.csv), which at 22 m are 19.6; 100 m of surface take 1.9
  // off.
  for (const CutPoint& point : cut.horizon) {
    if (point.altitude_ft == 38'000) {
      EXPECT_NEAR(point.range_km, 452.6, 1.5);
    }
  }
}

TEST_F(CutTest, SaysWhichOptionMakesNoSense) {
  const struct {
    const char* name;
    double bearing_deg, sector_deg, step_km;
    bool is_good;
  } rows[] = {{"usual", 0, 5, 10, true},
              {"no such bearing", 360, 5, 10, false},
              {"not a number", std::nan(""), 5, 10, false},
              {"sector", 0, 7, 10, false},
              {"step", 0, 5, 0, false}};
  for (const auto& row : rows) {
    CutOptions options;
    options.bearing_deg = row.bearing_deg;
    options.sector_deg = row.sector_deg;
    options.range_step_km = row.step_km;
    EXPECT_EQ(CutBuilder::check(options).has_value(), row.is_good) << row.name;
  }
}

}  // namespace
}  // namespace roundel::pattern
