// The least that loading can cost: reads a file and parses its lines, and does nothing with them.
// Usage: read_only CONFIG FEED FILE [nothing: reads and cuts lines only]
#include <fmt/core.h>

#include <cstdio>
#include <optional>
#include <string_view>
#include <vector>

#include "daemon/feed/file_source.h"
#include "daemon/feed/intake.h"
#include "roundel/config/config.h"
#include "roundel/feed/framer.h"

using namespace roundel;

int main(int argc, char** argv) {
  if (argc < 4) return 2;
  const auto config = config::load(argv[1]);
  if (!config) return 2;
  std::optional<feed::LayoutReader> reader;
  for (const config::Feed& feed : config->feeds)
    if (feed.name == argv[2]) reader.emplace(feed.layout);
  auto source = feed::FileSource::open(argv[3]);
  if (!source || !reader) return 2;
  feed::LineFramer framer;
  feed::Intake intake;
  std::vector<char> buffer(256 * 1024);
  std::size_t n_lines = 0, n_reports = 0;
  const bool parses = argc == 4;
  const auto on_line = [&](std::string_view line) {
    ++n_lines;
    if (parses) intake.add(*reader, line, 0);
  };
  for (;;) {
    const auto n = source->read(buffer);
    if (!n) return 1;
    if (*n == 0) break;
    framer.feed({buffer.data(), *n}, on_line);
    n_reports += intake.reports.size();
    intake.reports.clear();
  }
  framer.finish(on_line);
  n_reports += intake.reports.size();
  fmt::print("{{\"lines\": {}, \"reports\": {}}}\n", n_lines, n_reports);
}
