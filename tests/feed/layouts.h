// Layouts for tests, briefly.
#pragma once
#include <string>

#include "roundel/config/config.h"

namespace roundel::feed {

inline config::FieldAt at(int column) { return {column, {}}; }
inline config::FieldAt at(const std::string& name) { return {std::nullopt, name}; }

inline config::Layout pointers(const std::string& address, const std::string& latitude,
                               const std::string& longitude) {
  config::Layout layout;
  layout.name = "test";
  layout.address = at(address);
  layout.latitude = at(latitude);
  layout.longitude = at(longitude);
  return layout;
}

inline config::Layout columns(int address, int latitude, int longitude, char delimiter = ',') {
  config::Layout layout;
  layout.name = "test";
  layout.kind = config::LayoutKind::columns;
  layout.delimiter = delimiter;
  layout.address = at(address);
  layout.latitude = at(latitude);
  layout.longitude = at(longitude);
  return layout;
}

}  // namespace roundel::feed
