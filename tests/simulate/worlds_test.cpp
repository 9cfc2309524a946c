// Each departure from the plain world does what its keys say. Levels are held against formulas that
// are worked out here, by phasors where the simulation has a closed form.
#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <map>
#include <nlohmann/json.hpp>
#include <set>
#include <vector>

#include "analysis/simulate/receiver.h"
#include "analysis/simulate/threshold.h"
#include "roundel/simulate/simulate.h"
#include "roundel/site/sightline.h"
#include "tests/simulate/ideal.h"

namespace roundel::simulate {
namespace {

constexpr double rad = M_PI / 180;
constexpr double printed_db = 0.06;  // levels are printed to 0.1 dB

struct Seen {
  Report report;
  site::Sightline line;
  /// Level less what distance alone gives, dB.
  double over_spreading_db{};
};

/// All reports of a scenario whose levels carry no noise and whose margin is so large that all is
/// heard, from 0.7 degrees up.
std::vector<Seen> all_of(Scenario s) {
  constexpr double margin_db = 60;
  s.reception.margin_db = margin_db;
  s.receiver("rx").level_noise_db = 0;
  s.receiver("rx").threshold_dbfs = -100;
  const auto viewpoint = site::Viewpoint::from(s.site);
  std::vector<Seen> out;
  EXPECT_TRUE(reports(s, [&](std::size_t, const Report& r) {
    const auto line = viewpoint->to(r.latitude_deg, r.longitude_deg, *r.altitude_ft);
    if (line.elevation_deg > 0.7 && line.slant_km > 30)
      out.push_back(
          {r, line, *r.signal_dbfs + 100 - margin_db + 20 * std::log10(line.slant_km / 200)});
    return true;
  }));
  EXPECT_GT(out.size(), 5000U);
  return out;
}

double dipole_db(double elevation_deg) {
  const double e = elevation_deg * rad;
  return 20 * std::log10(std::cos(M_PI / 2 * std::sin(e)) / std::cos(e));
}

/// Elements in phase on a line, each a phasor (Balanis, Antenna Theory, 6.3).
double array_db(int elements, double spacing_wavelengths, double tilt_deg, double elevation_deg) {
  std::complex<double> sum = 0;
  for (int k = 0; k < elements; ++k)
    sum +=
        std::polar(1.0 / elements, 2 * M_PI * k * spacing_wavelengths *
                                       (std::sin(elevation_deg * rad) - std::sin(tilt_deg * rad)));
  return dipole_db(elevation_deg) + 20 * std::log10(std::abs(sum));
}

TEST(Worlds, ArraysHaveTheGainOfTheirElementsSummed) {
  Scenario s = ideal(1);
  s.antenna("flat").elevation = {ElevationKind::collinear, 8, 0.75, -2, -60};
  int beyond_the_null = 0;
  for (const Seen& seen : all_of(s)) {
    const double expected_db = array_db(8, 0.75, -2, seen.line.elevation_deg);
    if (expected_db < -15) continue;  // near a null the printed position's rounding shows
    EXPECT_NEAR(seen.over_spreading_db, expected_db, 0.2) << seen.line.elevation_deg;
    beyond_the_null += seen.line.elevation_deg > 10;
  }
  EXPECT_GT(beyond_the_null, 100);
}

TEST(Worlds, NullsAreFilledAsDeepAsAsked) {
  Scenario s = ideal(2);
  s.antenna("flat").elevation = {ElevationKind::collinear, 8, 0.75, 0, -30};
  double least_db = 0;
  for (const Seen& seen : all_of(s)) least_db = std::min(least_db, seen.over_spreading_db);
  EXPECT_NEAR(least_db, -30, 0.2);
}

TEST(Worlds, ALeanMovesElevationWithTheBearingAndStaysWhenTheAntennaTurns) {
  Scenario s = ideal(1);
  s.antenna("flat").elevation = {ElevationKind::collinear, 6, 0.75, 0, -60};
  s.mount("m").lean_deg = 2;
  s.mount("m").lean_towards_deg = 120;
  s.trial({.rotation_deg = 90});
  for (const Seen& seen : all_of(s)) {
    const double leaning_deg =
        seen.line.elevation_deg - 2 * std::cos((seen.line.bearing_deg - 120) * rad);
    const double expected_db = array_db(6, 0.75, 0, leaning_deg);
    if (expected_db < -15) continue;
    EXPECT_NEAR(seen.over_spreading_db, expected_db, 0.2);
  }
}

TEST(Worlds, TwoAntennasSendByTurns) {
  Scenario s = ideal(1);
  s.aircraft = {.two_antennas_share = 1,
                .upper_loss_db = 1,
                .upper_loss_db_per_deg = 0.5,
                .upper_loss_most_db = 6};
  std::map<std::uint32_t, std::pair<double, bool>> last;
  for (const Seen& seen : all_of(s)) {
    const double loss_db = std::min(6.0, 1 + 0.5 * seen.line.elevation_deg);
    const bool is_upper = seen.over_spreading_db < -loss_db / 2;
    EXPECT_NEAR(seen.over_spreading_db, is_upper ? -loss_db : 0, printed_db);
    const auto before = last.find(seen.report.address);
    if (before != last.end() && seen.report.time_s - before->second.first < 0.7) {
      EXPECT_NE(is_upper, before->second.second);
    }
    last[seen.report.address] = {seen.report.time_s, is_upper};
  }
}

TEST(Worlds, SomeAircraftSendHalfAsOften) {
  Scenario s = ideal(2);
  s.aircraft.half_rate_share = 0.3;
  std::map<std::uint32_t, double> last;
  std::map<std::uint32_t, std::pair<int, int>> slow;  // gaps over 0.7 s, all gaps
  for (const Seen& seen : all_of(s)) {
    const auto before = last.find(seen.report.address);
    if (before != last.end() && seen.report.time_s - before->second < 1.3) {
      auto& [n, of] = slow[seen.report.address];
      n += seen.report.time_s - before->second > 0.7;
      ++of;
    }
    last[seen.report.address] = seen.report.time_s;
  }
  int n_slow = 0, n = 0;
  for (const auto& [address, gaps] : slow) {
    if (gaps.second < 20) continue;
    // An aircraft that leaves what is looked at and comes back shows a gap that is not its own.
    const double share = static_cast<double>(gaps.first) / gaps.second;
    EXPECT_TRUE(share < 0.05 || share > 0.95) << share;
    n_slow += share > 0.5;
    ++n;
  }
  ASSERT_GT(n, 40);
  EXPECT_NEAR(n_slow, 0.3 * n, 4 * std::sqrt(0.21 * n));
}

TEST(Worlds, GroundReflectsOnItsBearingsAlone) {
  Scenario s = ideal(1);
  s.reflections.push_back(
      {.from_deg = 300, .to_deg = 40, .height_m = 2, .roughness_m = 0.3, .coefficient = 0.8});
  int lit = 0;
  for (const Seen& seen : all_of(s)) {
    const double bearing = seen.line.bearing_deg;
    if (std::fabs(bearing - 300) < 0.3 || std::fabs(bearing - 40) < 0.3) continue;  // edges' slots
    double expected_db = 0;
    if (bearing > 300 || bearing < 40) {
      const double k = 2 * M_PI / 0.2750, sin_e = std::sin(seen.line.elevation_deg * rad);
      const double r = 0.8 * std::exp(-2 * std::pow(k * 0.3 * sin_e, 2));
      expected_db = 20 * std::log10(std::abs(1.0 - std::polar(r, k * 2 * 2 * sin_e)));
      ++lit;
    }
    EXPECT_NEAR(seen.over_spreading_db, expected_db, 0.1);
  }
  EXPECT_GT(lit, 1000);
}

TEST(Worlds, SensitivityStandsInPlaceOfTheMargin) {
  Scenario s = ideal(0.2);
  s.reception.margin_db = 6;
  const auto text = [](const Scenario& scenario) {
    std::string out;
    EXPECT_TRUE(reports(scenario, [&](std::size_t, const Report& r) {
      append_line(out, r);
      return true;
    }));
    return out;
  };
  const std::string by_margin = text(s);
  s.reception.margin_db = -3;
  s.receiver("receiver").sensitivity_dbm = -88;
  EXPECT_EQ(text(s), by_margin);
}

TEST(Threshold, IsHalfAtItsMiddleAndRises) {
  for (const auto kind : {ThresholdKind::logistic, ThresholdKind::normal, ThresholdKind::skewed,
                          ThresholdKind::tailed}) {
    EXPECT_NEAR(decoded_share(kind, 0), 0.5, 1e-7);
    for (double x = -12; x < 12; x += 0.25)
      EXPECT_LE(decoded_share(kind, x), decoded_share(kind, x + 0.25));
    EXPECT_LT(decoded_share(kind, -30), 0.001);
    EXPECT_GT(decoded_share(kind, 30), 0.999);
  }
}

TEST(Threshold, HasTheShapesOfTheirNames) {
  for (double x = -6; x < 6; x += 0.1) {
    const double normal = std::erfc(-x / 1.702 / std::sqrt(2.0)) / 2;
    EXPECT_NEAR(decoded_share(ThresholdKind::normal, x), normal, 1e-7);
    EXPECT_NEAR(decoded_share(ThresholdKind::normal, x), logistic(x), 0.01);  // Camilli 1994
  }
  EXPECT_LT(decoded_share(ThresholdKind::skewed, -3), 1e-6);
  EXPECT_LT(decoded_share(ThresholdKind::skewed, 3), 0.97);
  EXPECT_GT(decoded_share(ThresholdKind::tailed, -6), 0.03);
}

TEST(Threshold, CaptureLosesWeakMessagesRatherThanStrong) {
  EXPECT_DOUBLE_EQ(lost_at(0.2, 0, -5), 0.2);
  EXPECT_NEAR(lost_at(0.2, 1, -20), 0.4, 1e-3);
  EXPECT_DOUBLE_EQ(lost_at(0.2, 1, 8), 0.2);
  EXPECT_NEAR(lost_at(0.2, 0.5, 40), 0.1, 1e-3);
}

// --- Receiver ----------------------------------------------------------------------------------

TEST(Worlds, SensitivitySwingsOverTheDayAndWithTheTraffic) {
  Receiver receiver;
  receiver.swing_db = 2;
  receiver.swing_peak_h = 4;
  EXPECT_NEAR(hourly_change_db(receiver, 86400 * 100 + 4 * 3600, 1), 2, 1e-9);
  EXPECT_NEAR(hourly_change_db(receiver, 86400 * 100 + 16 * 3600, 1), -2, 1e-9);
  receiver.swing_db = 0;
  receiver.gain_control_db = 3;
  EXPECT_NEAR(hourly_change_db(receiver, 0, 2), -3, 1e-9);
  EXPECT_NEAR(hourly_change_db(receiver, 0, 0.5), 3, 1e-9);
}

TEST(Worlds, OverloadSpoilsStrongMessages) {
  Receiver receiver;
  EXPECT_EQ(not_deafened(receiver, 50), 1);
  receiver.deaf_above_db = 20;
  EXPECT_NEAR(not_deafened(receiver, 20), 0.5, 1e-9);
  EXPECT_GT(not_deafened(receiver, 5), 0.999);
  EXPECT_LT(not_deafened(receiver, 40), 0.001);
}

TEST(Worlds, NoiseTakesItsShareOfTheTimeInStretches) {
  Receiver receiver;
  receiver.burst_share = 0.2;
  receiver.burst_s = 5;
  receiver.burst_db = 12;
  int noisy = 0;
  constexpr int n = 4000;
  for (int i = 0; i < n; ++i) {
    const double loss_db = burst_loss_db(receiver, 7, 5.0 * i + 0.1);
    EXPECT_TRUE(loss_db == 0 || loss_db == 12);
    EXPECT_EQ(burst_loss_db(receiver, 7, 5.0 * i + 4.9), loss_db);
    noisy += loss_db > 0;
  }
  EXPECT_NEAR(noisy, 0.2 * n, 4 * std::sqrt(0.16 * n));
}

TEST(Worlds, APositionIsKnownAfterAnEvenAndAnOddMessage) {
  Receiver receiver;
  receiver.pair_s = 10;
  PairMemory pairs;
  EXPECT_FALSE(pairs.knows(receiver, 100, false));
  EXPECT_FALSE(pairs.knows(receiver, 101, false));
  EXPECT_FALSE(pairs.knows(receiver, 112, true));  // the even one is too old
  EXPECT_TRUE(pairs.knows(receiver, 113, false));
  EXPECT_TRUE(pairs.knows(receiver, 170, false));   // within 60 s of the last
  EXPECT_FALSE(pairs.knows(receiver, 240, false));  // forgotten
}

TEST(Worlds, TheCeilingMovesWithTheHour) {
  Scenario s = ideal(12);
  s.traffic.mean_aircraft = 8;
  s.traffic.night_factor = 1;
  s.reception.margin_db = 60;
  s.reception.message_loss = 0.2;
  s.reception.message_loss_spread = 0.5;
  std::map<int, int> heard;
  ASSERT_TRUE(reports(s, [&](std::size_t, const Report& r) {
    ++heard[static_cast<int>((r.time_s - s.start_s) / 3600)];
    return true;
  }));
  Scenario whole = s;
  whole.reception.message_loss = 0;
  std::map<int, int> sent;
  ASSERT_TRUE(reports(whole, [&](std::size_t, const Report& r) {
    ++sent[static_cast<int>((r.time_s - s.start_s) / 3600)];
    return true;
  }));
  double sum = 0, squares = 0;
  for (const auto& [hour, n] : sent) {
    const double log_lost = std::log(1 - static_cast<double>(heard[hour]) / n);
    sum += log_lost / 12;
    squares += log_lost * log_lost / 12;
  }
  // Twelve draws of spread 0.5 about log 0.2; three standard errors.
  EXPECT_NEAR(sum, std::log(0.2), 3 * 0.5 / std::sqrt(12.0));
  EXPECT_NEAR(std::sqrt(squares - sum * sum), 0.5, 3 * 0.5 / std::sqrt(24.0));
}

TEST(Worlds, SomeAircraftAreFarWeaker) {
  Scenario s = ideal(3);
  s.aircraft.weak_share = 0.2;
  s.aircraft.weak_db = 6;
  const auto truth = reports(s, [](std::size_t, const Report&) { return true; });
  ASSERT_TRUE(truth);
  double weak = 0, sum_db = 0;
  for (const FlightTruth& flight : truth->flights) {
    weak += flight.power_db < 0;
    sum_db += flight.power_db;
  }
  const double n = static_cast<double>(truth->flights.size());
  EXPECT_NEAR(weak, 0.2 * n, 4 * std::sqrt(0.16 * n));
  EXPECT_NEAR(sum_db / weak, -6, 4 * 6 / std::sqrt(weak));
}

TEST(Worlds, CellsAndReportsTellTheSame) {
  Scenario s;
  s.hours = 6;
  s.start_s += 10 * 3600;
  s.reception.threshold = ThresholdKind::skewed;
  s.reception.capture = 0.8;
  s.aircraft = {.two_antennas_share = 0.8, .half_rate_share = 0.2};
  s.antenna("a").elevation = {ElevationKind::collinear, 8, 0.75, 0, -30};
  s.reflections.push_back({.from_deg = 0, .to_deg = 90});
  std::int64_t n = 0;
  const auto truth = reports(s, [&](std::size_t, const Report&) { return ++n, true; });
  const auto set = cells(s);
  ASSERT_TRUE(truth && set);
  EXPECT_NEAR(static_cast<double>(set->truth.trials[0].sent),
              static_cast<double>(truth->trials[0].sent),
              0.01 * static_cast<double>(truth->trials[0].sent));
  EXPECT_NEAR(static_cast<double>(set->truth.trials[0].heard), static_cast<double>(n),
              0.01 * static_cast<double>(n));
}

TEST(Worlds, TruthTellsGainByBearingAndByElevation) {
  Scenario s = ideal(0.1);
  s.antenna("flat").elevation = {ElevationKind::collinear, 8, 0.75, 0, -60};
  s.antenna("flat").harmonic(1, 3, 40);
  s.aircraft = {.two_antennas_share = 0.5};
  const auto truth = reports(s, [](std::size_t, const Report&) { return true; });
  ASSERT_TRUE(truth);
  const auto trial = nlohmann::json::parse(truth_json(*truth, false)).at("trials").at(0);
  ASSERT_EQ(trial.at("elevation_less_dipole_db").size(), 47U);
  for (std::size_t i = 0; i < 47; i += 7) {
    const double e = 0.5 + 0.25 * static_cast<double>(i);
    const double upper_db = std::min(6.0, 1 + 0.4 * e);
    EXPECT_NEAR(trial.at("elevation_less_dipole_db").at(i),
                array_db(8, 0.75, 0, e) - dipole_db(e) - 0.25 * upper_db, 0.2);
  }
  ASSERT_EQ(trial.at("pattern_by_5deg_db").size(), 72U);
  EXPECT_NEAR(trial.at("pattern_by_5deg_db").at(7), 3 * std::cos((37.5 - 40) * rad), 0.01);
}

}  // namespace
}  // namespace roundel::simulate
