#include "daemon/serve/desk.h"

#include <algorithm>
#include <utility>

namespace roundel::serve {

namespace {

// Of what was asked for last: some views of a page that somebody comes back to.
constexpr std::size_t most_lasting = 8;

}  // namespace

struct Desk::Visitor {
  Work work;
  Done done;
  std::string client;
  std::optional<Origin> asked{};  // when it was attended to
  bool is_gone = false;           // guarded by the desk's mutex
};

Desk::Desk(Options options)
    : options_(std::move(options)),
      cache_(options_.cache_bytes, options_.patience),
      store_(options_.store),
      drawn_(options_),
      slow_(options_) {
  for (Worker* worker : {&drawn_, &slow_})
    worker->thread = std::thread([this, worker] { run(*worker); });
  thread_ = std::thread([this] { run(); });
}

Desk::~Desk() { stop(); }

Desk::Ticket Desk::ask(Work work, Done done, std::string client) {
  auto ticket = std::make_shared<Visitor>(
      Visitor{.work = std::move(work), .done = std::move(done), .client = std::move(client)});
  {
    const std::lock_guard lock(mutex_);
    if (!is_stopping_) asked_.push_back(ticket);
  }
  wake_.notify_one();
  return ticket;
}

void Desk::leave(const Ticket& ticket) {
  const std::lock_guard lock(mutex_);
  if (ticket->work.change) return;
  ticket->is_gone = true;
  std::erase(asked_, ticket);
  const auto found = std::ranges::find_if(
      under_way_, [&](const auto& entry) { return std::erase(entry.second->waiting, ticket) > 0; });
  if (found == under_way_.end() || !found->second->waiting.empty()) return;
  const JobPtr job = found->second;
  for (Worker* worker : {&drawn_, &slow_}) {
    if (worker->running == job) {
      clear_the_way(*worker);
    } else if (!job->is_background) {
      worker->queue.remove(job);
      forget(job);
    }
  }
}

void Desk::stop() {
  std::deque<Ticket> unheard;
  std::map<Name, JobPtr> unanswered;
  {
    const std::lock_guard lock(mutex_);
    is_stopping_ = true;
    unheard.swap(asked_);
    unanswered.swap(under_way_);
    for (Worker* worker : {&drawn_, &slow_}) worker->is_over = true;
  }
  wake_.notify_one();
  if (thread_.joinable()) thread_.join();
  for (Worker* worker : {&drawn_, &slow_}) {
    worker->wake.notify_one();
    if (worker->thread.joinable()) worker->thread.join();
  }
}

// --- The desk's thread -----------------------------------------------------------------------

void Desk::run() {
  auto next_look = Clock::now() + options_.first_look;
  for (;;) {
    Ticket asked;
    {
      std::unique_lock lock(mutex_);
      wake_.wait_until(lock, next_look, [this] { return is_stopping_ || !asked_.empty(); });
      if (is_stopping_) return;
      if (!asked_.empty()) {
        asked = std::move(asked_.front());
        asked_.pop_front();
      }
    }
    if (asked) attend(asked);
    if (Clock::now() >= next_look) {
      look();
      next_look = Clock::now() + options_.between_looks;
    }
  }
}

void Desk::attend(const Ticket& ticket) {
  const auto& [work, done, client, asked, is_gone] = *ticket;
  visited_ = Clock::now();
  const auto now = origin_now();
  if (!now) return done({rendered(problem(503, now.error().line()))});
  std::optional<AnswerCache::Found> found;
  if (!work.change) {
    const std::lock_guard lock(mutex_);
    found = cache_.find(work.key, now->version, now->begun);
    if (work.must_be_new && found && found->age) found.reset();
    if (found && found->due) later(*found->due, *now);
  }
  if (found) {
    Given given{found->answer};
    if (found->age) given.age = std::chrono::duration_cast<std::chrono::seconds>(*found->age);
    done(std::move(given));
  } else if (work.pace == Pace::quick && !work.change) {
    const Worked worked = work_out(work, store_);
    done({worked.answer});
    const std::lock_guard lock(mutex_);
    keep(work, *now, worked);
  } else {
    begin(ticket, *now);
  }
}

void Desk::begin(const Ticket& ticket, const Origin& now) {
  std::optional<JobPtr> refused;
  {
    const std::lock_guard lock(mutex_);
    if (is_stopping_ || ticket->is_gone) return;
    ticket->asked = now;
    const Work& work = ticket->work;
    Worker& worker = worker_for(work);
    JobPtr job;
    if (!work.change) {
      JobPtr& known = under_way_[name_of(work, now)];
      if (known) {
        known->waiting.push_back(ticket);
        worker.queue.share(ticket->client, known);
        return;
      }
      job = known = std::make_shared<Job>(Job{work, now, {ticket}});
    } else {
      job = std::make_shared<Job>(Job{work, now, {ticket}});
    }
    refused = worker.queue.push(ticket->client, std::move(job));
    if (refused) forget(*refused);
    clear_the_way(worker);
    worker.wake.notify_one();
  }
  if (!refused) return;
  for (const Ticket& one : (*refused)->waiting) one->done({});
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

// --- The workers -----------------------------------------------------------------------------

void Desk::run(Worker& worker) {
  for (;;) {
    JobPtr job;
    {
      std::unique_lock lock(mutex_);
      worker.wake.wait(lock, [&] { return is_stopping_ || (job = next(worker)); });
      if (is_stopping_) return;
      worker.running = job;
      worker.is_over = false;
    }
    finished(worker, *job, work_out(job->work, worker.store));
    // After the answer: whoever waits for it need not wait for this, too.
    if (job->work.pace == Pace::slow) give_back_memory();
  }
}

Desk::JobPtr Desk::next(Worker& worker) {
  if (!worker.queue.empty()) return worker.queue.pop();
  while (&worker == &slow_ && !background_.empty()) {
    auto [work, origin] = std::move(background_.front());
    background_.pop_front();
    // It may have been worked out since.
    const auto kept = cache_.origin(work.key);
    if (kept && kept->version == origin.version) continue;
    JobPtr& job = under_way_[name_of(work, origin)];
    if (job) continue;
    job = std::make_shared<Job>(Job{std::move(work), origin, {}, true});
    return job;
  }
  return nullptr;
}

void Desk::finished(Worker& worker, const Job& job, const Worked& worked) {
  std::vector<Ticket> waiting;
  {
    const std::lock_guard lock(mutex_);
    const JobPtr running = std::exchange(worker.running, nullptr);
    if (worker.is_over) return;
    forget(running);
    waiting.swap(running->waiting);
    keep(job.work, job.origin, worked);
  }
  const auto now = Clock::now();
  for (const Ticket& one : waiting) {
    Given given{worked.answer};
    const bool is_older =
        one->asked->begun > job.origin.begun && one->asked->version != job.origin.version;
    if (is_older)
      given.age = std::chrono::duration_cast<std::chrono::seconds>(now - job.origin.begun);
    one->done(std::move(given));
  }
}

void Desk::keep(const Work& work, const Origin& origin, const Worked& worked) {
  if (worked.answer->answer.status != 200 || work.key.empty()) return;
  cache_.keep(work.key, work, origin, worked.answer, worked.took);
  for (const auto& [key, answer] : worked.others)
    cache_.keep(key, work, origin, answer, worked.took);
}

void Desk::forget(const JobPtr& job) {
  const auto at = under_way_.find(name_of(job->work, job->origin));
  if (at != under_way_.end() && at->second == job) under_way_.erase(at);
}

// Gives up what runs and nobody waits for; background work only where somebody waits for its end.
void Desk::clear_the_way(Worker& worker) {
  const JobPtr& job = worker.running;
  if (!job || worker.is_over || !job->waiting.empty()) return;
  if (job->is_background && worker.queue.empty()) return;
  worker.is_over = true;
  forget(job);
  if (job->is_background) background_.emplace_front(job->work, job->origin);
}

// --- The background --------------------------------------------------------------------------

void Desk::later(const Work& work, const Origin& now) {
  const bool is_known = std::ranges::any_of(
      background_, [&](const auto& entry) { return entry.first.key == work.key; });
  if (is_known || background_.size() >= options_.queue_limit) return;
  background_.emplace_back(work, now);
  slow_.wake.notify_one();
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
  const std::lock_guard lock(mutex_);
  for (const Work& work : wanted) {
    const auto [last, is_new] = tried_.try_emplace(work.key, *now);
    const bool is_due =
        is_new || !last->second.version.is_near(now->version) ||
        (last->second.version != now->version && now->begun - last->second.begun >= options_.renew);
    if (!is_due) continue;
    last->second = *now;
    later(work, *now);
  }
}

}  // namespace roundel::serve
