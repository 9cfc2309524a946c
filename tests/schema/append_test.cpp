// Batches appended in one transaction are stored as if each had been committed.
#include <gtest/gtest.h>

#include <random>
#include <string>
#include <vector>

#include "tests/schema/store_fixture.h"

namespace roundel::schema {
namespace {

using Rows = std::vector<std::string>;

class Append : public testing::Test {
 protected:
  Store open(const char* name) {
    Store store = must(Store::open(folder_ / name, Store::Access::record));
    trial_ = must(store.start_trial(trial_on("roof", "collinear", day_s))).id;
    return store;
  }
  Rows rows(const char* name) {
    Client client(folder_ / name);
    Rows out;
    for (const char* sql :
         {"SELECT 'cell', * FROM cell ORDER BY id",
          "SELECT 'recent', * FROM recent_cell ORDER BY id", "SELECT * FROM flight ORDER BY id",
          "SELECT * FROM tally ORDER BY 1, 2, 3", "SELECT * FROM settled"}) {
      const Rows more = client.rows(sql);
      out.insert(out.end(), more.begin(), more.end());
    }
    return out;
  }
  /// Twenty minutes of 20 flights from a window on: silent cells that come late, cells given twice.
  Batch batch(std::int64_t window, std::mt19937& random) const {
    Batch out;
    out.feed = 1;
    out.hour_s = window * window_s / 3600 * 3600;
    out.tally = {{"received", 7}, {"stored", 7}};
    for (Id id = 1; id <= 20; ++id) {
      out.flights.push_back(flight_of(id, trial_, day_window));
      for (std::int64_t w = window; w < window + 120; ++w)
        if (random() % 4 != 0) out.cells.push_back(cell_at(w, id, static_cast<int>(random() % 12)));
      const std::int64_t late = window - static_cast<std::int64_t>(random() % 170);
      if (late >= day_window) out.cells.push_back(cell_at(late, id, 0));
    }
    return out;
  }
  schema::Folder folder_;
  Id trial_{};
};

TEST_F(Append, StoresWhatCommittingEachStores) {
  Store each = open("each.db"), together = open("together.db");
  std::mt19937 random(41);
  for (int i = 0; i < 40; ++i) {
    const Batch one = batch(day_window + 110 * i, random);
    must(each.commit(one));
    must(i % 7 == 6 ? together.commit(one) : together.append(one));
  }
  must(together.commit({}));
  const Rows expected = rows("each.db");
  EXPECT_GT(expected.size(), 60'000U);
  EXPECT_EQ(rows("together.db"), expected);
}

TEST_F(Append, IsSeenByNobodyBeforeItIsCommitted) {
  Store store = open("roundel.db");
  std::mt19937 random(42);
  const Rows before = rows("roundel.db");
  must(store.append(batch(day_window, random)));
  EXPECT_EQ(rows("roundel.db"), before);
  must(store.commit({}));
  EXPECT_GT(rows("roundel.db").size(), before.size());
}

TEST_F(Append, GoesOnWithoutABatchThatIsRefused) {
  Store without = open("without.db"), store = open("roundel.db");
  std::mt19937 random(43);
  const Batch first = batch(day_window, random), last = batch(day_window + 220, random);
  Batch bad = batch(day_window + 110, random);
  bad.tally["stored"] = 1000;
  bad.tally[""] = 1;
  must(store.append(first));
  const auto refused = store.append(bad);
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().code, Errc::out_of_range);
  must(store.append(last));
  must(store.commit({}));
  for (const Batch* each : {&first, &last}) must(without.commit(*each));
  EXPECT_EQ(rows("roundel.db"), rows("without.db"));
  EXPECT_EQ(Client(folder_ / "roundel.db").one("SELECT count FROM tally WHERE kind = 'stored'"),
            "14");
}

TEST_F(Append, IsStoredByACommitAfterOneThatFailed) {
  Store store = open("roundel.db");
  std::mt19937 random(45);
  Batch bad = batch(day_window + 110, random);
  bad.tally[""] = 1;
  must(store.append(batch(day_window, random)));
  ASSERT_FALSE(store.commit(bad));
  must(store.commit({}));
  EXPECT_EQ(Client(folder_ / "roundel.db").one("SELECT count FROM tally WHERE kind = 'stored'"),
            "7");
}

TEST_F(Append, IsUndoneWithTheStore) {
  std::mt19937 random(44);
  Rows before;
  {
    Store store = open("roundel.db");
    before = rows("roundel.db");
    must(store.append(batch(day_window, random)));
  }
  EXPECT_EQ(rows("roundel.db"), before);
}

}  // namespace
}  // namespace roundel::schema
