// Files that are not ours to open, or cannot be read.
#include <gmock/gmock.h>
#include <sys/wait.h>
#include <unistd.h>

#include "tests/schema/store_fixture.h"

namespace roundel::schema {
namespace {

constexpr Store::Access every_access[] = {Store::Access::read, Store::Access::write,
                                          Store::Access::record};

void write(const std::filesystem::path& file, const std::string& bytes) {
  std::ofstream(file, std::ios::binary) << bytes;
}

// Copies a database with its write-ahead log while both are in use, as after a kill.
void copy_unclosed(const std::filesystem::path& from, const std::filesystem::path& to) {
  std::filesystem::copy_file(from, to);
  std::filesystem::copy_file(from.string() + "-wal", to.string() + "-wal");
}

class RefuseTest : public testing::Test {
 protected:
  void expect_refused(const std::filesystem::path& file, Errc code, const std::string& line) {
    const std::string before = bytes_of(file), log_before = bytes_of(file.string() + "-wal");
    for (const auto access : every_access) {
      const auto opened = Store::open(file, access);
      ASSERT_FALSE(opened) << line;
      EXPECT_EQ(opened.error().code, code) << line;
      EXPECT_EQ(opened.error().line(), file.string() + ": " + line);
      EXPECT_EQ(bytes_of(file), before) << line;
      EXPECT_EQ(bytes_of(file.string() + "-wal"), log_before) << line;
      EXPECT_FALSE(std::filesystem::exists(file.string() + "-recorder")) << line;
    }
  }
  Folder folder_;
};

TEST_F(RefuseTest, WhatIsNoDatabaseIsLeftAsItWas) {
  const std::string line =
      "not a Roundel database; give the path of a database that roundeld has made";
  const auto file = folder_ / "notes.txt";
  write(file, "remember the ladder\n");
  expect_refused(file, Errc::not_a_store, line);
  write(file, std::string(5000, 'x'));
  expect_refused(file, Errc::not_a_store, line);
  write(file, "S");
  expect_refused(file, Errc::not_a_store, line);
}

TEST_F(RefuseTest, SomebodyElsesDatabaseIsLeftAsItWas) {
  const std::string line =
      "an SQLite database, but not a Roundel one; give the path of a database that roundeld has "
      "made";
  for (const char* mode : {"DELETE", "WAL"}) {
    const auto file = folder_ / mode;
    {
      Client client(file);
      client.rows(std::string("PRAGMA journal_mode = ") + mode);
      client.rows("CREATE TABLE recipe (name TEXT); INSERT INTO recipe (name) VALUES ('soup')");
    }
    expect_refused(file, Errc::not_a_store, line);
  }
}

TEST_F(RefuseTest, ANewerDatabaseIsLeftAsItWas) {
  const auto file = folder_ / "newer.db", unclosed = folder_ / "unclosed.db";
  must(Store::open(file, Store::Access::write));
  const int known = std::stoi(Client(file).one("PRAGMA user_version"));
  const std::string line = "written by a newer Roundel (schema " + std::to_string(known + 1) +
                           ", this one knows " + std::to_string(known) +
                           "); install the newer version";
  {
    Client client(file);
    client.rows("PRAGMA user_version = " + std::to_string(known + 1));
    // The new number stands in the log only.
    copy_unclosed(file, unclosed);
  }
  expect_refused(file, Errc::newer_schema, line);
  expect_refused(unclosed, Errc::newer_schema, line);
}

TEST_F(RefuseTest, AFolderIsNoDatabase) {
  std::filesystem::create_directory(folder_ / "folder");
  for (const auto access : every_access) {
    const auto opened = Store::open(folder_ / "folder", access);
    ASSERT_FALSE(opened);
    EXPECT_EQ(opened.error().code, Errc::not_a_store);
  }
}

// SQLite keeps what readers share in a file beside the database, and this user may not make it.
TEST_F(RefuseTest, AnotherUserReadsAStoreThatNobodyRecordsInto) {
  const auto folder = folder_ / "theirs #1?";
  std::filesystem::create_directory(folder);
  {
    Store store = must(Store::open(folder / "roundel.db", Store::Access::record));
    must(store.start_trial(trial_on("roof", "collinear", day_s)));
    must(store.compact());
  }
  std::filesystem::remove(folder / "roundel.db-wal");
  std::filesystem::remove(folder / "roundel.db-shm");
  using std::filesystem::perms;
  constexpr auto readable = static_cast<perms>(0555);
  std::filesystem::permissions(folder, readable);
  std::filesystem::permissions(folder.parent_path(), perms::all);
  const pid_t child = ::fork();
  if (child == 0) {
    constexpr uid_t nobody = 65534;
    if (::geteuid() == 0 && ::setuid(nobody) != 0) ::_exit(2);
    const auto store = Store::open(folder / "roundel.db", Store::Access::read);
    ::_exit(store && store->trials() && store->trials()->size() == 1 ? 0 : 1);
  }
  int status = -1;
  ASSERT_EQ(::waitpid(child, &status, 0), child);
  std::filesystem::permissions(folder, perms::owner_all);
  EXPECT_TRUE(WIFEXITED(status));
  EXPECT_EQ(WEXITSTATUS(status), 0);
}

TEST_F(RefuseTest, NothingIsMadeByReading) {
  const auto file = folder_ / "absent.db";
  const auto opened = Store::open(file, Store::Access::read);
  ASSERT_FALSE(opened);
  EXPECT_EQ(opened.error().code, Errc::not_found);
  EXPECT_EQ(opened.error().line(), file.string() + ": no such database; check the path");
  EXPECT_FALSE(std::filesystem::exists(file));
}

TEST_F(RefuseTest, AnEmptyFileIsFilledByAWriterOnly) {
  const auto file = folder_ / "empty.db";
  write(file, "");
  const auto opened = Store::open(file, Store::Access::read);
  ASSERT_FALSE(opened);
  EXPECT_EQ(opened.error().code, Errc::not_a_store);
  EXPECT_TRUE(bytes_of(file).empty());
  EXPECT_TRUE(Store::open(file, Store::Access::write));
  EXPECT_TRUE(Store::open(file, Store::Access::read));
}

TEST_F(RefuseTest, AFolderThatDoesNotExistIsNamed) {
  const auto file = folder_ / "no/such/roundel.db";
  const auto opened = Store::open(file, Store::Access::record);
  ASSERT_FALSE(opened);
  EXPECT_EQ(opened.error().code, Errc::not_found);
  const std::string folder = file.parent_path().string();
  EXPECT_EQ(opened.error().line(), folder +
                                       ": the folder for the database does not exist; make it: "
                                       "mkdir -p \"" +
                                       folder + "\"");
}

TEST_F(RefuseTest, DamageIsReportedAsSuch) {
  const auto file = folder_ / "roundel.db";
  {
    Store store = must(Store::open(file, Store::Access::record));
    Batch batch;
    batch.feed = must(store.feed_id("roof"));
    const Id trial = must(store.start_trial(trial_on("roof", "collinear", day_s))).id;
    batch.flights.push_back(flight_of(1, trial, day_window));
    for (int i = 0; i < 5000; ++i) batch.cells.push_back(cell_at(day_window + i, 1));
    must(store.commit(batch));
  }
  std::string bytes = bytes_of(file);
  const auto root =
      std::stoul(Client(file).one("SELECT rootpage FROM sqlite_schema WHERE name = 'cell'"));
  bytes.replace((root - 1) * 4096, 200, 200, '\x55');
  write(file, bytes);
  const Store store = must(Store::open(file, Store::Access::read));
  const auto visited = store.each_cell({}, [](const Cell&) { return true; });
  ASSERT_FALSE(visited);
  EXPECT_EQ(visited.error().code, Errc::corrupt);
  EXPECT_EQ(visited.error().line(),
            file.string() +
                ": the database is damaged; restore a copy, or save what can be read with "
                "sqlite3's .recover");
}

TEST_F(RefuseTest, ATruncatedFileIsDamagedNotEmpty) {
  const auto file = folder_ / "roundel.db";
  must(Store::open(file, Store::Access::write));
  const std::string bytes = bytes_of(file);
  write(file, bytes.substr(0, 4096 * 3));
  const auto opened = Store::open(file, Store::Access::read);
  const bool readable = opened && opened->trials() && opened->totals();
  EXPECT_FALSE(readable);
}

}  // namespace
}  // namespace roundel::schema
