// Any file is a database or refused by one line, and whatever is in it is read within bounds.
//
// An input is a list of changes to a sound database, five bytes each: where (three bytes, taken
// modulo its length) and two bytes to write there. Its first byte, where 0, says that the rest is
// the file itself; where 255, that the file is cut at the first place.
#include <fcntl.h>
#include <unistd.h>

#include <cmath>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>

#include "analysis/pattern/hour_exposure_bytes.h"
#include "analysis/pattern/hour_levels.h"
#include "analysis/pattern/summary_bytes.h"
#include "roundel/schema/store.h"
#include "tests/fuzz/check.h"

namespace {

using namespace roundel;

/// In memory where there is such a file system.
std::filesystem::path scratch() {
  const std::filesystem::path memory = "/dev/shm";
  const auto folder =
      std::filesystem::exists(memory) ? memory : std::filesystem::temp_directory_path();
  return folder / ("roundel-fuzz-store-" + std::to_string(::getpid()) + ".db");
}

/// One flight with two groups, and where it goes on.
pattern::HourExposure shown(std::int64_t hour_s) {
  pattern::HourExposure hour;
  hour.counts = {hour_s, 20, 300, 400, 0};
  hour.first_window = hour.last_window = hour_s / 10 + 4;
  hour.sector_cells.assign(pattern::SummaryBins::n_sectors, 1);
  hour.heard_histogram[17] = 3;
  hour.heard_windows.set(4);
  pattern::FlightHour flight;
  flight.flight.id = 1;
  flight.groups.resize(2);
  for (auto& group : flight.groups) group.cells = 9;
  flight.forwards = {{hour_s / 10 + 2, 100, 20, 30'000}, {hour_s / 10 + 4, 104, 21, 30'000}};
  hour.flights.push_back(flight);
  return hour;
}

/// Details that a summariser could have written.
class Details : public schema::Summariser {
 public:
  int method() const override { return 1; }
  void add(const schema::Cell& cell, const schema::Flight& flight) override {
    trial_ = flight.trial;
    hour_s_ = cell.window / 360 * 3600;
  }
  std::map<schema::Id, schema::SummaryDetail> finish() override {
    pattern::HourSummary hour;
    hour.hour_s = hour_s_;
    hour.farthest = {{3, 1, 200, 17, 15'000, hour_s_ / 10 + 4, 1}};
    hour.shares = {{3, 20, 5, 10, 20}};
    return {{trial_, {pattern::summary_bytes(hour), pattern::exposure_bytes(shown(hour_s_))}}};
  }
  schema::SummaryDetail merged(const schema::SummaryDetail& a,
                               const schema::SummaryDetail&) const override {
    return a;
  }

 private:
  schema::Id trial_ = 0;
  std::int64_t hour_s_ = 0;
};

std::string bytes_of(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

void remove_with_sidecars(const std::filesystem::path& file) {
  std::error_code ignored;
  for (const char* kind : {"", "-wal", "-shm", "-journal", "-recorder"})
    std::filesystem::remove(file.string() + kind, ignored);
}

std::string sound_database() {
  const auto file = scratch();
  remove_with_sidecars(file);
  {
    auto store = schema::Store::open(file, schema::Store::Access::record);
    FUZZ_CHECK(store.has_value());
    FUZZ_CHECK(store->set_site({"Hill house", 52.1, 19.4, 110, 12, 100}).has_value());
    schema::Trial trial;
    trial.feed = "roof";
    trial.antenna = "collinear";
    trial.receiver = "rx1";
    trial.mount = "gable";
    trial.start_s = 1'772'323'200;
    FUZZ_CHECK(store->start_trial(trial).has_value());
    FUZZ_CHECK(store->keep_summaries(std::make_unique<Details>()).has_value());
    schema::Batch batch;
    batch.feed = 1;
    batch.hour_s = trial.start_s;
    batch.tally = {{"received", 1200}, {"stored", 1200}};
    batch.coverage = {{1, trial.start_s, trial.start_s + 9000}};
    batch.clock = schema::FeedClock{1'772'332'200, 1'772'332'201};
    const std::int64_t first = trial.start_s / schema::window_s;
    for (schema::Id flight = 1; flight <= 3; ++flight)
      batch.flights.push_back({flight, 1, 0x4b1600, first, std::nullopt});
    for (int window = 0; window < 900; window += 3)
      batch.cells.push_back({first + window, 1 + window % 3, window % 20, 20, 52.3, 19.8, 36'000,
                             window % 20 > 0 ? std::optional(-21.5) : std::nullopt, 0});
    FUZZ_CHECK(store->commit(batch).has_value());
    FUZZ_CHECK(store->add_note({0, trial.start_s, 1, "in the rain"}).has_value());
    while (store->summarise(10).value_or(false)) {
    }
    FUZZ_CHECK(store->compact().has_value());
  }
  std::string bytes = bytes_of(file);
  remove_with_sidecars(file);
  return bytes;
}

template <class T>
void check(const Result<T>& result) {
  if (result) return;
  const std::string line = result.error().line();
  FUZZ_CHECK(!line.empty() && line.size() < 2000);
  FUZZ_CHECK(line.find_first_of("\r\n") == std::string::npos);
}

void read_all(const schema::Store& store) {
  check(store.site());
  check(store.trials());
  check(store.notes());
  check(store.trials_version());
  check(store.next_flight_id());
  const auto feeds = store.feeds();
  check(feeds);
  for (const auto& feed : feeds ? *feeds : std::vector<schema::Named>()) {
    check(store.coverage(feed.id));
    check(store.clock(feed.id));
    check(store.open_flights(feed.id));
    check(store.tally(feed.id));
  }
  check(store.totals());
  check(store.flights({}));
  check(store.hours({}));
  check(store.each_cell({}, [](const schema::Cell& cell) {
    FUZZ_CHECK(cell.flight >= 0 && cell.flight <= schema::max_flight_id);
    FUZZ_CHECK(std::isfinite(cell.latitude_deg) && std::isfinite(cell.altitude_ft));
    return true;
  }));
  check(store.summary_state());
  check(store.each_summary({}, false, schema::SummaryPart::places,
                           [](const schema::Summary& summary) {
                             (void)pattern::summary_of(summary.detail.places, summary.hour_s);
                             return true;
                           }));
  check(store.each_summary({}, false, schema::SummaryPart::flights,
                           [](const schema::Summary& summary) {
                             const std::string& bytes = summary.detail.flights;
                             const auto levels = pattern::levels_of(bytes, summary.hour_s);
                             const auto all = pattern::exposure_of(bytes, summary.hour_s);
                             FUZZ_CHECK(levels.has_value() == all.has_value());
                             return true;
                           }));
  Details details;
  check(store.check_summaries(details));
}

}  // namespace

int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
  static const std::string sound = sound_database();
  static const auto file = scratch();
  if (size == 0) return 0;
  std::string bytes = sound;
  if (data[0] == 0) bytes.assign(reinterpret_cast<const char*>(data + 1), size - 1);
  for (std::size_t at = 1; data[0] != 0 && at + 5 <= size; at += 5) {
    const std::size_t place =
        (std::size_t{data[at]} << 16U | std::size_t{data[at + 1]} << 8U | data[at + 2]) %
        sound.size();
    if (data[0] == 255 && at == 1) bytes.resize(place);
    if (place + 2 > bytes.size()) continue;
    bytes[place] = static_cast<char>(data[at + 3]);
    bytes[place + 1] = static_cast<char>(data[at + 4]);
  }
  remove_with_sidecars(file);
  std::ofstream(file, std::ios::binary) << bytes;
  for (const auto access : {schema::Store::Access::read, schema::Store::Access::record}) {
    const auto store = schema::Store::open(file, access);
    check(store);
    if (store) read_all(*store);
  }
  remove_with_sidecars(file);
  return 0;
}
