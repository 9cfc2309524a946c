// Any text is a configuration or refused by one line; what is accepted keeps its promises.
#include <cmath>
#include <string_view>

#include "roundel/config/config.h"
#include "tests/fuzz/check.h"

int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
  using namespace roundel;
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  const auto config = config::parse(text, "roundel.toml");
  if (!config) {
    const std::string line = config.error().line();
    FUZZ_CHECK(config.error().code == Errc::bad_config);
    FUZZ_CHECK(line.starts_with("roundel.toml:") && line.size() < 2000);
    FUZZ_CHECK(line.find_first_of("\r\n") == std::string::npos);
    return 0;
  }
  FUZZ_CHECK(std::abs(config->site.latitude_deg) <= 90);
  FUZZ_CHECK(std::abs(config->site.longitude_deg) <= 180);
  FUZZ_CHECK(config->write_s > 0 && config->queue_reports > 0);
  for (const config::Feed& feed : config->feeds) {
    FUZZ_CHECK(!feed.name.empty() && !feed.antenna.empty() && feed.line > 0);
    FUZZ_CHECK(!(feed.connect && feed.listen));
    FUZZ_CHECK(feed.rotation_deg >= 0 && feed.rotation_deg < 360);
    FUZZ_CHECK(feed.stall_s > 0 && feed.max_connections > 0);
    const bool is_columns = feed.layout.kind == config::LayoutKind::columns;
    for (const config::FieldAt* at :
         {&feed.layout.address, &feed.layout.latitude, &feed.layout.longitude}) {
      FUZZ_CHECK(at->column.has_value() == at->name.empty());
      FUZZ_CHECK(is_columns || at->name.starts_with('/'));
      FUZZ_CHECK(!is_columns || at->column || feed.layout.header);
    }
  }
  return 0;
}
