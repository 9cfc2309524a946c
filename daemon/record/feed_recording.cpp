#include "daemon/record/feed_recording.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <unordered_set>

#include "daemon/record/may_pass.h"
#include "daemon/record/plausibility.h"
#include "roundel/time.h"

namespace roundel::record {
namespace {

// More than the recorder's chain needs; a feed whose time stands still fills it.
constexpr std::size_t most_held = 4096;
// Reports between two takes at most: bounds what a batch holds.
constexpr std::int64_t most_between_takes = 200'000;
constexpr std::size_t most_cells_between_takes = 30'000;
constexpr std::int64_t seconds_per_hour = 3600;
// What of the past the recorder wants to see after a restart: a flight break, and some.
constexpr std::int64_t tail_s = 2400;

std::int64_t whole(double time_s) { return static_cast<std::int64_t>(std::floor(time_s)); }

std::vector<schema::Trial> of_feed(std::vector<schema::Trial> all, const std::string& feed) {
  std::erase_if(all, [&](const schema::Trial& trial) { return trial.feed != feed; });
  return all;
}

Result<void> resume(const schema::Store& store, const std::vector<schema::Flight>& open,
                    std::int64_t recorded_to_s, Recorder& recorder) {
  schema::Selection recent;
  recent.from_s = static_cast<double>(recorded_to_s - tail_s);
  std::unordered_set<schema::Id> flights;
  for (const schema::Flight& flight : open) {
    flights.insert(flight.id);
    if (std::find(recent.trials.begin(), recent.trials.end(), flight.trial) == recent.trials.end())
      recent.trials.push_back(flight.trial);
  }
  std::vector<schema::Cell> tail;
  const auto read = store.each_cell(recent, [&](const schema::Cell& cell) {
    if (flights.contains(cell.flight)) tail.push_back(cell);
    return true;
  });
  if (!read) return read;
  recorder.resume(open, tail);
  return {};
}

}  // namespace

FeedRecording::FeedRecording(const Context& context, const config::Feed& feed,
                             Recorder::Options options)
    : feed_(feed),
      id_(options.feed),
      is_file_(context.is_file),
      recorder_(std::move(options), context.viewpoint, context.flight_ids),
      clock_(context.rules) {}

Result<FeedRecording> FeedRecording::make(const Context& context, const config::Feed& feed) {
  const auto id = context.store.feed_id(feed.name);
  if (!id) return tl::unexpected(id.error());
  auto recorded = context.store.coverage(*id);
  if (!recorded) return tl::unexpected(recorded.error());
  const auto open = context.store.open_flights(*id);
  if (!open) return tl::unexpected(open.error());
  std::int64_t recorded_to_s = 0;
  for (const schema::Coverage& coverage : *recorded)
    recorded_to_s = std::max(recorded_to_s, coverage.to_s);

  FeedRecording out(context, feed,
                    {.feed = *id,
                     .rules = context.rules,
                     .clock_is_arrival = feed.clock_is_arrival && !context.is_file,
                     .recorded = std::move(*recorded)});
  out.recorded_to_s_ = recorded_to_s;
  if (!open->empty()) {
    const auto resumed = resume(context.store, *open, recorded_to_s, out.recorder_);
    if (!resumed) return tl::unexpected(resumed.error());
  }
  const auto loaded = out.reload_trials(context);
  if (!loaded) return tl::unexpected(loaded.error());
  return out;
}

void FeedRecording::change(const config::Feed& feed) {
  feed_ = feed;
  is_decided_ = false;
  from_s_ = to_s_ = 0;
}

Result<void> FeedRecording::reload_trials(const Context& context) {
  auto all = context.store.trials();
  if (!all) return tl::unexpected(all.error());
  set_trials(of_feed(std::move(*all), feed_.name));
  return {};
}

void FeedRecording::set_trials(std::vector<schema::Trial> trials) {
  trials_ = std::move(trials);
  recorder_.set_trials(trials_);
}

// --- Which trial -----------------------------------------------------------------------------

double FeedRecording::time_of(const feed::Arrival& arrival) const {
  const bool is_arrival = feed_.clock_is_arrival && !is_file_;
  return is_arrival ? arrival.arrival_s : arrival.report.time_s.value_or(arrival.arrival_s);
}

Equipment FeedRecording::wanted() const {
  return {feed_.antenna, feed_.receiver, feed_.mount, feed_.rotation_deg};
}

bool FeedRecording::is_settled(double time_s) const {
  return is_decided_ && (!is_file_ || (time_s >= from_s_ && time_s < to_s_));
}

void FeedRecording::use(const schema::Trial& trial) {
  is_decided_ = true;
  from_s_ = static_cast<double>(trial.start_s);
  to_s_ =
      trial.stop_s ? static_cast<double>(*trial.stop_s) : std::numeric_limits<double>::infinity();
  if (used_.empty() || used_.back() != trial.id) {
    used_.push_back(trial.id);
    has_open_end_ = false;
  }
}

// The earliest of the last n held, and this one.
double FeedRecording::held_since(std::size_t n, double time_s) const {
  for (std::size_t i = held_.size() - std::min(n, held_.size()); i < held_.size(); ++i)
    time_s = std::min(time_s, time_of(held_[i]));
  return time_s;
}

void FeedRecording::flush_held() {
  for (const feed::Arrival& one : held_) recorder_.accept(one.report, one.arrival_s);
  held_.clear();
}

// True: the recorder may have the report. False: it is held.
Result<bool> FeedRecording::settle(const Context& context, const feed::Arrival& arrival,
                                   double time_s) {
  switch (clock_.judge(time_s)) {
    case FeedClock::Verdict::hold:
      if (held_.size() >= most_held) flush_held();
      held_.push_back(arrival);
      return false;
    case FeedClock::Verdict::leap: {
      const std::size_t n = clock_.chain_length() - 1;
      if (auto ok = decide(context, held_since(n, time_s)); !ok) return tl::unexpected(ok.error());
      for (std::size_t i = held_.size() - std::min(n, held_.size()); i < held_.size(); ++i)
        clock_.follow(time_of(held_[i]));
      clock_.follow(time_s);
      flush_held();
      return true;
    }
    case FeedClock::Verdict::accept:
    case FeedClock::Verdict::set_back: {
      if (auto ok = decide(context, time_s); !ok) return tl::unexpected(ok.error());
      flush_held();
      return true;
    }
    case FeedClock::Verdict::stale:
      return true;
  }
  return true;
}

Result<void> FeedRecording::decide(const Context& context, double time_s) {
  if (is_settled(time_s)) return {};
  if (auto ok = context.await_store(); !ok) return ok;
  const std::int64_t at_s = whole(time_s);
  const TrialChoice choice = choose_trial(
      trials_, wanted(), at_s, std::max(recorded_to_s_, whole(recorder_.feed_time_s())), is_file_);
  switch (choice.kind) {
    case TrialChoice::Kind::use:
      use(*choice.trial);
      return {};
    case TrialChoice::Kind::use_other:
      context.log(
          Level::warning,
          fmt::format("feed \"{}\": trial {} has {}, the configuration {}; the trial counts, "
                      "roundel trial start changes it",
                      feed_.name, choice.trial->id, words(equipment_of(*choice.trial)),
                      words(wanted())));
      use(*choice.trial);
      return {};
    case TrialChoice::Kind::conflict:
      return fail(
          Errc::out_of_range,
          fmt::format("feed \"{}\" has trial {} from {}, with {}, but the file is said to be "
                      "of {}",
                      feed_.name, choice.trial->id,
                      format_time(static_cast<double>(choice.trial->start_s)),
                      words(equipment_of(*choice.trial)), words(wanted())),
          {}, "give that equipment, or load the part before or after it");
    case TrialChoice::Kind::start:
    case TrialChoice::Kind::extend:
    case TrialChoice::Kind::reopen: {
      auto made = make_trial(context, choice, at_s);
      if (made || is_file_ || may_pass(made.error().code)) return made;
      // Nothing a live feed could wait for: it goes on, its reports counted as without a trial.
      context.log(Level::error, fmt::format("feed \"{}\": {}", feed_.name, made.error().line()));
      is_decided_ = true;
      return {};
    }
  }
  return {};
}

Result<void> FeedRecording::make_trial(const Context& context, const TrialChoice& choice,
                                       std::int64_t time_s) {
  schema::Id id{};
  if (choice.kind == TrialChoice::Kind::start) {
    schema::Trial trial{.id = 0,
                        .feed = feed_.name,
                        .antenna = feed_.antenna,
                        .receiver = feed_.receiver,
                        .mount = feed_.mount,
                        .rotation_deg = feed_.rotation_deg,
                        .start_s = time_s,
                        .stop_s = choice.stop_s,
                        .note = std::string(is_file_ ? note_file : note_configuration)};
    const auto started = context.store.start_trial(trial);
    if (!started) return tl::unexpected(started.error());
    id = started->id;
    context.log(Level::info,
                fmt::format("feed \"{}\": trial {} starts at {}: {}", feed_.name, id,
                            format_time(static_cast<double>(time_s)), words(wanted())));
  } else {
    id = choice.trial->id;
    const auto changed = choice.kind == TrialChoice::Kind::extend
                             ? context.store.extend_trial(id, time_s)
                             : context.store.set_trial_stop(id, choice.stop_s);
    if (!changed) return tl::unexpected(changed.error());
  }
  if (auto ok = reload_trials(context); !ok) return ok;
  for (const schema::Trial& trial : trials_)
    if (trial.id == id) use(trial);
  has_open_end_ = is_file_ && choice.kind != TrialChoice::Kind::extend;
  return {};
}

Result<void> FeedRecording::end_trial(const Context& context) {
  if (!has_open_end_ || used_.empty()) return {};
  const std::int64_t stop_s = whole(recorder_.feed_time_s()) + 1;
  for (const schema::Trial& trial : trials_) {
    if (trial.id != used_.back() || stop_s <= trial.start_s) continue;
    if (trial.stop_s && *trial.stop_s <= stop_s) continue;
    if (auto ok = context.store.set_trial_stop(trial.id, stop_s); !ok) return ok;
  }
  has_open_end_ = false;
  return reload_trials(context);
}

// --- Lines -----------------------------------------------------------------------------------

Result<void> FeedRecording::take_in(const Context& context, feed::Intake& intake) {
  if (std::exchange(intake.interrupted, false)) {
    flush_held();
    recorder_.interrupted();
  }
  for (std::size_t i = 0; i < intake.n_rejected.size(); ++i) {
    const int count = std::exchange(intake.n_rejected[i], 0);
    if (count > 0) recorder_.reject(static_cast<feed::Reject>(i), count);
    n_since_take_ += count;
  }
  for (std::size_t i = 0; i < intake.reports.size(); ++i) {
    const feed::Arrival& arrival = intake.reports[i];
    const double time_s = time_of(arrival);
    if (!is_settled(time_s) && time_s >= 0 && time_s <= latest_time_s &&
        !implausible(arrival.report)) {
      const auto may_pass_on = settle(context, arrival, time_s);
      if (!may_pass_on) {
        intake.reports.erase(intake.reports.begin(),
                             intake.reports.begin() + static_cast<std::ptrdiff_t>(i));
        return tl::unexpected(may_pass_on.error());
      }
      if (!*may_pass_on) continue;
    }
    recorder_.accept(arrival.report, arrival.arrival_s);
  }
  if (!intake.reports.empty()) last_report_s_ = intake.reports.back().arrival_s;
  n_since_take_ += static_cast<std::int64_t>(intake.reports.size());
  intake.reports.clear();
  return {};
}

bool FeedRecording::is_take_due() const {
  if (n_since_take_ > most_between_takes || recorder_.n_untaken_cells() > most_cells_between_takes)
    return true;
  const double feed_time_s = recorder_.feed_time_s();
  return feed_time_s > 0 && hour_ > 0 && whole(feed_time_s) / seconds_per_hour != hour_;
}

void FeedRecording::count_rejects(const schema::Tally& tally) {
  for (const auto& [kind, count] : tally)
    if (kind != "received" && kind != "stored" && kind != "repeat") rejects_[kind] += count;
}

void FeedRecording::count_refused(std::int64_t n) {
  if (n == 0) return;
  n_stored_ -= n;
  n_refused_ += n;
  rejects_[std::string(schema::refused_kind)] += n;
}

LiveCounts FeedRecording::live() const {
  LiveCounts live = recorder_.live();
  live.stored = n_stored_;
  live.rejected += n_refused_;
  return live;
}

void FeedRecording::take() {
  schema::Batch batch = recorder_.take();
  const double feed_time_s = recorder_.feed_time_s();
  if (feed_time_s > 0) hour_ = whole(feed_time_s) / seconds_per_hour;
  n_since_take_ = 0;
  // When a file was read says nothing about the clock of the feed that wrote it.
  if (is_file_) batch.clock.reset();
  if (batch.empty()) return;
  count_rejects(batch.tally);
  for (const auto& [hour_s, tally] : batch.earlier) count_rejects(tally);
  pending_.push_back(std::move(batch));
}

Result<void> FeedRecording::close(const Context& context) {
  if (!held_.empty() && !is_decided_) {
    // Too few reports to confirm anything; the recorder takes what does not contradict the latest.
    const double latest_s = time_of(held_.back());
    if (auto ok = decide(context, held_since(clock_.chain_length(), latest_s)); !ok) return ok;
  }
  flush_held();
  recorder_.close();
  take();
  return {};
}

}  // namespace roundel::record
