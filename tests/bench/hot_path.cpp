// The hot path on a fixed input: bytes to lines, reports, cells, rows and summaries. Its
// instructions are counted by tests/bench/count_instructions; nothing here asks a clock.
// Usage: hot_path STORE
#include <fmt/core.h>

#include <cstdint>
#include <cstdio>
#include <string>
#include <string_view>

#include "daemon/feed/intake.h"
#include "daemon/record/recording.h"
#include "roundel/feed/framer.h"
#include "tests/record/roof_feed.h"

using namespace roundel;

namespace {

constexpr int n_aircraft = 40, n_seconds = 750;
constexpr std::int64_t start_s = 1764000000;

// One report a second of each aircraft, on straight tracks; in whole 1e-5 degrees, so that no
// library's rounding moves a digit.
std::string lines() {
  std::string out;
  for (std::int64_t s = 0; s < n_seconds; ++s)
    for (std::int64_t i = 0; i < n_aircraft; ++i) {
      const std::int64_t latitude_e5 = 5060000 + i * 7500 + s * (i % 7 - 3) * 60;
      const std::int64_t longitude_e5 =
          1750000 + i * 37 % 100 * 3000 + s * (i % 2 == 0 ? 240 : -240);
      out += fmt::format(
          "{{\"time\":{}.{:03},\"address\":\"{:06x}\",\"latitude\":{}.{:05},\"longitude\":{}.{:05},"
          "\"altitude_ft\":{},\"signal_dbfs\":-{}.{}}}\n",
          start_s + s, i * 25, 0x400000 + i * 7, latitude_e5 / 100000, latitude_e5 % 100000,
          longitude_e5 / 100000, longitude_e5 % 100000, 30000 + i % 8 * 1000, 15 + i % 12, s % 10);
    }
  return out;
}

Result<void> record_all(record::Recording& recording, const config::Feed& feed,
                        std::string_view bytes) {
  feed::LineFramer framer;
  feed::LayoutReader reader(feed.layout);
  feed::Intake intake;
  Result<void> taken;
  const auto on_line = [&](std::string_view line) {
    intake.add(reader, line, 0);
    if (intake.reports.size() < 4096 || !taken) return;
    taken = recording.take_in(feed.name, intake);
    if (taken && recording.is_commit_due()) taken = recording.commit();
  };
  constexpr std::size_t read_bytes = 65536;
  for (; !bytes.empty(); bytes.remove_prefix(std::min(read_bytes, bytes.size())))
    framer.feed(bytes.substr(0, read_bytes), on_line);
  framer.finish(on_line);
  if (taken) taken = recording.take_in(feed.name, intake);
  return taken ? recording.close() : taken;
}

}  // namespace

// What is counted. Its name is the one that callgrind is told.
extern "C" [[gnu::noinline]] bool hot_path(record::Recording& recording, const config::Feed& feed,
                                           std::string_view bytes) {
  const auto done = record_all(recording, feed, bytes);
  if (!done) fmt::print(stderr, "{}: {}\n", done.error().where, done.error().what);
  return done.has_value();
}

int main(int argc, char** argv) {
  if (argc != 2) return 2;
  auto recording = record::Recording::open({.store = argv[1],
                                            .site = {"Hill house", 52.1, 19.4, 110, 12, 100},
                                            .rules = {},
                                            .is_file = true,
                                            .log = [](Level, std::string_view) {}});
  if (!recording) return 1;
  const config::Feed feed = record::roof_feed();
  if (!recording->add_feed(feed)) return 1;
  if (!hot_path(*recording, feed, lines())) return 1;
  const auto totals = recording->store().totals();
  if (!totals || recording->counts().front().live.stored != n_aircraft * n_seconds) {
    fmt::print(stderr, "not every report was stored\n");
    return 1;
  }
  fmt::print("{} reports, {} cells\n", n_aircraft * n_seconds, totals->cells);
}
