// What a new file looks like, and that files of earlier versions go on being read.
#include "schema/migrate.h"

#include <fmt/format.h>
#include <fmt/ranges.h>
#include <gmock/gmock.h>
#include <unistd.h>

#include <chrono>
#include <future>
#include <thread>

#include "schema/recorder_lock.h"
#include "tests/schema/store_fixture.h"

namespace roundel::schema {
namespace {

TEST(Migrate, MarksANewFileAsOurs) {
  Folder folder;
  must(Store::open(folder / "roundel.db", Store::Access::write));
  Client client(folder / "roundel.db");
  EXPECT_EQ(client.one("PRAGMA application_id"), "1382966380") << "\"Rndl\", 0x526e646c";
  EXPECT_EQ(client.one("PRAGMA user_version"), std::to_string(migrations().size()));
  EXPECT_EQ(client.one("PRAGMA journal_mode"), "wal");
  EXPECT_EQ(client.one("PRAGMA integrity_check"), "ok");
  EXPECT_EQ(client.one("SELECT count(*) FROM pragma_table_list WHERE type = 'table' AND NOT strict"
                       " AND name NOT LIKE 'sqlite_%'"),
            "0");
}

TEST(Migrate, NumbersItsStepsFromOneWithoutAGap) {
  int expected = 0;
  for (const Migration& step : migrations()) EXPECT_EQ(step.number, ++expected) << step.name;
  EXPECT_GE(expected, 1);
}

TEST(Migrate, IsDoneOnceWhenTwoCreateTheSameFile) {
  for (int round = 0; round < 20; ++round) {
    Folder folder;
    const auto file = folder / "roundel.db";
    std::vector<std::thread> threads;
    std::vector<std::string> lines(4);
    for (std::string& line : lines)
      threads.emplace_back([&] {
        const auto opened = Store::open(file, Store::Access::write);
        if (!opened) line = opened.error().line();
      });
    for (auto& thread : threads) thread.join();
    for (const std::string& line : lines) EXPECT_EQ(line, "");
    EXPECT_EQ(Client(file).one("PRAGMA integrity_check"), "ok");
  }
}

// SQLite itself does not wait for a writer there: two that made a new file met like this.
TEST(Migrate, WaitsForAWriterBeforeItChangesTheJournalMode) {
  Folder folder;
  const auto file = folder / "roundel.db";
  must(Store::open(file, Store::Access::write));
  Client other(file);
  other.rows("PRAGMA journal_mode = DELETE");
  other.rows("BEGIN IMMEDIATE");
  const Database database = must(Database::open(file, Database::Mode::write));
  auto changing =
      std::async(std::launch::async, [&] { return must(database.use_write_ahead_log()); });
  // However long this takes: if it ends, then in failure.
  changing.wait_for(std::chrono::milliseconds(200));
  other.rows("ROLLBACK");
  EXPECT_TRUE(changing.get());
  EXPECT_EQ(Client(file).one("PRAGMA journal_mode"), "wal");
}

class OlderFile : public testing::Test {
 protected:
  void SetUp() override {
    std::filesystem::copy_file(std::filesystem::path(ROUNDEL_SCHEMA_TESTS_DIR) / "version1.db",
                               file_);
  }
  /// As version 2 left it: an hour that is summarised, and one that lost its cells.
  void bring_to_2() {
    Client client(file_);
    client.rows(migrations()[1].sql);
    client.rows(
        "PRAGMA user_version = 2;"
        "INSERT INTO summary (id, cells, silent_cells, heard, expected, is_stale, cells_gone,"
        " detail) VALUES (492312 * 16777216 + 1, 9, 1, 99, 180, 0, 1, x'01'),"
        " (492311 * 16777216 + 1, 8, 0, 88, 160, 0, 1, x'02');"
        "INSERT INTO summary (id, cells, silent_cells, heard, expected, is_stale, cells_gone,"
        " detail) SELECT 492312 * 16777216 + 2, 1, 1, 1, 1, 0, 0, x'03';"
        "UPDATE summarised SET before_hour = 492313, method = 1");
  }
  /// All that is concluded from.
  static std::vector<std::string> everything(const Store& store) {
    std::vector<std::string> out;
    const auto add = [&](const auto&... values) {
      out.push_back(
          fmt::format("{}", fmt::join(std::vector<double>{static_cast<double>(values)...}, " ")));
    };
    for (const Cell& cell : cells_of(store)) add(cell.window, cell.flight, cell.heard);
    const Totals totals = must(store.totals());
    add(totals.cells, totals.silent_cells, totals.summarised_cells, totals.flights,
        totals.aircraft);
    for (const Hour& hour : must(store.hours({})))
      add(hour.hour_s, hour.cells, hour.heard, hour.expected);
    for (const SummaryPart part : {SummaryPart::places, SummaryPart::flights})
      must(store.each_summary({}, false, part, [&](Summary&& summary) {
        add(summary.hour_s, summary.trial, summary.cells, summary.cells_gone);
        out.push_back(summary.detail.places + "/" + summary.detail.flights);
        return true;
      }));
    const SummaryState state = must(store.summary_state());
    add(state.before_s);
    for (const auto& stale : state.stale) add(stale.hour_s, stale.trial);
    return out;
  }

  Folder folder_;
  std::filesystem::path file_ = folder_ / "older.db";
};

TEST_F(OlderFile, IsReadAsItWillBeWhenItIsUpToDateAndIsNotChanged) {
  for (const char* version : {"1", "2"}) {
    SCOPED_TRACE(version);
    if (*version == '2') bring_to_2();
    const std::string before = bytes_of(file_);
    std::vector<std::string> read;
    {
      const Store store = must(Store::open(file_, Store::Access::read));
      read = everything(store);
      EXPECT_EQ(everything(must(store.reopened())), read);
    }
    EXPECT_GT(read.size(), 300u);
    EXPECT_EQ(bytes_of(file_), before);
    EXPECT_FALSE(std::filesystem::exists(file_.string() + "-recorder"));
    EXPECT_EQ(Client(file_).one("PRAGMA user_version"), version);
    const auto newer = folder_ / "newer.db";
    std::filesystem::copy_file(file_, newer, std::filesystem::copy_options::overwrite_existing);
    EXPECT_EQ(everything(must(Store::open(newer, Store::Access::write))), read);
  }
}

TEST_F(OlderFile, IsNotChangedUnderAnOlderRecorder) {
  const std::string before = bytes_of(file_);
  {
    const auto recorder = RecorderLock::take(file_);
    const auto opened = Store::open(file_, Store::Access::write);
    ASSERT_FALSE(opened);
    EXPECT_EQ(opened.error().code, Errc::busy);
    EXPECT_EQ(opened.error().line(),
              file_.string() +
                  ": written by an older Roundel (schema 1, this one writes 3), and "
                  "another process (process " +
                  std::to_string(getpid()) +
                  ") is recording into it; "
                  "start that one again, as the version installed now");
    EXPECT_EQ(bytes_of(file_), before);
    EXPECT_TRUE(Store::open(file_, Store::Access::read)) << "reading needs no one's leave";
  }
  must(Store::open(file_, Store::Access::write));
  EXPECT_EQ(Client(file_).one("PRAGMA user_version"), "3");
}

// A released step is never edited: what it made then, it makes now.
TEST(Migrate, ReadsAFileOfVersion1) {
  Folder folder;
  const auto file = folder / "version1.db", fresh = folder / "fresh.db";
  std::filesystem::copy_file(std::filesystem::path(ROUNDEL_SCHEMA_TESTS_DIR) / "version1.db", file);
  ASSERT_EQ(Client(file).one("PRAGMA user_version"), "1");
  {
    const Store store = must(Store::open(file, Store::Access::read));
    const auto site = must(store.site());
    ASSERT_TRUE(site);
    EXPECT_EQ(site->name, "Hill house");
    EXPECT_EQ(site->antenna_m, 12);
    const auto trials = must(store.trials());
    ASSERT_EQ(trials.size(), 2u);
    EXPECT_EQ(trials[0].antenna, "collinear");
    EXPECT_EQ(trials[0].stop_s, 1772326800);
    EXPECT_EQ(trials[1].antenna, "spider");
    EXPECT_EQ(trials[1].rotation_deg, 90);
    EXPECT_EQ(must(store.notes()).at(0).text, "swapped in the rain");
    const auto flights = must(store.flights({}));
    ASSERT_EQ(flights.size(), 2u);
    EXPECT_EQ(flights[0].address, 0x4b1617u);
    EXPECT_FALSE(flights[1].last_window);
    const auto cells = cells_of(store);
    ASSERT_EQ(cells.size(), 300u);
    EXPECT_EQ(cells[0].window, 177232320);
    EXPECT_EQ(cells[0].flight, 1);
    EXPECT_EQ(cells[0].heard, 1);
    EXPECT_DOUBLE_EQ(cells[0].latitude_deg, 52.3125);
    EXPECT_DOUBLE_EQ(cells[0].longitude_deg, -19.8125);
    EXPECT_EQ(cells[0].altitude_ft, 36000);
    EXPECT_EQ(cells[0].signal_dbfs, -21.5);
    EXPECT_EQ(cells[299].heard, 0);
    EXPECT_FALSE(cells[299].signal_dbfs);
    EXPECT_EQ(must(store.tally(1)).at("received"), 3300);
    EXPECT_EQ(must(store.coverage(1)).at(0).to_s, 1772329800);
    EXPECT_EQ(must(store.clock(1))->arrival_s, 1772329801.5);
  }
  must(Store::open(file, Store::Access::write));
  must(Store::open(fresh, Store::Access::write));
  const char* const schema = "SELECT type, name, sql FROM sqlite_schema ORDER BY type, name";
  EXPECT_EQ(Client(file).rows(schema), Client(fresh).rows(schema));
}

// The README's worked example, by another client.
TEST(Migrate, ViewsSpeakPlainUnits) {
  Folder folder;
  const auto file = folder / "version1.db";
  std::filesystem::copy_file(std::filesystem::path(ROUNDEL_SCHEMA_TESTS_DIR) / "version1.db", file);
  Client client(file);
  EXPECT_EQ(client.one("SELECT id, heard, expected, latitude_e4, longitude_e4, altitude_25ft,"
                       " signal_half_db, uncertainty_hm FROM cell ORDER BY id LIMIT 1"),
            "2973464914821121|1|20|523125|-198125|1440|-43|0");
  EXPECT_EQ(client.one("SELECT * FROM cells ORDER BY time, flight LIMIT 1"),
            "2026-03-01T00:00:00Z|1|roof|collinear|rx1|gable|1|4b1617|1|20|52.3125|-19.8125|36000|"
            "-21.5|0.0");
  EXPECT_EQ(client.one("SELECT count(*) FROM cells"), "300") << "both tables";
  EXPECT_EQ(client.rows("SELECT * FROM trials ORDER BY trial"),
            (std::vector<std::string>{
                "1|roof|collinear|rx1|gable|0.0|2026-03-01T00:00:00Z|2026-03-01T01:00:00Z|",
                "2|roof|spider|rx1|gable|90.0|2026-03-01T01:00:00Z|NULL|turned east"}));
}

}  // namespace
}  // namespace roundel::schema
