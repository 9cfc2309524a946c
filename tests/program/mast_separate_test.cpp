// roundel mast and roundel separate, as a person runs them.
#include <gmock/gmock.h>

#include <nlohmann/json.hpp>

#include "tests/program/run_program.h"
#include "tests/program/simulated_store.h"

namespace roundel {
namespace {

using nlohmann::json;
using testing::HasSubstr;
using testing::StartsWith;

class PartsProgram : public testing::Test {
 protected:
  Ran roundel(const std::vector<std::string>& words) {
    return run_program(ROUNDEL_BINARY_DIR "/analysis/program/roundel", words, folder_ / ".");
  }
  schema::Folder folder_;
  std::filesystem::path file_ = folder_ / "roundel.db";
};

// mast_cases.csv, P05: 6.6 dB at 275 mm for a mast of 50 mm diameter.
TEST_F(PartsProgram, MastPlansWithoutADatabase) {
  const Ran one = roundel({"mast", "--radius-mm", "25", "--spacing-mm", "275"});
  EXPECT_EQ(one.code, 0) << one.err;
  EXPECT_THAT(one.out, StartsWith("A mast of 25 mm radius at 275 mm makes 6.6 dB of ripple"));
  const json table = json::parse(roundel({"mast", "--radius-mm", "25", "--json"}).out);
  EXPECT_GT(table["spacings"].size(), 8U);
  const Ran neither = roundel({"mast"});
  EXPECT_EQ(neither.code, 2);
  EXPECT_EQ(neither.err,
            "roundel: mast takes either a database or a radius; give DB to fit one to what was "
            "heard, or --radius-mm to plan\n");
}

TEST_F(PartsProgram, MastIsFittedToWhatWasHeard) {
  simulate::Scenario s;
  s.start_s += 8 * 3600;
  s.hours = 4;
  s.antenna("collinear").mast(25, 138, 200);
  store_simulated(s, file_);
  const Ran text = roundel({"mast", file_.string()});
  EXPECT_EQ(text.code, 0) << text.err;
  EXPECT_THAT(text.out, StartsWith("A mast explains the pattern: a mast of "));
  const json out = json::parse(roundel({"mast", file_.string(), "--json"}).out);
  EXPECT_EQ(out["plausible"], true);
  EXPECT_NEAR(out["spacing_mm"]["value"].get<double>(), 138, 14);
  EXPECT_NEAR(out["bearing_deg"]["value"].get<double>(), 200, 5);
  EXPECT_EQ(out["pattern"].size(), 72U);
  EXPECT_EQ(roundel({"mast", file_.string(), "--antenna", "discone"}).code, 1);
}

TEST_F(PartsProgram, SeparateTellsWhatTurnsWithTheAntenna) {
  simulate::Scenario s;
  s.start_s += 8 * 3600;
  s.hours = 6;
  s.antenna("collinear").harmonic(1, 3, 70);
  s.mount("gable").harmonic(1, 2, 200);
  s.trial({"roof", "collinear", "", "gable", 0, 0, 3});
  s.trial({"roof", "collinear", "", "gable", 90, 3, 6});
  store_simulated(s, file_);
  const Ran text = roundel({"separate", file_.string()});
  EXPECT_EQ(text.code, 0) << text.err;
  EXPECT_THAT(text.out, StartsWith("Told apart: antenna collinear: order 1 of "));
  EXPECT_THAT(text.out, HasSubstr("\nNot told apart: Order 4 of antenna collinear"));
  const json out = json::parse(roundel({"separate", file_.string(), "--json"}).out);
  const json first = out["antennas"][0]["harmonics"][0];
  EXPECT_EQ(first["identified"], true);
  EXPECT_NEAR(first["amplitude_db"].get<double>(), 3, 0.8);
  EXPECT_NEAR(first["phase_deg"].get<double>(), 70, 15);
  EXPECT_EQ(out["antennas"][0]["harmonics"][3]["amplitude_db"], nullptr);
  EXPECT_NEAR(out["mounts"][0]["harmonics"][0]["phase_deg"].get<double>(), 200, 20);
  EXPECT_EQ(out["antennas"][0]["pattern"].size(), 72U);

  // With one of the two it says so, and what to do.
  const Ran one = roundel({"separate", file_.string(), "--trial", "1"});
  EXPECT_EQ(one.code, 0) << one.err;
  EXPECT_THAT(one.out, StartsWith("Nothing is told apart by these trials.\n"));
  EXPECT_THAT(one.out, HasSubstr("The trial that would help most: antenna collinear turned to "));
  const Ran none = roundel({"separate", file_.string(), "--from", "2027-01-01"});
  EXPECT_EQ(none.code, 1);
  EXPECT_THAT(none.err, HasSubstr("nothing was heard in the trials selected"));
}

}  // namespace
}  // namespace roundel
