// The write-ahead log stays small, whoever reads.
#include <gtest/gtest.h>

#include <atomic>
#include <filesystem>
#include <future>
#include <thread>

#include "schema/store_impl.h"
#include "tests/schema/store_fixture.h"

namespace roundel::schema {
namespace {

class Log : public testing::Test {
 protected:
  Log() {
    Batch flights;
    flights.feed = feed_;
    for (Id id = 1; id <= 100; ++id) flights.flights.push_back(flight_of(id, trial_, day_window));
    must(store_.commit(flights));
  }
  /// Some 3 MB of cells.
  void commit_more() {
    Batch batch;
    batch.feed = feed_;
    for (int i = 0; i < 1000; ++i, ++window_)
      for (Id id = 1; id <= 100; ++id) batch.cells.push_back(cell_at(window_, id));
    must(store_.commit(batch));
  }
  std::uintmax_t bytes() const { return std::filesystem::file_size(file_.string() + "-wal"); }

  Folder folder_;
  std::filesystem::path file_ = folder_ / "roundel.db";
  Store store_ = must(Store::open(file_, Store::Access::record));
  Id feed_ = must(store_.feed_id("roof"));
  Id trial_ = must(store_.start_trial(trial_on("roof", "collinear", day_s))).id;
  std::int64_t window_ = day_window;
};

TEST_F(Log, IsCutWhenTheReaderThatKeptItHasGone) {
  const Store reader = must(Store::open(file_, Store::Access::read));
  must(reader.at_one_moment([&]() -> Result<void> {
    must(reader.cell_span());
    while (bytes() < most_log_bytes) commit_more();
    return {};
  }));
  commit_more();
  EXPECT_LT(bytes(), most_log_bytes);
}

// Each reader begins before the one before it ends, so that there is never none.
TEST_F(Log, IsBoundedWhileReadersOverlap) {
  std::atomic<int> n_begun = 0;
  std::atomic<bool> is_over = false;
  const auto read = [&] {
    const Store reader = must(Store::open(file_, Store::Access::read));
    while (!is_over)
      must(reader.at_one_moment([&]() -> Result<void> {
        must(reader.cell_span());
        const int mine = ++n_begun;
        while (n_begun == mine && !is_over) std::this_thread::yield();
        return {};
      }));
  };
  std::thread first(read), second(read);
  while (n_begun < 2) std::this_thread::yield();
  std::uintmax_t most = 0;
  for (int i = 0; i < 30; ++i) {
    commit_more();
    most = std::max(most, bytes());
  }
  is_over = true;
  first.join();
  second.join();
  EXPECT_LT(most, 2 * most_log_bytes);
}

}  // namespace
}  // namespace roundel::schema
