// What a new file looks like, and that files of earlier versions go on being read.
#include "schema/migrate.h"

#include <gmock/gmock.h>

#include <thread>

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
  for (int round = 0; round < 5; ++round) {
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
