// A file read on a thread of its own gives what the same lines give one after the other.
#include "daemon/feed/read_ahead.h"

#include <gtest/gtest.h>
#include <zlib.h>

#include <fstream>
#include <utility>

#include "roundel/feed/framer.h"
#include "tests/feed/layouts.h"
#include "tests/schema/store_fixture.h"

namespace roundel::feed {
namespace {

// Lines of every kind: reports, some that are none, one too long, and a last one without an end.
std::string lines(int n) {
  std::string out;
  for (int i = 0; i < n; ++i) {
    if (i % 1000 == 17) out.append(2 * std::size_t{config::usual_line_bytes}, 'x').append("\n");
    if (i % 100 == 3) out += "not JSON\n\n";
    out += "{\"time\":" + std::to_string(1764000000 + i / 10) + ",\"address\":\"4" +
           std::to_string(10000 + i % 1000) + "\",\"latitude\":52." +
           std::to_string(1000 + i % 7919) +
           ",\"longitude\":19.5,\"altitude_ft\":" + std::to_string(1000 + i) + "}\r\n";
  }
  out.resize(out.size() - 2);
  return out;
}

class ReadAheadTest : public testing::Test {
 protected:
  std::filesystem::path write(const std::string& bytes) {
    const auto path = folder_ / "lines.ndjson";
    std::ofstream(path, std::ios::binary) << bytes;
    return path;
  }
  std::filesystem::path write_gzip(const std::string& bytes) {
    const auto path = folder_ / "lines.gz";
    const gzFile file = gzopen(path.c_str(), "wb1");
    EXPECT_EQ(gzwrite(file, bytes.data(), static_cast<unsigned>(bytes.size())),
              static_cast<int>(bytes.size()));
    gzclose(file);
    return path;
  }
  schema::Folder folder_;
};

config::Layout plain() {
  config::Layout layout = pointers("/address", "/latitude", "/longitude");
  layout.time = at("/time");
  layout.altitude = at("/altitude_ft");
  return layout;
}

config::Layout columns_with_header() {
  config::Layout layout;
  layout.kind = config::LayoutKind::columns;
  layout.header = true;
  layout.address = at("address");
  layout.latitude = at("latitude");
  layout.longitude = at("longitude");
  layout.time = at("time");
  layout.altitude = at("altitude_ft");
  return layout;
}

void expect_same(const Report& a, const Report& b) {
  EXPECT_EQ(a.time_s, b.time_s);
  EXPECT_EQ(a.address, b.address);
  EXPECT_EQ(a.latitude_deg, b.latitude_deg);
  EXPECT_EQ(a.longitude_deg, b.longitude_deg);
  EXPECT_EQ(a.altitude_ft, b.altitude_ft);
}

void expect_all(const std::string& bytes, const std::filesystem::path& path,
                const config::Layout& layout, bool parses_while_waiting) {
  Intake expected;
  LineFramer framer;
  LayoutReader reader(layout);
  const auto on_line = [&](std::string_view line) { expected.add(reader, line, 0); };
  framer.feed(bytes, on_line);
  framer.finish(on_line);
  expected.reject(Reject::too_long, static_cast<int>(framer.too_long()));
  ASSERT_EQ(expected.reports.empty(), bytes.empty());

  auto source = FileSource::open(path);
  ASSERT_TRUE(source);
  const auto ahead = ReadAhead::begin(*source, layout);
  ASSERT_TRUE(ahead);
  (*ahead)->parse_while_waiting(parses_while_waiting);
  std::array<int, reject_names.size()> n_rejected{};
  std::size_t n = 0;
  for (bool is_first = true;; is_first = false) {
    const auto part = (*ahead)->next();
    ASSERT_TRUE(part);
    if (!*part) break;
    EXPECT_EQ((*part)->intake.interrupted, is_first);
    (*part)->intake.interrupted = false;
    EXPECT_LE((*part)->position, *source->size());
    for (std::size_t i = 0; i < n_rejected.size(); ++i)
      n_rejected[i] += std::exchange((*part)->intake.n_rejected[i], 0);
    for (const Arrival& arrival : (*part)->intake.reports) {
      ASSERT_LT(n, expected.reports.size());
      expect_same(arrival.report, expected.reports[n++].report);
    }
    (*part)->intake.reports.clear();
  }
  EXPECT_EQ(n, expected.reports.size());
  EXPECT_EQ(n_rejected, expected.n_rejected);
}

// By threads that both parse, and by one alone.
void expect_all(const std::string& bytes, const std::filesystem::path& path,
                const config::Layout& layout = plain()) {
  for (const bool parses_while_waiting : {true, false}) {
    SCOPED_TRACE(parses_while_waiting);
    expect_all(bytes, path, layout, parses_while_waiting);
  }
}

TEST_F(ReadAheadTest, GivesEveryLineOnceAndInOrder) {
  for (const int n : {1, 100, 40'000}) expect_all(lines(n), write(lines(n)));
}

TEST_F(ReadAheadTest, ReadsGzipAlike) { expect_all(lines(40'000), write_gzip(lines(40'000))); }

TEST_F(ReadAheadTest, ReadsALineLongerThanWhatIsReadAtOnceAsOneTooLong) {
  const std::string bytes = lines(5'000) + "\r\n" + std::string(1'000'000, ' ') + "\r\n" +
                            lines(100) + "\n" + std::string(1'000'000, 'y');
  expect_all(bytes, write(bytes));
}

// Every line but the first depends on one before it: the header, or what an aircraft last said.
TEST_F(ReadAheadTest, ReadsLinesThatDependOnOthersInOrder) {
  std::string bytes = "address,altitude_ft,latitude,longitude,time\n";
  for (int i = 0; i < 40'000; ++i) {
    bytes += "4" + std::to_string(10000 + i % 100) + ",";
    if (i % 300 < 100) bytes += std::to_string(1000 + i);
    bytes += ",52.5,19.5," + std::to_string(1764000000 + i / 1000) + "\n";
    if (i % 10'000 == 9'999) bytes += "address,altitude_ft,latitude,longitude,time\n";
  }
  config::Layout layout = columns_with_header();
  expect_all(bytes, write(bytes), layout);
  layout.carry_s = 60;
  expect_all(bytes, write(bytes), layout);
}

TEST_F(ReadAheadTest, GivesOnePartOfAnEmptyFile) { expect_all("", write("")); }

TEST_F(ReadAheadTest, GivesAnErrorAfterWhatWasReadBeforeIt) {
  const std::string bytes = lines(40'000);
  const auto path = write_gzip(bytes);
  std::filesystem::resize_file(path, std::filesystem::file_size(path) / 2);
  auto source = FileSource::open(path);
  ASSERT_TRUE(source);
  const auto ahead = ReadAhead::begin(*source, plain());
  ASSERT_TRUE(ahead);
  std::size_t n = 0;
  for (;;) {
    const auto part = (*ahead)->next();
    if (!part) {
      EXPECT_EQ(part.error().code, Errc::corrupt);
      break;
    }
    ASSERT_NE(*part, nullptr);
    n += (*part)->intake.n_lines();
    (*part)->intake = {};
  }
  EXPECT_GT(n, 10'000U);
}

TEST_F(ReadAheadTest, EndsWhenNobodyWantsMore) {
  const auto path = write(lines(40'000));
  for (const int n_wanted : {0, 1, 3}) {
    auto source = FileSource::open(path);
    ASSERT_TRUE(source);
    const auto ahead = ReadAhead::begin(*source, plain());
    ASSERT_TRUE(ahead);
    for (int i = 0; i < n_wanted; ++i) ASSERT_TRUE((*ahead)->next());
  }
}

}  // namespace
}  // namespace roundel::feed
