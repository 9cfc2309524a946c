// Cuts a stream of bytes into lines.
#pragma once
#include <cstddef>
#include <cstdint>
#include <functional>
#include <string>
#include <string_view>

#include "roundel/config/config.h"

namespace roundel::feed {

/// Lines end in LF or CR LF, which don't count towards the limit; empty lines are skipped silently.
/// Bytes may arrive cut anywhere: the lines are the same however they were cut.
/// No allocation while whole lines arrive. Memory is bounded by the longest line.
class LineFramer {
 public:
  /// @param longest  bytes of a line that is read; what is longer is counted and skipped to its end
  explicit LineFramer(int longest = config::usual_line_bytes)
      : longest_(static_cast<std::size_t>(longest)) {}
  /// Called with each line without its end; the view lives for the call.
  using OnLine = std::function<void(std::string_view line)>;

  /// Feeds bytes. Lines too long are counted in too_long(), once each.
  void feed(std::string_view bytes, const OnLine& on_line);
  /// The stream has ended: a last line without an end is still a line. Ready for another stream.
  void finish(const OnLine& on_line);
  /// Forgets a line begun (a connection was lost in the middle of it).
  void reset();
  std::uint64_t too_long() const noexcept { return too_long_; }

 private:
  std::size_t longest_;
  std::string partial_;
  bool skipping_ = false;
  std::uint64_t too_long_ = 0;
};

}  // namespace roundel::feed
