#include "daemon/record/recording.h"

#include <fmt/format.h>

#include <algorithm>
#include <cassert>
#include <chrono>
#include <deque>
#include <future>
#include <system_error>
#include <utility>

#include "daemon/record/address_key.h"
#include "daemon/record/feed_recording.h"
#include "roundel/pattern/summary.h"

namespace roundel::record {
namespace {

// In one transaction, so that nobody waits long for the end of it.
constexpr int hours_at_once = 4;
// Cells that may wait for being appended, at some 80 bytes each, and those that the store may keep
// of one transaction, at 24. Each transaction writes what may still change of its last half hour,
// and the next has to move that.
constexpr std::size_t most_waiting_cells = 60'000, most_kept_cells = 500'000;

std::string words(const schema::SiteRow& site) {
  return fmt::format("\"{}\" at {}, {}, antenna {} m above ground at {} m, country at {} m",
                     site.name, site.latitude_deg, site.longitude_deg, site.antenna_m,
                     site.ground_m, site.surface_m);
}

std::int64_t n_stored(const schema::Batch& batch) {
  const auto of = [](const schema::Tally& tally) {
    const auto stored = tally.find("stored");
    return stored == tally.end() ? 0 : stored->second;
  };
  std::int64_t n = of(batch.tally);
  for (const auto& [hour_s, tally] : batch.earlier) n += of(tally);
  return n;
}

// The trial that runs now, or nullptr.
const schema::Trial* running(const std::vector<schema::Trial>& trials) {
  for (const schema::Trial& trial : trials)
    if (!trial.stop_s) return &trial;
  return nullptr;
}

}  // namespace

struct Recording::Impl {
  struct Waiting {
    std::string feed;
    schema::Batch batch;
  };

  Options options;
  schema::Store store;
  std::unique_ptr<site::Viewpoint> viewpoint;
  FlightIds flight_ids;
  std::int64_t trials_version = -1;
  std::map<std::string, FeedRecording> feeds;
  std::deque<Waiting> waiting{};          // batches that are neither stored nor appended
  bool has_appended = false;              // to a transaction that goes on
  bool is_ending = false;                 // what is under way stores them
  std::future<Result<void>> under_way{};  // of the next; nothing else may use the store meanwhile
  // Reports in what has been appended, by feed: stored when that is committed.
  std::map<std::string, std::int64_t> n_appended{};
  schema::Refused refused{};

  FeedRecording::Context context() {
    return {store, *viewpoint, options.rules, flight_ids, options.is_file, options.log, [this] {
              return finish_commits();
            }};
  }

  // --- Commits ---

  // Goes on with the batches that wait, oldest first. Returns at once but where they are so many
  // that memory would grow.
  Result<void> commit_beside() {
    queue_pending();
    for (;;) {
      if (under_way.valid()) {
        if (n_waiting_cells() <= most_waiting_cells &&
            under_way.wait_for(std::chrono::seconds(0)) != std::future_status::ready)
          return {};
        if (auto ok = settle(under_way.get()); !ok) return ok;
      }
      if (waiting.empty()) return {};
      const schema::Batch& next = waiting.front().batch;
      is_ending = store.n_kept() + next.cells.size() > most_kept_cells;
      try {
        under_way = std::async(std::launch::async, [this, &next] {
          return is_ending ? store.commit(next) : store.append(next);
        });
      } catch (const std::system_error&) {  // no more threads
        return finish_commits();
      }
    }
  }

  // Until all that waits is stored, in one transaction: feeds that hear the same sky write to the
  // same pages.
  Result<void> finish_commits() {
    if (under_way.valid())
      if (auto ok = settle(under_way.get()); !ok) return ok;
    queue_pending();
    while (!waiting.empty() || has_appended) {
      is_ending = waiting.size() <= 1;
      static const schema::Batch none;
      const schema::Batch& next = waiting.empty() ? none : waiting.front().batch;
      if (auto ok = settle(is_ending ? store.commit(next) : store.append(next)); !ok) return ok;
    }
    return {};
  }

  // What became of the batch that was under way.
  Result<void> settle(const Result<void>& written) {
    if (!written) return written;
    has_appended = !is_ending;
    if (!waiting.empty()) {
      n_appended[waiting.front().feed] += n_stored(waiting.front().batch);
      waiting.pop_front();
    }
    if (is_ending) count_committed();
    return {};
  }

  void count_committed() {
    for (const auto& [name, n] : n_appended)
      if (const auto feed = feeds.find(name); feed != feeds.end()) feed->second.count_stored(n);
    n_appended.clear();
    const schema::Refused before = std::exchange(refused, store.refused());
    if (refused.rows == before.rows) return;
    std::int64_t n_reports = 0;
    for (auto& [name, feed] : feeds) {
      const auto count = [&](const schema::Refused& of) {
        const auto known = of.reports_of.find(feed.id());
        return known == of.reports_of.end() ? 0 : known->second;
      };
      const std::int64_t n = count(refused) - count(before);
      feed.count_refused(n);
      n_reports += n;
    }
    options.log(Level::error,
                fmt::format("the database refused {} rows, and {} reports are lost: {}",
                            refused.rows - before.rows, n_reports, refused.latest));
  }

  void queue_pending() {
    for (auto& [name, feed] : feeds)
      for (auto& pending = feed.pending(); !pending.empty(); pending.pop_front())
        waiting.push_back({name, std::move(pending.front())});
  }

  std::size_t n_waiting_cells() const {
    std::size_t n = 0;
    for (const Waiting& one : waiting) n += one.batch.cells.size();
    return n;
  }

  void tell_change(const std::string& name, const std::vector<schema::Trial>& before,
                   const std::vector<schema::Trial>& now) const {
    const schema::Trial *was = running(before), *is = running(now);
    if (is && (!was || was->id != is->id)) {
      options.log(Level::info, fmt::format("feed \"{}\": trial {} runs: {}", name, is->id,
                                           record::words(equipment_of(*is))));
    } else if (was && !is) {
      options.log(Level::warning,
                  fmt::format("feed \"{}\": trial {} was stopped; reports are not recorded until "
                              "roundel trial start",
                              name, was->id));
    }
  }
};

Recording::Recording(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
Recording::Recording(Recording&&) noexcept = default;
Recording& Recording::operator=(Recording&&) noexcept = default;
Recording::~Recording() = default;

Result<Recording> Recording::open(Options options) {
  auto viewpoint = site::Viewpoint::from(options.site);
  if (!viewpoint) return tl::unexpected(viewpoint.error());
  auto store = schema::Store::open(options.store, schema::Store::Access::record);
  if (!store) return tl::unexpected(store.error());
  // A writer thread tries again by itself, and must not be deaf to stop() for long.
  if (!options.is_file) store->wait_at_most(std::chrono::seconds(1));
  const auto site = store->site();
  if (!site) return tl::unexpected(site.error());
  if (!*site || **site != options.site) {
    if (*site)
      options.log(Level::warning,
                  fmt::format("the site was {}; it is {} now", words(**site), words(options.site)));
    const auto set = store->set_site(options.site);
    if (!set) return tl::unexpected(set.error());
  }
  if (auto ok = store->keep_summaries(pattern::make_summariser(*viewpoint)); !ok)
    return tl::unexpected(ok.error());
  if (options.hash_addresses) {
    const auto key = address_key(options.store);
    if (!key) return tl::unexpected(key.error());
    options.rules.address_key = *key;
  }
  const auto next = store->next_flight_id();
  if (!next) return tl::unexpected(next.error());
  const auto version = store->trials_version();
  if (!version) return tl::unexpected(version.error());
  return Recording(
      std::unique_ptr<Impl>(new Impl{std::move(options),
                                     std::move(*store),
                                     std::make_unique<site::Viewpoint>(std::move(*viewpoint)),
                                     FlightIds(*next),
                                     *version,
                                     {}}));
}

Result<void> Recording::add_feed(const config::Feed& feed) {
  if (auto ok = impl_->finish_commits(); !ok) return ok;
  const auto known = impl_->feeds.find(feed.name);
  if (known != impl_->feeds.end()) {
    if (known->second.config().clock_is_arrival == feed.clock_is_arrival) {
      known->second.change(feed);
      return {};
    }
    // Another clock is another recording.
    if (auto ok = remove_feed(feed.name); !ok) return ok;
  }
  auto made = FeedRecording::make(impl_->context(), feed);
  if (!made) return tl::unexpected(made.error());
  impl_->feeds.emplace(feed.name, std::move(*made));
  return {};
}

Result<void> Recording::remove_feed(const std::string& name) {
  const auto known = impl_->feeds.find(name);
  if (known == impl_->feeds.end()) return {};
  if (auto ok = impl_->finish_commits(); !ok) return ok;
  if (auto ok = known->second.close(impl_->context()); !ok) return ok;
  if (auto ok = impl_->finish_commits(); !ok) return ok;
  impl_->feeds.erase(known);
  return {};
}

Result<void> Recording::take_in(const std::string& feed, feed::Intake& intake) {
  const auto known = impl_->feeds.find(feed);
  assert(known != impl_->feeds.end());
  if (impl_->under_way.valid())
    if (auto ok = impl_->commit_beside(); !ok) return ok;
  return known->second.take_in(impl_->context(), intake);
}

bool Recording::is_commit_due() const {
  for (const auto& [name, feed] : impl_->feeds)
    if (feed.is_take_due()) return true;
  return false;
}

Result<void> Recording::commit() {
  // First what is left from before: as long as the store fails, batches do not grow in number.
  const bool is_beside = impl_->options.commits_beside;
  const auto go_on = [&] { return is_beside ? impl_->commit_beside() : impl_->finish_commits(); };
  if (auto ok = go_on(); !ok) return ok;
  for (auto& [name, feed] : impl_->feeds) feed.take();
  return go_on();
}

bool Recording::is_committing() const {
  return impl_->under_way.valid() &&
         impl_->under_way.wait_for(std::chrono::seconds(0)) != std::future_status::ready;
}

Result<void> Recording::follow_trials() {
  if (auto ok = impl_->finish_commits(); !ok) return ok;
  const auto version = impl_->store.trials_version();
  if (!version) return tl::unexpected(version.error());
  if (*version == impl_->trials_version) return {};
  const auto all = impl_->store.trials();
  if (!all) return tl::unexpected(all.error());
  impl_->trials_version = *version;
  for (auto& [name, feed] : impl_->feeds) {
    std::vector<schema::Trial> trials;
    for (const schema::Trial& trial : *all)
      if (trial.feed == name) trials.push_back(trial);
    const std::vector<schema::Trial> before = feed.trials();
    feed.set_trials(std::move(trials));
    impl_->tell_change(name, before, feed.trials());
  }
  return {};
}

Result<bool> Recording::retain() {
  if (!impl_->options.keep.hours && !impl_->options.keep.bytes) return false;
  if (auto ok = impl_->finish_commits(); !ok) return tl::unexpected(ok.error());
  return impl_->store.drop_cells(impl_->options.keep);
}

Result<void> Recording::finish_commits() { return impl_->finish_commits(); }

Result<void> Recording::close() {
  // Beside a commit that goes on, and stored together with what waits for it.
  for (auto& [name, feed] : impl_->feeds)
    if (auto ok = feed.close(impl_->context()); !ok) return ok;
  if (auto ok = impl_->finish_commits(); !ok) return ok;
  for (auto& [name, feed] : impl_->feeds)
    if (auto ok = feed.end_trial(impl_->context()); !ok) return ok;
  // What a file's last commits have changed. A live recorder goes on with it when it runs again.
  for (bool has_more = impl_->options.is_file; has_more;) {
    const auto summarised = impl_->store.summarise(hours_at_once);
    if (!summarised) return tl::unexpected(summarised.error());
    has_more = *summarised;
  }
  return {};
}

std::vector<Recording::Counts> Recording::counts() const {
  std::vector<Counts> out;
  for (const auto& [name, feed] : impl_->feeds)
    out.push_back({name, feed.live(), feed.rejects(), feed.last_report_s()});
  return out;
}

const schema::Refused& Recording::refused() const { return impl_->refused; }

std::vector<schema::Id> Recording::trials_used(const std::string& feed) const {
  const auto known = impl_->feeds.find(feed);
  return known == impl_->feeds.end() ? std::vector<schema::Id>{} : known->second.trials_used();
}

const schema::Store& Recording::store() const {
  if (impl_->under_way.valid()) impl_->under_way.wait();
  return impl_->store;
}

}  // namespace roundel::record
