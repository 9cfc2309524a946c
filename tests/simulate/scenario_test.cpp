#include "roundel/simulate/scenario.h"

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <string>

#include "roundel/simulate/simulate.h"

namespace roundel::simulate {
namespace {

std::string error_of(const std::string& toml) {
  const auto scenario = parse_scenario(toml, "s.toml");
  return scenario ? "none" : scenario.error().line();
}

TEST(ScenarioFile, EveryMistakeIsOneLineWithItsPlace) {
  struct Row {
    const char *name, *toml, *message;
  };
  for (const Row& row : {
           Row{"unknown key", "hours = 3\nsed = 7\n",
               "s.toml:2: there is no key \"sed\"; did you mean \"seed\"?"},
           Row{"unknown inner key", "[[antenna]]\nname = \"a\"\ngain = 3\n",
               "s.toml:3: [[antenna]] has no key \"gain\"; it has: name, gain_db, harmonic, notch, "
               "mast, "
               "elevation"},
           Row{"wrong type", "[traffic]\nmean_aircraft = \"many\"\n",
               "s.toml:2: [traffic] mean_aircraft is text; use a number"},
           Row{"out of range", "[[antenna]]\nname = \"a\"\n[[antenna.notch]]\ndepth_db = 50\n",
               "s.toml:4: [[antenna.notch]] depth_db is 50; use 0 to 40"},
           Row{"not whole", "[[antenna]]\nname = \"a\"\nharmonic = [{ order = 1.5 }]\n",
               "s.toml:3: [[antenna.harmonic]] order is not a whole number"},
           Row{"no name", "[[receiver]]\noffset_db = 1\n",
               "s.toml:1: [[receiver]] has no name; add name = \"...\""},
           Row{"one bracket", "[antenna]\nname = \"a\"\n",
               "s.toml:1: antenna may stand several times; write [[antenna]], with two brackets"},
           Row{"bad choice", "[[antenna]]\nname = \"a\"\nelevation = { kind = \"dipol\" }\n",
               "s.toml:3: [antenna.elevation] kind is \"dipol\"; did you mean \"dipole\"?"},
           Row{"bad time", "start = \"yesterday\"\n",
               "s.toml:1: start is not a time; write \"2026-03-01T00:00:00Z\", in quotes, or Unix "
               "seconds"},
           Row{"negative seed", "seed = -1\n", "s.toml:1: seed is not a whole number from 0"},
           Row{"name twice", "[[mount]]\nname = \"m\"\n[[mount]]\nname = \"m\"\n",
               "s.toml: the name \"m\" is taken twice; choose another"},
           Row{"unknown antenna", "[[trial]]\nantenna = \"x\"\n",
               "s.toml: trial 1: no antenna is named 'x'"},
           Row{"overlap", "[[trial]]\nstop_h = 5\n[[trial]]\nstart_h = 4\n",
               "s.toml: trial 2: overlaps trial 1 of feed 'roof'; stop one before the other "
               "starts, or put them on two feeds"},
           Row{"small fleet", "[traffic]\nfleet = 100\n",
               "s.toml: traffic: a fleet of 100 cannot keep 40 aircraft in the air; have at least "
               "20 airframes for each aircraft in the air"},
       }) {
    EXPECT_EQ(error_of(row.toml), row.message) << row.name;
  }
}

TEST(ScenarioFile, NotTomlNamesTheLine) {
  EXPECT_EQ(error_of("seed = 1\nhours = = 2\n").substr(0, 19), "s.toml:2: not TOML:");
}

TEST(ScenarioFile, EmptyFileIsTheDefaultScenario) {
  const auto scenario = parse_scenario("", "s.toml");
  ASSERT_TRUE(scenario);
  EXPECT_EQ(scenario->seed, Scenario().seed);
  EXPECT_EQ(scenario->traffic.mean_aircraft, Scenario().traffic.mean_aircraft);
}

TEST(ScenarioFile, ValuesArriveWhereTheyBelong) {
  const auto s = parse_scenario(R"(
seed = 9
start = "2026-03-02T00:00:00Z"
hours = 5
[site]
latitude = 48
ground_m = 200
[[antenna]]
name = "spider"
mast = { radius_mm = 20, spacing_mm = 300, bearing_deg = 45 }
[[wall]]
from_deg = 10
to_deg = 20
elevation_deg = 2.5
[[feed]]
name = "roof"
throttled = true
outage = [{ from_h = 1, to_h = 2 }]
[[traffic.airway]]
from_deg = 5
to_deg = 190
)",
                                "s.toml");
  ASSERT_TRUE(s) << s.error().line();
  EXPECT_EQ(s->seed, 9U);
  EXPECT_EQ(s->start_s, 1772409600);  // `date -ud 2026-03-02 +%s`
  EXPECT_EQ(s->site.latitude_deg, 48);
  EXPECT_EQ(s->site.surface_m, 200);
  EXPECT_EQ(s->antennas.at(0).azimuth.masts.at(0).spacing_mm, 300);
  EXPECT_EQ(s->walls.at(0).elevation_deg, 2.5);
  EXPECT_TRUE(s->feeds.at(0).throttled);
  EXPECT_EQ(s->feeds.at(0).outages.at(0).to_h, 2);
  EXPECT_EQ(s->traffic.airways.at(0).to_deg, 190);
}

TEST(ScenarioFile, ReadsWhatDepartsFromThePlainWorld) {
  const auto s = parse_scenario(R"(
reception = { threshold = "skewed", message_loss_spread = 0.4, capture = 0.5 }
antenna = [{ name = "a", elevation = { kind = "collinear", elements = 8, null_db = -40 } }]
mount = [{ name = "m", lean_deg = 2, lean_towards_deg = 120 }]
[aircraft]
two_antennas_share = 0.9
upper_loss_db = 2
upper_loss_db_per_deg = 0.3
upper_loss_most_db = 5
half_rate_share = 0.1
weak_share = 0.05
weak_db = 7
[[receiver]]
name = "r"
sensitivity_dbm = -90
swing_db = 1
swing_peak_h = 5
gain_control_db = 2
deaf_above_db = 25
burst_share = 0.1
burst_s = 3
burst_db = 9
pair_s = 8
[[reflection]]
from_deg = 10
to_deg = 60
height_m = 6
roughness_m = 0.5
coefficient = 0.7
[[interference]]
kind = "silent"
from_h = 1
to_h = 2
bearing_deg = 30
range_km = 100
radius_km = 40
[[feed]]
name = "roof"
time_step_s = 1
position_decimals = 3
jitter_m = 50
extrapolate_s = 20
poll_s = 5
network = [{ from_deg = 1, to_deg = 2, gap_s = 3 }]
clock_step = [{ at_h = 1, step_s = -2 }]
)",
                                "s.toml");
  ASSERT_TRUE(s) << s.error().line();
  EXPECT_EQ(s->reception.threshold, ThresholdKind::skewed);
  EXPECT_EQ(s->reception.message_loss_spread, 0.4);
  EXPECT_EQ(s->reception.capture, 0.5);
  EXPECT_EQ(s->antennas[0].elevation.null_db, -40);
  EXPECT_EQ(s->mounts[0].lean_deg, 2);
  EXPECT_EQ(s->mounts[0].lean_towards_deg, 120);
  EXPECT_EQ(s->aircraft.two_antennas_share, 0.9);
  EXPECT_EQ(s->aircraft.upper_loss_most_db, 5);
  EXPECT_EQ(s->aircraft.weak_db, 7);
  EXPECT_EQ(s->receivers[0].sensitivity_dbm, -90);
  EXPECT_EQ(s->receivers[0].deaf_above_db, 25);
  EXPECT_EQ(s->receivers[0].pair_s, 8);
  EXPECT_EQ(s->reflections[0].coefficient, 0.7);
  EXPECT_EQ(s->interferences[0].kind, InterferenceKind::silent);
  EXPECT_EQ(s->feeds[0].position_decimals, 3);
  EXPECT_EQ(s->feeds[0].networks[0].gap_s, 3);
  EXPECT_EQ(s->feeds[0].clock_steps[0].step_s, -2);
}

TEST(ScenarioFile, LeavesInItsBaseWhatTheTextDoesNotSay) {
  Scenario base;
  base.seed = 77;
  base.reception.margin_db = 3;
  const auto s = parse_scenario("reception = { softness_db = 2 }", "s.toml", base);
  ASSERT_TRUE(s);
  EXPECT_EQ(s->seed, 77U);
  EXPECT_EQ(s->reception.margin_db, 3);
  EXPECT_EQ(s->reception.softness_db, 2);
}

TEST(ScenarioFile, MissingFileIsNotFound) {
  const auto s = load_scenario("no/such.toml");
  ASSERT_FALSE(s);
  EXPECT_EQ(s.error().code, Errc::not_found);
}

TEST(ScenarioFile, DemoFilesAreValid) {
  const auto s =
      load_scenario(ROUNDEL_REFERENCE_DIR "/../../../analysis/simulate/demo/scenario.toml");
  ASSERT_TRUE(s) << s.error().line();
  EXPECT_EQ(s->trials.size(), 2U);
}

class TrafficFile : public ::testing::Test {
 protected:
  void SetUp() override {
    file_ = std::filesystem::path(::testing::TempDir()) / "simulate_traffic.csv";
  }
  void TearDown() override { std::filesystem::remove(file_); }
  Result<Truth> fly(const std::string& lines, const ReportVisit& visit) {
    std::ofstream(file_) << lines;
    Scenario s;
    s.hours = 1;
    s.traffic.file = file_;
    s.reception.margin_db = 60;
    s.reception.message_loss = 0;
    return reports(s, visit);
  }
  std::filesystem::path file_;
};

TEST_F(TrafficFile, FlightsAreInterpolatedButNotAcrossGaps) {
  // 36 000 ft, 0.1 degree north a minute; then 400 s of nothing.
  std::string lines = "time_s,address,latitude,longitude,altitude_ft\n";
  for (const char* fix : {"7260,4b1617,52.2,19.4,36000", "7320,4b1617,52.3,19.4,36000",
                          "7720,4b1617,52.9,19.4,36000", "7780,4b1617,53.0,19.4,36000"})
    lines += std::string(fix) + "\n";
  const double start = Scenario().start_s;  // stands for 7200 s, the first whole hour
  int n = 0;
  const auto truth = fly(lines, [&](std::size_t, const Report& r) {
    const double t = r.time_s - start;
    EXPECT_TRUE((t >= 60 && t <= 120) || (t >= 520 && t <= 580)) << t;
    const double latitude = t < 200 ? 52.2 + (t - 60) / 600 : 52.9 + (t - 520) / 600;
    EXPECT_NEAR(r.latitude_deg, latitude, 2e-5);
    // 400 s on, a recorder would take the file's gap for silence: another address.
    EXPECT_EQ(r.address == 0x4b1617U, t < 200);
    ++n;
    return true;
  });
  ASSERT_TRUE(truth) << truth.error().line();
  EXPECT_NEAR(n, 240, 4);  // two minutes, two a second
}

TEST_F(TrafficFile, BadLineIsNamed) {
  const auto ignore = [](std::size_t, const Report&) { return true; };
  const auto truth =
      fly("time_s,address,latitude,longitude,altitude_ft\n1,4b1617,52,19,36000\n2,xyz,52,19,3\n",
          ignore);
  ASSERT_FALSE(truth);
  EXPECT_EQ(truth.error().line(),
            file_.string() +
                ":3: not a position; lines must be time_s,address,latitude,longitude,altitude_ft");
  EXPECT_EQ(fly("t,a\n", ignore).error().what, "not a traffic file");
}

}  // namespace
}  // namespace roundel::simulate
