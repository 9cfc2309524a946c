// Rows read from pages against the same rows as SQLite hands them out: the slow, obvious way.
#include <random>

#include "schema/cell_page.h"
#include "schema/page_watch.h"
#include "schema/store_impl.h"
#include "tests/schema/store_fixture.h"

namespace roundel::schema {
namespace {

using Row = std::vector<std::int64_t>;

constexpr std::int64_t no_level = 1 << 20;

Row values(const Cell& cell) {
  return {cell_key(cell.window, cell.flight),
          cell.heard,
          cell.expected,
          std::lround(cell.latitude_deg * 1e4),
          std::lround(cell.longitude_deg * 1e4),
          std::lround(cell.altitude_ft / 25),
          cell.signal_dbfs ? std::lround(*cell.signal_dbfs * 2) : no_level,
          std::lround(cell.uncertainty_km * 10)};
}

class PagesTest : public testing::Test {
 protected:
  PagesTest() {
    Batch batch;
    batch.feed = feed_;
    for (Id id = 1; id <= n_flights; ++id)
      batch.flights.push_back(flight_of(id, trial_, day_window));
    must(store_.commit(batch));
  }

  // Values of every width that the columns take, the ends of their ranges among them.
  Cell any_cell(std::int64_t window, Id flight) {
    const auto one_of = [&](std::initializer_list<double> ends, double low, double high) {
      const std::size_t i = random_() % (2 * ends.size());
      if (i < ends.size()) return *(ends.begin() + i);
      return std::uniform_real_distribution<double>(low, high)(random_);
    };
    Cell cell;
    cell.window = window;
    cell.flight = flight;
    cell.heard = static_cast<int>(one_of({0, 1, 127, 128, 255}, 0, 255));
    cell.expected = static_cast<int>(one_of({1, 2, 20, 255}, 1, 255));
    cell.latitude_deg = one_of({-90, 90, 0, 0.0001, 0.0128, -3.2768}, -90, 90);
    cell.longitude_deg = one_of({-180, 180, 0, 838.8607 / 10, -0.0129}, -180, 180);
    cell.altitude_ft = one_of({0, 25, -25, 3200, 45'000, -1000}, -1000, 60'000);
    if (random_() % 3 != 0) cell.signal_dbfs = one_of({0, 0.5, -0.5, -64.5, -100}, -100, 0);
    if (random_() % 4 == 0) cell.uncertainty_km = one_of({0.1, 12.8, 900}, 0, 900);
    return cell;
  }
  void record(std::int64_t from_window, std::int64_t to_window) {
    Batch batch;
    batch.feed = feed_;
    for (std::int64_t window = from_window; window < to_window; ++window)
      for (Id id = 1; id <= n_flights; ++id) batch.cells.push_back(any_cell(window, id));
    must(store_.commit(batch));
  }
  std::vector<Row> by_sqlite() const {
    Client client(file_);
    std::vector<Row> out;
    for (const char* table : {"cell", "recent_cell"})
      for (const std::string& text : client.rows(
               "SELECT id, heard, expected, latitude_e4, longitude_e4, altitude_25ft,"
               " coalesce(signal_half_db, " +
               std::to_string(no_level) + "), uncertainty_hm FROM " + table + " ORDER BY id")) {
        Row row;
        std::stringstream in(text);
        for (std::string value; std::getline(in, value, '|');) row.push_back(std::stoll(value));
        out.push_back(std::move(row));
      }
    return out;
  }
  static std::vector<Row> by_pages(const Store& store) {
    std::vector<Row> out;
    must(store.each_cell({}, [&](const Cell& cell) {
      out.push_back(values(cell));
      return true;
    }));
    return out;
  }

  static constexpr Id n_flights = 40;
  Folder folder_;
  std::filesystem::path file_ = folder_ / "roundel.db";
  Store store_ = must(Store::open(file_, Store::Access::record));
  Id feed_ = must(store_.feed_id("roof"));
  Id trial_ = must(store_.start_trial(trial_on("roof", "collinear", day_s))).id;
  std::mt19937 random_{1090};
};

TEST_F(PagesTest, EveryRowComesOnceInOrderAndAsStored) {
  record(day_window, day_window + 400);
  const auto expected = by_sqlite();
  ASSERT_EQ(expected.size(), 400u * n_flights);
  const Store reader = must(Store::open(file_, Store::Access::read));
  EXPECT_EQ(by_pages(reader), expected);
  EXPECT_EQ(by_pages(reader), expected) << "with pages in SQLite's cache";
  EXPECT_EQ(by_pages(store_), expected) << "without seeing pages";
}

TEST_F(PagesTest, ReadingSeesOneMomentWhileOthersCommit) {
  record(day_window, day_window + 300);
  const auto before = by_sqlite();
  const Store reader = must(Store::open(file_, Store::Access::read));
  std::vector<Row> seen;
  must(reader.each_cell({}, [&](const Cell& cell) {
    if (seen.size() == 100) {
      record(day_window, day_window + 20);  // other values in rows still to come
      record(day_window + 300, day_window + 600);
    }
    seen.push_back(values(cell));
    return true;
  }));
  EXPECT_EQ(seen, before);
  EXPECT_EQ(by_pages(reader), by_sqlite());
}

TEST_F(PagesTest, SeveralReadingsMayBeOfOneMoment) {
  record(day_window, day_window + 300);
  const auto before = by_sqlite();
  const Store reader = must(Store::open(file_, Store::Access::read));
  must(reader.at_one_moment([&]() -> Result<void> {
    EXPECT_EQ(by_pages(reader), before);
    record(day_window + 300, day_window + 600);
    EXPECT_EQ(by_pages(reader), before);
    return {};
  }));
  EXPECT_EQ(by_pages(reader), by_sqlite());
  const auto refused = reader.at_one_moment([] { return fail(Errc::bad_usage, "not so"); });
  EXPECT_EQ(refused.error().what, "not so");
  EXPECT_EQ(by_pages(reader), by_sqlite()) << "the moment is over";
}

TEST_F(PagesTest, AVisitorMayReadTheSameStore) {
  record(day_window, day_window + 60);
  const Store reader = must(Store::open(file_, Store::Access::read));
  std::vector<Row> seen;
  must(reader.each_cell({}, [&](const Cell& cell) {
    if (seen.size() % 500 == 7) {
      EXPECT_EQ(by_pages(reader).size(), 60u * n_flights);
    }
    seen.push_back(values(cell));
    return true;
  }));
  EXPECT_EQ(seen, by_sqlite());
}

// Whatever bytes a page holds, reading stays inside it and gives nothing or rows of the right
// shape.
TEST_F(PagesTest, ADamagedPageIsRefusedOrReadWithinItself) {
  record(day_window, day_window + 400);
  must(store_.compact());
  const std::string bytes = bytes_of(file_);
  constexpr std::size_t page_bytes = 4096;
  int n_leaves = 0, n_refused = 0;
  for (std::size_t at = page_bytes; at + page_bytes <= bytes.size(); at += page_bytes) {
    // On the heap, so that the address sanitizer watches its ends.
    std::vector<unsigned char> page(bytes.begin() + static_cast<std::ptrdiff_t>(at),
                                    bytes.begin() + static_cast<std::ptrdiff_t>(at + page_bytes));
    std::vector<CellRow> rows;
    if (!read_cell_page(page, 0, INT64_MAX, rows) || rows.size() < 50) continue;
    ++n_leaves;
    for (int i = 0; i < 50; ++i) {
      auto damaged = page;
      for (int n = 0; n < 3; ++n)
        damaged[random_() % damaged.size()] = static_cast<unsigned char>(random_());
      rows.clear();
      const bool is_read = read_cell_page(damaged, 0, INT64_MAX, rows);
      n_refused += !is_read;
      EXPECT_TRUE(is_read || rows.empty());
    }
    for (const std::size_t length : {std::size_t{0}, std::size_t{7}, page_bytes / 2}) {
      rows.clear();
      EXPECT_FALSE(read_cell_page(std::span(page).first(length), 0, INT64_MAX, rows));
    }
  }
  EXPECT_GT(n_leaves, 50);
  EXPECT_GT(n_refused, n_leaves);
}

TEST_F(PagesTest, TheInnerOfTwoWatchesSeesWhatIsRead) {
  record(day_window, day_window + 60);
  PageWatch outer;
  {
    PageWatch inner;
    must(must(Store::open(file_, Store::Access::read)).totals());
    EXPECT_FALSE(inner.page().empty());
  }
  EXPECT_TRUE(outer.page().empty());
  must(must(Store::open(file_, Store::Access::read)).totals());
  EXPECT_FALSE(outer.page().empty());
}

// Flights are looked up some at a time, and numbers may be missing.
TEST(Selected, CellsAreThoseOfATrialsFlights) {
  const Folder folder;
  const auto file = folder / "roundel.db";
  auto store = must(Store::open(file, Store::Access::record));
  const Id one = must(store.start_trial(trial_on("roof", "collinear", day_s))).id;
  const Id other = must(store.start_trial(trial_on("barn", "spider", day_s))).id;
  std::mt19937 random(7);
  Batch batch;
  batch.feed = must(store.feed_id("roof"));
  for (Id id = 1; id < 6000; id += 1 + static_cast<Id>(random() % 4)) {
    const std::int64_t window = day_window + static_cast<std::int64_t>(random() % 3000);
    batch.flights.push_back(flight_of(id, id % 3 == 0 ? other : one, window));
    for (int i = 0; i < 3; ++i) batch.cells.push_back(cell_at(window + i, id));
  }
  // Cells of flights that nobody knows are nobody's.
  batch.cells.push_back(cell_at(day_window, 6500));
  batch.cells.push_back(cell_at(day_window, max_flight_id));
  must(store.commit(batch));
  Client client(file);
  for (const Id trial : {one, other}) {
    Selection which;
    which.trials = {trial};
    std::vector<std::string> found;
    for (const Cell& cell : cells_of(store, which))
      found.push_back(std::to_string(cell_key(cell.window, cell.flight)));
    const std::string of =
        " JOIN flight ON flight.id = flight WHERE trial = " + std::to_string(trial);
    auto expected = client.rows("SELECT cell.id FROM cell" + of + " ORDER BY cell.id");
    const auto recent =
        client.rows("SELECT recent_cell.id FROM recent_cell" + of + " ORDER BY recent_cell.id");
    expected.insert(expected.end(), recent.begin(), recent.end());
    EXPECT_EQ(found, expected);
  }
}

}  // namespace
}  // namespace roundel::schema
