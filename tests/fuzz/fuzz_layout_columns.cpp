// Any bytes are safe to read as columns, with and without a header.
#include <string_view>

#include "roundel/feed/layout_reader.h"
#include "tests/fuzz/check.h"
#include "tests/fuzz/each_line.h"

namespace {

using namespace roundel;

config::Layout positional() {
  const auto at = [](int column) { return config::FieldAt{column, {}}; };
  config::Layout layout;
  layout.kind = config::LayoutKind::columns;
  layout.time = at(1);
  layout.address = at(3);
  layout.altitude = at(4);
  layout.altitude_unit = config::AltitudeUnit::m;
  layout.latitude = at(5);
  layout.longitude = at(6);
  layout.signal = at(7);
  layout.on_ground = at(8);
  layout.missing = {"-"};
  layout.keep = {{at(2), {"P", "A"}}};
  layout.carry_s = 30;
  return layout;
}

config::Layout named() {
  const auto at = [](const char* name) { return config::FieldAt{std::nullopt, name}; };
  config::Layout layout;
  layout.kind = config::LayoutKind::columns;
  layout.delimiter = ';';
  layout.header = true;
  layout.address = at("address");
  layout.latitude = at("lat");
  layout.longitude = at("lon");
  layout.time = at("time");
  return layout;
}

}  // namespace

int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
  feed::LayoutReader by_position(positional()), by_name(named());
  each_line(data, size, [&](std::string_view line) {
    check_report(by_position.read(line, 1764000000));
    check_report(by_name.read(line, 1764000000));
  });
  return 0;
}
