// Any lines can be guessed at, and a table that is printed is read back as the layout it shows.
#include <string>
#include <vector>

#include "roundel/config/config.h"
#include "roundel/feed/guesser.h"
#include "roundel/feed/layout_reader.h"
#include "tests/config/sample.h"
#include "tests/fuzz/check.h"
#include "tests/fuzz/each_line.h"

int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
  using namespace roundel;
  std::vector<std::string> lines;
  each_line(data, size, [&](std::string_view line) { lines.emplace_back(line); });
  const feed::GuessedLayout guessed = feed::guess_layout(lines);
  FUZZ_CHECK(guessed.layout || !guessed.doubts.empty());
  if (!guessed.layout) return 0;
  FUZZ_CHECK(guessed.n_reports > 0);
  const auto config =
      config::parse(config::sample_with(feed::to_toml(*guessed.layout)), "roundel.toml");
  FUZZ_CHECK(config.has_value());
  FUZZ_CHECK(config->feeds.at(0).layout == *guessed.layout);
  return 0;
}
