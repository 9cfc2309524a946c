// Turns a feed's lines into reports, as its layout says.
#pragma once
#include <memory>
#include <string_view>
#include <tl/expected.hpp>

#include "roundel/config/config.h"
#include "roundel/feed/report.h"

namespace roundel::feed {

/// Reads lines of one connection, in order: it remembers the header line and, with carry_s, each
/// aircraft's last altitude and position. One per connection or file; not shared by threads.
class LayoutReader {
 public:
  explicit LayoutReader(const config::Layout& layout);
  LayoutReader(LayoutReader&&) noexcept;
  LayoutReader& operator=(LayoutReader&&) noexcept;
  ~LayoutReader();

  /// @param arrival_s  clock for carry_s where the line carries no time
  /// Rejects: malformed, not_position, bad_address, no_altitude is not judged here.
  /// Any bytes are safe. A header line is Reject::not_position.
  tl::expected<Report, Reject> read(std::string_view line, double arrival_s);

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace roundel::feed
