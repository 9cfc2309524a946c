// Any lines can be guessed at, and a table that is printed is read back as the layout it shows.
#include <string>
#include <vector>

#include "roundel/config/config.h"
#include "roundel/feed/guesser.h"
#include "roundel/feed/layout_reader.h"
#include "tests/fuzz/check.h"
#include "tests/fuzz/each_line.h"

namespace {

constexpr const char* rest_of_file = R"(
[site]
name = "Hill house"
latitude = 52.1
longitude = 19.4
ground_m = 110
antenna_m = 12
[[antenna]]
name = "collinear"
[[receiver]]
name = "rx1"
[[mount]]
name = "gable"
[[feed]]
name = "roof"
connect = "127.0.0.1:31090"
layout = "feed"
antenna = "collinear"
receiver = "rx1"
mount = "gable"
)";

}  // namespace

int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
  using namespace roundel;
  std::vector<std::string> lines;
  each_line(data, size, [&](std::string_view line) { lines.emplace_back(line); });
  const feed::GuessedLayout guessed = feed::guess_layout(lines);
  FUZZ_CHECK(guessed.layout || !guessed.doubts.empty());
  if (!guessed.layout) return 0;
  FUZZ_CHECK(guessed.n_reports > 0);
  const auto config = config::parse(rest_of_file + feed::to_toml(*guessed.layout), "roundel.toml");
  FUZZ_CHECK(config.has_value());
  FUZZ_CHECK(config->feeds.at(0).layout == *guessed.layout);
  return 0;
}
