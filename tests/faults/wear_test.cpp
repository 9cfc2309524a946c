// What an hour of recording writes to the card: the kernel's count of bytes this process has sent
// to storage, for commits as a live daemon makes them, on feed time that the test turns.
#include <gtest/gtest.h>

#include <string_view>

#include "daemon/record/recording.h"
#include "roundel/feed/layout_reader.h"
#include "tests/faults/recorded.h"
#include "tests/record/roof_feed.h"

namespace roundel::faults {
namespace {

class Wear : public Recorded {
 protected:
  static double written_mb() {
    const std::string text = read_file("/proc/self/io");
    const std::string_view mark = "\nwrite_bytes: ";
    return std::strtod(text.c_str() + text.find(mark) + mark.size(), nullptr) / 1e6;
  }

  /// MB an hour, with so many aircraft and seconds between commits, after an hour to warm up.
  double an_hour(int n_aircraft, int write_s) {
    std::filesystem::remove(database());
    record::Recording::Options options;
    options.store = database();
    options.site = {"Hill house", 52.1, 19.4, 110, 12, 100};
    options.log = [](Level, std::string_view) {};
    auto recording = record::Recording::open(std::move(options));
    EXPECT_TRUE(recording);
    const config::Feed feed = record::roof_feed();
    EXPECT_TRUE(recording->add_feed(feed));
    Traffic traffic(n_aircraft);
    feed::LayoutReader reader(feed.layout);
    double before_mb = 0;
    for (int second = 0; second < 2 * 3600; second += write_s) {
      if (second == 3600) before_mb = written_mb();
      feed::Intake intake;
      const std::string text = traffic.next(write_s);
      for (std::size_t at = 0, end = 0; (end = text.find('\n', at)) != text.npos; at = end + 1)
        intake.add(reader, std::string_view(text).substr(at, end - at), traffic.time_s());
      EXPECT_TRUE(recording->take_in("roof", intake));
      EXPECT_TRUE(recording->commit());
    }
    const double mb = written_mb() - before_mb;
    EXPECT_TRUE(recording->close());
    return mb;
  }
};

TEST_F(Wear, AnHourOfFortyAircraftWritesMegabytesNotHundreds) {
  if (!is_full()) GTEST_SKIP() << "takes a minute: tests/faults/run";
  if (written_mb() == 0) GTEST_SKIP() << "the temporary folder is not on a disk";
  const double at_5_s = an_hour(40, 5), at_60_s = an_hour(40, 60);
  measured("40 aircraft: {:.0f} MB an hour written at write_s = 5, {:.1f} at write_s = 60", at_5_s,
           at_60_s);
  EXPECT_LT(at_60_s, at_5_s);
  EXPECT_LT(at_5_s, 60);
}

}  // namespace
}  // namespace roundel::faults
