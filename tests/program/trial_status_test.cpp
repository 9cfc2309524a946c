// roundel trial and roundel status, on the small database that tests/schema keeps.
#include <gmock/gmock.h>

#include <ctime>
#include <nlohmann/json.hpp>

#include "roundel/pattern/summary.h"
#include "roundel/time.h"
#include "tests/program/run_program.h"
#include "tests/schema/store_fixture.h"

namespace roundel {
namespace {

using schema::must;
using testing::EndsWith;
using testing::HasSubstr;

class ProgramTest : public testing::Test {
 protected:
  ProgramTest() {
    std::filesystem::copy_file(std::filesystem::path(ROUNDEL_SCHEMA_TESTS_DIR) / "version1.db",
                               file_);
  }
  Ran roundel(const std::vector<std::string>& words) {
    return run_program(ROUNDEL_BINARY_DIR "/analysis/program/roundel", words, folder_ / ".");
  }
  Ran trial(const std::vector<std::string>& words) {
    std::vector<std::string> all{"trial", file_.string()};
    all.insert(all.end(), words.begin(), words.end());
    return run_program(ROUNDEL_BINARY_DIR "/analysis/program/roundel", all, folder_ / ".");
  }
  // The file is as after a kill: flight 2 goes on.
  void end_flights() {
    schema::Client(file_).rows("UPDATE flight SET last_window = 177232979 WHERE id = 2");
  }
  schema::Folder folder_;
  std::filesystem::path file_ = folder_ / "roundel.db";
};

TEST_F(ProgramTest, StatusSaysWhatIsStoredInASentenceAndATable) {
  const Ran ran = roundel({"status", file_.string()});
  EXPECT_EQ(ran.code, 0);
  EXPECT_EQ(ran.err, "");
  EXPECT_EQ(ran.out,
            file_.string() +
                " holds 300 cells (1 silent) in 2 flights of 2 aircraft, 2026-03-01T00:00:00Z to "
                "2026-03-01T01:50:00Z, in 115 kB.\n"
                "\n"
                "feed  received  stored  repeats  rejected  recorded  since                 clock "
                "        trial\n"
                "roof     3 300   3 200      100         0   110 min  2026-03-01T00:00:00Z  1.5 s "
                "behind  2: spider on gable at 90 deg, rx1\n");
}

TEST_F(ProgramTest, StatusCountsRejectsByReasonAndFeed) {
  {
    auto store = must(schema::Store::open(file_, schema::Store::Access::record));
    schema::Batch batch;
    batch.feed = must(store.feed_id("barn"));
    batch.tally = {{"received", 1500}, {"stored", 200}, {"stale", 1200}, {"speed", 100}};
    must(store.commit(batch));
  }
  const Ran text = roundel({"status", file_.string()});
  EXPECT_THAT(text.out, EndsWith("\n"
                                 "rejected  roof   barn\n"
                                 "speed        0    100\n"
                                 "stale        0  1 200\n"));
  const Ran ran = roundel({"status", file_.string(), "--json"});
  const auto json = nlohmann::json::parse(ran.out);
  EXPECT_EQ(json["reports"]["received"], 4800);
  EXPECT_EQ(json["reports"]["stored"], 3400);
  EXPECT_EQ(json["reports"]["repeats"], 100);
  EXPECT_EQ(json["reports"]["rejected"], (nlohmann::json{{"stale", 1200}, {"speed", 100}}));
  EXPECT_EQ(json["cells"], 300);
  EXPECT_EQ(json["silent_cells"], 1);
  EXPECT_EQ(json["flights"], 2);
  EXPECT_EQ(json["aircraft"], 2);
  EXPECT_EQ(json["from"], "2026-03-01T00:00:00Z");
  EXPECT_EQ(json["to"], "2026-03-01T01:50:00Z");
  EXPECT_GT(json["bytes"], 10000);
  ASSERT_EQ(json["feeds"].size(), 2u);
  EXPECT_EQ(json["feeds"][0]["name"], "roof");
  EXPECT_EQ(json["feeds"][0]["clock"]["offset_s"], -1.5);
  EXPECT_EQ(json["feeds"][0]["trial"], 2);
  EXPECT_EQ(json["feeds"][0]["recorded_s"], 6600);
  EXPECT_EQ(json["feeds"][1]["name"], "barn");
  EXPECT_TRUE(json["feeds"][1]["clock"].is_null());
  EXPECT_TRUE(json["feeds"][1]["trial"].is_null());
  EXPECT_EQ(json["feeds"][1]["reports"]["rejected"]["stale"], 1200);
}

TEST_F(ProgramTest, StatusVerifyNamesTheHoursWhoseSummariesDiffer) {
  {
    auto store = must(schema::Store::open(file_, schema::Store::Access::record));
    must(store.keep_summaries(must(pattern::make_summariser(*must(store.site())))));
    EXPECT_FALSE(must(store.summarise(100)));
  }
  const Ran right = roundel({"status", file_.string(), "--verify"});
  EXPECT_EQ(right.out, file_.string() +
                           ": summaries agree with their cells; hours compared: 1, waiting to be "
                           "made anew: 0, without cells: 0\n");
  EXPECT_EQ(right.code, 0);
  schema::Client(file_).rows("UPDATE summary SET cells = cells + 1");
  const Ran wrong = roundel({"status", file_.string(), "--verify"});
  EXPECT_EQ(wrong.out, file_.string() +
                           ": summaries differ from their cells in these hours; hours compared: "
                           "1, waiting to be made anew: 0, without cells: 0\n"
                           "2026-03-01T00:00:00Z\n");
  EXPECT_EQ(wrong.code, 1);
}

TEST_F(ProgramTest, StatusOfAnEmptyStoreSaysSo) {
  const auto file = folder_ / "empty.db";
  must(schema::Store::open(file, schema::Store::Access::write));
  const Ran ran = roundel({"status", file.string()});
  EXPECT_EQ(ran.out, file.string() + " holds no cells yet (0 reports received).\n");
  const auto json = nlohmann::json::parse(roundel({"status", file.string(), "--json"}).out);
  EXPECT_TRUE(json["from"].is_null());
  EXPECT_EQ(json["reports"]["rejected"], nlohmann::json::object());
}

TEST_F(ProgramTest, StatusOfNoFileFailsWithOneLine) {
  const auto file = (folder_ / "absent.db").string();
  const Ran ran = roundel({"status", file});
  EXPECT_EQ(ran.code, 1);
  EXPECT_EQ(ran.out, "");
  EXPECT_EQ(ran.err, "roundel: " + file + ": no such database; check the path\n");
}

TEST_F(ProgramTest, TrialListShowsTrialsAndNotes) {
  EXPECT_EQ(trial({"list"}).out,
            "trial  feed  antenna    receiver  mount  rotation  start                 stop         "
            "         note\n"
            "    1  roof  collinear  rx1       gable     0 deg  2026-03-01T00:00:00Z  "
            "2026-03-01T01:00:00Z\n"
            "    2  roof  spider     rx1       gable    90 deg  2026-03-01T01:00:00Z  running      "
            "         turned east\n"
            "\n"
            "time                  trial  note\n"
            "2026-03-01T01:00:00Z      2  swapped in the rain\n");
  const auto json = nlohmann::json::parse(trial({"list", "--json"}).out);
  ASSERT_EQ(json["trials"].size(), 2u);
  EXPECT_EQ(json["trials"][0]["stop"], "2026-03-01T01:00:00Z");
  EXPECT_EQ(json["trials"][1]["antenna"], "spider");
  EXPECT_EQ(json["trials"][1]["rotation_deg"], 90);
  EXPECT_TRUE(json["trials"][1]["stop"].is_null());
  EXPECT_EQ(json["notes"][0]["text"], "swapped in the rain");
}

TEST_F(ProgramTest, TrialStartChangesOnlyWhatIsSaid) {
  const Ran ran = trial(
      {"start", "--mount", "mast", "--new", "--at", "2026-03-01T02:00:00Z", "--note", "higher"});
  EXPECT_EQ(ran.err, "");
  EXPECT_EQ(ran.out,
            "Trial 3 runs on feed roof from 2026-03-01T02:00:00Z: spider on mast at 90 deg, "
            "receiver rx1.\n"
            "Trial 2 ends there.\n");
  const auto json = nlohmann::json::parse(
      trial({"start", "--rotation-deg", "180", "--at", "2026-03-01T03:00:00Z", "--json"}).out);
  EXPECT_EQ(json["id"], 4);
  EXPECT_EQ(json["mount"], "mast");
  EXPECT_EQ(json["rotation_deg"], 180);
  EXPECT_EQ(json["note"], "") << "a note is of its own trial";
}

// Flight 2 has a cell every 10 s from 01:25:00 to 01:50:00.
TEST_F(ProgramTest, TrialStartInHindsightTakesTheCellsOfItsTime) {
  end_flights();
  const Ran ran = trial({"start", "--antenna", "collinear", "--at", "2026-03-01T01:40:00Z"});
  EXPECT_EQ(ran.out,
            "Trial 3 runs on feed roof from 2026-03-01T01:40:00Z: collinear on gable at 90 deg, "
            "receiver rx1.\n"
            "Trial 2 ends there.\n"
            "60 cells went to the trial of their time.\n");
}

TEST_F(ProgramTest, TrialSplitUndoChangeAndRenameSayWhatIsNow) {
  end_flights();
  EXPECT_EQ(trial({"split", "2", "--at", "2026-03-01T01:40:00Z", "--antenna", "collinear"}).out,
            "Trial 2 ends at 2026-03-01T01:40:00Z. Trial 3 is from 2026-03-01T01:40:00Z to now: "
            "collinear on gable at 90 deg, receiver rx1.\n"
            "60 cells went to the trial of their time.\n");
  EXPECT_EQ(trial({"undo", "3"}).out,
            "Trial 3 is taken back. Trial 2 is from 2026-03-01T01:00:00Z to now: spider on gable "
            "at 90 deg, receiver rx1.\n");
  EXPECT_EQ(trial({"change", "2", "--rotation-deg", "45", "--to", "2026-03-01T01:45:00Z"}).out,
            "Trial 2 is from 2026-03-01T01:00:00Z to 2026-03-01T01:45:00Z: spider on gable at 45 "
            "deg, receiver rx1.\n");
  EXPECT_EQ(trial({"rename", "antenna", "spider", "quadspider"}).out,
            "The antenna spider is called quadspider in all trials. Where roundel.toml has the old "
            "name, change it there as well.\n");
  EXPECT_THAT(trial({"list"}).out, HasSubstr("quadspider"));
}

TEST_F(ProgramTest, TrialLeavesTheCellsToARecorderThatRuns) {
  const auto recorder = must(schema::Store::open(file_, schema::Store::Access::record));
  const Ran ran = trial({"start", "--antenna", "collinear", "--at", "2026-03-01T01:40:00Z"});
  EXPECT_EQ(ran.code, 0);
  EXPECT_THAT(ran.out, HasSubstr("roundeld is recording: it gives the cells to the trial of their "
                                 "time"));
}

TEST_F(ProgramTest, StatusWarnsOfWhatAFeedIsLike) {
  {
    auto store = must(schema::Store::open(file_, schema::Store::Access::record));
    schema::Batch batch;
    batch.feed = must(store.feed_id("roof"));
    batch.clock = {must(parse_time("2026-03-01T03:00:00Z")),
                   must(parse_time("2026-03-01T02:00:00Z"))};
    batch.traits = {0, 0.001, 0.4};
    must(store.commit(batch));
  }
  EXPECT_THAT(
      roundel({"status", file_.string()}).out,
      EndsWith(
          "\n"
          "Feed roof: its clock is 60 min ahead of this computer's. Set the one that is wrong, "
          "or write clock = \"arrival\" under its [[feed]].\n"
          "\n"
          "Feed roof: positions have 3 decimals (steps of 111 m). New positions of slow "
          "aircraft are told from repeats by their speed. Let the receiver print five "
          "decimals.\n"
          "\n"
          "Feed roof: 40 % of full cells hold more than 25 reports in ten seconds, which no "
          "aircraft sends. The feed prints positions of its own making between those "
          "received, and silence does not show. Let it print received positions alone, or "
          "pick their lines with keep in its layout.\n"));
  const auto json = nlohmann::json::parse(roundel({"status", file_.string(), "--json"}).out);
  EXPECT_EQ(json["feeds"][0]["position_step_deg"], 0.001);
  EXPECT_EQ(json["feeds"][0]["warnings"].size(), 3U);
}

TEST_F(ProgramTest, TrialStartsNowOnTheFeedsOwnClock) {
  const double before_s = static_cast<double>(std::time(nullptr));
  const auto json = nlohmann::json::parse(trial({"start", "--antenna", "collinear", "--json"}).out);
  const double after_s = static_cast<double>(std::time(nullptr));
  const double start_s = must(parse_time(json["start"].get<std::string>()));
  EXPECT_GE(start_s, before_s - 2) << "the feed is 1.5 s behind";
  EXPECT_LE(start_s, after_s - 1);
}

TEST_F(ProgramTest, TrialStopEndsTheRunningOne) {
  EXPECT_EQ(trial({"stop", "--at", "2026-03-01T02:00:00Z"}).out,
            "Trial 2 on feed roof ends at 2026-03-01T02:00:00Z.\n"
            "What was recorded after that is kept, and counts where a trial covers its time.\n");
  const Ran again = trial({"stop", "--at", "2026-03-01T02:00:01Z"});
  EXPECT_EQ(again.code, 1);
  EXPECT_EQ(again.err,
            "roundel: no trial runs on feed \"roof\"; feeds with a running trial: none\n");
}

TEST_F(ProgramTest, TrialNoteGoesToTheTrialOfItsTime) {
  EXPECT_EQ(trial({"note", "it's wet", "--at", "2026-03-01T00:30:00Z"}).out,
            "Noted at 2026-03-01T00:30:00Z for trial 1.\n");
  EXPECT_EQ(trial({"note", "before all", "--at", "2026-02-01"}).out,
            "Noted at 2026-02-01T00:00:00Z.\n");
  EXPECT_THAT(trial({"list"}).out, HasSubstr("2026-03-01T00:30:00Z      1  it's wet\n"));
}

TEST_F(ProgramTest, TrialErrorsNameWhatIsWrong) {
  must(must(schema::Store::open(file_, schema::Store::Access::write)).feed_id("barn"));
  const auto expect = [&](const std::vector<std::string>& words, int code,
                          const std::string& line) {
    const Ran ran = trial(words);
    EXPECT_EQ(ran.code, code) << line;
    EXPECT_EQ(ran.out, "") << line;
    EXPECT_EQ(ran.err, "roundel: " + line + "\n");
  };
  expect({"start", "--antenna", "x"}, 2,
         "--feed: several feeds are known; name one of: roof, barn");
  expect({"start", "--feed", "shed"}, 1,
         "--feed: there is no feed \"shed\"; the database knows: roof, barn");
  expect({"start", "--feed", "barn", "--antenna", "x", "--mount", "y"}, 2,
         "--receiver: feed \"barn\" has no trial yet to take it from; give its name");
  expect({"start", "--feed", "roof", "--antenna", "spidr"}, 2,
         "--antenna: there is no antenna \"spidr\" yet; known are collinear, spider; for a new one "
         "add --new");
  expect({"split", "9", "--at", "2026-03-01"}, 1,
         file_.string() + ": there is no trial 9; see roundel trial list");
  expect({"start", "--feed", "roof", "--rotation-deg", "400"}, 2,
         "rotation 400 deg; give degrees clockwise, from 0 to below 360");
  expect({"stop", "--feed", "roof", "--at", "noon"}, 2,
         "--at: \"noon\" is not a time; write Unix seconds or RFC 3339, like "
         "2026-03-01T12:00:00Z");
  expect({"stop", "--feed", "roof", "--at", "2026-03-01"}, 2,
         "a trial from 2026-03-01T01:00:00Z to 2026-03-01T00:00:00Z ends before it starts; give a "
         "later stop");
  expect({"note", "x", "--trial", "9"}, 1, "there is no trial 9; see roundel trial list");
  const Ran absent = roundel({"trial", (folder_ / "absent.db").string(), "note", "x"});
  EXPECT_EQ(absent.code, 1);
  EXPECT_THAT(absent.err, EndsWith("absent.db: no such database; check the path\n"));
  EXPECT_FALSE(std::filesystem::exists(folder_ / "absent.db"));
}

}  // namespace
}  // namespace roundel
