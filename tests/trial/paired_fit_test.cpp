// Paired counts of two feeds: the difference by sector, against the slow and obvious way.
#include "analysis/trial/paired_fit.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>
#include <tuple>
#include <vector>

#include "roundel/pattern/threshold.h"

namespace roundel::trial {
namespace {

constexpr double ceiling = 0.93;

double heard_share(double level_db, double softness_db) {
  return ceiling * pattern::Threshold::normal().at(level_db / softness_db).share;
}

PairedScale scale() {
  PairedScale out;
  out.softness_db = 1.6;
  out.level_sd_db = 2.6;
  out.level_db = {1.5, 4.0};
  out.first_hour = 100;
  out.ceiling_a = out.ceiling_b = {ceiling};
  return out;
}

/// Flights that come in from afar, where half is heard, to near by, where all is.
Pairs traffic(const PairedScale& known, const std::vector<double>& difference_db,
              unsigned n_flights) {
  std::mt19937_64 random(41);
  std::normal_distribution<double> level_off(0, known.level_sd_db);
  Pairs out;
  out.n_flights = n_flights;
  for (unsigned flight = 0; flight < out.n_flights; ++flight) {
    for (std::uint16_t sector = 0; sector < difference_db.size(); ++sector) {
      const double level_db = known.level_db[sector] + level_off(random);
      const bool is_near = flight % 2 == 0;
      for (int i = 0; i < 3; ++i) {
        PairGroup group;
        group.offset_db = static_cast<float>((is_near ? 14 : -3) + 2 * i);
        group.chances = 60;
        const auto heard = [&](double half_db) {
          std::binomial_distribution<int> chances(
              60, heard_share(level_db + double{group.offset_db} + half_db, known.softness_db));
          return static_cast<float>(chances(random));
        };
        group.heard_a = heard(difference_db[sector] / 2);
        group.heard_b = heard(-difference_db[sector] / 2);
        group.flight = flight;
        group.hour = known.first_hour;
        group.sector = sector;
        out.groups.push_back(group);
      }
    }
  }
  return out;
}

/// Log of what a sector's counts are worth at a difference, levels integrated out step by step.
double log_likelihood(const Pairs& pairs, const PairedScale& known, std::uint16_t sector,
                      double difference_db) {
  constexpr double step_db = 0.2, widest = 6;
  double out = 0;
  for (std::size_t i = 0; i < pairs.groups.size();) {
    const std::uint32_t flight = pairs.groups[i].flight;
    std::vector<PairGroup> block;
    float heard_at_all = 0;
    for (; i < pairs.groups.size() && pairs.groups[i].flight == flight; ++i) {
      if (pairs.groups[i].sector != sector) continue;
      block.push_back(pairs.groups[i]);
      heard_at_all += block.back().heard_a + block.back().heard_b;
    }
    // What nobody hears is not known to be there.
    std::erase_if(block, [](const PairGroup& one) { return one.heard_a + one.heard_b == 0; });
    if (heard_at_all == 0) continue;
    double sum = 0;
    for (double off = -widest; off <= widest; off += step_db / known.level_sd_db) {
      double here = -off * off / 2;
      for (const PairGroup& one : block) {
        const double level_db =
            known.level_db[sector] + off * known.level_sd_db + double{one.offset_db};
        for (const auto& [heard, half] :
             {std::pair{one.heard_a, difference_db / 2}, {one.heard_b, -difference_db / 2}}) {
          const double share = heard_share(level_db + half, known.softness_db);
          here +=
              double{heard} * std::log(share) + double{one.chances - heard} * std::log1p(-share);
        }
      }
      sum += std::exp(here);
    }
    out += std::log(sum);
  }
  return out;
}

double slow_difference(const Pairs& pairs, const PairedScale& known, std::uint16_t sector) {
  double best_db = 0, best = -INFINITY;
  for (double step_db : {0.2, 0.02, 0.004}) {
    const double middle_db = best_db;
    for (int i = -15; i <= 15; ++i) {
      const double here = log_likelihood(pairs, known, sector, middle_db + i * step_db);
      if (here > best) {
        best = here;
        best_db = middle_db + i * step_db;
      }
    }
  }
  return best_db;
}

TEST(PairedDifference, IsThatOfEveryBlockIntegratedStepByStep) {
  const PairedScale known = scale();
  const std::vector<double> truth{0.6, -2.0};
  const Pairs pairs = traffic(known, truth, 250);
  const Difference found = paired_difference(pairs, 0, 2, known);
  for (std::uint16_t sector = 0; sector < 2; ++sector) {
    ASSERT_TRUE(found.known[sector]);
    // Five nodes a block; near ones, half of all, are left out of the quick way.
    EXPECT_NEAR(found.value[sector], slow_difference(pairs, known, sector), 0.02) << sector;
    EXPECT_NEAR(found.value[sector], truth[sector], 4 * std::sqrt(found.covariance(sector, sector)))
        << sector;
  }
}

// From 20 000 blocks on some flights show the way first.
TEST(PairedDifference, IsAsGoodOfManyFlights) {
  const PairedScale known = scale();
  const std::vector<double> truth{0.6, -2.0};
  const Pairs pairs = traffic(known, truth, 24'000);
  const Difference found = paired_difference(pairs, 0, 2, known);
  for (Eigen::Index sector = 0; sector < 2; ++sector) {
    const double se_db = std::sqrt(found.covariance(sector, sector));
    EXPECT_LT(se_db, 0.02);
    EXPECT_NEAR(found.value[sector], truth[static_cast<std::size_t>(sector)], 0.02 + 3 * se_db);
  }
}

TEST(Pairs, AreInOrderOfFlightThenSectorThenAsTheyCame) {
  std::mt19937 random(7);
  Pairs pairs;
  pairs.n_flights = 9;
  for (unsigned i = 0; i < 500; ++i) {
    PairGroup group;
    group.flight = random() % 8;  // of the last there is nothing
    group.sector = static_cast<std::uint16_t>(random() % 5);
    group.hour = i;
    pairs.groups.push_back(group);
  }
  in_order(pairs);
  ASSERT_EQ(pairs.groups.size(), 500u);
  EXPECT_TRUE(std::is_sorted(
      pairs.groups.begin(), pairs.groups.end(), [](const PairGroup& x, const PairGroup& y) {
        return std::tuple(x.flight, x.sector, x.hour) < std::tuple(y.flight, y.sector, y.hour);
      }));
  Pairs nothing;
  in_order(nothing);
  EXPECT_TRUE(nothing.groups.empty());
}

}  // namespace
}  // namespace roundel::trial
