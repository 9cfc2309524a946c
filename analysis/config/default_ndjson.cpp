#include "roundel/config/config.h"

namespace roundel::config {

Layout default_ndjson() {
  const auto at = [](const char* pointer) { return FieldAt{std::nullopt, pointer}; };
  Layout layout;
  layout.name = "ndjson";
  layout.kind = LayoutKind::ndjson;
  layout.time = at("/time");
  layout.address = at("/address");
  layout.latitude = at("/latitude");
  layout.longitude = at("/longitude");
  layout.altitude = at("/altitude_ft");
  layout.signal = at("/signal_dbfs");
  return layout;
}

}  // namespace roundel::config
