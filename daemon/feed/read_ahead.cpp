#include "daemon/feed/read_ahead.h"

#include <system_error>
#include <utility>

#include "roundel/feed/framer.h"

namespace roundel::feed {
namespace {

// Bounds what waits in memory, and keeps it in a processor's cache.
constexpr std::size_t most_reports_of_part = 4096;

}  // namespace

Result<std::unique_ptr<ReadAhead>> ReadAhead::begin(FileSource& source,
                                                    const config::Layout& layout) {
  std::unique_ptr<ReadAhead> out(new ReadAhead(source, layout));
  try {
    out->thread_ = std::thread([reading = out.get()] { reading->run(); });
  } catch (const std::system_error&) {
    return fail(Errc::io, "the system gives no more threads", source.name(), "try again");
  }
  return out;
}

ReadAhead::~ReadAhead() {
  {
    const std::lock_guard lock(mutex_);
    is_abandoned_ = true;
  }
  has_room_.notify_one();
  if (thread_.joinable()) thread_.join();
}

Result<ReadAhead::Part*> ReadAhead::next() {
  std::unique_lock lock(mutex_);
  give_back();
  has_part_.wait(lock, [&] { return has_next(); });
  if (n_returned_ < n_handed_) {
    is_given_ = true;
    return &slots_[n_returned_ % n_slots];
  }
  if (error_) return tl::unexpected(*error_);
  return nullptr;
}

bool ReadAhead::is_ready_within(std::chrono::milliseconds time) {
  std::unique_lock lock(mutex_);
  give_back();
  return has_part_.wait_for(lock, time, [&] { return has_next(); });
}

void ReadAhead::give_back() {
  if (!std::exchange(is_given_, false)) return;
  ++n_returned_;
  has_room_.notify_one();
}

// --- The reading thread ------------------------------------------------------------------------

// False: nobody wants more.
bool ReadAhead::make_room() {
  std::unique_lock lock(mutex_);
  has_room_.wait(lock, [&] { return n_handed_ - n_returned_ < n_slots || is_abandoned_; });
  filling_ = is_abandoned_ ? nullptr : &slots_[n_handed_ % n_slots];
  return filling_ != nullptr;
}

void ReadAhead::hand_over() {
  filling_->position = source_.position();
  {
    const std::lock_guard lock(mutex_);
    ++n_handed_;
  }
  has_part_.notify_one();
}

void ReadAhead::run() {
  LineFramer framer;
  std::uint64_t n_too_long = 0;
  const auto on_line = [&](std::string_view line) {
    if (!filling_) return;
    filling_->intake.add(reader_, line, 0);
    if (filling_->intake.reports.size() < most_reports_of_part) return;
    hand_over();
    make_room();
  };
  bool is_first = true, has_more = true;
  while (has_more && make_room()) {
    // Files need not follow each other without a gap.
    if (std::exchange(is_first, false)) filling_->intake.interrupted = true;
    const auto bytes = source_.read();
    if (bytes) {
      bytes->empty() ? framer.finish(on_line) : framer.feed(*bytes, on_line);
      if (!filling_) return;
      filling_->intake.reject(Reject::too_long, static_cast<int>(framer.too_long() - n_too_long));
      n_too_long = framer.too_long();
    }
    has_more = bytes && !bytes->empty();
    hand_over();
    if (!bytes) error_ = bytes.error();
  }
  {
    const std::lock_guard lock(mutex_);
    is_over_ = true;
  }
  has_part_.notify_one();
}

}  // namespace roundel::feed
