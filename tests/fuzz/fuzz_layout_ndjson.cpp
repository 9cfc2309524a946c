// Any bytes are safe to read as NDJSON, and the quick path agrees with the general one.
#include <cmath>
#include <string_view>
#include <vector>

#include "daemon/feed/ndjson.h"
#include "daemon/feed/ndjson_flat.h"
#include "roundel/feed/layout_reader.h"
#include "tests/fuzz/check.h"
#include "tests/fuzz/each_line.h"

namespace {

using namespace roundel;

config::Layout flat_layout() {
  const auto at = [](const char* pointer) { return config::FieldAt{std::nullopt, pointer}; };
  config::Layout layout;
  layout.address = at("/address");
  layout.latitude = at("/latitude");
  layout.longitude = at("/longitude");
  layout.altitude = at("/altitude_ft");
  layout.time = at("/time");
  layout.signal = at("/signal_dbfs");
  layout.on_ground = at("/ground");
  layout.missing = {"n/a", "-9999"};
  layout.keep = {{at("/kind"), {"P", "3", "true"}}};
  layout.carry_s = 30;
  return layout;
}

config::Layout nested_layout() {
  config::Layout layout = flat_layout();
  layout.latitude.name = "/fix/position/1";
  layout.longitude.name = "/fix/position/0";
  layout.address.name = "/a~1b/m~0n";
  layout.keep.clear();
  return layout;
}

void check_agreement(std::string_view line) {
  using namespace feed;
  static FlatNdjsonExtractor flat(flat_layout());
  static NdjsonExtractor general(flat_layout());
  std::vector<FieldValue> quick(n_fields + 1), full(n_fields + 1);
  if (!flat.extract(line, quick)) return;
  FUZZ_CHECK(general.extract(line, full));
  for (std::size_t i = 0; i < quick.size(); ++i) {
    FUZZ_CHECK(quick[i].kind == full[i].kind);
    FUZZ_CHECK(quick[i].number == full[i].number);
    FUZZ_CHECK(quick[i].truth == full[i].truth);
    FUZZ_CHECK(quick[i].text == full[i].text);
  }
}

}  // namespace

int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
  feed::LayoutReader flat(flat_layout()), nested(nested_layout());
  each_line(data, size, [&](std::string_view line) {
    check_agreement(line);
    check_report(flat.read(line, 1764000000));
    check_report(nested.read(line, 1764000000));
  });
  return 0;
}
