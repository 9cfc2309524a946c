#include "roundel/feed/framer.h"

#include <cstring>

namespace roundel::feed {
namespace {

// A line without its CR; empty lines are nobody's business.
void give(std::string_view line, const LineFramer::OnLine& on_line) {
  if (!line.empty() && line.back() == '\r') line.remove_suffix(1);
  if (!line.empty()) on_line(line);
}

}  // namespace

void LineFramer::feed(std::string_view bytes, const OnLine& on_line) {
  while (!bytes.empty()) {
    const void* found = std::memchr(bytes.data(), '\n', bytes.size());
    const bool ends = found != nullptr;
    const std::size_t length =
        ends ? static_cast<std::size_t>(static_cast<const char*>(found) - bytes.data())
             : bytes.size();
    const std::string_view piece = bytes.substr(0, length);
    bytes.remove_prefix(ends ? length + 1 : length);

    if (skipping_) {
      skipping_ = !ends;
      continue;
    }
    // The CR of a CR LF is no part of the line, but until the LF has come it may be one.
    const std::size_t total = partial_.size() + length;
    const bool ends_in_cr =
        length > 0 ? piece.back() == '\r' : !partial_.empty() && partial_.back() == '\r';
    if (total - (ends_in_cr ? 1 : 0) > longest_) {
      ++too_long_;
      partial_.clear();
      skipping_ = !ends;
      continue;
    }
    if (ends && partial_.empty()) {
      give(piece, on_line);
    } else {
      partial_.append(piece);
      if (!ends) return;
      give(partial_, on_line);
      partial_.clear();
    }
  }
}

void LineFramer::finish(const OnLine& on_line) {
  if (!skipping_) give(partial_, on_line);
  reset();
}

void LineFramer::reset() {
  partial_.clear();
  skipping_ = false;
}

}  // namespace roundel::feed
