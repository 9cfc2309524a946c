// Cuts a stream of bytes into lines.
#pragma once
#include <cstddef>
#include <cstdint>
#include <functional>
#include <string>
#include <string_view>

namespace roundel::feed {

/// Longest line that is read; what is longer is counted and skipped to its end.
inline constexpr std::size_t max_line_bytes = 4096;

/// Lines end in LF or CR LF, which don't count towards the limit; empty lines are skipped silently.
/// Bytes may arrive cut anywhere: the lines are the same however they were cut.
/// No allocation while whole lines arrive. Memory is bounded by max_line_bytes.
class LineFramer {
 public:
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
  std::string partial_;
  bool skipping_ = false;
  std::uint64_t too_long_ = 0;
};

}  // namespace roundel::feed
