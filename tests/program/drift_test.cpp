// roundel drift, as a person or a timer runs it.
#include <gmock/gmock.h>

#include <nlohmann/json.hpp>

#include "tests/program/run_program.h"
#include "tests/program/simulated_store.h"

namespace roundel {
namespace {

using nlohmann::json;
using testing::HasSubstr;

simulate::Scenario loss_of_5_db() {
  simulate::Scenario s;
  s.hours = 30;
  s.traffic.mean_aircraft = 12;
  s.antenna("collinear");
  s.steps.push_back({15, -5});
  return s;
}

class DriftProgram : public testing::Test {
 protected:
  Ran drift(std::vector<std::string> words) {
    words.insert(words.begin(), {"drift", file_.string()});
    return run_program(ROUNDEL_BINARY_DIR "/analysis/program/roundel", words, folder_ / ".");
  }
  schema::Folder folder_;
  std::filesystem::path file_ = folder_ / "roundel.db";
};

TEST_F(DriftProgram, TellsWhenSensitivityFellAndWarnsATimer) {
  store_simulated(loss_of_5_db(), file_);
  {
    auto store = schema::must(schema::Store::open(file_, schema::Store::Access::write));
    schema::must(store.add_note({0, schema::day_s + 15 * 3600, {}, "rain set in"}));
  }
  const Ran text = drift({});
  EXPECT_EQ(text.code, 0) << text.err;
  EXPECT_THAT(text.out,
              testing::ContainsRegex("^Sensitivity fell by [456]\\.[0-9] dB \\([0-9.]+ to "
                                     "[0-9.]+\\) about 2026-03-01T1[3-7]:"));
  EXPECT_THAT(text.out, HasSubstr("so it is the antenna, its feeder or the receiver"));
  EXPECT_THAT(text.out, HasSubstr("Noted 2026-03-01T15:00:00Z: rain set in"));
  EXPECT_EQ(drift({"--alert-db", "3"}).code, 3);
  const Ran calm = drift({"--alert-db", "8", "--json"});
  EXPECT_EQ(calm.code, 0);
  const json out = json::parse(calm.out);
  ASSERT_EQ(out["changes"].size(), 1U);
  EXPECT_EQ(out["changes"][0]["bearings"], "all");
  EXPECT_EQ(out["changes"][0]["kind"], "loss");
  EXPECT_EQ(out["days"].size(), 2U);
  EXPECT_EQ(out["days"][0]["date"], "2026-03-01");
  EXPECT_GT(out["days"][0]["index_db"], out["days"][1]["index_db"]);
}

// Summaries round a little: what is said is the same within a small part of its interval.
TEST_F(DriftProgram, SaysTheSameFromSummaries) {
  store_summarised(loss_of_5_db(), file_);
  const json cells = json::parse(drift({"--json"}).out);
  const json summed = json::parse(drift({"--json", "--summaries"}).out);
  ASSERT_EQ(summed["changes"].size(), 1U);
  const json &one = cells["changes"][0], &other = summed["changes"][0];
  EXPECT_NEAR(other["step_db"].get<double>(), one["step_db"].get<double>(), 0.05);
  EXPECT_NEAR(other["low_db"].get<double>(), one["low_db"].get<double>(), 0.05);
  EXPECT_EQ(other["time"], one["time"]);
  EXPECT_EQ(other["bearings"], one["bearings"]);
  ASSERT_EQ(summed["days"].size(), cells["days"].size());
  for (std::size_t i = 0; i < cells["days"].size(); ++i) {
    const json &day = cells["days"][i], &same = summed["days"][i];
    EXPECT_NEAR(same["index_db"].get<double>(), day["index_db"].get<double>(), 0.05);
    EXPECT_NEAR(same["high_db"].get<double>(), day["high_db"].get<double>(), 0.05);
    EXPECT_NEAR(same["flights"].get<double>(), day["flights"].get<double>(), 2);
  }
}

TEST_F(DriftProgram, RefusesInOneLine) {
  {
    auto store = schema::must(schema::Store::open(file_, schema::Store::Access::write));
    schema::must(store.set_site({"Hill house", 52.1, 19.4, 110, 12, 110}));
    auto first = schema::trial_on("roof", "collinear", schema::day_s);
    schema::must(store.start_trial(first));
    schema::must(store.start_trial(schema::trial_on("roof", "spider", schema::day_s + 3600)));
  }
  const Ran two = drift({});
  EXPECT_EQ(two.code, 2);
  EXPECT_EQ(two.err,
            "roundel: trials 1 and 2: the selection holds different arrangements, whose difference "
            "is no drift; choose one with --antenna, --receiver, --mount or --trial\n");
  const Ran silent = drift({"--antenna", "collinear"});
  EXPECT_EQ(silent.code, 1);
  EXPECT_THAT(silent.err, HasSubstr("nothing was heard in the trials selected"));
  EXPECT_EQ(drift({"--alert-db", "0"}).code, 2);
  EXPECT_EQ(drift({"--antenna", "discone"}).code, 1);
}

}  // namespace
}  // namespace roundel
