#include "analysis/trial/change_points.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>

#include "analysis/trial/drift_units.h"

namespace roundel::trial {
namespace {

/// A flight each ten minutes, their levels 3 dB apart (standard deviation).
std::vector<Unit> steady(std::uint64_t seed, int n = 400) {
  std::mt19937_64 random(seed);
  std::normal_distribution<double> level(0, 3);
  std::vector<Unit> out;
  for (int i = 0; i < n; ++i) out.push_back({i * 600, level(random), 1.0 / 9});
  return out;
}

TEST(ChangePoints, FindsAStepWhereItIs) {
  auto units = steady(1);
  for (std::size_t i = 260; i < units.size(); ++i) units[i].value -= 2;
  const auto found = change_points(units, 1);
  ASSERT_EQ(found.size(), 1U);
  // 2 dB on flights 3 dB apart: told to some (3 / 2)^2 * 6 flights.
  EXPECT_NEAR(static_cast<double>(found[0].at), 260, 14);
  EXPECT_LE(found[0].earliest, 260U);
  EXPECT_GE(found[0].latest, 260U);
  EXPECT_LE(found[0].p, 0.01);
}

TEST(ChangePoints, FindsTwoStepsInOrder) {
  auto units = steady(2, 600);
  // One up and one down again, by which the whole reaches no farther than its pieces in one order
  // of a hundred, would be found or not by chance.
  for (std::size_t i = 200; i < 600; ++i) units[i].value += i < 400 ? 4 : 8;
  const auto found = change_points(units, 1);
  ASSERT_EQ(found.size(), 2U);
  EXPECT_NEAR(static_cast<double>(found[0].at), 200, 10);
  EXPECT_NEAR(static_cast<double>(found[1].at), 400, 10);
}

// 1 % are to be expected: more than 5 of 100 has a chance of 0.0005 (binomial).
TEST(ChangePoints, SeldomSpeaksOfASteadyRecord) {
  int alarms = 0;
  for (std::uint64_t seed = 1; seed <= 100; ++seed)
    alarms += !change_points(steady(seed, 200), 1).empty();
  EXPECT_LE(alarms, 5);
}

/// The largest statistic of units in some order, the obvious way.
double largest(const std::vector<Unit>& units) {
  double weight = 0, sum = 0, w = 0, s = 0, out = 0;
  for (const Unit& one : units) weight += one.weight, sum += one.weight * one.value;
  for (std::size_t i = 0; i + 12 < units.size(); ++i) {
    w += units[i].weight;
    s += units[i].weight * (units[i].value - sum / weight);
    if (i + 1 >= 12) out = std::max(out, s * s * weight / (w * (weight - w)));
  }
  return out;
}

// A day and a half of a flight each ten minutes: 40 pieces of 54 minutes and more, all exchanged
// for each other.
TEST(ChangePoints, CountsTheOrdersThatReachAsFar) {
  int told = 0;
  for (std::uint64_t seed = 1; seed <= 40; ++seed) {
    auto units = steady(seed, 217);
    for (std::size_t i = 100; i < units.size(); ++i) units[i].value -= 1.9;
    const auto found = change_points(units, 1);
    if (found.empty()) continue;
    std::vector<std::vector<Unit>> pieces;
    const std::int64_t length_s = units.back().time_s / 40;
    for (const Unit& one : units) {
      if (pieces.empty() || pieces.back().front().time_s / length_s != one.time_s / length_s)
        pieces.emplace_back();
      pieces.back().push_back(one);
    }
    std::uint64_t state = 1090;  // splitmix64
    const auto below = [&](std::size_t n) {
      std::uint64_t x = state += 0x9e3779b97f4a7c15U;
      x = (x ^ (x >> 30U)) * 0xbf58476d1ce4e5b9U;
      x = (x ^ (x >> 27U)) * 0x94d049bb133111ebU;
      return (x >> 32U) * n >> 32U;
    };
    int above = 0;
    for (int order = 0; order < 2000; ++order) {
      for (std::size_t i = pieces.size(); i > 1; --i) std::swap(pieces[i - 1], pieces[below(i)]);
      std::vector<Unit> shuffled;
      for (const auto& piece : pieces) shuffled.insert(shuffled.end(), piece.begin(), piece.end());
      above += largest(shuffled) >= largest(units);
    }
    EXPECT_DOUBLE_EQ(found[0].p, (above + 1) / 2001.0) << seed;
    told += above > 0;
  }
  EXPECT_GE(told, 3);
}

TEST(ChangePoints, TellsNothingOfAFewFlights) {
  EXPECT_TRUE(change_points(steady(3, 20), 1).empty());
  EXPECT_TRUE(change_points({}, 1).empty());
}

std::vector<std::optional<Step>> around(double all_db, double some_db) {
  std::vector<std::optional<Step>> out(12, Step{all_db, 0.04});
  out[11]->value_db = out[0]->value_db = some_db;
  out[5].reset();
  return out;
}

TEST(SharedStep, IsWhatAllBearingsDo) {
  const SharedStep found = shared_step(around(-1.5, -1.5));
  ASSERT_TRUE(found.shared);
  EXPECT_NEAR(found.shared->value_db, -1.5, 1e-9);
  EXPECT_EQ(found.others.count, 0);
}
TEST(SharedStep, LeavesOutAnObstacleAcrossNorth) {
  const SharedStep found = shared_step(around(-1.5, -6));
  ASSERT_TRUE(found.shared);
  EXPECT_NEAR(found.shared->value_db, -1.5, 1e-9);
  EXPECT_EQ(found.others.first, 11);
  EXPECT_EQ(found.others.count, 2);
}
TEST(SharedStep, IsNoneWhereOnlyAnObstacleCame) {
  const SharedStep found = shared_step(around(0, -4));
  EXPECT_FALSE(found.shared);
  EXPECT_EQ(found.others.count, 2);
}

TEST(SteppingRun, NarrowsToTheSectorsThatStep) {
  std::vector<std::optional<Step>> by_sector(72, Step{0.0, 0.25});
  for (const std::size_t s : {70U, 71U, 0U, 1U, 2U}) by_sector[s]->value_db = -4;
  const SectorRun run = stepping_run(by_sector, {66, 12});
  EXPECT_EQ(run.first, 70);
  EXPECT_EQ(run.count, 5);
}

}  // namespace
}  // namespace roundel::trial
