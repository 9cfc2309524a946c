// Bytes cut in pieces give the lines that they give whole. The first byte seeds where they are cut.
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "roundel/feed/framer.h"
#include "tests/fuzz/check.h"

int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
  using roundel::feed::LineFramer;
  if (size == 0) return 0;
  std::uint32_t random = data[0];
  const std::string_view bytes(reinterpret_cast<const char*>(data) + 1, size - 1);

  LineFramer whole, cut;
  std::vector<std::string> whole_lines, cut_lines;
  const auto keep_whole = [&](std::string_view line) { whole_lines.emplace_back(line); };
  const auto keep_cut = [&](std::string_view line) { cut_lines.emplace_back(line); };
  whole.feed(bytes, keep_whole);
  whole.finish(keep_whole);
  for (std::size_t begin = 0; begin < bytes.size();) {
    random = random * 1664525 + 1013904223;  // Numerical Recipes' quick generator
    const std::size_t length = 1 + (random >> 16) % (random & 0x100 ? 8 : 5000);
    cut.feed(bytes.substr(begin, length), keep_cut);
    begin += length;
  }
  cut.finish(keep_cut);

  FUZZ_CHECK(whole_lines == cut_lines);
  FUZZ_CHECK(whole.too_long() == cut.too_long());
  for (const std::string& line : whole_lines) {
    FUZZ_CHECK(!line.empty() &&
               line.size() <= static_cast<std::size_t>(roundel::config::usual_line_bytes));
    FUZZ_CHECK(line.find('\n') == std::string::npos);
  }
  return 0;
}
