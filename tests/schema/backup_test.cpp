// A copy taken while another connection records is one moment of the database, whole.
#include <gmock/gmock.h>

#include <algorithm>

#include "tests/schema/store_fixture.h"

namespace roundel::schema {
namespace {

class Backup : public testing::Test {
 protected:
  Backup() : store_(must(Store::open(file_, Store::Access::record))) {
    trial_ = must(store_.start_trial(trial_on("roof", "collinear", day_s))).id;
  }
  /// One flight more, with so many cells.
  void record(Id flight, int n_cells) {
    Batch batch;
    batch.feed = must(store_.feed_id("roof"));
    batch.flights = {flight_of(flight, trial_, day_window)};
    for (int i = 0; i < n_cells; ++i) batch.cells.push_back(cell_at(day_window + i, flight));
    must(store_.commit(batch));
  }
  schema::Folder folder_;
  std::filesystem::path file_ = folder_ / "roundel.db", copy_ = folder_ / "copy.db";
  Store store_;
  Id trial_{};
};

TEST_F(Backup, HoldsAllThatWasCommitted) {
  record(1, 100);
  record(2, 50);
  must(must(Store::open(file_, Store::Access::read)).backup(copy_));
  EXPECT_EQ(cells_of(must(Store::open(copy_, Store::Access::read))).size(), 150U);
  EXPECT_EQ(Client(copy_).one("PRAGMA integrity_check"), "ok");
  EXPECT_FALSE(std::filesystem::exists(folder_ / "copy.db.part"));
}

// Commits between the steps of the copy neither show in it nor make it begin anew.
TEST_F(Backup, IsOfOneMomentWhileOthersRecord) {
  for (Id flight = 1; flight <= 40; ++flight) record(flight, 5000);
  Id next = 41;
  std::vector<double> shares;
  must(must(Store::open(file_, Store::Access::read)).backup(copy_, [&](double share) {
    shares.push_back(share);
    record(next++, 50);
  }));
  EXPECT_GT(shares.size(), 3U);
  EXPECT_TRUE(std::ranges::is_sorted(shares));
  EXPECT_EQ(shares.back(), 1);
  EXPECT_EQ(cells_of(must(Store::open(copy_, Store::Access::read))).size(), 200'000U);
  EXPECT_EQ(cells_of(store_).size(), 200'000U + 50U * shares.size());
  // The copy is a database like any other: recording may go on in it.
  must(Store::open(copy_, Store::Access::record));
}

TEST_F(Backup, OverwritesNothing) {
  std::ofstream(copy_) << "mine";
  const auto refused = must(Store::open(file_, Store::Access::read)).backup(copy_);
  ASSERT_FALSE(refused);
  EXPECT_THAT(refused.error().line(), testing::HasSubstr("exists already"));
  EXPECT_EQ(bytes_of(copy_), "mine");
}

TEST_F(Backup, WhatCannotBeWrittenIsOneErrorAndLeavesNothing) {
  const auto refused =
      must(Store::open(file_, Store::Access::read)).backup(folder_ / "none/copy.db");
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().code, Errc::io);
  EXPECT_FALSE(std::filesystem::exists(folder_ / "none"));
}

}  // namespace
}  // namespace roundel::schema
