// What was acknowledged survives: a kill at any moment, a full disk, readers and writers beside.
#include <gmock/gmock.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <atomic>
#include <random>
#include <thread>

#include "tests/schema/store_fixture.h"

namespace roundel::schema {
namespace {

constexpr int cells_per_batch = 60;

// Batch n: 60 cells in window n, 20 more silent ones 25 windows back, and as many counted.
Batch numbered_batch(Id feed, Id trial, std::int64_t n) {
  Batch batch;
  batch.feed = feed;
  batch.hour_s = day_s;
  for (Id flight = 1; flight <= cells_per_batch; ++flight) {
    if (n == 0) batch.flights.push_back(flight_of(flight, trial, day_window));
    batch.cells.push_back(cell_at(day_window + n, flight, 1 + static_cast<int>(n % 20)));
  }
  batch.tally["received"] = cells_per_batch;
  batch.coverage = {{feed, day_s, day_s + (n + 1) * window_s}};
  return batch;
}

// Number of whole batches, or -1 when any is incomplete or has anything wrong in it.
std::int64_t whole_batches(const Store& store, Id feed) {
  std::int64_t n = 0;
  bool right = true;
  for (const Cell& cell : cells_of(store)) {
    right = right && cell.window == day_window + n / cells_per_batch &&
            cell.flight == 1 + n % cells_per_batch &&
            cell.heard == 1 + static_cast<int>(n / cells_per_batch % 20);
    ++n;
  }
  const std::int64_t batches = n / cells_per_batch;
  const auto tally = must(store.tally(feed));
  const auto coverage = must(store.coverage(feed));
  right = right && n % cells_per_batch == 0 && (n == 0) == tally.empty() &&
          (n == 0 || (tally.at("received") == n && coverage.size() == 1 &&
                      coverage[0].to_s == day_s + batches * window_s));
  return right ? batches : -1;
}

// Goes on recording where the file ends, writing one byte to `acknowledge` after each commit.
[[noreturn]] void record_until_killed(const std::filesystem::path& file, int acknowledge) {
  auto store = Store::open(file, Store::Access::record);
  if (!store) _exit(1);
  const auto feed = store->feed_id("roof");
  if (!feed) _exit(2);
  std::int64_t n = whole_batches(*store, *feed);
  for (;; ++n) {
    if (!store->commit(numbered_batch(*feed, 1, n))) _exit(3);
    if (write(acknowledge, "+", 1) != 1) _exit(4);
  }
}

TEST(Survive, AKillLosesNothingThatWasAcknowledged) {
  Folder folder;
  const auto file = folder / "roundel.db";
  Id feed{};
  {
    Store store = must(Store::open(file, Store::Access::record));
    feed = must(store.feed_id("roof"));
    must(store.start_trial(trial_on("roof", "collinear", day_s)));
  }
  std::mt19937 random(20260301);
  std::int64_t before = 0;
  for (int round = 0; round < 25; ++round) {
    int ends[2];
    ASSERT_EQ(pipe(ends), 0);
    const pid_t child = fork();
    ASSERT_GE(child, 0);
    if (child == 0) {
      close(ends[0]);
      record_until_killed(file, ends[1]);
    }
    close(ends[1]);
    // After some commits, at any point of the next one.
    const auto wanted = std::uniform_int_distribution<int>(0, 40)(random);
    std::int64_t acknowledged = 0;
    char byte{};
    while (acknowledged < wanted && read(ends[0], &byte, 1) == 1) ++acknowledged;
    const auto delay = std::uniform_int_distribution<int>(0, 3000)(random);
    std::this_thread::sleep_for(std::chrono::microseconds(delay));
    ASSERT_EQ(kill(child, SIGKILL), 0);
    int status{};
    ASSERT_EQ(waitpid(child, &status, 0), child);
    ASSERT_TRUE(WIFSIGNALED(status)) << "the child failed by itself: " << WEXITSTATUS(status);
    while (read(ends[0], &byte, 1) == 1) ++acknowledged;
    close(ends[0]);

    const Store store = must(Store::open(file, Store::Access::read));
    const std::int64_t after = whole_batches(store, feed);
    // The one under way when the kill came may have been stored without word of it.
    EXPECT_GE(after, before + acknowledged) << "round " << round;
    EXPECT_LE(after, before + acknowledged + 1) << "round " << round;
    EXPECT_EQ(Client(file).one("PRAGMA integrity_check"), "ok") << "round " << round;
    before = after;
  }
  EXPECT_GT(before, 200) << "long enough for cells to settle in between";
}

// Writes beyond `bytes` in any file fail, as on a full disk, while this lives.
class FullDisk {
 public:
  explicit FullDisk(std::uintmax_t bytes) {
    handler_ = signal(SIGXFSZ, SIG_IGN);
    getrlimit(RLIMIT_FSIZE, &before_);
    rlimit limit = before_;
    limit.rlim_cur = bytes;
    setrlimit(RLIMIT_FSIZE, &limit);
  }
  FullDisk(const FullDisk&) = delete;
  FullDisk& operator=(const FullDisk&) = delete;
  ~FullDisk() {
    setrlimit(RLIMIT_FSIZE, &before_);
    signal(SIGXFSZ, handler_);
  }

 private:
  rlimit before_{};
  sighandler_t handler_;
};

TEST(Survive, AFullDiskKeepsWhatThereIsAndARetryGoesOn) {
  Folder folder;
  const auto file = folder / "roundel.db";
  Store store = must(Store::open(file, Store::Access::record));
  const Id feed = must(store.feed_id("roof"));
  const Id trial = must(store.start_trial(trial_on("roof", "collinear", day_s))).id;
  std::int64_t n = 0;
  for (; n < 20; ++n) must(store.commit(numbered_batch(feed, trial, n)));

  Result<void> failed;
  {
    const FullDisk full(std::filesystem::file_size(file.string() + "-wal") + 40'000);
    while ((failed = store.commit(numbered_batch(feed, trial, n)))) ++n;
    EXPECT_FALSE(store.commit(numbered_batch(feed, trial, n))) << "still full";
  }
  EXPECT_GE(n, 20);
  EXPECT_EQ(failed.error().code, Errc::disk_full);
  EXPECT_EQ(failed.error().line(), file.string() + ": no space left to write; free some space");
  EXPECT_EQ(whole_batches(store, feed), n) << "all before, nothing of the one that failed";

  for (const auto end = n + 50; n < end; ++n) must(store.commit(numbered_batch(feed, trial, n)));
  EXPECT_EQ(whole_batches(store, feed), n);
  EXPECT_EQ(Client(file).one("PRAGMA integrity_check"), "ok");
}

TEST(Survive, AFileThatMayNotGrowIsAFullDisk) {
  Folder folder;
  const FullDisk full(8192);
  const auto opened = Store::open(folder / "roundel.db", Store::Access::record);
  ASSERT_FALSE(opened);
  EXPECT_EQ(opened.error().code, Errc::disk_full);
}

TEST(Survive, AReaderSeesWholeBatchesOnlyWhileCellsSettle) {
  Folder folder;
  const auto file = folder / "roundel.db";
  Store writer = must(Store::open(file, Store::Access::record));
  const Id feed = must(writer.feed_id("roof"));
  const Id trial = must(writer.start_trial(trial_on("roof", "collinear", day_s))).id;
  std::atomic<bool> done{false};
  std::atomic<std::int64_t> wrong{0}, snapshots{0};
  std::thread reader([&] {
    const auto store = Store::open(file, Store::Access::read);
    std::int64_t last = 0;
    while (!done) {
      std::int64_t n = 0;
      bool right = store.has_value();
      const auto visited = store->each_cell({}, [&](const Cell& cell) {
        right = right && cell.window == day_window + n / cells_per_batch &&
                cell.flight == 1 + n % cells_per_batch;
        ++n;
        return true;
      });
      if (!visited || !right || n % cells_per_batch != 0 || n < last) ++wrong;
      last = n;
      ++snapshots;
    }
  });
  for (std::int64_t n = 0; n < 600 || snapshots < 20; ++n)
    must(writer.commit(numbered_batch(feed, trial, n)));
  done = true;
  reader.join();
  EXPECT_EQ(wrong, 0) << "of " << snapshots;
}

TEST(Access, ASecondRecorderIsTurnedAwayAtOnceWithTheFirstOnesNumber) {
  Folder folder;
  const auto file = folder / "roundel.db";
  {
    const Store first = must(Store::open(file, Store::Access::record));
    const auto second = Store::open(file, Store::Access::record);
    ASSERT_FALSE(second);
    EXPECT_EQ(second.error().code, Errc::busy);
    EXPECT_EQ(second.error().line(),
              file.string() + ": another process (process " + std::to_string(getpid()) +
                  ") is recording into it; stop that one first, or record into another file");
  }
  EXPECT_TRUE(Store::open(file, Store::Access::record)) << "free again";
}

TEST(Access, TrialsAreChangedWhileAnotherRecords) {
  Folder folder;
  const auto file = folder / "roundel.db";
  Store recorder = must(Store::open(file, Store::Access::record));
  const Id feed = must(recorder.feed_id("roof"));
  const auto version = must(recorder.trials_version());
  {
    Store other = must(Store::open(file, Store::Access::write));
    must(other.start_trial(trial_on("roof", "collinear", day_s)));
    must(other.add_note({0, day_s, std::nullopt, "rain"}));
  }
  EXPECT_EQ(must(recorder.trials_version()), version + 2);
  EXPECT_EQ(must(recorder.trials()).size(), 1u);
  must(recorder.commit(numbered_batch(feed, 1, 0)));
}

}  // namespace
}  // namespace roundel::schema
