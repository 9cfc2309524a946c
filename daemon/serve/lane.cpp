#include "daemon/serve/lane.h"

#include <spdlog/spdlog.h>
#include <sys/stat.h>

#include <algorithm>
#include <ctime>
#include <exception>

namespace roundel::serve {

namespace {

// From so long on an answer may be older than the data, by so many times as much.
constexpr std::chrono::milliseconds long_to_work_out{200};
constexpr int times_as_old = 30;

/// Of the whole program: an answer has others work for it (pattern/relay.h). Waiting for processes
/// beside it costs nobody anything.
std::chrono::nanoseconds cpu_time() {
  timespec now{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
  return std::chrono::seconds(now.tv_sec) + std::chrono::nanoseconds(now.tv_nsec);
}

}  // namespace

std::shared_ptr<const Rendered> AnswerCache::find(const std::string& key, DataVersion version,
                                                  Clock::time_point now) {
  const auto found = by_key_.find(key);
  if (found == by_key_.end()) return {};
  const Entry& entry = *found->second;
  const bool is_good =
      entry.version == version || (entry.version.trials == version.trials && now < entry.until);
  if (!is_good) {
    drop(found->second);
    return {};
  }
  entries_.splice(entries_.begin(), entries_, found->second);
  return entries_.front().answer;
}

void AnswerCache::keep(const std::string& key, DataVersion version,
                       std::shared_ptr<const Rendered> answer, Clock::time_point until) {
  if (const auto found = by_key_.find(key); found != by_key_.end()) drop(found->second);
  const std::size_t bytes =
      2 * key.size() + answer->answer.body.size() + answer->gzipped.size() + sizeof(Entry);
  if (bytes > limit_bytes_) return;
  while (bytes_ + bytes > limit_bytes_) drop(std::prev(entries_.end()));
  entries_.push_front({key, version, until, std::move(answer), bytes});
  by_key_[key] = entries_.begin();
  bytes_ += bytes;
}

void AnswerCache::clear() {
  entries_.clear();
  by_key_.clear();
  bytes_ = 0;
}

void AnswerCache::drop(std::list<Entry>::iterator entry) {
  bytes_ -= entry->bytes;
  by_key_.erase(entry->key);
  entries_.erase(entry);
}

Lane::Lane(std::filesystem::path store, std::size_t queue_limit, std::size_t cache_bytes)
    : file_(std::move(store)), queue_limit_(queue_limit), cache_(cache_bytes) {
  thread_ = std::thread([this] { run(); });
}

Lane::~Lane() { stop(); }

bool Lane::submit(Job job) {
  {
    const std::lock_guard lock(mutex_);
    if (is_stopping_) return false;
    // Fifty clients that ask the same are answered by one working out and forty-nine look-ups:
    // those take no place.
    const auto is_waited_for = [&](const Job& other) { return other.key == job.key; };
    const bool is_asked_again =
        !job.key.empty() && std::any_of(queue_.begin(), queue_.end(), is_waited_for);
    if (!is_asked_again && n_works_ >= queue_limit_) return false;
    job.takes_place = !is_asked_again;
    n_works_ += job.takes_place;
    queue_.push_back(std::move(job));
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
    n_works_ = 0;
  }
  wake_.notify_one();
  if (thread_.joinable()) thread_.join();
}

void Lane::run() {
  for (;;) {
    Job job;
    {
      std::unique_lock lock(mutex_);
      wake_.wait(lock, [this] { return is_stopping_ || !queue_.empty(); });
      if (is_stopping_) return;
      job = std::move(queue_.front());
      queue_.pop_front();
      n_works_ -= job.takes_place;
    }
    std::shared_ptr<const Rendered> ready;
    try {
      ready = answer(job);
    } catch (const std::exception& fault) {
      // A fault of ours in one answer must not end the recording beside it.
      spdlog::error("web: an answer failed: {}", fault.what());
      ready = std::make_shared<const Rendered>(
          render(problem(500, "this answer failed; the log says how")));
    }
    job.done(std::move(ready));
  }
}

std::shared_ptr<const Rendered> Lane::answer(const Job& job) {
  const auto finish = [](Result<Answer> result) {
    return std::make_shared<const Rendered>(
        render(result ? std::move(*result) : problem(result.error())));
  };
  if (job.change) {
    auto writable = open_to_change();
    if (!writable) return finish(problem(503, writable.error().line()));
    return finish(job.change(*writable));
  }
  if (auto open = reopen_if_replaced(); !open) {
    return finish(problem(503, open.error().line()));
  }
  // Taken before the reading: a commit in between makes the kept answer too old, never too new.
  const auto data = store_->data_version();
  const auto trials = data ? store_->trials_version() : data;
  if (!trials) {
    store_.reset();
    return finish(tl::unexpected(trials.error()));
  }
  const DataVersion version{*data, *trials};
  if (!job.key.empty()) {
    if (auto known = cache_.find(job.key, version, AnswerCache::Clock::now())) return known;
  }
  const auto begun = cpu_time();
  auto made = finish(job.work(*store_));
  const auto took = cpu_time() - begun;
  auto until = AnswerCache::Clock::now();
  if (took >= long_to_work_out) until += times_as_old * took;
  if (!job.key.empty() && made->answer.status == 200) cache_.keep(job.key, version, made, until);
  return made;
}

Result<schema::Store> Lane::open_to_change() const {
  // Opening for writing would make a database where none is.
  if (auto there = schema::Store::open(file_, schema::Store::Access::read); !there) {
    return tl::unexpected(std::move(there.error()));
  }
  return schema::Store::open(file_, schema::Store::Access::write);
}

Result<void> Lane::reopen_if_replaced() {
  // A database moved away or restored from a backup is another file under the same name.
  struct stat now {};
  const bool exists = ::stat(file_.c_str(), &now) == 0;
  const std::pair<std::uint64_t, std::uint64_t> identity{now.st_dev, now.st_ino};
  if (store_ && exists && identity == identity_) return {};
  store_.reset();
  cache_.clear();
  auto opened = schema::Store::open(file_, schema::Store::Access::read);
  if (!opened) return tl::unexpected(std::move(opened.error()));
  store_.emplace(std::move(*opened));
  identity_ = identity;
  return {};
}

}  // namespace roundel::serve
