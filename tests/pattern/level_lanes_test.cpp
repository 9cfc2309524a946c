// Rows at eight nodes at once, against the same formulas one by one in double precision.
#include "analysis/pattern/level_lanes.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "roundel/pattern/gain.h"
#include "roundel/pattern/threshold.h"

namespace roundel::pattern {
namespace {

using levels::BlockLanes;
using levels::lane;
using levels::LaneGroups;
using levels::NodePattern;
using levels::RowAsked;
using levels::RowLanes;

constexpr double softness_db = 1.7, ceiling = 0.88;

// Nodes 1.2 dB apart about nought, all of one weight, none left over.
NodePattern eight_even_nodes() {
  NodePattern out;
  out.n_own = 8;
  out.n_groups = 1;
  for (std::size_t i = 0; i < 8; ++i) lane(out.own, i) = 1.2F * (static_cast<float>(i) - 3.5F);
  return out;
}

struct Looked {
  BlockLanes at;
  RowLanes row;
};
Looked look_at(const NodePattern& pattern, double m, const RowAsked& row) {
  Looked out;
  out.at.pattern = &pattern;
  const Threshold threshold = Threshold::normal();
  look_at_nodes({static_cast<float>(threshold.linear()), static_cast<float>(threshold.cubic()),
                 static_cast<float>(1 / softness_db), static_cast<float>(m)},
                {0, 0, 1, 0}, LaneGroups{}, &row, 1, out.at, &out.row);
  return out;
}

double heard_share(double level_db, double m) {
  const double p = ceiling * Threshold::normal().at(level_db / softness_db).share;
  return 1 - std::pow(1 - p, m);
}

TEST(LevelLanes, AgreeWithEachRowAtEachNode) {
  const NodePattern pattern = eight_even_nodes();
  for (const double m : {1.0, 4.0}) {
    for (const double row_db : {-9.0, -3.0, 0.0, 2.5, 8.0}) {
      for (const double heard : {0.0, 7.0, 30.0}) {
        constexpr double chances = 30;
        const Looked seen = look_at(
            pattern, m,
            {static_cast<float>(chances), static_cast<float>(heard), static_cast<float>(ceiling),
             static_cast<float>(1 - ceiling), static_cast<float>(row_db)});
        for (std::size_t i = 0; i < 8; ++i) {
          const double level_db = row_db + 1.2 * (static_cast<double>(i) - 3.5);
          if (heard_share(level_db, m) < 1e-5) continue;  // told() stops there
          const Told one =
              told(Threshold::normal(), level_db, softness_db, ceiling, m, heard, chances * m);
          const double rounding = 5e-5 * (chances + std::abs(one.score));
          EXPECT_NEAR(seen.row.score.at[i], one.score, rounding) << level_db << " m " << m;
          EXPECT_NEAR(seen.row.information.at[i], one.information, rounding) << level_db;
          EXPECT_NEAR(seen.row.z.at[i], level_db / softness_db, 1e-5);
        }
      }
    }
  }
}

TEST(LevelLanes, WeighNodesByTheLikelihoodOfWhatWasHeard) {
  const NodePattern pattern = eight_even_nodes();
  for (const double m : {1.0, 4.0}) {
    const Looked seen = look_at(
        pattern, m, {30, 12, static_cast<float>(ceiling), static_cast<float>(1 - ceiling), -1});
    std::array<double, 8> expected{};
    double most = -1e9;
    for (std::size_t i = 0; i < 8; ++i) {
      const double q = heard_share(-1 + 1.2 * (static_cast<double>(i) - 3.5), m);
      expected[i] = 12 * std::log(q) + 18 * std::log1p(-q);
      most = std::max(most, expected[i]);
    }
    EXPECT_NEAR(seen.at.top, most, 1e-4);
    for (std::size_t i = 0; i < 8; ++i)
      EXPECT_NEAR(lane(seen.at.weight, i), std::exp(expected[i] - most), 1e-4) << m;
  }
}

TEST(LevelLanes, SayNothingMoreWhereNextToNothingIsHeard) {
  const NodePattern pattern = eight_even_nodes();
  const Looked seen = look_at(pattern, 1, {30, 12, 0.88F, 0.12F, -60});
  for (std::size_t i = 0; i < 8; ++i) {
    EXPECT_EQ(seen.row.score.at[i], 0);
    EXPECT_EQ(seen.row.information.at[i], 0);
    EXPECT_EQ(lane(seen.at.weight, i), 1);
  }
}

TEST(LevelLanes, MeanOverNodesByTheirWeights) {
  const NodePattern pattern = eight_even_nodes();
  Looked seen = look_at(pattern, 1, {30, 12, 0.88F, 0.12F, 0});
  for (std::size_t i = 0; i < 8; ++i) {
    lane(seen.at.weight, i) = i == 3 ? 0.25F : i == 6 ? 0.75F : 0.0F;
    seen.row.score.at[i] = static_cast<float>(i);
    seen.row.information.at[i] = 2;
    seen.row.z.at[i] = 10;
  }
  const levels::RowSum sum = over_nodes(seen.at, &seen.row);
  EXPECT_FLOAT_EQ(sum.score, 0.25F * 3 + 0.75F * 6);
  EXPECT_FLOAT_EQ(sum.information, 2);
  EXPECT_FLOAT_EQ(sum.score_z, 10 * sum.score);
  EXPECT_FLOAT_EQ(sum.information_z, 20);
  EXPECT_FLOAT_EQ(sum.information_zz, 200);
}

TEST(Dipole, IsTheFormulaOnBothSidesOfWhereItsSeriesEnds) {
  for (const double elevation_deg : {-14.9, -0.6, 0.0, 3.0, 12.0, 14.9, 15.1, 40.0, 80.0}) {
    const double e = elevation_deg * std::numbers::pi / 180;
    const double formula =
        20 * std::log10(std::cos(std::numbers::pi / 2 * std::sin(e)) / std::cos(e));
    EXPECT_NEAR(dipole_db(elevation_deg), formula, 1e-8) << elevation_deg;
  }
}

}  // namespace
}  // namespace roundel::pattern
