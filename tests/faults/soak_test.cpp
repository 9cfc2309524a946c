// Four hours at 3000 reports a second, as fast as they go: after two, in which the first hour is
// summarised, memory must not grow.
#include <gtest/gtest.h>

#include <algorithm>

#include "tests/faults/recorded.h"

namespace roundel::faults {
namespace {

class Soak : public Recorded {};

TEST_F(Soak, HoursAtThreeThousandReportsASecondKeepMemoryFlat) {
  const double hours = is_full() ? 4 : 0.01, warm_up_hours = is_full() ? 2 : 0.005;
  Source source;
  configure(connect(source), 0.5);
  Daemon daemon(config());
  Traffic traffic(1500);
  const auto begun = Clock::now();
  double warm_kb = 0, most_kb = 0;
  std::int64_t sent = 0;
  for (double done_s = 0; done_s < hours * 3600; done_s += 10) {
    const std::string text = traffic.next(10);
    ASSERT_TRUE(source.send(text)) << daemon.process().log();
    sent += n_lines(text);
    const double now_kb = memory_kb(daemon.process(), "VmRSS");
    if (done_s < warm_up_hours * 3600) warm_kb = std::max(warm_kb, now_kb);
    most_kb = std::max(most_kb, now_kb);
  }
  source.hang_up();
  EXPECT_TRUE(eventually([&] { return daemon.has_read_to_the_end("roof"); }));
  const double took_s = std::chrono::duration<double>(Clock::now() - begun).count();
  const double peak_kb = memory_kb(daemon.process(), "VmHWM");
  EXPECT_EQ(daemon.stop(), 0);
  EXPECT_EQ(received(), sent);
  if (!is_sanitized) {
    EXPECT_LT(peak_kb, 64 * 1024);
  }
  // In minutes of traffic everything is still warming up.
  if (is_full()) {
    EXPECT_LT(most_kb - warm_kb, 2048);
  }
  measured(
      "soak: {:g} h at 3000 reports/s in {:.0f} s; memory after warm-up {:.1f} MB, growth "
      "{:.2f} MB, peak {:.1f} MB",
      hours, took_s, warm_kb / 1024, std::max(0.0, most_kb - warm_kb) / 1024, peak_kb / 1024);
  expect_whole();
}

}  // namespace
}  // namespace roundel::faults
