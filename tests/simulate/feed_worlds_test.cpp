// Feeds that print less, more or other than what was heard, as their keys say.
#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <map>
#include <vector>

#include "roundel/simulate/simulate.h"
#include "roundel/site/sightline.h"

namespace roundel::simulate {
namespace {

constexpr double rad = M_PI / 180;

std::vector<Report> printed(const Scenario& s, Truth* truth = nullptr) {
  std::vector<Report> out;
  auto told = reports(s, [&](std::size_t, const Report& r) { return out.push_back(r), true; });
  EXPECT_TRUE(told);
  if (told && truth != nullptr) *truth = *told;
  return out;
}

Scenario short_one() {
  Scenario s;
  s.hours = 0.5;
  s.start_s += 12 * 3600;
  return s;
}

TEST(FeedWorlds, CoarseFeedsRoundPositionsAndCutTimes) {
  Scenario s = short_one();
  s.feed("roof").position_decimals = 3;
  s.feed("roof").time_step_s = 1;
  for (const Report& r : printed(s)) {
    EXPECT_NEAR(r.latitude_deg * 1000, std::round(r.latitude_deg * 1000), 1e-6);
    EXPECT_NEAR(r.longitude_deg * 1000, std::round(r.longitude_deg * 1000), 1e-6);
    EXPECT_EQ(r.time_s, std::floor(r.time_s));
  }
}

TEST(FeedWorlds, ExtrapolatingFeedsPrintMoreThanIsSentAndNearWhereItIs) {
  Scenario s = short_one();
  const std::vector<Report> heard = printed(s);
  s.feed("roof").extrapolate_s = 30;
  Truth truth;
  const std::vector<Report> all = printed(s, &truth);
  EXPECT_GT(all.size(), 2 * heard.size());
  EXPECT_EQ(static_cast<std::int64_t>(all.size()), truth.feeds[0].lines);
  EXPECT_EQ(all.size() - heard.size(), static_cast<std::size_t>(truth.feeds[0].extrapolated));
  // 30 s along a straight line from two positions rounded to 1 m, 2 s apart or more: 20 m, but for
  // aircraft that turn.
  std::map<std::uint32_t, Report> last;
  int far = 0;
  for (const Report& r : all) {
    const auto before = last.find(r.address);
    if (before != last.end() && r.time_s - before->second.time_s < 0.7)
      far += std::fabs(r.latitude_deg - before->second.latitude_deg) > 0.005;
    last[r.address] = r;
  }
  EXPECT_LT(far, static_cast<int>(all.size()) / 200);
}

TEST(FeedWorlds, PolledDocumentsGiveEachAircraftOncePerPollWithItsAge) {
  Scenario s = short_one();
  s.feed("roof").poll_s = 5;
  std::map<std::uint32_t, double> last;
  int again = 0;
  for (const Report& r : printed(s)) {
    EXPECT_NEAR(r.time_s * 10, std::round(r.time_s * 10), 1e-3);
    const auto before = last.find(r.address);
    if (before != last.end()) {
      EXPECT_GE(r.time_s, before->second - 0.001);
      again += r.time_s == before->second;
      // The newest of each poll: two of them are within a poll and a message's gap of 5 s.
      if (r.time_s != before->second) {
        EXPECT_GT(r.time_s - before->second, 0.3);
      }
    }
    last[r.address] = r.time_s;
  }
  EXPECT_GT(again, 100);
}

TEST(FeedWorlds, NetworksFillInWhatWasNotHeardOnTheirBearings) {
  Scenario s = short_one();
  s.reception.margin_db = -60;  // nothing is heard
  s.feed("roof").networks.push_back({200, 260, 5});
  const auto viewpoint = site::Viewpoint::from(s.site);
  Truth truth;
  std::map<std::uint32_t, double> last;
  for (const Report& r : printed(s, &truth)) {
    const auto line = viewpoint->to(r.latitude_deg, r.longitude_deg, *r.altitude_ft);
    EXPECT_GT(line.bearing_deg, 199.9);
    EXPECT_LT(line.bearing_deg, 260.1);
    if (last.contains(r.address)) {
      EXPECT_GT(r.time_s - last[r.address], 4.99);
    }
    last[r.address] = r.time_s;
  }
  EXPECT_EQ(truth.trials[0].heard, 0);
  EXPECT_GT(truth.feeds[0].network, 500);
}

TEST(FeedWorlds, AClockThatIsSetStepsOnce) {
  Scenario s = short_one();
  const std::vector<Report> before = printed(s);
  s.feed("roof").clock_steps.push_back({0.25, -2});
  const std::vector<Report> after = printed(s);
  ASSERT_EQ(before.size(), after.size());
  for (std::size_t i = 0; i < before.size(); ++i)
    EXPECT_NEAR(after[i].time_s - before[i].time_s, before[i].time_s < s.start_s + 900 ? 0 : -2,
                0.002);
}

TEST(FeedWorlds, JitterMovesPositionsByMetres) {
  Scenario s = short_one();
  const std::vector<Report> true_ones = printed(s);
  s.feed("roof").jitter_m = 100;
  const std::vector<Report> all = printed(s);
  ASSERT_EQ(all.size(), true_ones.size());
  double squares = 0;
  for (std::size_t i = 0; i < all.size(); ++i)
    squares += std::pow((all[i].latitude_deg - true_ones[i].latitude_deg) * 111195, 2);
  EXPECT_NEAR(std::sqrt(squares / static_cast<double>(all.size())), 100, 3);
}

TEST(FeedWorlds, InterferedAircraftAreSilentOrElsewhere) {
  Scenario s = short_one();
  s.interferences.push_back({.kind = InterferenceKind::silent,
                             .from_h = 0,
                             .to_h = 1,
                             .bearing_deg = 90,
                             .range_km = 120,
                             .radius_km = 60});
  const auto viewpoint = site::Viewpoint::from(s.site);
  const auto near = [&](const Report& r, double bearing_deg, double range_km, double within_km) {
    const auto line = viewpoint->to(r.latitude_deg, r.longitude_deg, *r.altitude_ft);
    return std::abs(std::polar(line.range_km, line.bearing_deg * rad) -
                    std::polar(range_km, bearing_deg * rad)) < within_km;
  };
  int inside = 0, elsewhere = 0;
  for (const Report& r : printed(s)) inside += near(r, 90, 120, 59);
  EXPECT_EQ(inside, 0);
  s.interferences[0].kind = InterferenceKind::spoofed;
  s.interferences[0].false_bearing_deg = 200;
  s.interferences[0].false_range_km = 250;
  for (const Report& r : printed(s)) {
    inside += near(r, 90, 120, 59);
    elsewhere += near(r, 200, 250, 3.1);
  }
  EXPECT_EQ(inside, 0);
  EXPECT_GT(elsewhere, 500);
}

}  // namespace
}  // namespace roundel::simulate
