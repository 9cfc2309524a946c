#include "daemon/serve/desk.h"

#include <algorithm>
#include <utility>

namespace roundel::serve {

namespace {

// Of what was asked for last: some views of a page that somebody comes back to.
constexpr std::size_t most_lasting = 8;

}  // namespace

Desk::Desk(Options options)
    : options_(std::move(options)),
      cache_(options_.cache_bytes, options_.patience),
      store_(options_.store),
      drawn_(options_.store, options_.queue_limit, large_),
      slow_(options_.store, options_.queue_limit, large_),
      idle_(options_.store, options_.queue_limit, large_, Lane::Priority::idle) {
  thread_ = std::thread([this] { run(); });
}

Desk::~Desk() { stop(); }

void Desk::ask(Work work, Done done) {
  {
    const std::lock_guard lock(mutex_);
    if (is_stopping_) return;
    asked_.push_back({std::move(work), std::move(done)});
  }
  wake_.notify_one();
}

void Desk::stop() {
  std::deque<Asked> unheard;
  std::map<Name, UnderWay> unanswered;
  {
    const std::lock_guard lock(mutex_);
    is_stopping_ = true;
    unheard.swap(asked_);
    unanswered.swap(under_way_);
  }
  wake_.notify_one();
  if (thread_.joinable()) thread_.join();
  for (Lane* lane : {&drawn_, &slow_, &idle_}) lane->stop();
}

// --- The thread ------------------------------------------------------------------------------

void Desk::run() {
  auto next_look = Clock::now() + options_.first_look;
  for (;;) {
    std::optional<Asked> asked;
    {
      std::unique_lock lock(mutex_);
      wake_.wait_until(lock, next_look, [this] { return is_stopping_ || !asked_.empty(); });
      if (is_stopping_) return;
      if (!asked_.empty()) {
        asked = std::move(asked_.front());
        asked_.pop_front();
      }
    }
    if (asked) attend(std::move(*asked));
    if (Clock::now() >= next_look) {
      look();
      next_look = Clock::now() + options_.between_looks;
    }
  }
}

void Desk::attend(Asked asked) {
  auto& [work, done] = asked;
  visited_ = Clock::now();
  if (work.change) {
    // It waits where somebody else is writing.
    const bool is_taken =
        drawn_.submit(work, [done = done](const Worked& worked) { done({worked.answer}); });
    if (!is_taken) done({});
    return;
  }
  const auto now = origin_now();
  if (!now) return done({rendered(problem(503, now.error().line()))});
  std::optional<AnswerCache::Found> found;
  {
    const std::lock_guard lock(mutex_);
    found = cache_.find(work.key, now->version, now->begun);
  }
  if (work.must_be_new && found && found->age) found.reset();
  if (found) {
    Given given{found->answer};
    if (found->age) given.age = std::chrono::duration_cast<std::chrono::seconds>(*found->age);
    done(std::move(given));
    if (found->due) begin(idle_, *found->due, *now, nullptr);
  } else if (work.pace == Pace::quick) {
    const Worked worked = work_out(work, store_);
    done({worked.answer});
    finished(work, *now, false, worked);
  } else {
    begin(work.pace == Pace::slow ? slow_ : drawn_, work, *now, std::move(done));
  }
}

// Before the reading: a commit in between makes the kept answer too old, never too new.
Result<Desk::Origin> Desk::origin_now() {
  const auto store = store_.open();
  if (!store) return tl::unexpected(store.error());
  const auto data = (*store)->data_version();
  const auto trials = data ? (*store)->trials_version() : data;
  if (!trials) {
    store_.close();
    return tl::unexpected(trials.error());
  }
  return Origin{{*data, *trials, store_.n_opened()}, Clock::now()};
}

Desk::Name Desk::name_of(const Work& work, const Origin& origin) {
  const DataVersion& version = origin.version;
  return {work.key, version.trials, version.file, work.must_be_new ? version.data : 0};
}

// --- Working out -----------------------------------------------------------------------------

void Desk::begin(Lane& lane, const Work& work, const Origin& now, Done done) {
  const bool is_idle = &lane == &idle_;
  {
    const std::lock_guard lock(mutex_);
    if (is_stopping_) return;
    // It may have ended since it was found to be due.
    const auto kept = cache_.origin(work.key);
    if (is_idle && kept && kept->version == now.version) return;
    UnderWay& way = under_way_[name_of(work, now)];
    if (done) way.waiting.push_back({std::move(done), now});
    // Somebody who waits does not wait for what runs only when nothing else does.
    if (is_idle ? way.n_threads > 0 : way.is_hurried) return;
    way.is_hurried = !is_idle;
    ++way.n_threads;
  }
  const bool is_taken = lane.submit(work, [this, work, now, is_idle](const Worked& worked) {
    finished(work, now, is_idle, worked);
  });
  if (!is_taken) finished(work, now, is_idle, {});
}

void Desk::finished(const Work& work, const Origin& origin, bool was_idle, const Worked& worked) {
  std::vector<Waiting> waiting;
  {
    const std::lock_guard lock(mutex_);
    const auto found = under_way_.find(name_of(work, origin));
    if (found != under_way_.end()) {
      UnderWay& way = found->second;
      waiting.swap(way.waiting);
      if (!was_idle) way.is_hurried = false;
      if (--way.n_threads == 0) under_way_.erase(found);
    }
    if (worked.answer && worked.answer->answer.status == 200 && !work.key.empty()) {
      cache_.keep(work.key, work, origin, worked.answer, worked.took);
      for (const auto& [key, answer] : worked.others)
        cache_.keep(key, work, origin, answer, worked.took);
    }
  }
  const auto now = Clock::now();
  for (const Waiting& one : waiting) {
    Given given{worked.answer};
    const bool is_older = one.asked.begun > origin.begun && one.asked.version != origin.version;
    if (is_older) given.age = std::chrono::duration_cast<std::chrono::seconds>(now - origin.begun);
    one.done(std::move(given));
  }
}

void Desk::look() {
  if (!options_.usual || Clock::now() - visited_ > options_.visited) return;
  const auto now = origin_now();
  if (!now) return;  // whoever asks is told why
  const auto store = store_.open();
  if (!store) return;
  std::vector<Work> wanted = options_.usual(**store);
  std::map<std::string, Origin> tried;
  {
    const std::lock_guard lock(mutex_);
    for (Work& work : cache_.lasting(most_lasting)) wanted.push_back(std::move(work));
    // What failed was not kept, and is not to be tried every minute.
    for (const Work& work : wanted) {
      if (const auto kept = cache_.origin(work.key))
        tried.emplace(work.key, *kept);
      else if (const auto before = tried_.find(work.key); before != tried_.end())
        tried.insert(*before);
    }
  }
  tried_ = std::move(tried);
  for (const Work& work : wanted) {
    const auto [last, is_new] = tried_.try_emplace(work.key, *now);
    const bool is_due =
        is_new || !last->second.version.is_near(now->version) ||
        (last->second.version != now->version && now->begun - last->second.begun >= options_.renew);
    if (!is_due) continue;
    last->second = *now;
    begin(idle_, work, *now, nullptr);
  }
}

}  // namespace roundel::serve
