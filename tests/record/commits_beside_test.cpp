// What is committed together, and what beside recording on: a thread of its own writes
// what committing in turn writes, and tells what fails.
#include <gtest/gtest.h>

#include <optional>
#include <string>
#include <vector>

#include "daemon/record/recording.h"
#include "tests/record/roof_feed.h"
#include "tests/record/scene.h"
#include "tests/schema/store_fixture.h"

namespace roundel::record {
namespace {

using Rows = std::vector<std::string>;

class CommitsBeside : public testing::Test {
 protected:
  Recording open(const char* name, bool beside, bool is_file) {
    auto recording = schema::must(Recording::open({.store = folder_ / name,
                                                   .site = {"Hill house", 52.1, 19.4, 14, 8, 14},
                                                   .rules = {},
                                                   .is_file = is_file,
                                                   .commits_beside = beside,
                                                   .log = [](Level, std::string_view) {}}));
    schema::must(recording.add_feed(roof_feed()));
    return recording;
  }
  /// Reports of three aircraft from `from_s` after t0_s for `seconds`; one is silent at times.
  static feed::Intake reports(int from_s, int seconds) {
    feed::Intake intake;
    for (int s = from_s; s < from_s + seconds; ++s)
      for (int i = 0; i < 3; ++i) {
        if (i == 2 && s % 1200 > 700) continue;
        Plane plane;
        plane.address += static_cast<std::uint32_t>(i);
        plane.latitude_deg += 0.3 * i;
        plane.east_km_s = 0.01 * (i + 1);
        const feed::Report report = plane.at(t0_s + s + 0.2 * i);
        intake.reports.push_back({report, *report.time_s});
      }
    return intake;
  }
  Rows rows(const char* name) {
    schema::Client client(folder_ / name);
    Rows out;
    for (const char* sql :
         {"SELECT * FROM cell ORDER BY id", "SELECT * FROM recent_cell",
          "SELECT * FROM flight ORDER BY id", "SELECT * FROM trial ORDER BY id",
          "SELECT * FROM coverage ORDER BY 1, 2", "SELECT * FROM tally ORDER BY 1, 2, 3",
          "SELECT id, cells, heard, hex(detail) FROM summary ORDER BY id"}) {
      const Rows more = client.rows(sql);
      out.insert(out.end(), more.begin(), more.end());
    }
    return out;
  }
  schema::Folder folder_;
};

TEST_F(CommitsBeside, WriteTheSameRows) {
  for (const bool beside : {false, true}) {
    Recording recording = open(beside ? "beside.db" : "in_turn.db", beside, true);
    for (int at_s = 0; at_s < 3 * 3600; at_s += 100) {
      feed::Intake intake = reports(at_s, 100);
      // Long enough that flights end.
      if (at_s >= 3600 && at_s < 3600 + 2400) continue;
      schema::must(recording.take_in("roof", intake));
      if (at_s % 300 == 0 || recording.is_commit_due()) schema::must(recording.commit());
    }
    schema::must(recording.close());
  }
  const Rows in_turn = rows("in_turn.db");
  EXPECT_GT(in_turn.size(), 2000U);
  EXPECT_EQ(rows("beside.db"), in_turn);
}

TEST_F(CommitsBeside, TellAFailureLaterAndLoseNothing) {
  Recording recording = open("roundel.db", true, false);
  feed::Intake first = reports(0, 300), second = reports(300, 300);
  schema::must(recording.take_in("roof", first));
  {
    schema::Client holder(folder_ / "roundel.db");
    holder.rows("BEGIN IMMEDIATE");
    EXPECT_TRUE(recording.commit()) << "it has only begun";
    schema::must(recording.take_in("roof", second));
    EXPECT_TRUE(recording.commit()) << "so does this one";
    const auto closed = recording.close();
    ASSERT_FALSE(closed);
    EXPECT_EQ(closed.error().code, Errc::busy);
  }
  schema::must(recording.close());
  EXPECT_EQ(recording.store().tally(std::nullopt)->at("stored"), 1800);
}

TEST_F(CommitsBeside, AreStoredWhenTheyAreFinished) {
  Recording recording = open("roundel.db", true, true);
  feed::Intake intake = reports(0, 600);
  schema::must(recording.take_in("roof", intake));
  schema::must(recording.commit());
  schema::must(recording.finish_commits());
  schema::Client other(folder_ / "roundel.db");
  EXPECT_EQ(other.one("SELECT count FROM tally WHERE kind = 'stored'"), "1800");
  other.rows("INSERT INTO note (time_s, text) VALUES (1764000000, 'others may write')");
}

// Transactions in the write-ahead log: frames that say how large the database is after them
// (SQLite's file format, section 4.1: 32 bytes, then frames of a 24-byte header and a page).
std::size_t n_transactions(const std::filesystem::path& log) {
  const std::string bytes = schema::bytes_of(log);
  constexpr std::size_t header = 32, frame = 24 + 4096;
  std::size_t n = 0;
  for (std::size_t at = header; at + frame <= bytes.size(); at += frame)
    n += bytes.compare(at + 4, 4, std::string(4, '\0')) != 0;
  return n;
}

// Each would write the same last pages again: 232 MB an hour for four feeds of the same sky.
TEST_F(CommitsBeside, CommitOfAllFeedsIsOneTransaction) {
  Recording recording = open("roundel.db", false, false);
  config::Feed other = roof_feed();
  other.name = "garden";
  other.antenna = "spider";
  schema::must(recording.add_feed(other));
  std::size_t n_before = 0;
  for (int i = 0; i < 3; ++i) {
    for (const char* feed : {"roof", "garden"}) {
      feed::Intake intake = reports(60 * i, 60);
      schema::must(recording.take_in(feed, intake));
    }
    const std::size_t n = n_transactions(folder_ / "roundel.db-wal");
    schema::must(recording.commit());
    const std::size_t n_now = n_transactions(folder_ / "roundel.db-wal");
    EXPECT_EQ(n_now - n, 1U);
    n_before = n_now;
  }
  EXPECT_GT(n_before, 3U);
  EXPECT_EQ(recording.store().tally(std::nullopt)->at("stored"), 2 * 3 * 180);
}

// The thread must not outlive what it writes from.
TEST_F(CommitsBeside, EndWithTheRecording) {
  {
    Recording recording = open("roundel.db", true, true);
    feed::Intake intake = reports(0, 600);
    schema::must(recording.take_in("roof", intake));
    schema::must(recording.commit());
  }
  schema::Client client(folder_ / "roundel.db");
  EXPECT_EQ(client.one("SELECT count(*) FROM tally"), "0");
  EXPECT_EQ(client.one("PRAGMA integrity_check"), "ok");
}

}  // namespace
}  // namespace roundel::record
