#include "daemon/record/writer.h"

#include <fmt/format.h>

#include <algorithm>

#include "daemon/record/may_pass.h"
#include "roundel/time.h"

namespace roundel::record {
namespace {

// Counters for displays need not be newer than this.
constexpr std::chrono::milliseconds publish_interval{200};

}  // namespace

Writer::Writer(Recording recording, Options options)
    : recording_(std::move(recording)), options_(std::move(options)) {
  status_.feeds = recording_.counts();
  status_.alive = Clock::now();
  thread_ = std::thread([this] { run(); });
}

Writer::~Writer() {
  stop();
  thread_.join();
}

// --- From other threads ----------------------------------------------------------------------

bool Writer::offer(const std::string& feed, feed::Intake& intake) {
  const std::size_t n_lines = intake.n_places();
  {
    const std::lock_guard lock(mutex_);
    std::size_t& queued = queued_[feed];
    // What is larger than the whole queue passes alone.
    if (queued > 0 && queued + n_lines > options_.queue_reports) {
      is_refusing_ = true;
      return false;
    }
    queued += n_lines;
    items_.push_back({feed, std::move(intake), n_lines, nullptr});
  }
  intake = {};
  wake_.notify_one();
  return true;
}

void Writer::offer_last(const std::string& feed, feed::Intake&& intake) {
  const std::size_t n_lines = intake.n_places();
  {
    const std::lock_guard lock(mutex_);
    queued_[feed] += n_lines;
    items_.push_back({feed, std::move(intake), n_lines, nullptr});
  }
  wake_.notify_one();
}

void Writer::post(Task task) {
  {
    const std::lock_guard lock(mutex_);
    items_.push_back({{}, {}, 0, std::move(task)});
  }
  wake_.notify_one();
}

void Writer::stop() {
  {
    const std::lock_guard lock(mutex_);
    is_stopping_ = true;
  }
  wake_.notify_one();
}

Writer::Status Writer::status() const {
  const std::lock_guard lock(mutex_);
  Status out = status_;
  out.queued = queued_;
  return out;
}

// --- The thread ------------------------------------------------------------------------------

void Writer::run() {
  work();
  Result<void> end;
  if (given_up_) {
    std::size_t n_lost = 0;
    {
      const std::lock_guard lock(mutex_);
      for (const auto& [feed, n_lines] : queued_) n_lost += n_lines;
    }
    given_up_->what += fmt::format(
        " (what came since the last commit is lost, and {} lines that "
        "waited)",
        n_lost);
    end = tl::unexpected(*given_up_);
  }
  publish();
  if (options_.on_end) options_.on_end(std::move(end));
}

void Writer::work() {
  const auto write_interval =
      std::chrono::duration_cast<Clock::duration>(std::chrono::duration<double>(options_.write_s));
  auto next_commit = Clock::now() + write_interval;
  auto next_poll = Clock::now();
  auto next_retain = Clock::now();
  for (;;) {
    bool is_over = false;
    auto item = next(std::min(next_commit, next_poll), is_over);
    if (is_over) break;
    if (item && !handle(*item)) return;
    if (Clock::now() >= next_poll) {
      if (!attempt([&] { return recording_.follow_trials(); })) return;
      next_poll = Clock::now() + options_.poll;
      if (Clock::now() >= next_retain) next_retain = Clock::now() + retain();
    }
    const bool is_due = Clock::now() >= next_commit;
    if (is_due || (item && recording_.is_commit_due())) {
      if (is_dirty_ && !commit()) return;
      next_commit = Clock::now() + write_interval;
    }
    if (Clock::now() - published_ >= publish_interval) publish();
  }
  if (!attempt([&] { return recording_.close(); })) return;
  const std::lock_guard lock(mutex_);
  status_.last_commit_s = now_s();
}

// The next item, or none when the time has come.
std::optional<Writer::Item> Writer::next(Clock::time_point until, bool& is_over) {
  std::unique_lock lock(mutex_);
  const auto is_ready = [&] { return !items_.empty() || is_stopping_; };
  if (!is_ready()) {
    // About to sleep: displays should not lag behind for as long as that.
    lock.unlock();
    publish();
    lock.lock();
    wake_.wait_until(lock, until, is_ready);
  }
  if (items_.empty()) {
    is_over = is_stopping_;
    return std::nullopt;
  }
  Item item = std::move(items_.front());
  items_.pop_front();
  return item;
}

bool Writer::handle(Item& item) {
  const bool is_done = attempt([&]() -> Result<void> {
    if (item.task) return item.task(recording_);
    is_dirty_ = true;
    return recording_.take_in(item.feed, item.intake);
  });
  if (is_done) finished(item);
  return is_done;
}

void Writer::finished(const Item& item) {
  bool has_room = false;
  {
    const std::lock_guard lock(mutex_);
    if (!item.task) queued_[item.feed] -= item.n_lines;
    has_room = std::exchange(is_refusing_, false);
  }
  if (has_room && options_.on_room) options_.on_room();
}

bool Writer::commit() {
  const auto begun = Clock::now();
  if (!attempt([&] { return recording_.commit(); })) return false;
  is_dirty_ = false;
  const std::lock_guard lock(mutex_);
  status_.last_commit_s = now_s();
  status_.last_commit_took_s = std::chrono::duration<double>(Clock::now() - begun).count();
  return true;
}

// Does it, however often it takes. False: given up, as the end has come.
bool Writer::attempt(const std::function<Result<void>()>& action) {
  for (;;) {
    const Result<void> done = action();
    if (done) {
      tell_store(state_of_store());
      return true;
    }
    tell_store(done.error().line());
    publish();
    std::unique_lock lock(mutex_);
    if (is_stopping_ && !give_up_at_) give_up_at_ = Clock::now() + options_.give_up;
    const bool is_lost = done.error().code == Errc::not_found;  // the file: no waiting helps
    if (is_lost ||
        (give_up_at_ && (Clock::now() >= *give_up_at_ || !may_pass(done.error().code)))) {
      given_up_ = done.error();
      return false;
    }
    // stop() ends the wait, once.
    const bool was_stopping = is_stopping_;
    wake_.wait_for(lock, was_stopping ? options_.retry / 4 : options_.retry,
                   [&] { return is_stopping_ && !was_stopping; });
  }
}

// Of a store that takes what it is given: "ok", but for a while after it has refused rows.
std::string Writer::state_of_store() {
  const schema::Refused& refused = recording_.refused();
  if (std::exchange(n_refused_, refused.rows) != refused.rows)
    refused_until_ = Clock::now() + options_.tell_refused;
  if (Clock::now() >= refused_until_) return "ok";
  return fmt::format("it has refused rows, {} so far: {}", refused.rows, refused.latest);
}

void Writer::tell_store(const std::string& state) {
  {
    const std::lock_guard lock(mutex_);
    if (status_.store_state == state) return;
    status_.store_state = state;
  }
  if (state == "ok")
    options_.log(Level::info, "the store takes data again: recording goes on");
  else if (Clock::now() >= refused_until_)  // else the recording has told
    options_.log(Level::error, fmt::format("recording waits: {}", state));
}

// One step at each poll, so that commits come between. Recording does not wait for it: what could
// not go now goes later. Returns when to look again.
Writer::Clock::duration Writer::retain() {
  const auto has_more = recording_.retain();
  const std::string error = has_more ? std::string() : has_more.error().line();
  if (error != std::exchange(retain_error_, error) && !error.empty())
    options_.log(Level::warning, fmt::format("old cells are not removed: {}", error));
  return has_more && *has_more ? Clock::duration{} : options_.retain;
}

void Writer::publish() {
  auto counts = recording_.counts();
  published_ = Clock::now();
  const std::lock_guard lock(mutex_);
  status_.feeds = std::move(counts);
  status_.alive = published_;
}

}  // namespace roundel::record
