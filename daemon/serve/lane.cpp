#include "daemon/serve/lane.h"

#include <malloc.h>
#include <sched.h>
#include <spdlog/spdlog.h>

#include <ctime>
#include <exception>
#include <utility>

namespace roundel::serve {

namespace {

std::chrono::nanoseconds cpu_time() {
  timespec now{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
  return std::chrono::seconds(now.tv_sec) + std::chrono::nanoseconds(now.tv_nsec);
}

// What a verdict has used the allocator would keep for the next: 100 MB, in an hour.
void give_back_memory() {
#ifdef __GLIBC__
  ::malloc_trim(0);
#endif
}

Worked answer_to(const Work& work, CurrentStore& store) {
  if (work.change) {
    auto writable = store.open_to_change();
    if (!writable) return {rendered(problem(503, writable.error().line()))};
    return {rendered(work.change(*writable))};
  }
  const auto readable = store.open();
  if (!readable) return {rendered(problem(503, readable.error().line()))};
  // What the next commit outdates is not worth packing well.
  const Effort effort = work.may_age ? Effort::usual : Effort::little;
  if (!work.many) return {rendered(work.work(**readable), effort)};
  auto several = work.many(**readable);
  if (!several) return {rendered(problem(several.error()))};
  Worked out{rendered(Answer{})};
  for (KeyedAnswer& one : *several) {
    Rendered made = render(std::move(one.answer));
    // Unpacked for the rare client that wants it so: they are many, and wait long.
    if (!made.gzipped.empty()) std::string().swap(made.answer.body);
    out.others.emplace_back(std::move(one.key), std::make_shared<const Rendered>(std::move(made)));
  }
  return out;
}

}  // namespace

Worked work_out(const Work& work, CurrentStore& store) {
  const auto begun = cpu_time();
  try {
    Worked made = answer_to(work, store);
    made.took = cpu_time() - begun;
    return made;
  } catch (const std::exception& fault) {
    // A fault of ours in one answer must not end the recording beside it.
    spdlog::error("web: an answer failed: {}", fault.what());
    return {rendered(problem(500, "this answer failed; the log says how")), {}};
  }
}

void Turn::take(bool is_hurried) {
  std::unique_lock lock(mutex_);
  n_hurried_ += is_hurried;
  // A plain mutex would go to who gives it back and takes it again before the other is awake.
  free_.wait(lock, [&] { return !is_taken_ && (is_hurried || n_hurried_ == 0); });
  n_hurried_ -= is_hurried;
  is_taken_ = true;
}

void Turn::give_back() {
  {
    const std::lock_guard lock(mutex_);
    is_taken_ = false;
  }
  free_.notify_all();
}

std::size_t Turn::n_hurried() const {
  const std::lock_guard lock(mutex_);
  return n_hurried_;
}

Lane::Lane(std::filesystem::path store, std::size_t queue_limit, Turn& large, Priority priority)
    : queue_limit_(queue_limit), large_(large), store_(std::move(store)) {
  thread_ = std::thread([this, priority] { run(priority); });
}

Lane::~Lane() { stop(); }

bool Lane::submit(Work work, Done done) {
  {
    const std::lock_guard lock(mutex_);
    if (is_stopping_ || queue_.size() >= queue_limit_) return false;
    queue_.push_back({std::move(work), std::move(done)});
  }
  wake_.notify_one();
  return true;
}

void Lane::stop() {
  std::deque<Job> dropped;
  {
    const std::lock_guard lock(mutex_);
    is_stopping_ = true;
    dropped.swap(queue_);
  }
  wake_.notify_one();
  if (thread_.joinable()) thread_.join();
}

void Lane::run(Priority priority) {
  // Where it is not allowed the work is done all the same.
  const sched_param lowest{};
  if (priority == Priority::idle) (void)::sched_setscheduler(0, SCHED_IDLE, &lowest);
  for (;;) {
    Job job;
    {
      std::unique_lock lock(mutex_);
      wake_.wait(lock, [this] { return is_stopping_ || !queue_.empty(); });
      if (is_stopping_) return;
      job = std::move(queue_.front());
      queue_.pop_front();
    }
    if (job.work.is_large) large_.take(priority == Priority::usual);
    job.done(work_out(job.work, store_));
    // After the answer: whoever waits for it need not wait for this, too.
    if (job.work.pace == Pace::slow) give_back_memory();
    if (job.work.is_large) large_.give_back();
  }
}

}  // namespace roundel::serve
