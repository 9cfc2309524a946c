#include "analysis/pattern/horizon_table.h"

#include <gtest/gtest.h>

#include <memory>
#include <random>

#include "roundel/site/refraction.h"
#include "roundel/site/sightline.h"

namespace roundel::pattern {
namespace {

// Held against the limit itself, which it stands for.
TEST(HorizonTable, IsWithinHalfAMetreOfTheLimitAtEveryLatitude) {
  std::mt19937_64 random(5);
  std::uniform_real_distribution<double> bearing(0, 360);
  for (const double latitude_deg : {0.0, 33.0, 52.1, 69.9, -45.0}) {
    const auto antenna = site::GeoPoint::make(latitude_deg, 19.4, 22);
    ASSERT_TRUE(antenna);
    const site::Viewpoint viewpoint(*antenna);
    const std::unique_ptr<site::Limit> limits[] = {
        site::effective_earth_limit(viewpoint), site::horizon_limit(viewpoint, site::Refraction())};
    for (const auto& limit : limits) {
      HorizonTable table(*limit);
      for (int i = 0; i < 500; ++i) {
        const double altitude_ft = static_cast<double>(random() % 2000) * 25;
        const double bearing_deg = bearing(random);
        ASSERT_NEAR(table.at(bearing_deg, altitude_ft), limit->limit_km(bearing_deg, altitude_ft),
                    0.0005)
            << latitude_deg << ' ' << bearing_deg << ' ' << altitude_ft << ' ' << limit->method();
      }
      EXPECT_EQ(table.at(12.5, 31010), limit->limit_km(12.5, 31010)) << "off the steps";
      EXPECT_EQ(table.at(12.5, 70000), limit->limit_km(12.5, 70000)) << "beyond them";
    }
  }
}

}  // namespace
}  // namespace roundel::pattern
