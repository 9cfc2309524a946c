#include "daemon/feed/read_ahead.h"

#include <algorithm>
#include <cstring>
#include <system_error>
#include <utility>

#include "roundel/feed/framer.h"

namespace roundel::feed {
namespace {

// Large enough that system calls and waking each other don't count, small enough that what waits
// stays in a processor's cache.
constexpr std::size_t block_bytes = 128 * 1024;

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

// --- The thread that uses the parts --------------------------------------------------------------

Result<ReadAhead::Part*> ReadAhead::next() {
  Lock lock(mutex_);
  give_back();
  await_next(lock, nullptr);
  if (!is_at_end()) {
    is_given_ = true;
    return &slot(n_returned_).part;
  }
  if (error_) return tl::unexpected(*error_);
  return nullptr;
}

bool ReadAhead::is_ready_within(std::chrono::milliseconds time) {
  Lock lock(mutex_);
  give_back();
  return await_next(lock, &time);
}

void ReadAhead::parse_while_waiting(bool does) {
  const std::lock_guard lock(mutex_);
  parses_while_waiting_ = does;
}

void ReadAhead::give_back() {
  if (!std::exchange(is_given_, false)) return;
  ++n_returned_;
  has_room_.notify_one();
}

bool ReadAhead::is_next_parsed() const {
  return n_returned_ < n_claimed_ && slots_[n_returned_ % n_slots].is_parsed;
}

// Until next() need not wait, or for that time. True: it need not.
bool ReadAhead::await_next(Lock& lock, const std::chrono::milliseconds* time) {
  const auto is_ready = [&] { return is_next_parsed() || is_at_end(); };
  const auto can_parse = [&] {
    return parses_while_waiting_ && other_reader_ && n_claimed_ < n_read_;
  };
  const auto has_news = [&] { return is_ready() || can_parse(); };
  while (!is_ready()) {
    if (can_parse())
      parse_next(*other_reader_, lock);
    else if (!time)
      has_news_.wait(lock, has_news);
    else if (!has_news_.wait_for(lock, *time, has_news))
      return false;
  }
  return true;
}

// --- Both threads --------------------------------------------------------------------------------

// Claims the next block, and lets go of the lock while it parses.
void ReadAhead::parse_next(LayoutReader& reader, Lock& lock) {
  Slot& block = slot(n_claimed_++);
  lock.unlock();
  Intake& intake = block.part.intake;
  const auto on_line = [&](std::string_view line) { intake.add(reader, line, 0); };
  LineFramer framer(longest_line_);
  framer.feed({block.text.data(), block.n_text}, on_line);
  if (block.is_last) framer.finish(on_line);
  intake.reject(Reject::too_long, static_cast<int>(framer.too_long()));
  lock.lock();
  block.is_parsed = true;
}

// --- The reading thread --------------------------------------------------------------------------

void ReadAhead::run() {
  Lock lock(mutex_);
  const auto has_room = [&] { return !is_over_ && n_read_ - n_returned_ < n_slots; };
  const auto has_block = [&] { return n_claimed_ < n_read_; };
  while (!is_over_ || has_block()) {
    has_room_.wait(lock, [&] { return has_room() || has_block() || is_abandoned_; });
    if (is_abandoned_) return;
    // One block ahead of the parsers, so that either finds one.
    const std::size_t enough = other_reader_ ? 2 : 1;
    if (has_room() && n_read_ - n_claimed_ < enough) {
      Slot& next = slot(n_read_);
      // Files need not follow each other without a gap.
      next.part.intake.interrupted = n_read_ == 0;
      lock.unlock();
      const bool has_more = read_block(next);
      lock.lock();
      if (!error_) ++n_read_;
      is_over_ = !has_more;
    } else {
      parse_next(reader_, lock);
      if (!other_reader_) other_reader_ = reader_.another();
    }
    has_news_.notify_one();
  }
}

// False: it is the last, or could not be read.
bool ReadAhead::read_block(Slot& into) {
  into.is_parsed = false;
  // What is kept of a line that has begun: as much as tells that it is too long.
  const auto most_of_begun_line = static_cast<std::size_t>(longest_line_) + 2;
  into.text.resize(most_of_begun_line + block_bytes);
  char* const begin = into.text.data();
  char* const added = std::copy(begun_line_.begin(), begun_line_.end(), begin);
  const auto n = source_.read({added, block_bytes});
  if (!n) error_ = n.error();
  if (!n) return false;
  into.part.position = source_.position();
  into.is_last = *n == 0;
  const std::string_view text(begin, static_cast<std::size_t>(added - begin) + *n);
  into.n_text = into.is_last ? text.size() : text.rfind('\n') + 1;  // 0 where there is none
  begun_line_ = text.substr(into.n_text, most_of_begun_line);
  return !into.is_last;
}

}  // namespace roundel::feed
