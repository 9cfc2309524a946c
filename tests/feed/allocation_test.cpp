// A program of its own: it replaces operator new to count allocations.
#include <gtest/gtest.h>

#include <cstdlib>
#include <new>
#include <string>

#include "roundel/feed/framer.h"
#include "roundel/feed/layout_reader.h"
#include "tests/feed/layouts.h"

namespace {
std::size_t n_allocations = 0;
}  // namespace

// Not inlined: g++ would take the pairs of malloc and delete it then sees for mistakes.
[[gnu::noinline]] void* operator new(std::size_t size) {
  ++n_allocations;
  if (void* memory = std::malloc(size)) return memory;
  throw std::bad_alloc();
}
[[gnu::noinline]] void operator delete(void* memory) noexcept { std::free(memory); }
[[gnu::noinline]] void operator delete(void* memory, std::size_t) noexcept { std::free(memory); }

namespace roundel::feed {
namespace {

struct FeedRow {
  const char* name;
  config::Layout layout;
  std::string line;
};

TEST(Allocation, ACommonLineTakesNone) {
  config::Layout text = columns(3, 5, 6);
  text.time = at(1);
  text.altitude = at(4);
  text.signal = at(7);
  text.keep = {{at(2), {"P"}}};
  text.carry_s = 30;
  const FeedRow rows[] = {
      {"the published NDJSON", config::default_ndjson(),
       R"({"time":1764000000.125,"address":"4b1617","latitude":52.31245,"longitude":19.81245,)"
       R"("altitude_ft":36000,"signal_dbfs":-21.3})"},
      {"columns", text, "1764000000.125,P,4b1617,36000,52.31245,19.81245,-21.3"},
      {"nested JSON", pointers("/aircraft/code", "/position/latitude", "/position/longitude"),
       R"({"aircraft":{"code":"4b1617"},"position":{"latitude":52.31245,"longitude":19.81245}})"},
      {"a line of another kind", text, "1764000000.125,S,4b1617,36000,,,"},
  };
  for (const FeedRow& row : rows) {
    LineFramer framer;
    LayoutReader reader(row.layout);
    std::string bytes;
    for (int i = 0; i < 100; ++i) bytes += row.line + "\r\n";
    std::size_t n_read = 0;
    const LineFramer::OnLine read = [&](std::string_view line) {
      (void)reader.read(line, 1764000000);
      ++n_read;
    };
    framer.feed(bytes, read);  // the first lines may: buffers grow to their size
    const std::size_t before = n_allocations;
    framer.feed(bytes, read);
    EXPECT_EQ(n_allocations - before, 0u) << row.name;
    EXPECT_EQ(n_read, 200u) << row.name;
  }
}

}  // namespace
}  // namespace roundel::feed
