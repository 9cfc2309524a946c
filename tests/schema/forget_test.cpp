// Addresses that are old are dropped; flights and cells stay.
#include <gtest/gtest.h>

#include "tests/schema/store_fixture.h"

namespace roundel::schema {
namespace {

TEST(Forget, DropsAddressesOfFlightsThatEndedBeforeAndNothingElse) {
  const Folder folder;
  auto store = must(Store::open(folder / "roundel.db", Store::Access::record));
  const Id trial = must(store.start_trial(trial_on("roof", "collinear", day_s))).id;
  Batch batch;
  batch.feed = must(store.feed_id("roof"));
  // Flights 1 and 2 are of one aircraft and ended in the first hour, 3 in the second, 4 flies.
  for (Id id = 1; id <= 4; ++id) {
    Flight flight = flight_of(id, trial, day_window + (id == 3 ? 360 : 0));
    flight.address = id == 2 ? 0x4b1601 : flight.address;
    if (id < 4) flight.last_window = flight.first_window + 10;
    batch.flights.push_back(flight);
    batch.cells.push_back(cell_at(flight.first_window, id));
  }
  must(store.commit(batch));
  const auto before = cells_of(store).size();
  const auto version = must(store.trials_version());

  EXPECT_EQ(must(store.forget_addresses(day_s + 3600)), 2);
  EXPECT_NE(must(store.trials_version()), version) << "answers with addresses are kept elsewhere";
  const auto flights = must(store.flights({}));
  ASSERT_EQ(flights.size(), 4U);
  EXPECT_EQ(flights[0].address, flights[1].address);
  EXPECT_GT(flights[0].address, 0xffffffffU);
  EXPECT_EQ(flights[2].address, 0x4b1603U);
  EXPECT_EQ(flights[3].address, 0x4b1604U);
  EXPECT_EQ(cells_of(store).size(), before);
  // What is forgotten is not hashed again, or it would part from what was forgotten with it.
  EXPECT_EQ(must(store.forget_addresses(day_s + 3600)), 0);
}

}  // namespace
}  // namespace roundel::schema
