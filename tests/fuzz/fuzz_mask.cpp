// Any text is a horizon mask or refused by one line; what is accepted has a height on every
// bearing.
#include <cmath>
#include <string_view>

#include "roundel/site/mask.h"
#include "tests/fuzz/check.h"

int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
  using namespace roundel;
  static const site::Refraction refraction;
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  const auto mask = site::Mask::parse(text, "mask.csv", 122, 110, refraction, 6371);
  if (!mask) {
    const std::string line = mask.error().line();
    FUZZ_CHECK(mask.error().code == Errc::malformed);
    FUZZ_CHECK(line.starts_with("mask.csv") && line.size() < 2000);
    FUZZ_CHECK(line.find_first_of("\r\n") == std::string::npos);
    return 0;
  }
  FUZZ_CHECK(!mask->points().empty());
  for (double bearing_deg = 0; bearing_deg < 360; bearing_deg += 7.5) {
    const auto at = mask->at(bearing_deg);
    FUZZ_CHECK(at.elevation_deg >= -90 && at.elevation_deg < 90);
    FUZZ_CHECK(at.range_km >= 0 && std::isfinite(at.range_km));
  }
  return 0;
}
