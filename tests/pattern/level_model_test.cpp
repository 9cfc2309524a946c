// The regression behind the patterns, reduced to logistic regression, against published fits.
#include "roundel/pattern/level_model.h"

#include <gtest/gtest.h>

#include <cmath>
#include <map>
#include <numbers>
#include <random>
#include <vector>

#include "tests/reference/csv.h"

namespace roundel::pattern {
namespace {

// One sector, no random levels, no ceiling, no priors: p = logistic((gain + x) / w), so the
// constant is gain / w and the slope 1 / w.
LevelOptions plain_logistic() {
  LevelOptions options;
  options.random_flights = false;
  options.ceiling_by_hour = false;
  options.priors = false;
  options.leverage = false;
  options.max_iterations = 400;
  return options;
}

void add_row(LevelData& data, LevelRow row, std::uint32_t flight, std::uint16_t sector) {
  data.blocks.push_back({flight, sector, static_cast<std::uint32_t>(data.rows.size()), 1});
  data.rows.push_back(row);
}

TEST(LevelModel, GivesTheChdageFitOfHosmerAndLemeshow) {
  const auto table = reference::rows("stats_logistic_chdage.csv");
  ASSERT_EQ(table.size(), 100U);
  LevelData data;
  data.n_sectors = 1;
  data.n_flights = 100;
  data.n_hours = 1;
  for (std::size_t i = 0; i < table.size(); ++i) {
    LevelRow row;
    row.offset_db = static_cast<float>(reference::number(table[i], "age") - 45);  // exact in float
    row.chances = 1;
    row.observed = static_cast<float>(reference::number(table[i], "chd"));
    add_row(data, row, static_cast<std::uint32_t>(i), 0);
  }
  const LevelFit fit = fit_levels(data, plain_logistic());
  ASSERT_TRUE(fit.converged);
  // Applied Logistic Regression, table 1.3: constant -5.309, age 0.111, log likelihood -53.677;
  // full digits by R 4.2.2 glm (stats_answers.csv, fit chdage).
  EXPECT_NEAR(1 / fit.softness_db, 0.1109211422, 1e-6);
  EXPECT_NEAR(fit.gain_db[0] / fit.softness_db - 45 / fit.softness_db, -5.3094533739, 1e-5);
  EXPECT_NEAR(fit.log_likelihood, -53.67654635, 1e-6);
  // The model-based error of the gain follows by the delta method from the table's errors:
  // gain = constant / slope + 45.
  const double b0 = -5.3094533739, b1 = 0.1109211422;
  const double v0 = 1.13365463681 * 1.13365463681, v1 = 0.02405983587 * 0.02405983587;
  const double c01 = -0.0266770195182;
  const double se =
      std::sqrt(v0 / (b1 * b1) + b0 * b0 * v1 / std::pow(b1, 4) - 2 * b0 * c01 / std::pow(b1, 3));
  EXPECT_NEAR(std::sqrt(fit.model_covariance(0, 0)), se, 1e-3);
}

TEST(LevelModel, GivesDobsonsBeetleMortality) {
  const auto table = reference::rows("stats_logistic_beetle.csv");
  LevelData data;
  data.n_sectors = 1;
  data.n_flights = static_cast<int>(table.size());
  data.n_hours = 1;
  for (std::size_t i = 0; i < table.size(); ++i) {
    LevelRow row;
    // Centred and scaled so that the slope fits the softness' range; undone below.
    row.offset_db = static_cast<float>((reference::number(table[i], "dose") - 1.8) * 100);
    row.chances = static_cast<float>(reference::number(table[i], "exposed"));
    row.observed = static_cast<float>(reference::number(table[i], "deaths"));
    add_row(data, row, static_cast<std::uint32_t>(i), 0);
  }
  const LevelFit fit = fit_levels(data, plain_logistic());
  ASSERT_TRUE(fit.converged);
  // Dobson, An Introduction to Generalized Linear Models, table 7.2: -60.72 and 34.27; full digits
  // by R 4.2.2 glm. Offsets are held as float: 1e-5 relative.
  const double slope = 100 / fit.softness_db;
  EXPECT_NEAR(slope, 34.27032573, 1e-3);
  EXPECT_NEAR(fit.gain_db[0] / fit.softness_db - slope * 1.8, -60.71745456, 2e-3);
}

// Placebo, drug and drug_plus as three sectors; `late` as covariate. Children are flights, or
// airframes of which every visit is a flight.
LevelData bacteria(bool by_airframe) {
  const auto table = reference::rows("stats_clustered_bacteria.csv");
  LevelData data;
  data.n_sectors = 3;
  data.n_hours = 1;
  data.n_covariates = 1;
  std::map<int, std::uint32_t> child;
  std::vector<std::pair<std::uint32_t, std::pair<std::uint16_t, LevelRow>>> rows;
  for (std::size_t i = 0; i < table.size(); ++i) {
    const auto row_flight = static_cast<std::uint32_t>(by_airframe ? i : child.size());
    const auto flight =
        child.try_emplace(static_cast<int>(reference::number(table[i], "id")), row_flight)
            .first->second;
    LevelRow row;
    row.chances = 1;
    row.observed = static_cast<float>(reference::number(table[i], "y"));
    row.covariate[0] = static_cast<float>(reference::number(table[i], "late"));
    const auto sector =
        static_cast<std::uint16_t>(reference::number(table[i], "drug") > 0        ? 1
                                   : reference::number(table[i], "drug_plus") > 0 ? 2
                                                                                  : 0);
    rows.push_back({by_airframe ? row_flight : flight, {sector, row}});
    if (by_airframe) data.airframe.push_back(flight);
  }
  std::stable_sort(rows.begin(), rows.end(),
                   [](const auto& a, const auto& b) { return a.first < b.first; });
  for (const auto& [flight, rest] : rows) add_row(data, rest.second, flight, rest.first);
  data.n_flights = static_cast<int>(by_airframe ? rows.size() : child.size());
  return data;
}

void expect_clustered_fit(const LevelData& data) {
  LevelOptions options = plain_logistic();
  options.softness_db = 1.0;
  const LevelFit fit = fit_levels(data, options);
  ASSERT_TRUE(fit.converged);
  // R 4.2.2 glm and package sandwich 3.0-2, vcovCL, no small-sample factor (CR0).
  EXPECT_NEAR(fit.gain_db[0], 2.8332458670, 1e-6);
  EXPECT_NEAR(fit.gain_db[1] - fit.gain_db[0], -1.1186848427, 1e-6);
  EXPECT_NEAR(fit.gain_db[2] - fit.gain_db[0], -0.6372255901, 1e-6);
  EXPECT_NEAR(fit.beta[0], -1.2948524691, 1e-6);
  const auto se_of_difference = [&](int a, int b) {
    return std::sqrt(fit.covariance(a, a) + fit.covariance(b, b) - 2 * fit.covariance(a, b));
  };
  EXPECT_NEAR(std::sqrt(fit.covariance(0, 0)), 0.51975805, 1e-6);
  EXPECT_NEAR(se_of_difference(1, 0), 0.57096584, 1e-6);
  EXPECT_NEAR(se_of_difference(2, 0), 0.52598116, 1e-6);
  EXPECT_NEAR(std::sqrt(fit.beta_covariance(0, 0)), 0.36034659, 1e-6);
  EXPECT_NEAR(std::sqrt(fit.model_covariance(0, 0)), 0.4506496290, 1e-6);
}

TEST(LevelModel, ClustersErrorsAsTheSandwichPackageDoes) {
  const LevelData data = bacteria(false);
  ASSERT_EQ(data.rows.size(), 220U);
  ASSERT_EQ(data.n_flights, 50);
  expect_clustered_fit(data);
}

TEST(LevelModel, TakesFlightsOfOneAirframeForOneWitness) {
  const LevelData data = bacteria(true);
  ASSERT_EQ(data.n_flights, 220);
  expect_clustered_fit(data);
}

// Flights that stay in two of eight sectors, half of which hear 6 dB more than the others.
struct FewSectors {
  int n_flights = 1600;
  double margin_db = 5;  // at 200 km
  double nearest_km = 150, farthest_km = 420;
  static constexpr int n_sectors = 8;
  static constexpr double flight_sd = 2.3, block_sd = 0.8, softness_db = 1.3, ceiling = 0.9;
  static double true_db(int sector) { return sector < n_sectors / 2 ? 3.0 : -3.0; }
};

LevelData in_few_sectors(const FewSectors& how) {
  std::mt19937_64 random(20261126);
  std::normal_distribution<double> normal;
  std::uniform_real_distribution<double> farthest_km(how.nearest_km, how.farthest_km);
  LevelData data;
  data.n_sectors = FewSectors::n_sectors;
  data.n_flights = how.n_flights;
  data.n_hours = 1;
  for (int f = 0; f < how.n_flights; ++f) {
    const double level_db = FewSectors::flight_sd * normal(random), end_km = farthest_km(random);
    const int first = f % (FewSectors::n_sectors - 1);
    for (const int sector : {first, first + 1}) {
      data.blocks.push_back({static_cast<std::uint32_t>(f), static_cast<std::uint16_t>(sector),
                             static_cast<std::uint32_t>(data.rows.size()), 0});
      const double block_db = FewSectors::block_sd * normal(random);
      const double from_km = sector == first ? 30 : (30 + end_km) / 2;
      for (double km = from_km; km < from_km + (end_km - 30) / 2; km *= 1.08) {
        LevelRow row;
        row.offset_db = static_cast<float>(how.margin_db - 20 * std::log10(km / 200));
        const double total_db = FewSectors::true_db(sector) + level_db + block_db + row.offset_db;
        const double share = 1 / (1 + std::exp(-total_db / FewSectors::softness_db));
        std::binomial_distribution<int> heard(60, FewSectors::ceiling * share);
        row.chances = 60;
        row.observed = static_cast<float>(heard(random));
        data.rows.push_back(row);
        ++data.blocks.back().n_rows;
      }
    }
  }
  return data;
}

double scale_of(const LevelFit& fit) {
  double scale = 0;
  const double mean_db = fit.gain_db.mean();
  for (int s = 0; s < FewSectors::n_sectors; ++s)
    scale += (fit.gain_db[s] - mean_db) * FewSectors::true_db(s) / (9.0 * FewSectors::n_sectors);
  return scale;
}

// Many are heard so well throughout that their level is only known to be high: what is not
// integrated over there bends the pattern.
TEST(LevelModel, FlightsInFewSectorsBendNeitherPatternNorSpread) {
  const LevelFit fit = fit_levels(in_few_sectors({}), {});
  ASSERT_TRUE(fit.converged);
  // At the modes of flights' levels, Laplace's term included, the pattern is 0.97 of the truth and
  // the spread between sectors 1.1 dB; with blocks at their modes, too, 0.89 and 0.2 dB.
  EXPECT_NEAR(scale_of(fit), 1, 0.025);
  EXPECT_NEAR(fit.sigma_block_db, FewSectors::block_sd, 0.15);
  EXPECT_NEAR(fit.sigma_flight_db, FewSectors::flight_sd, 0.15);
  EXPECT_NEAR(fit.softness_db, FewSectors::softness_db, 0.03);
}

// Airways that run along every border: each flight crosses one, by a degree or so.
constexpr int bordered_sectors = 72;
constexpr double bordered_deg = 360.0 / bordered_sectors, bordered_amplitude_db = 3;

double bordered_db(double bearing_deg) {
  return bordered_amplitude_db * std::cos(3 * bearing_deg * (std::numbers::pi / 180));
}

LevelData along_borders() {
  constexpr int n_flights = 3600, n_rows = 16;
  constexpr double flight_sd = 2.5, softness_db = 1.3, ceiling = 0.9;
  std::mt19937_64 random(20261127);
  std::normal_distribution<double> normal;
  std::uniform_int_distribution<int> border(1, bordered_sectors);
  LevelData data;
  data.n_sectors = bordered_sectors;
  data.n_flights = n_flights;
  data.n_hours = 1;
  for (std::uint32_t f = 0; f < n_flights; ++f) {
    const double level_db = flight_sd * normal(random);
    const double first_deg = bordered_deg * border(random) + 0.2 * normal(random) - 0.8;
    std::map<std::uint16_t, std::vector<LevelRow>> by_sector;
    for (int i = 0; i < n_rows; ++i) {
      const double bearing_deg = std::fmod(360 + first_deg + 0.1 * i, 360);
      const auto sector = static_cast<std::uint16_t>(bearing_deg / bordered_deg);
      LevelRow row;
      row.bearing_off_deg = static_cast<float>(bearing_deg - (sector + 0.5) * bordered_deg);
      row.offset_db = static_cast<float>(9 - i);
      const double total_db = bordered_db(bearing_deg) + level_db + row.offset_db;
      std::binomial_distribution<int> heard(60, ceiling / (1 + std::exp(-total_db / softness_db)));
      row.chances = 60;
      row.observed = static_cast<float>(heard(random));
      by_sector[sector].push_back(row);
    }
    for (const auto& [sector, rows] : by_sector) {
      data.blocks.push_back({f, sector, static_cast<std::uint32_t>(data.rows.size()),
                             static_cast<std::uint32_t>(rows.size())});
      data.rows.insert(data.rows.end(), rows.begin(), rows.end());
    }
  }
  return data;
}

// Such flights see hardly a difference between two sectors whose middles differ by a decibel. With
// one figure a sector, even from border to border, the pattern came out as 0.51 of the truth.
TEST(LevelModel, FlightsAlongBordersDoNotFlattenThePattern) {
  const LevelFit fit = fit_levels(along_borders(), {});
  ASSERT_TRUE(fit.converged);
  double covariance = 0, square = 0, z_square = 0;
  const double mean_db = fit.gain_db.mean();
  for (int s = 0; s < bordered_sectors; ++s) {
    const double middle_deg = (s + 0.5) * bordered_deg, true_db = bordered_db(middle_deg);
    const double found_db = fit.gain_db[s] - mean_db;
    covariance += found_db * true_db;
    square += true_db * true_db;
    z_square += std::pow(found_db - true_db, 2) / fit.covariance(s, s);
    const int next = (s + 1) % bordered_sectors;
    EXPECT_NEAR(fit.gain_at(s, bordered_deg / 2), (fit.gain_db[s] + fit.gain_db[next]) / 2, 1e-12);
  }
  EXPECT_NEAR(covariance / square, 1, 0.05);
  EXPECT_NEAR(z_square / bordered_sectors, 1, 0.6);
  EXPECT_LT(fit.sigma_block_db, 0.7);  // none, but a tenth of the blocks is taken to have 1 dB
}

// A vertical array of 8 elements 0.75 wavelengths apart: dipole x sin(N psi) / (N sin psi), psi =
// pi s sin(e) (Balanis, Antenna Theory, ch. 6). Its first null stands where N psi = pi: at 9.6
// degrees.
double array_db(double elevation_deg) {
  constexpr int elements = 8;
  const double psi = std::numbers::pi * 0.75 * std::sin(elevation_deg * std::numbers::pi / 180);
  const double field =
      std::abs(psi) < 1e-9 ? 1 : std::abs(std::sin(elements * psi) / (elements * std::sin(psi)));
  return 20 * std::log10(std::max(0.03, field));
}

// Flights at many heights that pass by such an antenna, which leans by 2 degrees.
LevelData past_an_array(double lean_north_deg, double lean_east_deg) {
  constexpr int n_flights = 1500, n_sectors = 36, n_rows = 40;
  constexpr double flight_sd = 2.5, softness_db = 1.5, ceiling = 0.9;
  std::mt19937_64 random(20261201);
  std::normal_distribution<double> normal;
  std::uniform_real_distribution<double> uniform(0, 1);
  LevelData data;
  data.n_sectors = n_sectors;
  data.n_flights = n_flights;
  data.n_hours = 1;
  for (std::uint32_t f = 0; f < n_flights; ++f) {
    const double level_db = flight_sd * normal(random), height_km = 2 + 10 * uniform(random);
    const double bearing = 2 * std::numbers::pi * uniform(random),
                 nearest_km = 15 + 150 * uniform(random);
    std::map<std::uint16_t, std::vector<LevelRow>> by_sector;
    for (int i = 0; i < n_rows; ++i) {
      const double along_km = 400.0 * (i - n_rows / 2) / n_rows;
      const double range_km = std::hypot(nearest_km, along_km);
      const double at = std::fmod(bearing + std::atan2(along_km, nearest_km) + 4 * std::numbers::pi,
                                  2 * std::numbers::pi);
      // A flat Earth does: what matters is that heights differ.
      const double elevation_deg = std::atan2(height_km, range_km) * 180 / std::numbers::pi;
      if (elevation_deg < 0.5 || elevation_deg > 7) continue;
      LevelRow row;
      const double sector = at * n_sectors / (2 * std::numbers::pi);
      row.bearing_off_deg =
          static_cast<float>((sector - std::floor(sector) - 0.5) * 360 / n_sectors);
      row.elevation_deg = static_cast<float>(elevation_deg);
      row.offset_db = static_cast<float>(-20 * std::log10(std::hypot(range_km, height_km) / 200));
      const double leaning_deg =
          elevation_deg - lean_north_deg * std::cos(at) - lean_east_deg * std::sin(at);
      const double total_db = 6 + array_db(leaning_deg) + level_db + row.offset_db;
      std::binomial_distribution<int> heard(60, ceiling / (1 + std::exp(-total_db / softness_db)));
      row.chances = 60;
      row.observed = static_cast<float>(heard(random));
      by_sector[static_cast<std::uint16_t>(sector) % n_sectors].push_back(row);
    }
    for (const auto& [sector, rows] : by_sector)
      for (const LevelRow& row : rows) {
        data.blocks.push_back({f, sector, static_cast<std::uint32_t>(data.rows.size()), 1});
        data.rows.push_back(row);
      }
  }
  return data;
}

TEST(LevelModel, FindsTheNullOfAnArrayAndNoPatternThatIsNotThere) {
  const LevelFit fit = fit_levels(past_an_array(0, 0), {});
  ASSERT_TRUE(fit.converged);
  for (int s = 0; s < 36; ++s) EXPECT_NEAR(fit.gain_db[s], fit.gain_db.mean(), 0.4) << s;
  int deepest = 0;
  for (int k = 0; k < ElevationCurve::n_knots; ++k) {
    if (fit.elevation.gain_db[k] < fit.elevation.gain_db[deepest]) deepest = k;
    const double e = ElevationCurve::knot_deg(k);
    if (e > 7) continue;
    const double truth = array_db(e) - array_db(1),
                 found = fit.elevation.gain_db[k] - fit.elevation.at(1);
    EXPECT_NEAR(found, truth, 0.3 + 0.08 * std::abs(truth)) << e << " degrees";
  }
  EXPECT_NEAR(ElevationCurve::knot_deg(deepest), 9.6, 0.5);
  EXPECT_NEAR(fit.softness_db, 1.5, 0.15);
  EXPECT_LT(std::hypot(fit.lean.north_deg, fit.lean.east_deg), 0.15);
}

TEST(LevelModel, FindsALean) {
  const LevelFit fit = fit_levels(past_an_array(-1, 1.732), {});
  EXPECT_NEAR(fit.lean.north_deg, -1, 0.15);
  EXPECT_NEAR(fit.lean.east_deg, 1.732, 0.15);
  for (int s = 0; s < 36; ++s) EXPECT_NEAR(fit.gain_db[s], fit.gain_db.mean(), 0.5) << s;
}

// Where the tail is 1 and there is no skew, nothing is bent; slopes by central differences.
TEST(Threshold, BendsSmoothly) {
  for (const double z : {-6.0, -1.0, 0.0, 0.5, 3.0, 8.0}) {
    EXPECT_DOUBLE_EQ(Threshold::normal().bent(0, 0).at(z).share, Threshold::normal().at(z).share);
    // The normal distribution at z / 1.702, by the error function.
    EXPECT_NEAR(Threshold::normal().at(z).share, std::erfc(-z / 1.702 / std::sqrt(2)) / 2, 2e-4)
        << z;
    const auto share = [&](double by_z, double by_skew, double by_tail) {
      return Threshold::normal().bent(0.2 + by_skew, -0.1 + by_tail).at(z + by_z).share;
    };
    const Threshold::At at = Threshold::normal().bent(0.2, -0.1).at(z);
    constexpr double h = 1e-5;
    EXPECT_NEAR(at.slope, (share(h, 0, 0) - share(-h, 0, 0)) / (2 * h), 1e-8) << z;
    EXPECT_NEAR(at.by_skew, (share(0, h, 0) - share(0, -h, 0)) / (2 * h), 1e-8) << z;
    EXPECT_NEAR(at.by_log_tail, (share(0, 0, h) - share(0, 0, -h)) / (2 * h), 1e-8) << z;
  }
  EXPECT_DOUBLE_EQ(Threshold::normal().bent(0.3, -0.2).at(0).share, 0.5);
}

TEST(LevelModel, AnEmptyDataSetGivesNoFit) {
  const LevelFit fit = fit_levels({}, {});
  EXPECT_FALSE(fit.converged);
  EXPECT_EQ(fit.gain_db.size(), 0);
}

}  // namespace
}  // namespace roundel::pattern
